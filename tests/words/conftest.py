"""A place for words to go, and a terminal to type in."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest


class Heard:
    """Keeps the words said and waits for them."""

    def __init__(self) -> None:
        self.words: list[tuple[str, str]] = []
        self.times: list[float] = []
        self.sources: list[str] = []
        self.faults: list[BaseException] = []
        self.shown: list[str] = []
        self._changed = threading.Condition()

    def put_word(self, word: str, text: str, t_s: float, source: str) -> None:
        with self._changed:
            self.words.append((word, text))
            self.times.append(t_s)
            self.sources.append(source)
            self._changed.notify_all()

    def put_fault(self, error: BaseException) -> None:
        with self._changed:
            self.faults.append(error)
            self._changed.notify_all()

    def show(self, text: str) -> None:
        with self._changed:
            self.shown.append(text)
            self._changed.notify_all()

    def until(self, true: Any, what: str) -> None:
        end_s = time.monotonic() + 8.0
        with self._changed:
            while not true(self):
                if not self._changed.wait(end_s - time.monotonic()):
                    pytest.fail(f"no {what}: words {self.words}, shown {self.shown}")


@pytest.fixture
def heard() -> Heard:
    return Heard()


@pytest.fixture
def terminal() -> Iterator[Any]:
    """The two ends of a terminal: what types, and what a program reads."""
    typist, program = os.openpty()
    yield typist, program
    for fd in (typist, program):
        os.close(fd)
