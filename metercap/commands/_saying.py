"""Saying something beside the output: on stderr, where stdout belongs to a program or to a screen."""

from __future__ import annotations

import sys

from metercap.gate import visible


def complain(text: str) -> None:
    """Write a line to stderr."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


def tell(text: str) -> None:
    """Write a line to stderr in the program's name; `text` may hold what came from outside."""
    complain(f"metercap: {visible(text)}")
