"""Makes `bench_play` importable for the tests of this room."""

from __future__ import annotations

import sys
from collections.abc import Callable

import pytest


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Callable[[str], None]:
    """Return a function that shows a measured figure on the terminal although the test passes."""

    def show(text: str) -> None:
        with capsys.disabled():
            sys.stdout.write(f"\n{text}\n")

    return show
