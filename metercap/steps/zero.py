"""zero: tips together; the lead resistance and its scatter are taken off later ohms of that function and range.

A second `zero` later in the plan shows what the leads did meanwhile: a drift beyond U makes near verdicts `unsure`.
"""

from __future__ import annotations

from enum import StrEnum

from metercap.contact import Burst
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
from metercap.steps.machine import Given, Machine, Row, words_rows

CONVERSIONS = 3
"""Whole conversions in one range that a lead null rests on."""
NOISY_CONVERSIONS = 10
"""As many where they scatter by more than a count: the null also says how much noise is no voltage in the circuit."""
STILL_SHARE = 0.1
"""Tips rest too where so many conversions stay within this share of what leads may have: noise, not scraping."""


class S(StrEnum):
    """States: asking for the tips together, tips together, ended."""

    SHORT = "short"
    ON = "on"
    END = "end"


class Zero(Machine):
    """Waits for a settled contact of the tips with each other."""

    leads_off = False

    TABLE = {  # noqa: RUF012
        (S.SHORT, Given.CONTACT): Row("contact", (S.ON,)),
        (S.ON, Given.VALUE): Row("value", (S.ON, S.SHORT, S.END)),
        (S.ON, Given.ENDED): Row("ended", (S.SHORT,)),
        (S.SHORT, Given.GO): Row("stay", (S.SHORT,)),
        **words_rows(
            (S.SHORT, S.ON),
            {
                Given.AGAIN: Row("again", (S.SHORT,)),
                Given.SKIP: Row("skip", (S.END,)),
                Given.SKIP_STEP: Row("skip", (S.END,)),
                Given.ABSENT: Row("skip", (S.END,)),
            },
        ),
    }

    def __init__(self, step: ZeroStep, bench: Bench) -> None:
        super().__init__(step, bench, S.SHORT)
        self._step = step
        self._burst: Burst | None = None
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
        self.say(Do.SHORT, self.step.say or "hold the tips together, flat and still")

    def blocked(self) -> None:
        """What was gathered is worth nothing."""
        self._burst = None
        if self.state is S.ON:
            self.state = S.SHORT

    def contact(self) -> StrEnum:
        """The tips touch."""
        self._burst = self.bench.burst()
        return S.ON

    def ended(self) -> StrEnum:
        """The tips parted too soon, unless over-range hides the walk down, perhaps with the tips together."""
        burst, self._burst = self._burst, None
        hides = not self.bench.touch.ranging.shown
        if not (hides and burst is not None and walks_on(burst.first, None, self._step.max)):
            self.bench.cue(CueKind.AGAIN, self.item)
        return S.SHORT

    def value(self) -> StrEnum:
        """A new conversion."""
        reading, burst = self.reading, self._burst
        if reading is None or burst is None:
            return S.ON
        self.bench.ask_fixed_range(reading)
        burst.feed(reading)
        values = self._at_rest(burst)
        if not values:
            return S.ON
        if reading.resolution > self._step.warn:
            return self._too_coarse(reading)
        null = lead_null(values, reading.resolution)
        shown = format_value(null.value, "ohm", reading.resolution)
        if null.value > self._step.max:
            limit = format_value(self._step.max, "ohm")
            self.bench.cue(CueKind.AGAIN, self.item)
            self.bench.touch.block()
            self._burst = None
            self.say(Do.SHORT, f"leads read {shown}, above {limit}: clean or replace them, then tips together again")
            return S.SHORT
        return self._take(reading, null, shown, len(values), burst.kept[-len(values)].t_s)

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

    def _too_coarse(self, reading: Reading) -> StrEnum:
        if not self._coarse:
            self._coarse = True
            count = format_value(reading.resolution, "ohm")
            text = f"one count is {count} here: choose the lowest ohm range"
            self.bench.urge(Do.DIAL, None, text, quantity=Quantity.RESISTANCE, dial=(Quantity.RESISTANCE,), range="low")
        return S.ON

    def _take(self, reading: Reading, null: LeadNull, shown: str, n: int, from_s: float) -> StrEnum:
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
            from_s=from_s,
            settled=True,
        )
        if before is not None:
            self._drift(before, rounded, reading.resolution)
        self.bench.ticked = (self.step.id, self.item)
        self.done = True
        return S.END

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

    def again(self) -> StrEnum:
        """Begin anew."""
        self._burst = None
        self.start()
        return S.SHORT

    def skip(self) -> StrEnum:
        """No null: later values carry the leads."""
        self.bench.give(self.item, VerdictKind.UNSURE, reason="skipped: leads not nulled")
        self.done = True
        return S.END
