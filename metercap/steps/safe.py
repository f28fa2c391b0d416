"""safe: prove the meter on a live source, find the points dead in dc then ac, prove the meter again.

Dead is measured with a meter shown to work before and after. Volts do not show contact, since open tips read about
zero, so a point becomes a verdict only by the operator's `yes` while both tips are on it.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Literal

from metercap.asks import Asks
from metercap.contact import Burst
from metercap.judging.judge import Limits
from metercap.plankeys import SafeStep
from metercap.quantity import Quantity, format_value
from metercap.reading import Reading
from metercap.records import CueKind, Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.facts import InForce, SafeFacts
from metercap.steps.machine import Given, Machine, Row, words_rows

SOURCE_V = 1.0
"""A live source reads at least this."""
DEAD_V = 0.1
"""A dead point reads at most this (common practice, no source); an ohm step sees the rest as a falling value."""
SOURCE_SHARE = 0.05
SOURCE_COUNTS = 5.0
"""The source reads the same within this as long as the tips stay on it (common practice, no source)."""
YES_S = 2.0
"""A `yes` sooner after its prompt is that of a hand which has had no time to reach the point (by predetermined motion
times two tips take 1.2 to 1.8 s; from memory)."""
HAZARD_DC_V = 60.0
HAZARD_AC_V = 30.0
"""Above these a voltage concerns people: 60 V dc, 30 V rms (IEC 61010-031)."""


def is_live(reading: Reading) -> bool:
    """Return whether a reading in volts shows more than a dead point may have; over-range is more than any."""
    return reading.value is None or abs(reading.value) > DEAD_V


class S(StrEnum):
    """States: the source before, the lift off it, a point, a point's `yes` waiting for two values, the source after."""

    BEFORE = "before"
    LIFT = "lift"
    POINT = "point"
    ANSWERED = "answered"
    AFTER = "after"
    END = "end"


