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
from metercap.steps.listed import Listed, item_words, next_item
from metercap.steps.machine import Cells, Given, Look, Row, table

JUDGED = 10
"""The newest values that a verdict's scatter is taken from."""
LATE = 1.5
"""A conversion that comes later than so many T leaves a gap; less is jitter of the link."""
LOST_S = 2.0
"""Open for longer than this is no dropout but tips that came off (common practice, no source)."""


class WiggleState(StrEnum):
    """States of a watch."""

    OPEN = "open"
    ON = "on"
    """Contact; settling."""
    WATCH = "watch"
    OUT = "out"
    """Open or too high while watched: a dropout, unless it lasts."""
    NEXT = "next"
    """A path was decided."""
    END = "end"


class WiggleSign(StrEnum):
    """What a conversion turns out to be."""

    SETTLED = "settled"
    BAD = "open or too high"
    GOOD = "closed again"


_State, _Sign = WiggleState, WiggleSign

_WORDS: Cells = {
    **item_words(_State.NEXT, _State.END),
    Given.AGAIN: Row("again", _State.OPEN, asks=True),
    Given.REPLACED: Row("replaced", _State.OPEN, asks=True),
    Given.FAIL: Row("fail", _State.NEXT),
    Given.OPEN: Row("is_open", _State.NEXT),
    Given.SKIP: Row("skip", _State.NEXT),
    Given.BACK: Row("back", _State.NEXT),
    Given.BLOCKED: Row("drop", _State.OPEN),
}


class Wiggle(Listed):
    """Settles, then counts dropouts."""

    NEXT = WiggleState.NEXT
    TABLE = table(
        {
            _State.OPEN: {
                **_WORDS,
                Given.CONTACT: Row("contact", _State.ON),
                Given.DUE: Row("waiting", None),
            },
            _State.ON: {
                **_WORDS,
                Given.VALUE: Look("settle", (_Sign.SETTLED,)),
                _Sign.SETTLED: Row("begin", _State.WATCH, asks=True),
                Given.ENDED: Row("parted", _State.OPEN),
            },
            _State.WATCH: {
                **_WORDS,
                Given.VALUE: Look("watch", (_Sign.BAD,)),
                _Sign.BAD: Row("dropped", _State.OUT),
                Given.ENDED: Row("dropped", _State.OUT),
                Given.DUE: Row("over", _State.NEXT),
            },
            _State.OUT: {
                **_WORDS,
                Given.VALUE: Look("out", (_Sign.GOOD,)),
                _Sign.GOOD: Row("closed", _State.WATCH),
                Given.DUE: Row("lost", _State.OPEN, asks=True),
            },
            _State.NEXT: next_item(_State.OPEN, _State.END),
        }
    )

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
        if self.state in (WiggleState.WATCH, WiggleState.OUT):
            self._ask_flex()
            return
        self.say(Do.PROBE, f"{self.place}: hold both tips on it, still", keep=True)
        self.arm()

    def facts(self) -> WiggleFacts:
        """How the watch goes."""
        watching = self.state in (WiggleState.WATCH, WiggleState.OUT)
        return WiggleFacts(
            **self.told,
            until_s=self._until_s if watching else None,
            watching=watching,
            out=self.state is WiggleState.OUT,
            dropouts=self._dropouts + (self.state is WiggleState.OUT),
            longest_s=self._longest_s,
            watch_s=self._step.watch_s,
        )

    def drop(self) -> None:
        """The watch begins anew."""
        self.deadline_s = None
        self.fresh()

    def status(self) -> str:
        """Which path, and how often it dropped out."""
        return f"{self.step.id}: {self.item}, {self._dropouts} dropouts"

    def see(self, reading: Reading, act: Act, new: bool) -> None:
        """Count every conversion of the watch, and how long it was in coming; those of a dropout are seen as well."""
        if new and self.state in (WiggleState.WATCH, WiggleState.OUT):
            self._n += 1
            self._gap_s = max(self._gap_s, round6(reading.t_s - self._seen_s))
            self._seen_s = reading.t_s
        super().see(reading, act, new)

    def _good(self, reading: Reading) -> bool:
        return reading.value is not None and self.bench.judge.corrected(reading) <= self._step.max

    def contact(self) -> None:
        """A credited contact begins."""
        self.deadline_s = None
        self._burst = self.bench.burst()

    def settle(self) -> WiggleSign | None:
        """Take a conversion before the watch."""
        reading = self.reading
        if reading is None or not self._good(reading):
            self._burst = self.bench.burst()
            return None
        self._burst.feed(reading)
        return None if self._burst.plateau() is None else WiggleSign.SETTLED

    def begin(self) -> None:
        """The path is closed and at rest: the watch begins."""
        self._from_s = self._seen_s = self.bench.t_s
        self._last = self.reading
        self.deadline_s = self._until_s = at(self.bench.t_s + self._step.watch_s)

    def watch(self) -> WiggleSign | None:
        """Take a conversion while the path is flexed."""
        reading = self.reading
        if reading is None:
            return None
        if not self._good(reading):
            return WiggleSign.BAD
        self._note_good(reading)
        return None

    def dropped(self) -> None:
        """The path opened, or rose above `max`."""
        self._out_from_s = self.bench.t_s
        self.deadline_s = at(self.bench.t_s + LOST_S)
        self.bench.cue(CueKind.FAIL, self.item)

    def out(self) -> WiggleSign | None:
        """Take a conversion while it is out."""
        return None if self.reading is None or not self._good(self.reading) else WiggleSign.GOOD

    def closed(self) -> None:
        """It was a dropout."""
        reading = self.reading
        if reading is None:
            return
        self._dropouts += 1
        self._longest_s = max(self._longest_s, round6(self.bench.t_s - self._out_from_s))
        self._note_good(reading)
        # The watch lasts at least two conversions more, so that it never ends on the edge of a dropout.
        rest_s = 2.0 * self.bench.conversions.times_s[reading.quantity]
        self.deadline_s = max(self._until_s, at(self.bench.t_s + rest_s))

    def lost(self) -> None:
        """Out for too long to be a dropout."""
        self.bench.cue(CueKind.AGAIN, self.item)
        self.bench.note(f"{self.item}: open for more than {LOST_S:g} s: tips off? If it is the path, say fail")
        self.again()

    def over(self) -> None:
        """The watch is over."""
        reading = self._last
        if reading is None or not self._values:
            self.word(VerdictKind.UNSURE, "no value came while it was watched")
            return
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
        self.decided()

    # --- words

    def fail(self) -> None:
        """The operator felt or heard it."""
        self.word(VerdictKind.FAIL, f"by the operator's word; {self._dropouts} dropouts seen")

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
