"""Judging one value against limits: lead null, uncertainty and decision rule in one place.

Formulas and sources are in `metercap.metrology`; this module only says which of them a step's verdict uses.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import msgspec

from metercap.judging.coarse import Ranges
from metercap.judging.good import BY_REFERENCE, Against, Goods, Likeness
from metercap.meter import MeterProfile
from metercap.metrology.budget import Budget, LeadNull, reading_budget
from metercap.metrology.decide import Rule, decide
from metercap.metrology.domain import round6
from metercap.metrology.pair import measured
from metercap.metrology.series import Scatter
from metercap.plankeys import Item, WalkStep
from metercap.quantity import Quantity
from metercap.reading import Reading
from metercap.records import VerdictKind

RECORDED = "recorded: no limit given"
NO_REFERENCE = "no limit: it comes from a good unit, and none is known"
CACHED_BUDGETS = 1024
"""A meter shows the same few values again and again, and what they are worth follows from them alone."""


class Held(msgspec.Struct, frozen=True):
    """What a verdict says it was judged by: the rule's name, empty where nothing judged, and its limits in SI."""

    rule: str = ""
    low: float | None = None
    high: float | None = None


class Limits(msgspec.Struct, frozen=True):
    """What a value must lie between, in SI, ends included; None is no limit. `rule` is "guarded" or "simple".

    `against`: the good units that a value without limits is held against, or None. `lacking`: the limit is to come from
    a good unit, and none is known: nothing passes.
    """

    low: float | None
    high: float | None
    unit: str
    rule: Rule
    against: Against | None = None
    lacking: bool = False

    @property
    def none(self) -> bool:
        """True when there is nothing to judge against."""
        return self.low is None and self.high is None

    @property
    def held(self) -> Held:
        """What a verdict by these limits says it was judged by."""
        return Held("" if self.none else self.rule, self.low, self.high)


class Judgement(msgspec.Struct, frozen=True, omit_defaults=True):
    """A value after lead null, its `expanded` uncertainty, and what the rule says of it.

    `quantity` and `budget` say what U rests on, None where that is not known. `likeness` is there where good units
    judged.
    """

    verdict: VerdictKind
    value: float
    expanded: float
    resolution: float
    reason: str
    quantity: Quantity | None = None
    budget: Budget | None = None
    likeness: Likeness | None = None

    @property
    def bare(self) -> Judgement:
        """The same without what U rests on: the form that a journal's first record can carry."""
        return Judgement(self.verdict, self.value, self.expanded, self.resolution, self.reason)

    def held(self, limits: Limits) -> Held:
        """Return what it was judged by, given the limits it was judged against."""
        if self.likeness is None:
            return limits.held
        expected = self.likeness.expected
        return Held(BY_REFERENCE, round6(expected.low), round6(expected.high))


