"""Lends the end-to-end tests' meter and program, and prints figures past pytest's capture."""

from __future__ import annotations

from collections.abc import Callable

import pytest


@pytest.fixture
def told(capsys: pytest.CaptureFixture[str]) -> Callable[[str], None]:
    """Print a figure."""

    def out(text: str) -> None:
        with capsys.disabled():
            print(f"\n{text}", end="")  # noqa: T201

    return out
