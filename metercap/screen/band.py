"""Where a trimmer is: band, guarded inner part, hazardous side, and where it will stop at the present speed. Pure."""

from __future__ import annotations

import math

import msgspec

from metercap.metrology import reading_budget
from metercap.reading import Reading
from metercap.screen.plandata import StepInfo, reference_value
from metercap.screen.state import BenchState, conversions
from metercap.steps.tune.turning import REACTION_S

SPEED_OVER_S = 0.6
"""The speed is taken over this long, or over two conversions of a slower meter: it follows the hand, not the past."""


class Field(msgspec.Struct, frozen=True):
    """The ground of a trimmer, in SI.

    The value is good from `low` to `high`, proved good from `inner_low` to `inner_high` (equal ends when the meter
    cannot prove any). `now` is the live value, `found` where it came from, `stop_at` where it will be when a hand that
    stops now has stopped. `resolution` is the last digit's weight.
    """

    target: float
    low: float
    high: float
    inner_low: float
    inner_high: float
    unit: str
    resolution: float
    now: float | None = None
    found: float | None = None
    stop_at: float | None = None
    never_below: float | None = None
    never_above: float | None = None

    @property
    def to_go(self) -> float:
        """Signed way from the live value to the nearest proved-good value; 0.0 when there, or without a value."""
        if self.now is None:
            return 0.0
        return min(max(self.now, self.inner_low), self.inner_high) - self.now

    @property
    def inside(self) -> bool:
        """Whether the live value is in the proved-good part."""
        return self.now is not None and self.inner_low <= self.now <= self.inner_high

    def share(self, value: float) -> float:
        """Where `value` stands on the ground, from 0 (left) to 1 (right).

        The band keeps the middle fifth, drawn true; further out equal ratios of distance take equal room, so
        that the way still to go shows from far off and never changes its scale. All that matters is on the ground.
        """
        half = (self.high - self.low) / 2 or self.resolution or 1.0
        away = (value - (self.low + self.high) / 2) / half
        if abs(away) <= 1:
            return 0.5 + 0.1 * away
        marks = [self.found, self.never_below, self.never_above]
        reach = max([abs(mark - self.target) / half for mark in marks if mark is not None] + [10.0]) * 1.6
        return 0.5 + math.copysign(0.1 + 0.4 * min(1.0, math.log(abs(away)) / math.log(reach)), away)


def field(state: BenchState, step: StepInfo, item: str) -> Field | None:
    """The ground of a tune step's item, or None when its target is not known yet."""
    found = state.found.get(item)
    target = _target(state, step, item, found)
    if target is None:
        return None
    half = step.tolerance if step.tolerance is not None else (step.tolerance_share or 0.0) * abs(target)
    profile = state.session.meter if state.session is not None else None
    reading = state.reading if state.touch is not None or state.reading is None else None
    guard = resolution = 0.0
    if state.reading is not None and profile is not None:
        resolution = state.reading.resolution
        simple = state.session is not None and state.session.plan.get("rule") == "simple"
        if not simple and resolution > 0:
            guard = reading_budget(target, resolution, state.reading.quantity, profile).expanded
    inner = max(half - guard, 0.0)
    of = step.target if step.target is not None else reference_value(state.session, step.id, item)
    return Field(
        target=target,
        low=target - half,
        high=target + half,
        inner_low=target - inner,
        inner_high=target + inner,
        unit=step.unit or "ohm",
        resolution=resolution,
        now=state.corrected(reading),
        found=found,
        stop_at=_stop_at(state, reading),
        never_below=_edge(step.never_below, step.never_below_share, of),
        never_above=_edge(step.never_above, step.never_above_share, of),
    )


def _edge(value: float | None, share: float | None, of: float | None) -> float | None:
    """A hazardous side; a share of the plan's value or the good unit's, never of what `undo` goes back to."""
    return value if share is None else None if of is None else share * of


def _target(state: BenchState, step: StepInfo, item: str, found: float | None) -> float | None:
    if state.undone:
        return found
    if step.target is not None:
        return step.target
    return reference_value(state.session, step.id, item) if step.target_word == "reference" else found


def _stop_at(state: BenchState, reading: Reading | None) -> float | None:
    """Value + speed × (T + reaction); None when that is less than two counts away."""
    if reading is None or state.session is None:
        return None
    period_s = state.session.meter.conversion_s(reading.quantity)
    steady = [one for one in conversions(state.readings, period_s) if one.quantity == reading.quantity]
    recent = [one for one in steady if steady[-1].t_s - one.t_s <= SPEED_OVER_S]
    if len(recent) < 2:
        recent = steady[-2:]
    if len(recent) < 2 or recent[0].t_s >= recent[-1].t_s:
        return None
    first, last = state.corrected(recent[0]), state.corrected(recent[-1])
    if first is None or last is None:
        return None
    ahead = (last - first) / (recent[-1].t_s - recent[0].t_s) * (period_s + REACTION_S)
    return last + ahead if abs(ahead) > 2 * reading.resolution else None
