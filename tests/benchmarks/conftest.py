"""Lends the end-to-end tests' meter and program, and prints figures past pytest's capture."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "e2e"))
sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture
def told(capsys: pytest.CaptureFixture[str]) -> Callable[[str], None]:
    """Print a figure."""

    def out(text: str) -> None:
        with capsys.disabled():
            print(f"\n{text}", end="")  # noqa: T201

    return out
