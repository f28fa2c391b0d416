"""safe: prove the meter on a live source, find the points dead in dc then ac, prove the meter again.

Dead is measured with a meter shown to work before and after. Volts do not show contact, since open tips read about
zero, so a point becomes a verdict only by the operator's `yes` while both tips are on it.
"""

from __future__ import annotations

from typing import Literal

from metercap.asks import Asks
from metercap.contact import Burst
from metercap.judging.judge import Judgement, Limits
from metercap.plankeys import SafeStep
from metercap.quantity import Quantity, format_value
from metercap.reading import Reading
from metercap.records import CueKind, Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.facts import InForce, SafeFacts
from metercap.steps.machine import Machine
from metercap.steps.safe.table import TABLE, SafeSign, SafeState

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
UNPROVED = "the meter was not proved on a live source"
HAZARD_DC_V = 60.0
HAZARD_AC_V = 30.0
"""Above these a voltage concerns people: 60 V dc, 30 V rms (IEC 61010-031)."""


def is_live(reading: Reading) -> bool:
    """Return whether a reading in volts shows more than a dead point may have; over-range is more than any."""
    return reading.value is None or abs(reading.value) > DEAD_V


class Safe(Machine):
    """Source, a lift off it, every point in dc, every point in ac, source again."""

    shows_contact = False
    TABLE = TABLE

    def __init__(self, step: SafeStep, bench: Bench) -> None:
        super().__init__(step, bench, SafeState.BEFORE)
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
        self._pair: tuple[Reading, Reading] | None = None
        """The two conversions that something was made of last."""
        self._source_v: float | None = None
        """What the source read, while the lift off it has not been seen."""
        self._asked_s = 0.0
        """When the point in turn was asked for last."""
        self._limits = Limits(-DEAD_V, DEAD_V, "V", step.rule or bench.rule)

    @property
    def item(self) -> str:
        """The point in turn, else the step itself (its source)."""
        return self._round[self._at][0] if self.state in (SafeState.POINT, SafeState.ANSWERED) else self.step.id

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Volts dc for the source and the first round, ac for the second."""
        if self.state in (SafeState.POINT, SafeState.ANSWERED):
            return (self._round[self._at][1],)
        return (Quantity.VOLTAGE_DC,)

    def facts(self) -> SafeFacts:
        """Where the proof stands."""
        part: Literal["before", "lift", "point", "after"] = "point"
        if self.state in (SafeState.BEFORE, SafeState.LIFT):
            part = "before" if self.state is SafeState.BEFORE else "lift"
        elif self.state in (SafeState.AFTER, SafeState.END):
            part = "after"
        return SafeFacts(
            part=part,
            source=self._step.source,
            quantity=self.wanted[0],
            heard=self.state is SafeState.ANSWERED,
            live=self._stopped,
            done=self._at,
            of=len(self._round),
            limits=InForce.of(self._limits) if part == "point" else None,
        )

    def start(self) -> None:
        """Ask for the source."""
        self.asks()

    @property
    def has_behind(self) -> bool:
        """False where nothing of the step is done."""
        return self.state is not SafeState.BEFORE

    def resume(self) -> None:
        """Prompt for the source or the point in turn."""
        if self.state in (SafeState.POINT, SafeState.ANSWERED):
            point, quantity = self._round[self._at]
            how = "dc" if quantity is Quantity.VOLTAGE_DC else "ac"
            text = f"{point}, volts {how}: hold both tips on it, say yes, hold on until the tick"
            self._asked_s = self.bench.t_s
            self.bench.prompt(Do.ANSWER, point, text, quantity=quantity, asks=Asks.POINT)
        elif self.state is SafeState.LIFT:
            self.say(Do.LIFT, f"lift both tips off {self._step.source}; the points come next")
        else:
            again = " again" if self.state is SafeState.AFTER else ""
            self.say(Do.PROBE, f"probe {self._step.source}{again}: the meter must show at least {SOURCE_V:g} V")

    def drop(self) -> None:
        """What was gathered, and a `yes` not yet used, are worth nothing."""
        self._burst = Burst(self.bench.t_s)

    def asks(self) -> None:
        """Ask for the source or a point anew, and have the dial set for it."""
        self._burst = Burst(self.bench.t_s)
        self._stopped = False
        self.bench.changed()
        self.want()
        self.resume()

    # --- the source

    def source(self) -> SafeSign | None:
        """Take a new conversion while the source is asked for."""
        if self.reading is None:
            return None
        self._burst.feed(self.reading)
        plateau = self._burst.plateau()
        if plateau is None:
            return None
        least_v = SOURCE_V + plateau.resolution
        return None if plateau.low < least_v and plateau.high > -least_v else SafeSign.SHOWN

    def _show_source(self, when: str) -> None:
        plateau = self._burst.plateau()
        if plateau is None:
            raise AssertionError("a source without a value")
        shown = format_value(plateau.value, "V", plateau.resolution)
        self.bench.note(f"{self._step.source} reads {shown} {when} the points")
        self.bench.cue(CueKind.PASS, self.step.id)

    def say_wanted(self) -> None:
        """A yes proves no source: only its voltage does."""
        block = self.bench.block
        first = f"{block.say}, then " if block is not None else ""
        self.bench.note(f"no yes is wanted: {first}probe {self._step.source}, its voltage is the answer")

    def proved_before(self) -> None:
        """The meter shows a live source."""
        self._show_source("before")
        self._source_v = None if self.reading is None else self.reading.value

    def proved_after(self) -> None:
        """The meter still shows it."""
        self._show_source("after")
        self._conclude()

    def skip_before(self) -> None:
        """The source was not shown: nothing is proved."""
        self._missing.append(UNPROVED)
        self._source_v = None if self.reading is None else self.reading.value

    def skip_after(self) -> None:
        """It was not shown once more."""
        self._missing.append(UNPROVED)
        self._conclude()

    def any_points(self) -> SafeSign:
        """Look whether the plan names any."""
        return SafeSign.POINTS if self._round else SafeSign.NO_POINTS

    # --- the lift off it

    def lifting(self) -> SafeSign | None:
        """Take a new conversion while the lift is asked for: two dead ones show it, a voltage stops."""
        if self.reading is not None:
            self._burst.feed(self.reading)
        pair = self._pair = self._burst.pair
        if pair is None:
            return None
        if not any(is_live(each) for each in pair):
            return SafeSign.TIPS_OFF
        live = all(is_live(each) and not self._like_source(each) for each in pair)
        return SafeSign.LIVE if live and not self._stopped else None

    def lift_first(self) -> None:
        """A `yes` is none of a point before the lift was seen."""
        self.bench.cue(CueKind.LIFT, self.item)
        self.resume()

    def to_points(self) -> None:
        """The points come next."""
        self._source_v = None

    def skip_lift(self) -> None:
        """Go on without it: what the first point reads may be the source's."""
        self._missing.append("no lift off the source was seen")
        self._source_v = None

    def _like_source(self, reading: Reading) -> bool:
        """Return whether a reading is what the source read: the tips have not moved."""
        if self._source_v is None or reading.value is None:
            return False
        near = max(SOURCE_COUNTS * reading.resolution, SOURCE_SHARE * abs(self._source_v))
        return abs(reading.value - self._source_v) <= near

    # --- a point

    def watch(self) -> SafeSign | None:
        """Take a new conversion at a point: a settled voltage is said at once."""
        if self.reading is None:
            return None
        self._burst.feed(self.reading)
        pair = self._pair = self._burst.pair
        if pair is None:
            return None
        live = all(is_live(each) for each in pair)
        if live == self._stopped:
            return None
        return SafeSign.LIVE if live else SafeSign.DEAD_AGAIN

    def stop(self) -> None:
        """It is live."""
        if self._pair is not None:
            self._live(self._pair[-1])

    def over_again(self) -> None:
        """It is dead again: the point is asked for once more."""
        self._stopped = False
        self.resume()

    def hear(self) -> SafeSign:
        """The operator says yes: look whether a hand can have reached the point."""
        if self.bench.blocked:
            return SafeSign.HELD_BACK
        return SafeSign.SOON if self.bench.t_s < at(self._asked_s + YES_S) else SafeSign.HEARD

    def say_again(self) -> None:
        """A block stands: the yes is none."""
        self.bench.cue(CueKind.AGAIN, self.item)

    def too_soon(self) -> None:
        """No hand is so fast."""
        self.bench.note(f"too soon: both tips on {self.item} first, then yes, and hold on until the tick")
        self.bench.cue(CueKind.AGAIN, self.item)

    def heard(self) -> None:
        """What the meter shows from now on is judged; before, the tips may have been in air."""
        self._burst = Burst(self.bench.t_s, first_is_whole=True)

    def two_values(self) -> SafeSign | None:
        """Take a new conversion after the yes: two of them, both dead, prove the point."""
        if self.reading is not None:
            self._burst.feed(self.reading)
        pair = self._pair = self._burst.pair
        if pair is None:
            return None
        if any(is_live(each) for each in pair):
            return SafeSign.LIVE
        return SafeSign.DEAD if self._worst(pair).verdict is VerdictKind.PASS else SafeSign.COARSE

    def _worst(self, pair: tuple[Reading, Reading]) -> Judgement:
        judged = [self.bench.judge.judge(each, self._limits) for each in pair]
        return max(judged, key=lambda each: abs(each.value))

    def stop_after_yes(self) -> None:
        """It is live, and the yes is used up."""
        self._live([each for each in self._pair or () if is_live(each)][-1])
        self._burst = Burst(self.bench.t_s)

    def too_coarse(self) -> None:
        """Both are about zero, in a range too coarse to prove it."""
        pair = self._pair
        if pair is None:
            return
        self._burst = Burst(self.bench.t_s)
        self.bench.cue(CueKind.AGAIN, self.item)
        count = format_value(self._worst(pair).resolution, "V")
        text = f"one count is {count}, too coarse to prove it dead: take a lower range"
        wanted = self.wanted
        self.bench.urge(Do.DIAL, None, text, quantity=wanted[0], dial=wanted, range="finer")

    def prove(self) -> None:
        """The point is dead in this quantity."""
        pair = self._pair
        if pair is None:
            raise AssertionError("proved without two values")
        point, quantity = self._round[self._at]
        self._unproved.pop((point, quantity), None)
        ac = quantity is Quantity.VOLTAGE_AC
        reason = f"volts {'ac' if ac else 'dc'}, by the operator's yes"
        half = (point, Quantity.VOLTAGE_DC) in self._unproved
        self.bench.give(
            self.item,
            VerdictKind.UNSURE if half else VerdictKind.PASS,
            judged=self._worst(pair),
            limits=self._limits,
            reason=f"{reason}; not proved dead in volts dc" if half else reason,
            n=2,
            from_s=pair[0].t_s,
            settled=self._burst.plateau() is not None,
        )
        self._on()

    def _live(self, reading: Reading) -> None:
        self._stopped = True
        self.bench.volts_s = self.bench.t_s
        high = HAZARD_DC_V if reading.quantity is Quantity.VOLTAGE_DC else HAZARD_AC_V
        hazard = reading.value is None or abs(reading.value) > high
        self.bench.cue(CueKind.HAZARD if hazard else CueKind.STOP, self.item)
        shown = "over-range" if reading.value is None else format_value(reading.value, "V", reading.resolution)
        at_point = self.state is not SafeState.LIFT
        where = f"at {self.item}" if at_point else "under the tips, and not the source's value"
        then = "then hold both tips on it again and say yes" if at_point else "lift both tips"
        self.say(
            Do.STOP,
            f"{shown} {where}: it is live. Disconnect the supply and every cell, discharge through a resistor, "
            f"not a short; {then}",
            asks=Asks.VOLTS,
        )

    def _on(self) -> None:
        self._at += 1
        while self._at < len(self._round) and self._round[self._at][0] in self._absent:
            self._at += 1

    def what_next(self) -> SafeSign:
        """Find the next point that the unit has."""
        return SafeSign.POINT if self._at < len(self._round) else SafeSign.NONE

    def skip_point(self) -> None:
        """The point was not proved."""
        self._unproved[self._round[self._at]] = None
        self.bench.give(self.item, VerdictKind.UNSURE, reason="not proved dead")
        self._on()

    def absent_point(self) -> None:
        """This unit has no such point."""
        self._absent[self.item] = None
        self._unproved.pop(self._round[self._at], None)
        self.bench.give(self.item, VerdictKind.ABSENT)
        self._on()

    def back(self) -> None:
        """Go back to the point before."""
        self._at = max(0, self._at - 1)
        self._absent.pop(self._round[self._at][0], None)

    def skip_step(self) -> None:
        """End without proof."""
        self._missing.append("the step was skipped")
        left = self._round[self._at :] if self.state is not SafeState.AFTER else []
        for point in dict.fromkeys(point for point, _ in left if point not in self._absent):
            self.bench.give(point, VerdictKind.UNSURE, reason="not proved dead")
        self._conclude()

    def _conclude(self) -> None:
        passed_over = dict.fromkeys(point for point, _ in self._unproved if point not in self._absent)
        missing = [*self._missing, *(f"{point} was not proved dead" for point in passed_over)]
        if all(point in self._absent for point in self._step.points):
            missing.append("no point was measured")
        verdict = VerdictKind.UNSURE if missing else VerdictKind.PASS
        reason = "; ".join(missing) or "meter proved on a live source before and after, points dead in dc and ac"
        self.bench.give(self.step.id, verdict, reason=reason)
