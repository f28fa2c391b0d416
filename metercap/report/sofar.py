"""What was counted of an item left undecided: starts and presses. Pure."""

from __future__ import annotations

from metercap.rests import Count


def counted_so_far(kept: Count) -> str:
    """Return in words what was counted; an empty text where nothing was."""
    return _presses(kept) if kept.fix is None else _starts(kept, kept.fix)


def _starts(kept: Count, fix: str) -> str:
    failed = f"{kept.runs - kept.k} of {kept.runs} starts failed" if kept.runs else ""
    if not fix:
        return failed
    passed = f"{kept.after} passed after the fix ({fix})"
    return f"{failed} before the fix, {passed}" if failed else passed


def _presses(kept: Count) -> str:
    rounds = kept.rounds or (((kept.k, kept.runs),) if kept.runs else ())
    said = [f"{m - j} of {m} presses missed in round {place}" for place, (j, m) in enumerate(rounds, 1)]
    if kept.open is not None:
        k, n, made = kept.open
        here = f" in round {len(rounds) + 1}" if rounds else ""
        said += [f"{n - k} of {n} presses missed{here}"] if n else []
        said += [f"{made - n} silent and undecided"] if n < made else []
        said += [f"{kept.dropouts} dropouts while held"] if kept.dropouts else []
    return ", ".join(said)
