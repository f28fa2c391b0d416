"""What a shell completes, asked by a real bash through the program's own completion script."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import pytest

from metercap.cli import COMMANDS, group
from metercap.link.ports import announced
from metercap.plan.fields import step_kinds
from metercap.practice.scene import scene_names
from metercap.profiles import meter_names, plan_names
from metercap.records import CueKind

ROOT = Path(__file__).parents[2]
BASH = shutil.which("bash")
pytestmark = pytest.mark.skipif(BASH is None or sys.platform == "win32", reason="needs bash")

ASK = """
compopt() { printf 'compopt %s %s\\n' "$@"; }
source <(_METERCAP_COMPLETE=bash_source metercap)
complete -p metercap | grep -q _metercap_completion || exit 9
COMP_WORDS=(metercap "$@"); COMP_CWORD=$#
COMPREPLY=()
_metercap_completion metercap
printf '%s\\n' "${COMPREPLY[@]}"
"""
"""The shell's part of the protocol (bash's manual, "Programmable Completion"): words and place in, COMPREPLY out."""


def asked(*words: str, cwd: Path) -> list[str]:
    """What bash would offer for the last of these words."""
    program = cwd / ".bin" / "metercap"
    program.parent.mkdir(exist_ok=True)
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m metercap "$@"\n')
    program.chmod(0o755)
    done = subprocess.run(
        [str(BASH), "--norc", "-c", ASK, "bash", *words],
        capture_output=True,
        text=True,
        cwd=cwd,
        timeout=60,
        check=False,
        env={**os.environ, "PATH": f"{program.parent}:{os.environ['PATH']}", "PYTHONPATH": str(ROOT)},
    )
    assert (done.returncode, done.stderr) == (0, ""), (done.stdout, done.stderr)
    return [line for line in done.stdout.split("\n") if line]


@pytest.fixture
def here(tmp_path: Path) -> Path:
    """A working folder with a plan, journals of two units, and files with names that a shell would carry out."""
    (tmp_path / "my-plan.toml").write_text(
        '[plan]\ntitle = "x"\nsupply = "none"\n[[step]]\nid = "leads"\nkind = "zero"\n'
        '[[step]]\nid = "lamp"\nkind = "confirm"\n'
    )
    sessions = ROOT / "fixtures/sessions"
    shutil.copy(sessions / "good-sweep.jsonl", tmp_path / "a.jsonl")
    (tmp_path / "torn.jsonl").write_text('{"kind":')
    (tmp_path / "`id`.toml").write_text("")
    return tmp_path


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (("",), list(COMMANDS)),
        (("pla",), ["plan"]),
        (("run", ""), [*plan_names(), "my-plan.toml"]),
        (("run", "gr"), ["greenhouse-controller"]),
        (("run", "my"), ["my-plan.toml"]),
        (("run", "sub/"), ["compopt -o default"]),
        (("run", "--meter", ""), [*meter_names(), "my-plan.toml"]),
        (("identify", "--meter", "digits"), [name for name in meter_names() if name.startswith("digits")]),
        (("run", "greenhouse-controller", "--steps", "f"), ["fuses"]),
        (("run", "my-plan.toml", "--steps", ""), ["leads", "lamp"]),
        (("run", "my-plan.toml", "--steps", "leads,"), ["leads,lamp"]),
        (("practice", ""), [*scene_names(), "gc8-pair", "my-plan.toml"]),
        (("practice", "gc8-b", "--steps", "f"), ["fuses"]),
        (("plan", "show", "loose"), ["loose-parts"]),
        (("plan", "keys", ""), sorted(step_kinds())),
        (("sound", "--cue", "ha"), [CueKind.HAZARD.value]),
        (("compare", "a.jsonl", "--budget", ""), ["leads", "leads-after", "F1", "F2", "F3", "F4"]),
        (("compare", "torn.jsonl", "--budget", ""), []),
        (("sweep", "F"), ["F1", "F2", "F3", "F4"]),
        (("verify", "a"), ["compopt -o default"]),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_what_is_offered(here: Path, words: tuple[str, ...], offered: list[Any]) -> None:
    """Names that begin so, in the order that the program has them; nothing that a shell would carry out."""
    assert sorted(asked(*words, cwd=here)) == sorted(offered)


def test_a_blank_comes_with_its_backslash(here: Path) -> None:
    """Bash puts what is offered into the line as it is; other shells quote by themselves."""
    assert asked("run", "x", "--unit", "c", cwd=here) == [r"controller\ A"]


def test_ports_are_offered(here: Path) -> None:
    """A practice meter's port that lives on this computer is one of those offered."""
    port = here / "port"
    port.touch()
    with announced(str(port), "a test"):
        assert str(port) in asked("watch", "--port", "", cwd=here)


def test_every_plain_string_is_read_as_text() -> None:
    """No parameter of any command keeps the library's own string type, which knows no bytes."""
    context = click.Context(group)
    for name in COMMANDS:
        command = group.get_command(context, name)
        below = list(command.commands.values()) if isinstance(command, click.Group) else []
        for param in [param for each in (command, *below) for param in each.params]:
            assert type(param.type) is not click.types.StringParamType, (name, param.name)
