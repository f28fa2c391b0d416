"""Hands, a board and a meter for property tests: what physically happened, known apart from what the session thinks.

The meter integrates over each conversion and blends; the hands slip, lift early, move too soon, and follow the cues.
Nothing here looks into the session: it hears outcomes and shows readings.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from typing import NamedTuple

from metercap.plankeys import SweepStep
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import Cue, CueKind, Operator, Outcome, Prompt, Verdict, at
from tests.steps.bench_play import Blend, Play, fuses


class Habits(NamedTuple):
    """What the hands, the meter and the board are like; the lists are gone through in turn."""

    rate: float
    stated: float
    frames: int
    phase: float
    blend: str
    auto: bool
    ohms: list[float | None]
    reactions: list[float]
    early: list[float]
    """How long a contact lasts at most before the hand lifts by itself; long means until the tick."""
    slips: list[tuple[float, float]]
    """After a tick: gaps and how long the same item is touched again; a gap of 0 is no slip."""
    moves: list[float]
    """How long after the lift the hand goes on by itself; long means until `go`."""


class Stay(NamedTuple):
    """The tips are on an item, from … to."""

    on_s: float
    off_s: float
    item: int


class Bench:
    """One sweep of fuses by hands; `play` holds the session, `stays` what the tips did."""

    def __init__(self, habits: Habits) -> None:
        self.habits = habits
        step: SweepStep = fuses(len(habits.ohms), count_check=True, patience_s=6.0)
        self.play = Play(step, rate=habits.rate, profile_rate=habits.stated)
        self.stays: list[Stay] = []
        self._on: tuple[float, int] | None = None
        self._due: list[tuple[float, int, str, int]] = []
        self._order = 0
        self._drawn = dict.fromkeys(("reactions", "early", "slips", "moves"), 0)
        self._item = 0
        self._done = False
        self._walked = 0
        self._plan(1.0, "touch", 0)

    # --- hands

    def _draw(self, name: str) -> float | tuple[float, float]:
        values = getattr(self.habits, name)
        self._drawn[name] += 1
        drawn: float | tuple[float, float] = values[(self._drawn[name] - 1) % len(values)]
        return drawn

    def _after(self, t_s: float, name: str = "reactions") -> float:
        drawn = self._draw(name)
        assert isinstance(drawn, float)
        return t_s + drawn

    def _plan(self, t_s: float, action: str, item: int = 0) -> None:
        self._order += 1
        heapq.heappush(self._due, (t_s, self._order, action, item))

    def _drop(self) -> None:
        self._due.clear()

    def _act(self, until_s: float) -> None:
        while self._due and self._due[0][0] <= until_s:
            t_s, _, action, item = heapq.heappop(self._due)
            if action == "touch" and self._on is None:
                self._on = (t_s, item)
                if item == self._item:  # else it is a slip, whose end is planned
                    self._plan(self._after(t_s, "early"), "lift")
                    if self.habits.ohms[item] is None:
                        self._plan(t_s + 3.0, "say open", item)
            elif action == "lift" and self._on is not None:
                self.stays.append(Stay(self._on[0], t_s, self._on[1]))
                self._on = None
            elif action == "say open" and item == self._item and not self._done:
                self.play.t_s = max(self.play.t_s, t_s)
                self._hear(self._fed(Operator(at(t_s), "open")))

    def _fed(self, event: Operator | Reading) -> list[Outcome]:
        before = len(self.play.out)
        self.play.feed(event)
        return self.play.out[before:]

    def _hear(self, outcomes: list[Outcome]) -> None:
        for outcome in outcomes:
            t_s = outcome.t_s
            if isinstance(outcome, Verdict) and outcome.item == f"F{self._item + 1}":
                self._ticked(t_s)
            elif isinstance(outcome, Prompt) and outcome.do == "answer":
                self._done = True
                self._drop()
            elif isinstance(outcome, Cue):
                self._cue(outcome.cue, t_s)

    def _ticked(self, t_s: float) -> None:
        """The hand heard its item decided: off, perhaps a slip or two, on to the next."""
        self._drop()
        t_s = self._after(t_s)
        self._plan(t_s, "lift")
        for _ in range(2):
            drawn = self._draw("slips")
            assert isinstance(drawn, tuple)
            gap_s, stay_s = drawn
            if gap_s > 0.0:
                self._plan(t_s + gap_s, "touch", self._item)
                self._plan(t_s + gap_s + stay_s, "lift")
                t_s += gap_s + stay_s
        self._item += 1
        if self._item < len(self.habits.ohms):
            self._plan(self._after(t_s, "moves"), "touch", self._item)

    def _cue(self, cue: CueKind, t_s: float) -> None:
        if self._item >= len(self.habits.ohms):
            return
        if cue in (CueKind.LIFT, CueKind.AGAIN):
            self._drop()
            self._plan(self._after(t_s), "lift")
            if cue is CueKind.AGAIN:
                self._plan(self._after(t_s) + 4.0, "touch", self._item)
        elif cue in (CueKind.GO, CueKind.WAITING) and self._on is None:
            self._drop()
            self._plan(self._after(t_s), "touch", self._item)

    # --- the meter

    def _readings(self) -> Iterator[Reading]:
        """Yield what the meter sends, one conversion after the other; each is made when it is over."""
        habits = self.habits
        period_s = 1.0 / habits.rate
        begin_s = habits.phase * period_s
        while True:
            end_s = begin_s + period_s
            self._act(end_s)
            value, resolution = self._shown(begin_s, end_s)
            state = State.OVER if value is None else State.OK
            flags = ("auto",) if habits.auto else ()
            for frame in range(habits.frames):
                t_s = at(end_s + frame * period_s / habits.frames)
                yield Reading(t_s, Quantity.RESISTANCE, value, resolution, "ohm", state, flags, "")
            begin_s = end_s

    def _shown(self, begin_s: float, end_s: float) -> tuple[float | None, float]:
        stays = [stay for stay in self.stays[-6:] if stay.off_s > begin_s and stay.on_s < end_s]
        if self._on is not None and self._on[0] < end_s:
            stays.append(Stay(self._on[0], end_s, self._on[1]))
        ohms = [(min(stay.off_s, end_s) - max(stay.on_s, begin_s), self.habits.ohms[stay.item]) for stay in stays]
        touched = [(span_s, ohm) for span_s, ohm in ohms if ohm is not None and span_s > 0.0]
        if not touched:
            self._walked = 0
            return None, 0.1
        span_s, ohm = touched[-1]
        whole = len(touched) == 1 and span_s >= end_s - begin_s - 1e-9
        if not whole and self.habits.blend == Blend.OPEN:
            return None, 0.1
        if self.habits.auto and self._walked < 2:
            self._walked += 1
            return 0.0, (1000.0, 10.0)[self._walked - 1]
        if not whole and self.habits.blend == Blend.BETWEEN:
            ohm = ohm * (end_s - begin_s) / max(span_s, 0.01)
        return round(round(ohm / 0.1) * 0.1, 1), 0.1

    def run(self, until_s: float) -> None:
        """Let hands and meter go until the count check is asked, or `until_s`."""
        for reading in self._readings():
            if self._done or reading.t_s > until_s:
                break
            self._act(reading.t_s)
            self._hear(self._fed(reading))
        if self._on is not None:
            self.stays.append(Stay(self._on[0], until_s + 1.0, self._on[1]))
