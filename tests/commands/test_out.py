"""--out names a new file: every command says at once where none can be made."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest


@pytest.mark.parametrize("words", ["plan new --title x", "demo", "practice gc8-a", "teach", "learn x.jsonl"])
def test_every_command_says_at_once_that_a_file_cannot_be_made(
    words: str, tmp_path: Path, metercap: Callable[..., Any]
) -> None:
    """Usage, status 2, and what to try."""
    said = metercap(*words.split(), "--out", str(tmp_path / "none" / "a"))
    assert said.status == 2
    assert "no such folder" in said.err and "try:" in said.err and "defect" not in said.err
