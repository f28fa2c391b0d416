"""wiggle: a closed path watched while a cable or connector is flexed.

A dropout shorter than one conversion may be averaged away, and one that falls between two conversions that came late is
not seen either: the shortest one that could be seen is said in every verdict.
"""

from __future__ import annotations

from enum import StrEnum

from metercap.asks import Asks
from metercap.contact import Act, Burst
from metercap.judging.judge import Limits
from metercap.metrology.domain import round6
from metercap.plankeys import WiggleStep
from metercap.quantity import format_value
from metercap.reading import Reading
from metercap.records import CueKind, Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.facts import WiggleFacts
from metercap.steps.listed import Listed
from metercap.steps.machine import Given, Row, words_rows

JUDGED = 10
"""The newest values that a verdict's scatter is taken from."""
LATE = 1.5
"""A conversion that comes later than so many T leaves a gap; less is jitter of the link."""
LOST_S = 2.0
"""Open for longer than this is no dropout but tips that came off (common practice, no source)."""


class S(StrEnum):
    """States of a watch."""

    OPEN = "open"
    ON = "on"
    """Contact; settling."""
    WATCH = "watch"
    OUT = "out"
    """Open or too high while watched: a dropout, unless it lasts."""
    END = "end"


_NEXT = (S.OPEN, S.END)


