"""What a technician understands from a prompt that asks for something besides probing and turning.

Each wish is recognised by its words, as a person understands it. Prompts that set the meter are in `dial_words`.
"""

from __future__ import annotations

import re

from metercap.errors import ValueText
from metercap.quantity import parse_value

_PRESS = re.compile(r"\bpress and hold\b", re.IGNORECASE)
_ACROSS = re.compile(r"\bacross its contacts\b", re.IGNORECASE)
_RED_ON_PLUS = re.compile(r"\bis red on \+", re.IGNORECASE)
_BEGUN = re.compile(r"\bbegun\?", re.IGNORECASE)
_PASS_OR_FAIL = re.compile(r"\bpass or fail\b", re.IGNORECASE)
_CLEAN = re.compile(r"\bclean it\b", re.IGNORECASE)
_REPLACED = re.compile(r"\breplaced\?", re.IGNORECASE)
_MEND = re.compile(r"\bmend it\b", re.IGNORECASE)
_SWITCH_ON = re.compile(r"\b(?:switch|turn|power)\b[^.;]*\bon\b|\b(?:re)?connect\b[^.;]*\bsupply\b", re.IGNORECASE)
_SWITCH_OFF = re.compile(r"\b(?:switch|turn|power)\b[^.;]*\boff\b|\bdisconnect|\bunplugged\b", re.IGNORECASE)
_LOAD = re.compile(r"\bput (?P<ohm>[0-9.]+ ?[kM]?(?:ohm|Ω)) across\b")
_KEEP_ON = re.compile(r"\b(?:keep the tips on|still|turn nothing yet|ready to turn|keep both tips on)\b", re.IGNORECASE)
_HOLD_AND_SAY = re.compile(r"\btips on\b.*\bsay yes\b", re.IGNORECASE)
_TOOL_AWAY = re.compile(r"\btool away\b", re.IGNORECASE)


def wants_press(say: str) -> bool:
    """Whether the prompt asks to press and hold a switch."""
    return _PRESS.search(say) is not None


def wants_across(say: str) -> bool:
    """Whether the tips go across a switch, whose open contact is nothing to wonder about."""
    return _ACROSS.search(say) is not None


def wants_tips_kept(say: str) -> bool:
    """Whether the tips are to stay where they are until the verdict."""
    return _KEEP_ON.search(say) is not None


def wants_hold_and_yes(say: str) -> bool:
    """Whether both tips are to be held on a point, and yes said meanwhile."""
    return _HOLD_AND_SAY.search(say) is not None


def wants_tool_away(say: str) -> bool:
    """Whether the screwdriver is to be taken away."""
    return _TOOL_AWAY.search(say) is not None


def wants_clean(say: str) -> bool:
    """Whether a contact is to be cleaned."""
    return _CLEAN.search(say) is not None


def asks_replaced(say: str) -> bool:
    """Whether it is asked if a part has been replaced."""
    return _REPLACED.search(say) is not None


def wants_mend(say: str) -> bool:
    """Whether the unit is to be mended."""
    return _MEND.search(say) is not None


def wants_supply(say: str) -> bool | None:
    """Return whether the unit's supply is to be on (True) or off (False); None where it is not spoken of."""
    if _SWITCH_OFF.search(say):
        return False
    return True if _SWITCH_ON.search(say) else None


def wants_load(say: str) -> float | None:
    """Return the load in ohm that is to be put across a cell, or None."""
    told = _LOAD.search(say)
    try:
        return None if told is None else parse_value(told["ohm"]).value
    except ValueText:
        return None


def asks_pass_or_fail(say: str) -> bool:
    """Whether a start of the unit is to be judged."""
    return _PASS_OR_FAIL.search(say) is not None


def asks_begun(say: str) -> bool:
    """Whether it is asked if something has begun that is waited for."""
    return _BEGUN.search(say) is not None


def asks_red_on_plus(say: str) -> bool:
    """Whether it is asked which tip is on +."""
    return _RED_ON_PLUS.search(say) is not None