class Judge:
    """Judges values off one meter: holds its profile and the lead nulls taken so far, by function and range.

    What a scpi meter writes follows the value's decade, not the range that the step has set, so there a null holds for
    the function.
    """

    __slots__ = ("_below", "_budget", "_by_range", "_leads", "profile", "ranges")

    def __init__(self, profile: MeterProfile) -> None:
        self.profile = profile
        self.ranges = Ranges(profile)
        self._leads: dict[tuple[Quantity, float], LeadNull] = {}
        self._below: dict[tuple[Quantity, float], float] = {}
        self._by_range = profile.family != "scpi"
        self._budget = lru_cache(CACHED_BUDGETS)(self._new_budget)

    @property
    def leads(self) -> Mapping[tuple[Quantity, float], LeadNull]:
        """The lead nulls taken so far, by function and range."""
        return self._leads

    def keep_lead(self, quantity: Quantity, resolution: float, null: LeadNull) -> None:
        """Take over a null of an earlier session, of this function and range."""
        self._leads[quantity, resolution] = null
        self._below[quantity, resolution] = null.below

    def lead(self, reading: Reading) -> LeadNull | None:
        """Return the lead null that holds for this reading, or None."""
        return self._leads.get(self._key(reading))

    def take_lead(self, reading: Reading, null: LeadNull) -> None:
        """Take `null`, read like `reading`, off later values of its function and range."""
        self._leads[self._key(reading)] = null
        self._below[self._key(reading)] = null.below

    def _key(self, reading: Reading) -> tuple[Quantity, float]:
        return reading.quantity, reading.resolution if self._by_range else 0.0

    def floor(self, reading: Reading) -> float:
        """Return the value below which only a voltage in the circuit can bring a resistance: −(2 counts + U).

        U is that of a null and of the noise that was seen while it was taken (see `LeadNull.below`); 0 without a null.
        The noise of the contact itself never enters: a voltage that comes and goes would hide in it.
        """
        return -(2.0 * reading.resolution + self._below.get(self._key(reading), 0.0))

    def noise(self, reading: Reading) -> float:
        """Return the noise that the null of this function and range showed, a standard deviation; 0 under a count."""
        lead = self.lead(reading)
        return 0.0 if lead is None else lead.noise

    def corrected(self, reading: Reading) -> float:
        """Return the reading's value less the lead null, rounded to 6 significant digits where there is one."""
        value = reading.value if reading.value is not None else 0.0
        lead = self.lead(reading) if self._leads else None
        return value if lead is None else round6(value - lead.value)

    def budget(
        self,
        reading: Reading,
        *,
        value: float | None = None,
        conversions: Sequence[float] = (),
        contacts: Sequence[float] = (),
        spread: Scatter | None = None,
        k: float | None = None,
    ) -> Budget:
        """Return the budget of `value` (already corrected; default: the reading's own) in the reading's range.

        The meter's accuracy holds for what it displayed, so the leads are put back on a corrected value.
        """
        return self._worth(reading, value, conversions, contacts, spread, k)[0]

    def _worth(
        self,
        reading: Reading,
        value: float | None,
        conversions: Sequence[float],
        contacts: Sequence[float],
        spread: Scatter | None,
        k: float | None,
    ) -> tuple[Budget, float]:
        """Return the budget and its expanded uncertainty."""
        lead = self.lead(reading)
        displayed = reading.value if reading.value is not None else 0.0
        if value is not None:
            displayed = value if lead is None else round6(value + lead.value)
        return self._budget(
            displayed, reading.resolution, reading.quantity, tuple(conversions), tuple(contacts), spread, lead, k
        )

    def _new_budget(
        self,
        displayed: float,
        resolution: float,
        quantity: Quantity,
        conversions: tuple[float, ...],
        contacts: tuple[float, ...],
        spread: Scatter | None,
        lead: LeadNull | None,
        k: float | None,
    ) -> tuple[Budget, float]:
        budget = reading_budget(
            displayed,
            resolution,
            quantity,
            self.profile,
            conversions=conversions,
            contacts=contacts,
            spread=spread,
            lead=lead,
            k=k,
        )
        return budget, budget.expanded

    def expanded(self, reading: Reading, *, value: float | None = None) -> tuple[float, str]:
        """Return U of `value` (already corrected; default: the reading's own), and the budget's reason."""
        budget, expanded = self._worth(reading, value, (), (), None, None)
        return expanded, budget.reason

    def judge(
        self,
        reading: Reading,
        limits: Limits,
        *,
        value: float | None = None,
        conversions: Sequence[float] = (),
        contacts: Sequence[float] = (),
        spread: Scatter | None = None,
        k: float | None = None,
    ) -> Judgement:
        """Judge `reading`, or `value` (already corrected) taken in the reading's range, against `limits`.

        `conversions` are the values it rests on, `contacts` one value for each separate contact, in SI; `spread` is
        that of contacts where it is known from more than these, `k` a fixed coverage factor. Without limits the verdict
        is a pass that only records.
        """
        budget, expanded = self._worth(reading, value, conversions, contacts, spread, k)
        corrected = self.corrected(reading) if value is None else value
        return judged(corrected, expanded, reading.resolution, limits, reading.quantity, budget)


def judged(
    value: float,
    expanded: float,
    resolution: float,
    limits: Limits,
    quantity: Quantity | None = None,
    budget: Budget | None = None,
) -> Judgement:
    """Apply the decision rule to a value whose U is known; without limits hold it against good units, or record it.

    `quantity` and `budget` are what U rests on. Good units never fail a value: it is like theirs, or `unsure`.
    """
    verdict, reason, likeness = VerdictKind.PASS, RECORDED, None
    if limits.lacking:
        verdict, reason = VerdictKind.UNSURE, NO_REFERENCE
    elif not limits.none:
        decision = decide(value, expanded, limits.low, limits.high, limits.rule, resolution)
        verdict, reason = decision.verdict, decision.reason
    elif limits.against is not None and limits.against.apart:
        reason = f"{RECORDED}; not comparable with {limits.against.good.who}: {limits.against.apart}"
    elif limits.against is not None:
        likeness = limits.against.likeness(measured(value, expanded, resolution, quantity, budget))
        verdict = VerdictKind.UNSURE if likeness.differs else VerdictKind.PASS
        reason = likeness.said(limits.against.good)
    both = "; ".join(part for part in (reason, "" if budget is None else budget.reason) if part)
    return Judgement(verdict, value, expanded, resolution, both, quantity, budget, likeness)


def limits_of(step: WalkStep, item: Item, rule: Rule, goods: Goods | None = None, *, good: bool = False) -> Limits:
    """Return the limits of one item of a step: its own where it has any, else the step's; `rule` is the plan's.

    Without any, `goods` take their place: a fuse whose type has no table takes its limit from them, others are held
    against them. `good`: this unit is itself a good one, whose values are only recorded.
    """
    own = item.min is not None or item.max is not None
    low, high = (item.min, item.max) if own else (step.min, step.max)
    unit = step.unit or step.wanted[0].unit
    against = None
    if goods is not None and low is None and high is None:
        against = goods.against(step.id, item, unit)
        if against is not None and item.type is not None and not against.apart:
            high, against = against.good.fuse_max, None
    lacking = item.type is not None and (low, high, against) == (None, None, None) and not good
    return Limits(low, high, unit, step.rule or rule, against, lacking)
