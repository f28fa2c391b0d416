"""Ranges: how finely a meter can show a value at all, as far as its profile tells."""

from __future__ import annotations

import math

from metercap.meter import MeterProfile
from metercap.quantity import Quantity

COUNTS = 2000.0
"""Counts of a meter whose profile does not tell them: the fewest that are common (common practice, no source)."""
DECADE = 10.0
"""From one range to the next."""
IN_OHMS = (Quantity.RESISTANCE, Quantity.CONTINUITY)


def resolution_at(profile: MeterProfile, quantity: Quantity, value: float) -> float | None:
    """Return the finest resolution, SI, in which this meter can show `value`; None where its profile does not tell.

    From the accuracy table's ranges; else from the frame tables' digit weights; else from its counts, in decades from
    its lowest ohm range (that of continuity, see the profile) upwards. A range shows up to `counts` of its digits.
    """
    counts = profile.counts
    if counts is None:
        return None
    steps = sorted({row.resolution for row in profile.accuracy if row.quantity == quantity and row.resolution})
    steps = steps or sorted(_weights(profile, quantity))
    if not steps:
        lowest = 1e-12
        if quantity in IN_OHMS and profile.continuity_ceiling_ohm is not None:
            lowest = 10.0 ** round(math.log10(profile.continuity_ceiling_ohm / counts))
        needed = abs(value) / counts
        exponent = math.ceil(math.log10(max(needed, lowest)) - 1e-9)
        return float(f"1e{exponent}")
    return next((step for step in steps if abs(value) <= counts * step * 1.000001), None)


def _weights(profile: MeterProfile, quantity: Quantity) -> set[float]:
    """Return the digit weights of a quantity's ranges, of a profile whose frames carry a range code."""
    weights, codes = profile.tables.get("weights", {}), set()
    for name, meant in profile.tables.get("quantities", {}).items():
        if meant == quantity and name.split():
            codes.add(name.split()[0])
    return {float(weight) for key, weight in weights.items() if key[:-1] in codes}


def too_coarse(profile: MeterProfile, quantity: Quantity, value: float, resolution: float, half: float) -> bool:
    """Return whether digits of `resolution` say nothing of a value in a band of ±`half`, and a finer range would.

    All in SI. The digit is larger than half the band, and the meter can show the value more finely; a profile that does
    not tell is taken for a meter of COUNTS. Degenerate: no digit known, `resolution` 0, is never too coarse.
    """
    if resolution <= half:
        return False
    finest = resolution_at(profile, quantity, value)
    if finest is None:
        finest = resolution / DECADE if abs(value) < COUNTS * resolution / DECADE else resolution
    return resolution > finest * 1.000001
