"""The reason in one sentence: which step, how likely, how long, and what has to be opened for it."""

from __future__ import annotations

from collections.abc import Sequence

from metercap.quantity import counted

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def sentence(
    step: str,
    chance: float,
    minutes: float,
    *,
    needs: Sequence[tuple[str, float]] = (),
    waits: Sequence[str] = (),
    proof: str = "",
    fault_of: int = 0,
    units: int = 0,
) -> str:
    """Return why a step comes first: "cover first: 40 %, two minutes, nothing to open".

    `needs`: what has to be opened for it, with minutes; `waits`: what precedes by rule and is not done yet; `proof`:
    the step that proves the unit dead again; `fault_of` so many of `units` known ones had their fault there.
    """
    head = f"{step} first" if not waits else f"{step} first, after {_listed(waits)}"
    how = [share(chance)]
    if fault_of:
        how.append(f"the fault of {fault_of} of {counted(units, 'unit')}")
    how.append(minutes_text(minutes))
    if needs:
        opened = " and ".join(f"{name} ({minutes_text(each)})" for name, each in needs)
        how.append(f"{opened} before it")
    else:
        how.append("nothing to open")
    if proof:
        how.append(f"and {proof} again before it, since the unit had power")
    return f"{head}: {', '.join(how)}"


def share(chance: float) -> str:
    """Return a chance in percent, as people say it; a small one keeps its first digit."""
    percent = 100.0 * chance
    return f"{percent:.0f} %" if percent >= 0.95 else f"{percent:.1g} %"


def minutes_text(minutes: float) -> str:
    """Return "two minutes", "2.5 minutes", "one minute"."""
    whole = round(minutes)
    if abs(minutes - whole) < 0.05 and 1 <= whole < len(_NUMBERS):
        return f"{_NUMBERS[whole]} minute{'s' if whole != 1 else ''}"
    text = f"{minutes:.1f}".removesuffix(".0")
    return f"{text} minutes"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