class Safe(Machine):
    """Source, a lift off it, every point in dc, every point in ac, source again."""

    shows_contact = False
    TABLE = {  # noqa: RUF012
        (S.BEFORE, Given.VALUE): Row("source", (S.BEFORE, S.LIFT, S.AFTER)),
        (S.LIFT, Given.VALUE): Row("lifting", (S.LIFT, S.POINT)),
        (S.AFTER, Given.VALUE): Row("source", (S.AFTER, S.END)),
        (S.POINT, Given.VALUE): Row("watch", (S.POINT,)),
        (S.POINT, Given.YES): Row("answer", (S.POINT, S.ANSWERED)),
        (S.ANSWERED, Given.VALUE): Row("answered", (S.POINT, S.ANSWERED, S.AFTER)),
        (S.ANSWERED, Given.YES): Row("stay", (S.ANSWERED,)),
        (S.BEFORE, Given.SKIP): Row("skip_source", (S.LIFT, S.AFTER)),
        (S.LIFT, Given.YES): Row("resume_lift", (S.LIFT,)),
        (S.LIFT, Given.SKIP): Row("skip_lift", (S.POINT,)),
        (S.AFTER, Given.SKIP): Row("skip_source", (S.END,)),
        **words_rows(
            (S.POINT, S.ANSWERED),
            {
                Given.SKIP: Row("skip_point", (S.POINT, S.AFTER)),
                Given.NO: Row("skip_point", (S.POINT, S.AFTER)),
                Given.ABSENT: Row("absent_point", (S.POINT, S.AFTER)),
                Given.BACK: Row("back", (S.POINT,)),
            },
        ),
        **words_rows(
            (S.BEFORE, S.LIFT, S.POINT, S.ANSWERED, S.AFTER),
            {
                Given.AGAIN: Row("again", (S.BEFORE, S.POINT, S.AFTER)),
                Given.SKIP_STEP: Row("skip_step", (S.END,)),
            },
        ),
    }

    def __init__(self, step: SafeStep, bench: Bench) -> None:
        super().__init__(step, bench, S.BEFORE)
        self._step = step
        self._round = [
            (point, quantity) for quantity in (Quantity.VOLTAGE_DC, Quantity.VOLTAGE_AC) for point in step.points
        ]
        self._at = 0
        self._missing: list[str] = []
        self._unproved: dict[tuple[str, Quantity], None] = {}
        """Points passed over, in dc or in ac, and not proved since."""
        self._absent: dict[str, None] = {}
        self._burst = Burst()
        self._stopped = False
        self._source_v: float | None = None
        """What the source read, while the lift off it has not been seen."""
        self._asked_s = 0.0
        """When the point in turn was asked for last."""
        self._limits = Limits(-DEAD_V, DEAD_V, "V", step.rule or bench.rule)

    @property
    def item(self) -> str:
        """The point in turn, else the step itself (its source)."""
        return self._round[self._at][0] if self.state in (S.POINT, S.ANSWERED) else self.step.id

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Volts dc for the source and the first round, ac for the second."""
        if self.state in (S.POINT, S.ANSWERED):
            return (self._round[self._at][1],)
        return (Quantity.VOLTAGE_DC,)

    def facts(self) -> SafeFacts:
        """Where the proof stands."""
        part: Literal["before", "lift", "point", "after"] = "point"
        if self.state in (S.BEFORE, S.LIFT):
            part = "before" if self.state is S.BEFORE else "lift"
        elif self.state in (S.AFTER, S.END):
            part = "after"
        return SafeFacts(
            part=part,
            source=self._step.source,
            quantity=self.wanted[0],
            heard=self.state is S.ANSWERED,
            live=self._stopped,
            done=self._at,
            of=len(self._round),
            limits=InForce.of(self._limits) if part == "point" else None,
        )

    def start(self) -> None:
        """Ask for the source."""
        self._open()

    @property
    def has_behind(self) -> bool:
        """False where nothing of the step is done."""
        return self.state is not S.BEFORE

    def resume(self) -> None:
        """Prompt for the source or the point in turn."""
        if self.state in (S.POINT, S.ANSWERED):
            point, quantity = self._round[self._at]
            how = "dc" if quantity is Quantity.VOLTAGE_DC else "ac"
            text = f"{point}, volts {how}: hold both tips on it, say yes, hold on until the tick"
            self._asked_s = self.bench.t_s
            self.bench.prompt(Do.ANSWER, point, text, quantity=quantity, asks=Asks.POINT)
        elif self.state is S.LIFT:
            self.say(Do.LIFT, f"lift both tips off {self._step.source}; the points come next")
        else:
            again = " again" if self.state is S.AFTER else ""
            self.say(Do.PROBE, f"probe {self._step.source}{again}: the meter must show at least {SOURCE_V:g} V")

    def blocked(self) -> None:
        """What was gathered, and a `yes` not yet used, are worth nothing."""
        self._burst = Burst(self.bench.t_s)
        if self.state is S.ANSWERED:
            self.state = S.POINT

    def _open(self) -> None:
        self._burst = Burst(self.bench.t_s)
        self._stopped = False
        self.bench.changed()
        self.want()
        self.resume()

    def source(self) -> StrEnum:
        """A new conversion while the source is asked for."""
        reading = self.reading
        if reading is None:
            return self.state
        self._burst.feed(reading)
        plateau = self._burst.plateau()
        if plateau is None:
            return self.state
        least_v = SOURCE_V + plateau.resolution
        if plateau.low < least_v and plateau.high > -least_v:
            return self.state
        shown = format_value(plateau.value, "V", plateau.resolution)
        when = "before" if self.state is S.BEFORE else "after"
        self.bench.note(f"{self._step.source} reads {shown} {when} the points")
        self.bench.cue(CueKind.PASS, self.step.id)
        return self._after_source()

    def _after_source(self) -> StrEnum:
        if self.state is S.AFTER:
            return self._end()
        self._source_v = None if self.reading is None else self.reading.value
        self.state = S.LIFT if self._round else S.AFTER
        self._open()
        return self.state

    def lifting(self) -> StrEnum:
        """A new conversion while the lift off the source is asked for: two dead ones show it, a voltage stops."""
        if self.reading is not None:
            self._burst.feed(self.reading)
        pair = self._burst.pair
        if pair is None:
            return S.LIFT
        if not any(is_live(each) for each in pair):
            return self._to_point()
        live = all(is_live(each) and not self._like_source(each) for each in pair)
        if live and not self._stopped:
            self._live(pair[-1])
        return S.LIFT

    def resume_lift(self) -> StrEnum:
        """A `yes` is none of a point before the lift was seen."""
        self.bench.cue(CueKind.LIFT, self.item)
        self.resume()
        return S.LIFT

    def _to_point(self) -> StrEnum:
        self._source_v = None
        self.state = S.POINT
        self._open()
        return S.POINT

    def skip_lift(self) -> StrEnum:
        """Go on without it: what the first point reads may be the source's."""
        self._missing.append("no lift off the source was seen")
        return self._to_point()

    def skip_source(self) -> StrEnum:
        """The source was not shown: nothing is proved."""
        self._missing.append("the meter was not proved on a live source")
        return self._after_source()

    def watch(self) -> StrEnum:
        """A new conversion at a point: a settled voltage is said at once."""
        reading = self.reading
        if reading is None:
            return S.POINT
        self._burst.feed(reading)
        pair = self._burst.pair
        live = pair is not None and all(is_live(each) for each in pair)
        if live and not self._stopped:
            self._live(reading)
        if pair is not None and not live and self._stopped:
            self._stopped = False
            self.resume()
        return S.POINT

    def _like_source(self, reading: Reading) -> bool:
        """Return whether a reading is what the source read: the tips have not moved."""
        if self._source_v is None or reading.value is None:
            return False
        near = max(SOURCE_COUNTS * reading.resolution, SOURCE_SHARE * abs(self._source_v))
        return abs(reading.value - self._source_v) <= near

    def answer(self) -> StrEnum:
        """The operator says yes: what the meter shows from now on is judged; before, the tips may have been in air."""
        if self.bench.blocked:
            self.bench.cue(CueKind.AGAIN, self.item)
            return S.POINT
        if self.bench.t_s < at(self._asked_s + YES_S):
            self.bench.note(f"too soon: both tips on {self.item} first, then yes, and hold on until the tick")
            self.bench.cue(CueKind.AGAIN, self.item)
            return S.POINT
        self._burst = Burst(self.bench.t_s, first_is_whole=True)
        return S.ANSWERED

    def answered(self) -> StrEnum:
        """A new conversion after the yes: two of them, both dead, prove the point."""
        if self.reading is not None:
            self._burst.feed(self.reading)
        pair = self._burst.pair
        if pair is None:
            return S.ANSWERED
        live = [each for each in pair if is_live(each)]
        if live:
            self._live(live[-1])
            self._burst = Burst(self.bench.t_s)
            return S.POINT
        judged = [self.bench.judge.judge(each, self._limits) for each in pair]
        worst = max(judged, key=lambda each: abs(each.value))
        if worst.verdict is not VerdictKind.PASS:
            self._burst = Burst(self.bench.t_s)
            self.bench.cue(CueKind.AGAIN, self.item)
            count = format_value(worst.resolution, "V")
            text = f"one count is {count}, too coarse to prove it dead: take a lower range"
            wanted = self.wanted
            self.bench.urge(Do.DIAL, None, text, quantity=wanted[0], dial=wanted, range="finer")
            return S.POINT
        point, quantity = self._round[self._at]
        self._unproved.pop((point, quantity), None)
        ac = quantity is Quantity.VOLTAGE_AC
        reason = f"volts {'ac' if ac else 'dc'}, by the operator's yes"
        half = (point, Quantity.VOLTAGE_DC) in self._unproved
        self.bench.give(
            self.item,
            VerdictKind.UNSURE if half else VerdictKind.PASS,
            judged=worst,
            limits=self._limits,
            reason=f"{reason}; not proved dead in volts dc" if half else reason,
            n=2,
            from_s=pair[0].t_s,
            settled=self._burst.plateau() is not None,
        )
        return self._next()

    def _live(self, reading: Reading) -> None:
        self._stopped = True
        high = HAZARD_DC_V if reading.quantity is Quantity.VOLTAGE_DC else HAZARD_AC_V
        hazard = reading.value is None or abs(reading.value) > high
        self.bench.cue(CueKind.HAZARD if hazard else CueKind.STOP, self.item)
        shown = "over-range" if reading.value is None else format_value(reading.value, "V", reading.resolution)
        at_point = self.state is not S.LIFT
        where = f"at {self.item}" if at_point else "under the tips, and not the source's value"
        then = "then hold both tips on it again and say yes" if at_point else "lift both tips"
        self.say(
            Do.STOP,
            f"{shown} {where}: it is live. Disconnect the supply and every cell, discharge through a resistor, "
            f"not a short; {then}",
            asks=Asks.VOLTS,
        )

    def _next(self) -> StrEnum:
        self._at += 1
        while self._at < len(self._round) and self._round[self._at][0] in self._absent:
            self._at += 1
        self.state = S.POINT if self._at < len(self._round) else S.AFTER
        self._open()
        return self.state

    def skip_point(self) -> StrEnum:
        """The point was not proved."""
        self._unproved[self._round[self._at]] = None
        self.bench.give(self.item, VerdictKind.UNSURE, reason="not proved dead")
        return self._next()

    def absent_point(self) -> StrEnum:
        """This unit has no such point."""
        self._absent[self.item] = None
        self._unproved.pop(self._round[self._at], None)
        self.bench.give(self.item, VerdictKind.ABSENT)
        return self._next()

    def back(self) -> StrEnum:
        """Go back to the point before."""
        self._at = max(0, self._at - 1)
        self._absent.pop(self._round[self._at][0], None)
        self.state = S.POINT
        self._open()
        return S.POINT

    def again(self) -> StrEnum:
        """Begin the present point or source anew."""
        if self.state in (S.LIFT, S.ANSWERED):
            self.state = S.BEFORE if self.state is S.LIFT else S.POINT
        self._open()
        return self.state

    def skip_step(self) -> StrEnum:
        """End without proof."""
        self._missing.append("the step was skipped")
        left = self._round[self._at :] if self.state is not S.AFTER else []
        for point in dict.fromkeys(point for point, _ in left if point not in self._absent):
            self.bench.give(point, VerdictKind.UNSURE, reason="not proved dead")
        return self._end()

    def _end(self) -> StrEnum:
        passed_over = dict.fromkeys(point for point, _ in self._unproved if point not in self._absent)
        missing = [*self._missing, *(f"{point} was not proved dead" for point in passed_over)]
        if all(point in self._absent for point in self._step.points):
            missing.append("no point was measured")
        verdict = VerdictKind.UNSURE if missing else VerdictKind.PASS
        reason = "; ".join(missing) or "meter proved on a live source before and after, points dead in dc and ac"
        self.bench.give(self.step.id, verdict, reason=reason)
        self.done = True
        return S.END
