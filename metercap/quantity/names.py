"""Item names as short text: the other way round from `expand_items`."""

from __future__ import annotations

import re
from collections.abc import Iterable

_NUMBERED = re.compile(r"(?s)(.*?)([0-9]{1,9})")


def compressed(names: Iterable[str]) -> list[str]:
    """Return names with runs drawn together: F1, F2, F3, RV1 gives "F1..F3", "RV1"; the order stays.

    A run is three names or more that count up by one, with the same letters before the number and the same zero
    padding. `expand_items` gives each run back.
    """
    out: list[str] = []
    run: list[str] = []
    for name in names:
        if run and not _follows(run[-1], name):
            out += _written(run)
            run = []
        run.append(name)
    return out + _written(run)


def _follows(before: str, name: str) -> bool:
    one, other = _NUMBERED.fullmatch(before), _NUMBERED.fullmatch(name)
    if one is None or other is None or one[1] != other[1] or ".." in one[1] or "…" in one[1]:
        return False
    return other[2] == str(int(one[2]) + 1).zfill(len(one[2])) and one[1] == one[1].lstrip()


def _written(run: list[str]) -> list[str]:
    # An end whose number has grown a digit (F09, F10 are fine; F9, F10 too) still spreads out to the same names.
    return [f"{run[0]}..{run[-1]}"] if len(run) > 2 else run
