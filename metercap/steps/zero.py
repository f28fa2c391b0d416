"""zero: tips together; the lead resistance and its scatter are taken off later ohms of that function and range.

A second `zero` later in the plan shows what the leads did meanwhile: a drift beyond U makes near verdicts `unsure`.
"""

from __future__ import annotations

from enum import StrEnum

from metercap.contact import Act, Burst
from metercap.judging.coarse import walks_on
from metercap.judging.judge import Judgement, Limits
from metercap.metrology.budget import Budget, LeadNull, lead_null
from metercap.metrology.components import Component
from metercap.metrology.domain import round6
from metercap.metrology.series import sd
from metercap.plankeys import ZeroStep
from metercap.quantity import Quantity, format_value
from metercap.reading import Reading
from metercap.records import CueKind, Do, VerdictKind
from metercap.steps.bench import Bench
from metercap.steps.facts import InForce, ZeroFacts
from metercap.steps.machine import Cells, Given, Look, Machine, Row, table

CONVERSIONS = 3
"""Whole conversions in one range that a lead null rests on."""
NOISY_CONVERSIONS = 10
"""As many where they scatter by more than a count: the null also says how much noise is no voltage in the circuit."""
STILL_SHARE = 0.1
"""Tips rest too where so many conversions stay within this share of what leads may have: noise, not scraping."""


class ZeroState(StrEnum):
    """States: asking for the tips together, tips together, ended."""

    SHORT = "short"
    ON = "on"
    END = "end"


class ZeroSign(StrEnum):
    """What a conversion turns out to be."""

    SETTLED = "settled"
    COARSE = "settled, too coarse"
    HIGH = "settled, too high"


_State, _Sign = ZeroState, ZeroSign

_WORDS: Cells = {
    Given.AGAIN: Row("forget", _State.SHORT, asks=True),
    Given.SKIP: Row("skip", _State.END),
    Given.SKIP_STEP: Row("skip", _State.END),
    Given.ABSENT: Row("skip", _State.END),
}


