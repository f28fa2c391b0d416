"""Asking: what a tune step says to the hands, in words."""

from __future__ import annotations

from metercap.asks import Asks, PromptFacts
from metercap.metrology.decide import provable, tightest_half_width
from metercap.quantity import format_value
from metercap.records import Do
from metercap.steps.tune.trimmers import Trimmers
from metercap.steps.tune.turning import Turning

SAME_SHARE = 0.02
"""As found and a good unit within this share are not worth a question where the plan has no tolerance (common practice,
no source: trimmers are set per unit)."""
_PHASES: dict[str, tuple[Do, str, PromptFacts]] = {
    "found": (Do.PROBE, "hold both tips on it, turn nothing yet: it is read as found", {"keep": True}),
    "turn": (Do.PROBE, "hold both tips on it, ready to turn", {"keep": True}),
    "lift": (Do.PROBE, "lift, then hold both tips on it, ready to turn", {"keep": True}),
    "touch": (Do.PROBE, "touch it again with both tips", {}),
    "stop": (Do.STOP, "take the tool away and hold both tips on it", {"asks": Asks.TOOL_AWAY, "keep": True}),
    "left": (Do.PROBE, "hold both tips on it: it is read as left", {}),
}
SAY_YES = "; open tips read about zero too: say yes when both are on"


def shown(trimmers: Trimmers, name: str, value: float) -> str:
    """Return a value with the digits that the trimmer was found with."""
    found = trimmers.found(name)
    return format_value(value, trimmers.unit, None if found is None else found.resolution)


def prompt(trimmers: Trimmers, name: str, phase: str, *, yes: bool = False) -> tuple[Do, str, PromptFacts]:
    """Return what to do with a trimmer in a phase, in words and as data; `yes`: contact does not show, it is said."""
    where = next((item.where or item.say for item in trimmers.step.items if item.name == name), "")
    do, text, facts = _PHASES[phase]
    past = trimmers.bench.standing.get(name)
    if past is not None and past.believed:
        text += f"; it stands past its limit, {past.side} {format_value(past.limit, past.unit)}"
    text += SAY_YES if yes else ""
    half = least(trimmers, name) if phase == "found" else None
    if half is not None:
        width = shown(trimmers, name, trimmers.band(name).tolerance)
        text += f"; its band of ±{width} is narrower than this meter can prove (±{shown(trimmers, name, half)})"
    return do, f"{name}, {where}: {text}" if where else f"{name}: {text}", facts


def undo(trimmers: Trimmers, name: str, found: float) -> str:
    """Return the question before going back past a hazard limit."""
    return f"{name}: as found, {shown(trimmers, name, found)}, lies past the hazard limit. Go back there? yes or no"


def turn(trimmers: Trimmers, name: str, turning: Turning) -> tuple[str, PromptFacts]:
    """Return what to turn to, in which band, and which side is hazardous, in words and as data."""
    band = turning.band
    within = f"{shown(trimmers, name, band.low)} to {shown(trimmers, name, band.high)}"
    text = f"{name}: turn toward {shown(trimmers, name, band.target)} ({within})"
    facts: PromptFacts = {"target": band.target, "low": band.low, "high": band.high, "unit": trimmers.unit}
    if band.never_below is not None:
        facts["never_below"] = band.never_below
        text += f", never below {shown(trimmers, name, band.never_below)}"
    if band.never_above is not None:
        facts["never_above"] = band.never_above
        text += f", never above {shown(trimmers, name, band.never_above)}"
    return f"{text}; nudge: turn, stop, wait two values" if turning.nudging else text, facts


def found(trimmers: Trimmers, name: str) -> str:
    """Return what the trimmer was found at, beside a good unit where one is known."""
    judged = trimmers.found(name)
    assert judged is not None
    here = f"{name} as found {format_value(judged.value, trimmers.unit, judged.resolution)}"
    good = trimmers.good(name)
    if good is None:
        return here
    text = f"{here}, good unit {format_value(good, trimmers.unit, judged.resolution)}"
    if good:
        text += f": {100.0 * judged.value / good:.3g} %"
    apart = max(trimmers.step.half_width(good) or SAME_SHARE * abs(good), judged.expanded)
    text = f"{text}, turned by someone?" if abs(judged.value - good) > apart else text
    own = trimmers.bench.targets.get((trimmers.step.id, name))
    if own is None:
        return text
    aim = format_value(own, trimmers.unit, judged.resolution)
    return f"{text}; it is turned to {aim} all the same, the target that was said before"


def no_reference(name: str) -> str:
    """Return the question where nothing says what to turn a trimmer to."""
    ways = "take the good unit's tag and measure it there, or target and a value; good: this unit is the good one"
    return f"{name}: no reference: {ways}"


def read_back(trimmers: Trimmers, name: str, target: float) -> tuple[str, PromptFacts]:
    """Return the question whether a target was heard right, in words and as data."""
    step, unit = trimmers.step, trimmers.unit
    band = step.band(target)
    digits = trimmers.found(name)
    resolution = None if digits is None else digits.resolution
    within = f"{format_value(band.low, unit, resolution)} to {format_value(band.high, unit, resolution)}"
    text = f"{name}: target {format_value(target, unit, resolution)} ({within})? yes or no"
    if any(share is not None for share in (step.never_below_share, step.never_above_share)):
        text += "; its hazard limit in percent is of the good unit's value: without one there is no alarm"
    return text, {"asks": Asks.TARGET_SAID, "target": target, "low": band.low, "high": band.high, "unit": unit}


def least(trimmers: Trimmers, name: str) -> float | None:
    """Return the half-width of the tightest band that this meter can prove, where the trimmer's is tighter; else None.

    By the meter's U at the target, in the range that the trimmer was found in, else in the finest that shows it.
    """
    if trimmers.rule == "simple" or not trimmers.aims(name):
        return None
    band, reading = trimmers.band(name), trimmers.read_in(name)
    if reading is None:
        return None
    expanded, _ = trimmers.bench.judge.expanded(reading, value=band.target)
    if provable(band.low, band.high, expanded, trimmers.rule, reading.resolution):
        return None
    return tightest_half_width(expanded, trimmers.rule, reading.resolution)


def too_narrow(trimmers: Trimmers, name: str, half: float) -> str:
    """Return what is said of a band that cannot be proved, and that `half` could."""
    width = shown(trimmers, name, trimmers.band(name).tolerance)
    return f"{name}: the band of ±{width} is narrower than this meter can prove (±{shown(trimmers, name, half)})"
