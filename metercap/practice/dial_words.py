"""What a technician understands from a prompt that tells them how to set the meter."""

from __future__ import annotations

import re

from metercap.quantity import Quantity

_SAID = (
    (re.compile(r"\b(volts? ac|ac|alternating)\b", re.IGNORECASE), Quantity.VOLTAGE_AC),
    (re.compile(r"\b(volts? dc|dc|volts?|voltage)\b", re.IGNORECASE), Quantity.VOLTAGE_DC),
    (re.compile(r"\bcontinuity\b|\bbeep", re.IGNORECASE), Quantity.CONTINUITY),
    (re.compile(r"\b(ohms?|resistance)\b|Ω", re.IGNORECASE), Quantity.RESISTANCE),
)
_FIXED = re.compile(r"\b(fixed?|lowest)\b[^.;]*\brange\b", re.IGNORECASE)
_AUTO = re.compile(r"\bback to auto range\b", re.IGNORECASE)
_JACKS = re.compile(r"[^.;:()]*\bjacks?\b[^.;:()]*", re.IGNORECASE)


def read_dial(text: str, *, continuity: bool = False) -> Quantity | None:
    """Return the first quantity that a prompt names, or None. A clause about the jacks names no quantity.

    `continuity` takes continuity wherever the prompt allows it.
    """
    plain = _JACKS.sub(" ", text)
    found = [(match.start(), quantity) for pattern, quantity in _SAID if (match := pattern.search(plain))]
    if continuity and any(quantity is Quantity.CONTINUITY for _, quantity in found):
        return Quantity.CONTINUITY
    return min(found, key=lambda pair: pair[0])[1] if found else None


def wants_fixed_range(text: str) -> bool:
    """Whether the prompt asks for a fixed range."""
    return _FIXED.search(text) is not None


def wants_auto_range(text: str) -> bool:
    """Whether the prompt asks for auto range again."""
    return _AUTO.search(text) is not None
