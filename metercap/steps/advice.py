"""What a fixed range would save: asked before the first item, with its reason, computed from the rules of contact.

On auto range every item costs a walk down through the ranges, a conversion or more in each, and where the walk hides
behind over-range the lift must be longer, so that a slip is not taken for one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from metercap.contact.lift import open_conversions
from metercap.contact.pace import Pace
from metercap.contact.ranging import Ranging, Walk
from metercap.meter import MeterProfile
from metercap.plankeys import StepBase
from metercap.quantity import Quantity

WORTH_S = 0.5
"""Less than this an item is not worth turning the dial."""
SLOW_S = 0.4
"""From this T on an item is slow enough for measuring it to be worth a pencil line."""
PENCIL = (
    "how fast this meter converts is not known yet and is taken as slow; it is learned on the way. To save time now, "
    "with nothing connected and before the first item: set it to ohms and hold both tips for three seconds on a pencil "
    "line on paper"
)


def saved_s(ranging: Ranging, pace: Pace, recontact_s: float) -> float:
    """Return what an item takes longer on auto range than in the lowest fixed one, in seconds.

    (ranges walked + conversions added to the lift) × T: n where the walk hides (2n instead of n), one where only its
    range shows, none where it is shown. Before any contact it counts as hidden, since it is treated so.
    """
    n = open_conversions(recontact_s, pace)
    added = {Walk.HIDDEN: n, Walk.RANGED: 1, Walk.SHOWN: 0}[ranging.walk]
    return (ranging.expected + added) * pace.conversion_s


def fixed_range_text(seconds: float, *, hides: bool, continuity: bool) -> str:
    """Return the prompt: what to do, what it saves, and why."""
    where = "or set the dial to continuity, or fix the lowest ohm range" if continuity else "fix the lowest ohm range"
    why = "this meter hides its ranging behind OL, so a slip can look like a lift" if hides else ""
    why = why or "auto range walks through its ranges at every item and needs a longer lift"
    return f"{where.removeprefix('or ')} if the meter can: about {max(1, round(seconds))} s an item less; {why}"


def pencil_line(profile: MeterProfile, known: Mapping[Quantity, float], steps: Sequence[StepBase]) -> str:
    """Return the offer to measure T before the first item; empty where it is known, not slow, or would be in the way.

    Where the first step is in ohms, the line would be taken for its first item.
    """
    later = any(step.in_ohms for step in steps[1:]) and not steps[0].in_ohms
    unknown = Quantity.RESISTANCE not in known
    return PENCIL if later and unknown and profile.conversion_s(Quantity.RESISTANCE) >= SLOW_S else ""