class Wiggle(Listed):
    """Settles, then counts dropouts."""

    FIRST, END = S.OPEN, S.END
    TABLE = {  # noqa: RUF012
        (S.OPEN, Given.CONTACT): Row("contact", (S.ON,)),
        (S.OPEN, Given.GO): Row("stay", (S.OPEN,)),
        (S.OPEN, Given.DUE): Row("waiting", (S.OPEN,)),
        (S.ON, Given.VALUE): Row("settle", (S.ON, S.WATCH)),
        (S.ON, Given.ENDED): Row("parted", (S.OPEN,)),
        (S.WATCH, Given.VALUE): Row("watch", (S.WATCH, S.OUT)),
        (S.WATCH, Given.ENDED): Row("drop", (S.OUT,)),
        (S.WATCH, Given.DUE): Row("over", _NEXT),
        (S.OUT, Given.CONTACT): Row("stay", (S.OUT,)),
        (S.OUT, Given.VALUE): Row("out", (S.OUT, S.WATCH)),
        (S.OUT, Given.ENDED): Row("stay", (S.OUT,)),
        (S.OUT, Given.DUE): Row("lost", (S.OPEN,)),
        **words_rows(
            (S.OPEN, S.ON, S.WATCH, S.OUT),
            {
                Given.AGAIN: Row("again", (S.OPEN,)),
                Given.FAIL: Row("fail", _NEXT),
                Given.OPEN: Row("is_open", _NEXT),
                Given.SKIP: Row("skip", _NEXT),
                Given.ABSENT: Row("absent", _NEXT),
                Given.BACK: Row("back", (S.OPEN,)),
                Given.AT: Row("to_item", (S.OPEN, S.ON, S.WATCH, S.OUT)),
                Given.SKIP_STEP: Row("skip_step", (S.END,)),
            },
        ),
    }

    def __init__(self, step: WiggleStep, bench: Bench) -> None:
        super().__init__(step, bench, Limits(None, step.max, "ohm", step.rule or bench.rule))
        self._step = step
        self.fresh()

    def fresh(self) -> None:
        """Forget the path before."""
        self._burst = Burst(self.bench.t_s)
        self._from_s = 0.0
        self._last: Reading | None = None
        self._values: list[float] = []
        """The newest good values."""
        self._worst = 0.0
        self._n = 0
        """Conversions seen while it was watched, those in a dropout included."""
        self._gap_s = 0.0
        """The longest time between two of them."""
        self._seen_s = 0.0
        self._dropouts = 0
        self._longest_s = 0.0
        self._out_from_s = 0.0
        self._until_s = 0.0

    def resume(self) -> None:
        """Prompt for the path, or for going on."""
        if self.state in (S.WATCH, S.OUT):
            self._ask_flex()
            return
        self.say(Do.PROBE, f"{self.place}: hold both tips on it, still", keep=True)
        self.arm()

    def facts(self) -> WiggleFacts:
        """How the watch goes."""
        watching = self.state in (S.WATCH, S.OUT)
        return WiggleFacts(
            **self.told,
            until_s=self._until_s if watching else None,
            watching=watching,
            out=self.state is S.OUT,
            dropouts=self._dropouts + (self.state is S.OUT),
            longest_s=self._longest_s,
            watch_s=self._step.watch_s,
        )

    def blocked(self) -> None:
        """The watch begins anew."""
        self.deadline_s = None
        self.state = S.OPEN
        self.fresh()

    def status(self) -> str:
        """Which path, and how often it dropped out."""
        return f"{self.step.id}: {self.item}, {self._dropouts} dropouts"

    def see(self, reading: Reading, act: Act, new: bool) -> None:
        """Count every conversion of the watch, and how long it was in coming; those of a dropout are seen as well."""
        if new and self.state in (S.WATCH, S.OUT):
            self._n += 1
            self._gap_s = max(self._gap_s, round6(reading.t_s - self._seen_s))
            self._seen_s = reading.t_s
        super().see(reading, act, new)

    def _good(self, reading: Reading) -> bool:
        return reading.value is not None and self.bench.judge.corrected(reading) <= self._step.max

    def contact(self) -> StrEnum:
        """A credited contact begins."""
        self.deadline_s = None
        self._burst = self.bench.burst()
        return S.ON

    def settle(self) -> StrEnum:
        """A conversion before the watch."""
        reading = self.reading
        if reading is None or not self._good(reading):
            self._burst = self.bench.burst()
            return S.ON
        self._burst.feed(reading)
        if self._burst.plateau() is None:
            return S.ON
        self._from_s = self._seen_s = self.bench.t_s
        self._last = reading
        self._ask_flex()
        self._until_s = at(self.bench.t_s + self._step.watch_s)
        self.deadline_s = self._until_s
        return S.WATCH

    def watch(self) -> StrEnum:
        """A conversion while the path is flexed."""
        reading = self.reading
        if reading is None:
            return S.WATCH
        if not self._good(reading):
            return self.drop()
        self._note_good(reading)
        return S.WATCH

    def drop(self) -> StrEnum:
        """The path opened, or rose above `max`."""
        self._out_from_s = self.bench.t_s
        self.deadline_s = at(self.bench.t_s + LOST_S)
        self.bench.cue(CueKind.FAIL, self.item)
        return S.OUT

    def out(self) -> StrEnum:
        """A conversion while it is out."""
        reading = self.reading
        if reading is None or not self._good(reading):
            return S.OUT
        self._dropouts += 1
        self._longest_s = max(self._longest_s, round6(self.bench.t_s - self._out_from_s))
        self._note_good(reading)
        # The watch lasts at least two conversions more, so that it never ends on the edge of a dropout.
        rest_s = 2.0 * self.bench.conversions.times_s[reading.quantity]
        self.deadline_s = max(self._until_s, at(self.bench.t_s + rest_s))
        return S.WATCH

    def lost(self) -> StrEnum:
        """Out for too long to be a dropout."""
        self.bench.cue(CueKind.AGAIN, self.item)
        self.bench.note(f"{self.item}: open for more than {LOST_S:g} s: tips off? If it is the path, say fail")
        return self.again()

    def over(self) -> StrEnum:
        """The watch is over."""
        reading = self._last
        if reading is None or not self._values:
            return self.word(VerdictKind.UNSURE, "no value came while it was watched")
        shortest = format_value(self._shortest_s(reading), "s")
        seen = f"watched {self._step.watch_s:g} s; dropouts shorter than {shortest} cannot be seen"
        judged = self.bench.judge.judge(reading, self._limits, value=self._worst, conversions=self._values)
        if self._dropouts:
            verdict = VerdictKind.FAIL
            reason = f"{self._dropouts} dropouts, the longest {format_value(self._longest_s, 's')}; {seen}"
        else:
            verdict, reason = judged.verdict, f"no dropout; {seen}"
        self.bench.give(
            self.item,
            verdict,
            judged=judged,
            limits=self._limits,
            reason=reason,
            n=self._n,
            from_s=self._from_s,
            settled=True,
        )
        self.bench.ticked = (self.step.id, self.item)
        return self.decided()

    # --- words

    def fail(self) -> StrEnum:
        """The operator felt or heard it."""
        return self.word(VerdictKind.FAIL, f"by the operator's word; {self._dropouts} dropouts seen")

    # --- the parts of it

    def _ask_flex(self) -> None:
        text = f"flex the cable or connector for {self._step.watch_s:g} s, tips still"
        self.say(Do.KEEP, f"{self.item}: {text}", asks=Asks.FLEX, keep=True)

    def _note_good(self, reading: Reading) -> None:
        self._last = reading
        value = self.bench.judge.corrected(reading)
        self._worst = max(self._worst, value) if self._values else value
        self._values = [*self._values[1 - JUDGED :], value]

    def _shortest_s(self, reading: Reading) -> float:
        """Return the shortest dropout that could be seen: a conversion, or the longest time in which none came."""
        one_s = self.bench.conversions.times_s[reading.quantity]
        return self._gap_s if self._gap_s > LATE * one_s else one_s