class Zero(Machine):
    """Waits for a settled contact of the tips with each other."""

    leads_off = False
    TABLE = table(
        {
            _State.SHORT: {
                **_WORDS,
                Given.CONTACT: Row("contact", _State.ON),
                Given.DUE: Row("waiting", None),
                Given.BLOCKED: Row("drop", None),
            },
            _State.ON: {
                **_WORDS,
                Given.VALUE: Look("settle", (_Sign.SETTLED, _Sign.COARSE, _Sign.HIGH)),
                _Sign.SETTLED: Row("take", _State.END),
                _Sign.COARSE: Row("too_coarse", None),
                _Sign.HIGH: Row("too_high", _State.SHORT),
                Given.ENDED: Row("ended", _State.SHORT),
                Given.BLOCKED: Row("drop", _State.SHORT),
            },
        }
    )

    def __init__(self, step: ZeroStep, bench: Bench) -> None:
        super().__init__(step, bench, ZeroState.SHORT)
        self._step = step
        self._burst: Burst | None = None
        self._values: list[float] = []
        """The conversions that the null may rest on."""
        self._coarse = False
        self._limits = Limits(None, step.max, "ohm", step.rule or bench.rule)

    def facts(self) -> ZeroFacts:
        """What leads may read."""
        return ZeroFacts(warn_ohm=self._step.warn, max_ohm=self._step.max, limits=InForce.of(self._limits))

    def start(self) -> None:
        """Ask for the tips together."""
        self.bench.changed()
        self.resume()

    def resume(self) -> None:
        """Prompt for the tips together."""
        self.arm()
        self.say(Do.SHORT, self.step.say or "hold the tips together, flat and still")

    def see(self, reading: Reading, act: Act, new: bool) -> None:
        """A contact that does not count is no silence."""
        if self.state is ZeroState.SHORT and act in (Act.SLIP, Act.HELD):
            self.deadline_s = None
        elif self.state is ZeroState.SHORT and act is Act.LIFT:
            self.arm()
        super().see(reading, act, new)

    def drop(self) -> None:
        """What was gathered is worth nothing."""
        self._burst = None
        self.deadline_s = None

    def contact(self) -> None:
        """The tips touch."""
        self.deadline_s = None
        self._burst = self.bench.burst()

    def ended(self) -> None:
        """The tips parted too soon, unless over-range hides the walk down, perhaps with the tips together."""
        burst, self._burst = self._burst, None
        hides = not self.bench.touch.ranging.shown
        if not (hides and burst is not None and walks_on(burst.first, None, self._step.max)):
            self.bench.cue(CueKind.AGAIN, self.item)
        self.arm()

    def settle(self) -> ZeroSign | None:
        """Take a new conversion of the tips together."""
        reading, burst = self.reading, self._burst
        if reading is None or burst is None:
            return None
        self.bench.ask_fixed_range(reading)
        burst.feed(reading)
        self._values = self._at_rest(burst)
        if not self._values:
            return None
        if reading.resolution > self._step.warn:
            return ZeroSign.COARSE
        null = lead_null(self._values, reading.resolution)
        return ZeroSign.HIGH if null.value > self._step.max else ZeroSign.SETTLED

    def _settled(self) -> tuple[Reading, LeadNull, str]:
        reading = self.reading
        if reading is None:
            raise AssertionError("settled without a reading")
        null = lead_null(self._values, reading.resolution)
        return reading, null, format_value(null.value, "ohm", reading.resolution)

    def too_high(self) -> None:
        """No leads have so much: something is wrong with them, or it is not them."""
        _, _, shown = self._settled()
        limit = format_value(self._step.max, "ohm")
        self.bench.cue(CueKind.AGAIN, self.item)
        self.bench.touch.block()
        self._burst = None
        self.say(Do.SHORT, f"leads read {shown}, above {limit}: clean or replace them, then tips together again")
        self.arm()

    def _at_rest(self, burst: Burst) -> list[float]:
        """Return the conversions that a null may rest on, or none yet.

        A quiet plateau does. Where it scatters by more than a count, or noise leaves none, as many as show the noise:
        choosing its quietest stretch would make it too small.
        """
        plateau = burst.plateau()
        if plateau is not None and plateau.n >= CONVERSIONS:
            values = [kept.value or 0.0 for kept in burst.kept[-plateau.n :]]
            if sd(values) <= plateau.resolution * 1.000001:
                return values
        values = [kept.value or 0.0 for kept in burst.kept[-NOISY_CONVERSIONS:]]
        if len(values) < NOISY_CONVERSIONS:
            return []
        still = plateau is not None or max(values) - min(values) <= STILL_SHARE * self._step.warn
        return values if still else []

    def too_coarse(self) -> None:
        """The range is too coarse for leads: said once."""
        if self._coarse or self.reading is None:
            return
        self._coarse = True
        count = format_value(self.reading.resolution, "ohm")
        text = f"one count is {count} here: choose the lowest ohm range"
        self.bench.urge(Do.DIAL, None, text, quantity=Quantity.RESISTANCE, dial=(Quantity.RESISTANCE,), range="low")

    def take(self) -> None:
        """Take the null, and look what the leads did since the one before."""
        reading, null, shown = self._settled()
        burst, n = self._burst, len(self._values)
        before = self.bench.judge.lead(reading)
        expanded = round6(2.0 * null.u)
        rounded = LeadNull(round6(null.value), round6(null.u), null.dof, round6(null.noise))
        self.bench.judge.take_lead(reading, rounded)
        reason = ""
        if null.value > self._step.warn:
            reason = f"leads read {shown}: clean or replace them"
        elif null.value < -2.0 * reading.resolution:
            reason = f"leads read {shown}, below zero: the meter's own offset"
        judged = Judgement(VerdictKind.PASS, rounded.value, expanded, reading.resolution, "")
        self.bench.give(
            self.item,
            VerdictKind.PASS,
            judged=judged,
            limits=self._limits,
            reason=reason,
            n=n,
            from_s=None if burst is None else burst.kept[-n].t_s,
            settled=True,
        )
        if before is not None:
            self._drift(before, rounded, reading.resolution)
        self.bench.ticked = (self.step.id, self.item)

    def _drift(self, before: LeadNull, now: LeadNull, resolution: float) -> None:
        """Make verdicts unsure that the leads' drift could have turned: those nearer to a limit than it, beyond U."""
        drift = abs(round6(now.value - before.value))
        within = Budget((Component("before", before.u, before.dof), Component("now", now.u, now.dof))).expanded
        if drift <= within:
            return
        shown = format_value(drift, "ohm", resolution)
        self.bench.note(f"the leads drifted by {shown} since they were nulled")
        nulls = [each.id for each in self.bench.steps if isinstance(each, ZeroStep)]
        for (step, item), verdict in list(self.bench.verdicts.items()):
            if verdict.unit != "ohm" or verdict.value is None or step in nulls:
                continue
            if verdict.verdict not in (VerdictKind.PASS, VerdictKind.FAIL):
                continue
            edges = [edge for edge in (verdict.min, verdict.max) if edge is not None]
            if all(abs(verdict.value - edge) - (verdict.expanded or 0.0) > drift for edge in edges):
                continue
            self.bench.replace(step, item, VerdictKind.UNSURE, f"leads drifted by {shown}")

    def forget(self) -> None:
        """Begin anew."""
        self._burst = None
        self.bench.changed()

    def skip(self) -> None:
        """No null: later values carry the leads."""
        self.bench.give(self.item, VerdictKind.UNSURE, reason="skipped: leads not nulled")
