"""Presses: the count of a switch's closures, and what it proves.

A silent press (no sign of the contact at all) stays undecided until the next closure, which makes it a miss, or until a
word decides it.
"""

from __future__ import annotations

from metercap.metrology.domain import round6
from metercap.metrology.proportion import fisher_exact
from metercap.records import VerdictKind

HALF = 3
"""Presses that each half of a run needs before the halves are compared."""


class Press:
    """What one press showed: `good` is None while it is silent and not yet decided; `why` says what was wrong."""

    __slots__ = ("good", "why")

    def __init__(self, good: bool | None, why: str = "") -> None:
        self.good = good
        self.why = why


class Presses:
    """One run of presses, oldest first.

    `counted_already`: the press in hand was counted when it did not open, so its closing adds nothing.
    """

    def __init__(self) -> None:
        self.all: list[Press] = []
        self.counted_already = False

    @property
    def counted(self) -> tuple[int, int]:
        """Return (k, n): closures, of decided presses."""
        decided = [press for press in self.all if press.good is not None]
        return sum(press.good is True for press in decided), len(decided)

    def add(self, good: bool | None, why: str = "") -> None:
        """Count a press; a good one decides the silent ones before it: they lay between closures."""
        if good:
            for press in self.all:
                if press.good is None:
                    press.good, press.why = False, "silent between closures"
        if self.counted_already:
            self.counted_already = False
            return
        self.all.append(Press(good, why))

    def spoil(self, why: str) -> None:
        """The last press turned out to be a miss."""
        if self.all:
            self.all[-1] = Press(False, why)

    def fail(self) -> None:
        """The operator says fail: of the last silent press, or of one that was not seen."""
        for press in reversed(self.all):
            if press.good is None:
                press.good, press.why = False, "silent, by the operator's word"
                return
        self.all.append(Press(False, "by the operator's word"))

    def drop_silent(self) -> None:
        """The probes had slipped: silent presses since the last closure do not count."""
        while self.all and self.all[-1].good is None:
            self.all.pop()

    def judge(self, before: tuple[int, int] | None, confidence: float) -> tuple[VerdictKind, list[str]]:
        """Return the verdict on the closures and its reasons; `before` is (k, n) of the run before cleaning."""
        k, n = self.counted
        unheard = len(self.all) - n
        reasons = self._misses(k, n)
        if unheard:
            reasons.append(f"{unheard} silent presses at the end are not counted: say fail, or again")
        if before is not None:
            was_k, was_n = before
            reasons.append(f"before cleaning {was_n - was_k} of {was_n} missed")
            if k == n and n and was_k < was_n:
                p = round6(fisher_exact(((was_k, was_n - was_k), (k, 0)), "less"))
                word = "changed" if p <= 1.0 - confidence else "better, not proved"
                reasons.append(f"{word} (p = {p:.3g})")
        if k < n:
            return VerdictKind.FAIL, reasons
        return (VerdictKind.UNSURE if unheard or not n else VerdictKind.PASS), reasons

    def _misses(self, k: int, n: int) -> list[str]:
        """Say how many were missed, whether early or late, and how."""
        if k == n:
            return []
        reasons = [f"{n - k} of {n} presses missed"]
        good = [press.good is True for press in self.all if press.good is not None]
        half = n // 2
        early, late = good[:half].count(False), good[n - half :].count(False)
        if half >= HALF and early != late:
            reasons.append(f"{early} in the first {half}, {late} in the last {half}")
        whys = dict.fromkeys(press.why for press in self.all if press.good is False and press.why)
        return reasons + list(whys)
