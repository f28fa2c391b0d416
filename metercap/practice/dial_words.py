"""How the meter is to be set: as a prompt tells it, and as a person says it."""

from __future__ import annotations

import re

from msgspec import UNSET

from metercap.asks import Range
from metercap.quantity import Quantity
from metercap.records import Prompt

_SAID = (
    (re.compile(r"\b(volts? ac|ac|alternating)\b", re.IGNORECASE), Quantity.VOLTAGE_AC),
    (re.compile(r"\b(volts? dc|dc|volts?|voltage)\b", re.IGNORECASE), Quantity.VOLTAGE_DC),
    (re.compile(r"\bcontinuity\b|\bbeep", re.IGNORECASE), Quantity.CONTINUITY),
    (re.compile(r"\b(ohms?|resistance)\b|Ω", re.IGNORECASE), Quantity.RESISTANCE),
)


def read_dial(text: str) -> Quantity | None:
    """Return the first quantity that a person names, or None."""
    found = [(match.start(), quantity) for pattern, quantity in _SAID if (match := pattern.search(text))]
    return min(found, key=lambda pair: pair[0])[1] if found else None


def dial_of(prompt: Prompt, *, continuity: bool = False) -> tuple[Quantity | None, Range | None]:
    """Return the quantity and the range that a prompt asks for, each None where it asks for none.

    `continuity` takes continuity wherever the prompt allows it.
    """
    dial = () if prompt.dial is UNSET else prompt.dial
    wanted = Quantity.CONTINUITY if continuity and Quantity.CONTINUITY in dial else next(iter(dial), None)
    return wanted, None if prompt.range is UNSET else prompt.range
