"""Runs command lines in this process, and lends the end-to-end tests' meter and program."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from metercap.cli import main


class Said(NamedTuple):
    """What a command line gave."""

    status: int
    out: str
    err: str


@pytest.fixture
def metercap(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Said]:
    """Run a command line in this process; a defect raises."""
    monkeypatch.setenv("METERCAP_TRACEBACK", "1")

    def run(*args: str) -> Said:
        capsys.readouterr()
        with pytest.raises(SystemExit) as end:
            main(list(args))
        said = capsys.readouterr()
        return Said(int(end.value.code or 0), said.out, said.err)

    return run


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Play the known-good unit A, then unit B against it; return the folder of a.jsonl and b.jsonl."""
    from metercap.commands._bench import play_scene

    folder = tmp_path_factory.mktemp("bench")
    good = play_scene("gc8-a-whole", folder, speed=5000, quiet=True)
    play_scene("gc8-b-whole", folder, speed=5000, against=good.journal, quiet=True)
    return folder
