"""A switch under a slow hand, by itself: nothing here knows the practice bench or the session's insides.

A meter integrates over whole conversions of 1/rate and sends each when it is over; a conversion that was partly open
reads over-range or too high, whichever `blend` says. The hand sees prompts, and acts 0.7 ± 0.3 s later, never under
0.15 s (normal; a person who listens and holds two tips with the other hand: common practice, no source).
"""

from __future__ import annotations

from random import Random

from metercap.asks import Asks
from metercap.plankeys import ExerciseStep, Item
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import Do, Operator, Prompt, at
from tests.steps.bench_play import Play, meter

MEAN_S, SD_S, LEAST_S = 0.7, 0.3, 0.15


class PressHands:
    """One person at one switch: `shut` holds when the contact conducts, as (from, to) in seconds.

    `misses`: the chance that a press makes no contact at all; `missed` counts those. `away`: nobody is there.
    """

    def __init__(self, seed: int, rate: float, step: ExerciseStep, *, misses: float = 0.0, away: bool = False) -> None:
        self._draw = Random(seed)
        self._t = 1.0 / rate
        self._misses = misses
        self._away = away
        self._form = step.form
        self._seen = 0
        self._todo: list[tuple[float, str]] = []
        self._changes = [(0.0, step.form == "nc" and not away)]
        self.missed = self._unheard = 0
        self.pressed = 0
        self.play = Play(step, profile=meter(rate))
        self._blend = self._draw.choice(("over", "high"))
        self._now = self._draw.uniform(0.0, self._t)

    def run(self, until_s: float) -> Play:
        """Let the meter send and the hand act until the session is over, or `until_s`."""
        play = self.play
        while not play.session.finished and self._now < until_s:
            self._look()
            self._now += self._t
            while self._todo and self._todo[0][0] <= self._now:
                self._act(*self._todo.pop(0))
                self._look()
            if not play.session.finished:
                play.feed(self._conversion(self._now))
        return play

    def _look(self) -> None:
        prompts = self.play.of(Prompt)
        if self._away or len(prompts) == self._seen:
            return
        self._seen = len(prompts)
        prompt = prompts[-1]
        after_s = max(LEAST_S, self._draw.gauss(MEAN_S, SD_S))
        does = {Do.PROBE: "press" if self._form == "no" else "", Do.PRESS: "press", Do.RELEASE: "release"}
        what = does.get(prompt.do, "")
        if prompt.do is Do.ANSWER:
            what = "no" if prompt.asks is Asks.CLEANED else "yes"
        # What the muscles have begun is done: a new prompt comes too late for it.
        begun = [todo for todo in self._todo if todo[0] < prompt.t_s + LEAST_S and todo[1] != "again"]
        self._todo = [*begun, (prompt.t_s + after_s, what)] if what else begun
        if prompt.do is Do.RELEASE and self._unheard:
            self._todo.append((prompt.t_s + 0.5 * LEAST_S, "missed"))
        self._todo.sort()

    def _act(self, t_s: float, what: str) -> None:
        if what in ("yes", "no"):
            self.play.feed(Operator(at(self._now), what, "", "key"))
            return
        if what == "missed":
            self.play.feed(Operator(at(self._now), "missed", str(self._unheard), "line"))
            self._unheard = 0
            return
        if what == "again":
            self._changes.append((t_s, False))
            self._unheard += 1
            what, t_s = "press", t_s + 1.0
        shut = (what == "press") == (self._form == "no")
        if what == "press":
            self.pressed += 1
        if self._draw.random() < self._misses and what == ("press" if self._form == "no" else "release"):
            self.missed += 1
            if self.play.of(Prompt)[-1].do is Do.PROBE:  # it has not been heard yet: try once more
                self._todo.append((t_s + 4.0, "again"))
            return
        self._changes.append((t_s, shut))

    def _conversion(self, end_s: float) -> Reading:
        begin_s, shut_s = end_s - self._t, 0.0
        state, since_s = False, 0.0
        for t_s, shut in [*self._changes, (end_s, False)]:
            if state:
                shut_s += max(0.0, min(t_s, end_s) - max(since_s, begin_s))
            state, since_s = shut, t_s
        share = shut_s / self._t
        ohm: float | None = None
        if share > 0.999:
            ohm = round(0.3 + self._draw.choice((0.0, 0.0, 0.1)), 1)
        elif share > 0.3 and self._blend == "high":
            ohm = round(0.3 + 40.0 * (1.0 - share), 1)
        kind = State.OVER if ohm is None else State.OK
        return Reading(at(end_s), Quantity.RESISTANCE, ohm, 0.1, "ohm", kind, (), "")


def switch(**more: object) -> ExerciseStep:
    """Return an exercise of S1 as plans write it: twenty presses, no pace of its own."""
    return ExerciseStep(**({"id": "cover", "items": (Item("S1"),)} | more))  # type: ignore[arg-type]
