"""Item names: natural order, and lists such as "F1..F12"."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache
from typing import Any

from metercap.errors import ValueText
from metercap.quantity.numbers import MAX_TEXT, shown

MAX_ITEMS = 10_000
"""Most items one list may expand to."""


@cache
def _natural() -> Callable[[str], Any]:
    from natsort import natsort_keygen  # costs more to load than all the rest of this room, and few commands sort

    key: Callable[[str], Any] = natsort_keygen()
    return key


def natural_key(name: str) -> Any:
    """Sort key for natural order: F1, F2, F10. Names that natural order holds equal (F1, F01) sort by their text."""
    return (_natural()(name), name)


def expand_items(text: str) -> list[str]:
    """Item names from a list as people write it: "F1..F12", "RV1", "F1..F3, F7"; in the order written.

    Zero padding is kept: "F01..F12". Raises `ValueText` for an empty name, one longer than 64 characters, ends of a
    range that differ in more than their number, a range that runs down, a name given twice, and more than 10 000
    names.
    """
    names: list[str] = []
    for part in text.replace("…", "..").split(","):
        names += _expand(part.strip(), room=MAX_ITEMS - len(names))
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise ValueText(f"the item {shown(name)} is given twice", hint="name each item once")
        seen.add(name)
    return names


def _expand(part: str, room: int) -> list[str]:
    if room < 1:
        raise ValueText(f"more than {MAX_ITEMS} items", hint="split the list over several steps")
    ends = [end.strip() for end in part.split("..")]
    if not all(ends) or any(len(end) > MAX_TEXT for end in ends):
        what = f"{shown(part)} names no item" if not all(ends) else f"the item name {shown(part)} is too long"
        raise ValueText(what, hint='write names as "F1..F12" or "F1, F2, F7"')
    if len(ends) == 1:
        return ends
    first, *others = [re.fullmatch(r"(?s)(.*?)([0-9]{1,9})", end) for end in ends]
    last = others[0]
    if len(others) != 1 or first is None or last is None or first[1] != last[1]:
        raise ValueText(
            f"{shown(part)} is no range of items", hint='both ends take the same name and a number, as in "F1..F12"'
        )
    low, high, width = int(first[2]), int(last[2]), len(first[2])
    if high < low:
        raise ValueText(f"the range {shown(part)} runs down", hint=f'write "{ends[1]}..{ends[0]}"')
    if last[2] != str(high).zfill(width):
        raise ValueText(f"the ends of {shown(part)} differ in zero padding", hint='write "F01..F12" or "F1..F12"')
    if high - low >= room:
        raise ValueText(f"{shown(part)} makes more than {MAX_ITEMS} items", hint="split the list over several steps")
    return [f"{first[1]}{n:0{width}d}" for n in range(low, high + 1)]
