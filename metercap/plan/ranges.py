"""Names that look like a range written in another way than "F1..F6": one item where several were meant. Pure.

A sweep of such a plan would tick one fuse and call the row done. Hyphens do stand in names of single places ("J3-4" is
pin 4 of J3, "TP1-TP2" a voltage between two points), so only what can hardly be one place is refused.
"""

from __future__ import annotations

import re
from typing import NamedTuple

_DASHED = re.compile(
    r"(?P<head>.*?[^\d\s])(?P<low>\d{1,9})\s*(?:-|\u2010|\u2011|\u2013|\u2014|\u2212|~|\bto\b)\s*(?P<again>.*?)(?P<high>\d{1,9})"
)


class Meant(NamedTuple):
    """What a name may have meant: `spelled` as a range is written, and how sure that is."""

    spelled: str
    sure: bool


def range_meant(name: str) -> Meant | None:
    """Return the range that a single item's name may stand for, or None.

    Sure: both ends carry the same letters, and lie two or more apart. "F1-6" and "F1-F2" are only likely.
    """
    found = _DASHED.fullmatch(name.strip())
    if found is None or found["again"].casefold() not in ("", found["head"].casefold()):
        return None
    apart = int(found["high"]) - int(found["low"])
    if apart < 1:
        return None
    head = found["head"]
    return Meant(f"{head}{found['low']}..{head}{found['high']}", bool(found["again"]) and apart >= 2)
