"""Saying something beside the output: on stderr, where stdout belongs to a program or to a screen."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterator

from metercap.gate import visible


def complain(text: str) -> None:
    """Write a line to stderr."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


def tell(text: str) -> None:
    """Write a line to stderr in the program's name; `text` may hold what came from outside."""
    complain(f"metercap: {visible(text)}")


@contextlib.contextmanager
def progress(what: str) -> Iterator[Callable[[int, int], None]]:
    """Give what says, on a terminal, how many files were found and how many of them read; at the end it is gone."""
    say = showing()
    try:
        yield lambda found, read: say(f"{found} {what} found, {read} of them read anew")
    finally:
        say("")


def showing() -> Callable[[str], None]:
    """Return what shows, on a terminal, how far something is: every half second, on one line; no text clears it."""
    if not sys.stderr.isatty():
        return lambda text: None
    next_s, width = time.monotonic() + 1.0, 0

    def say(text: str) -> None:
        nonlocal next_s, width
        now_s = time.monotonic()
        if now_s >= next_s or (width and not text):
            next_s = now_s + 0.5
            width = max(width, len(text))
            sys.stderr.write(f"\r{text:<{width}}\r")
            sys.stderr.flush()

    return say
