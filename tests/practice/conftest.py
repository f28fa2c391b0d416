"""A tiny tool for the technician to work with, so that hands and bench are tested without the real
session."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from metercap.asks import Asks
from metercap.practice.scene import Scene, parse_scene
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading, State
from metercap.records import Contact, Cue, CueKind, Do, Event, Outcome, Prompt, Verdict, VerdictKind

TWELVE = """
schema = 1
title = "twelve fuses"
unit = "B"
seed = 3
[meter]
family = "text"
[[part]]
names = "F1..F12"
kind = "fuse"
ohm = 0.1
[rows]
fuses = "F1..F12"
[truth.fuses]
"F1..F12" = "pass"
"""


class TextDecoder:
    """Reads the lines of a `text` meter in ohms; knows nothing else."""

    def __init__(self) -> None:
        self._rest = b""

    def feed(self, data: bytes, t_s: float) -> list[Reading | Garbage]:
        *lines, self._rest = (self._rest + data).split(b"\r\n")
        return [self._reading(line.decode(), t_s) for line in lines]

    def flush(self, t_s: float) -> list[Reading | Garbage]:
        return []

    @staticmethod
    def _reading(line: str, t_s: float) -> Reading:
        text, unit = line.split()[:2]
        scale = {"ohm": 1.0, "kohm": 1e3, "Mohm": 1e6}.get(unit, 1.0)
        value = None if text in ("OL", "--") else float(text) * scale
        state = State.OVER if value is None else State.OK
        return Reading(t_s, Quantity.RESISTANCE, value, scale, "ohm", state, (), line.encode().hex())


class MiniSession:
    """Ticks an item after two readings under 2 ohm; the next one counts after 1.5 s without contact."""

    def __init__(self, items: list[str]) -> None:
        self.items = items
        self.finished = False
        self.deadline_s: float | None = None
        self.end_reason = "done"
        self.wanted = self.wanted_range = None
        self._at = 0
        self._good: list[float] = []
        self._off_s: float | None = None
        self._free = True
        self._asking = False

    def start(self, t_s: float) -> list[Outcome]:
        return [self._prompt(t_s)]

    def _prompt(self, t_s: float) -> Outcome:
        if self._at < len(self.items):
            item = self.items[self._at]
            return Prompt(t_s, "fuses", item, Do.PROBE, f"probe {item}")
        self._asking = True
        return Prompt(
            t_s, "fuses", self.items[-1], Do.ANSWER, f"was the last tick on {self.items[-1]}?", asks=Asks.COUNT
        )

    def _tick(self, t_s: float, verdict: VerdictKind) -> list[Outcome]:
        item = self.items[self._at]
        self._at += 1
        self._good, self._free = [], False
        return [
            Verdict(t_s, "fuses", item, verdict, from_s=t_s - 1.0),
            Cue(t_s, "fuses", item, CueKind(verdict.value)),
            self._prompt(t_s),
        ]

    def feed(self, event: Event) -> list[Outcome]:
        t_s = event.t_s
        if not isinstance(event, Reading):
            return self._word(event, t_s)
        item = self.items[min(self._at, len(self.items) - 1)]
        if event.state is not State.OK:
            self._off_s = t_s if self._off_s is None else self._off_s
            broken = self._good and not self._asking
            self._good = []
            if not self._free and t_s - self._off_s >= 1.0:
                self._free = True
                return [Cue(t_s, "fuses", item, CueKind.GO)]
            return [Cue(t_s, "fuses", item, CueKind.AGAIN)] if broken else []
        self._off_s = None
        if not self._free or self._asking:
            return []
        self._good.append(event.value or 0.0)
        out: list[Outcome] = []
        if len(self._good) == 1:
            out = [Contact(t_s, "fuses", item), Cue(t_s, "fuses", item, CueKind.CONTACT)]
        if len(self._good) >= 2 and max(self._good[-2:]) < 2.0:
            out += self._tick(t_s, VerdictKind.PASS)
        return out

    def _word(self, event: Event, t_s: float) -> list[Outcome]:
        word = getattr(event, "word", "")
        if self._asking and word in ("yes", "no"):
            self.finished = True
        elif word == "open" and not self._asking:
            return self._tick(t_s, VerdictKind.FAIL)
        elif word == "skip" and not self._asking:
            self._at += 1
            return [self._prompt(t_s)]
        return []


class MiniDriver:
    """Feeds a `MiniSession`."""

    def __init__(self, items: list[str]) -> None:
        self.session = MiniSession(items)

    def start(self) -> list[Outcome]:
        return self.session.start(0.0)

    def feed(self, event: Event) -> Iterator[tuple[Event, list[Outcome]]]:
        yield event, self.session.feed(event)

    def end(self, t_s: float) -> list[Any]:
        return []

    def due(self, t_s: float) -> Iterator[tuple[Event, list[Outcome]]]:
        return iter(())


@pytest.fixture
def mini() -> type[MiniDriver]:
    return MiniDriver


@pytest.fixture
def text_decoder() -> TextDecoder:
    return TextDecoder()


@pytest.fixture
def twelve() -> Scene:
    return parse_scene(TWELVE)


@pytest.fixture
def twelve_text() -> str:
    return TWELVE
