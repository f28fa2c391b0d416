"""What was counted of an item left undecided: starts and presses, in the form that a later session takes up."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from metercap.steps.exercise.pressed import Pressed


def counted_so_far(kept: Mapping[str, Any]) -> str:
    """Return in words what was counted; an empty text where nothing was."""
    return _starts(kept) if "fix" in kept else _presses(kept)


def _starts(kept: Mapping[str, Any]) -> str:
    runs, passes, after = int(kept.get("runs", 0)), int(kept.get("k", 0)), int(kept.get("after", 0))
    failed = f"{runs - passes} of {runs} starts failed" if runs else ""
    if not kept["fix"]:
        return failed
    passed = f"{after} passed after the fix ({kept['fix']})"
    return f"{failed} before the fix, {passed}" if failed else passed


def _presses(kept: Mapping[str, Any]) -> str:
    past = Pressed(kept)
    presses, dropouts = past.presses()
    (k, n), made = presses.counted, len(presses.all)
    said = [f"{m - j} of {m} presses missed in round {place}" for place, (j, m) in enumerate(past.rounds, 1)]
    if made:
        here = f" in round {len(past.rounds) + 1}" if past.rounds else ""
        said += [f"{n - k} of {n} presses missed{here}"] if n else []
        said += [f"{made - n} silent and undecided"] if n < made else []
        said += [f"{dropouts} dropouts while held"] if dropouts else []
    return ", ".join(said)
