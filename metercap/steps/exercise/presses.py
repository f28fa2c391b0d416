"""Presses: the count of a switch's closures, what it proves, and what is kept of it.

A silent press (no sign of the contact at all) stays undecided until the next closure, which makes it a miss, or until a
word decides it. None is ever forgotten: what a word sets aside is said in the reason. The first presses are as found,
whatever ended the session they were made in: an unfinished round goes on where it was interrupted, and so does the
question whether to clean.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from metercap.metrology.domain import round6
from metercap.metrology.proportion import attempt_confidence, fisher_exact
from metercap.metrology.trend import trend
from metercap.records import VerdictKind

HALF = 3
"""Presses that each half of a run needs before the halves are compared."""
BY_WORD = "by the operator's word"
Asks = Literal["", "clean", "again"]
"""A switch that failed: not asked about, waiting for the answer to "clean it?", cleaned and exercised again."""


class Press:
    """What one press showed: `good` is None while it is silent and not yet decided; `why` says what was wrong."""

    __slots__ = ("good", "why")

    def __init__(self, good: bool | None, why: str = "") -> None:
        self.good = good
        self.why = why


class Presses:
    """One round of presses, oldest first; `aside` counts silent ones that a word set aside.

    `before` counts those that an interrupted session made.
    """

    def __init__(self) -> None:
        self.all: list[Press] = []
        self.aside = self.before = 0

    @property
    def counted(self) -> tuple[int, int]:
        """Return (k, n): closures, of decided presses."""
        decided = [press for press in self.all if press.good is not None]
        return sum(press.good is True for press in decided), len(decided)

    @property
    def silent(self) -> int:
        """How many of the last presses in a row are silent and undecided."""
        n = 0
        while n < len(self.all) and self.all[-1 - n].good is None:
            n += 1
        return n

    @property
    def told_before(self) -> str:
        """What a prompt says first of the presses that an interrupted session made, until there are more."""
        if not self.before or self.before != len(self.all):
            return ""
        k, n = self.counted
        said = f"{self.before} presses of the session before are counted, {n - k} missed"
        return f"{said}, {self.before - n} silent (again if the tips had slipped); " if n < self.before else f"{said}; "

    def add(self, good: bool | None, why: str = "") -> None:
        """Count a press; a good one decides the silent ones before it: somebody was pressing."""
        if good:
            before = "between closures" if any(press.good for press in self.all) else "before the first closure"
            self.decide(f"silent {before}")
        self.all.append(Press(good, why))

    def decide(self, why: str) -> None:
        """Every silent press was a miss."""
        for press in self.all:
            if press.good is None:
                press.good, press.why = False, f"{press.why}, {why}" if press.why else why

    @property
    def told(self) -> dict[str, Any]:
        """What `ExerciseFacts` tells of them."""
        marks = tuple(press.good for press in self.all)
        return {"closed": self.counted[0], "presses": len(self.all), "marks": marks, "silent": self.silent}

    def take_back(self) -> None:
        """The last press was not silent after all: it came late."""
        if self.silent:
            self.all.pop()

    def spoil(self, why: str) -> None:
        """The last press turned out to be a miss."""
        if self.all:
            self.all[-1] = Press(False, why)

    def fail(self) -> None:
        """The operator says fail: of the last silent press, or of one that was not seen."""
        if self.silent:
            self.all[-1] = Press(False, f"silent, {BY_WORD}")
        else:
            self.all.append(Press(False, BY_WORD))

    def missed(self, n: int) -> None:
        """The operator says how many presses showed nothing: those silent since the last closure, or not seen at all.

        Said right after the first closure it speaks of presses before that.
        """
        for _ in range(self.silent):
            self.all.pop()
        first = len(self.all) == 1 and self.all[0].good is True
        place = 0 if first else len(self.all)
        self.all[place:place] = [Press(False, f"silent, {BY_WORD}") for _ in range(n)]

    def set_aside(self) -> None:
        """The probes had slipped: silent presses since the last closure do not count, and that is said."""
        n = self.silent
        self.aside += n
        del self.all[len(self.all) - n :]

    def judge(self, rounds: Sequence[tuple[int, int]], confidence: float) -> tuple[VerdictKind, list[str]]:
        """Return the verdict on the closures and its reasons; `rounds` are (k, n) of those before, as found first.

        What cleaning changed is tested against as found, and each further cleaning has to show more.
        """
        k, n = self.counted
        unheard = len(self.all) - n
        reasons = self._misses(k, n, confidence)
        if unheard:
            reasons.append(f"{unheard} silent presses are not counted")
        if self.before:
            reasons.append(f"the first {self.before} counted before an interruption")
        if self.aside:
            reasons.append(f"{self.aside} silent presses set aside, the probes had slipped {BY_WORD}")
        if rounds:
            (was_k, was_n), *others = rounds
            said = [f"as found {was_n - was_k} of {was_n} missed"]
            said += [f"in round {place} {m - j} of {m}" for place, (j, m) in enumerate(others, 2)]
            reasons.append(", ".join(said))
            if k == n and n and was_k < was_n:
                p = round6(fisher_exact(((was_k, was_n - was_k), (k, 0)), "less"))
                changed = p <= round6(1.0 - attempt_confidence(confidence, len(rounds)))
                reasons.append(f"{'changed' if changed else 'better, not proved'} (p = {p:.3g})")
        if k < n:
            return VerdictKind.FAIL, reasons
        return (VerdictKind.UNSURE if unheard or not n else VerdictKind.PASS), reasons

    def _misses(self, k: int, n: int, confidence: float) -> list[str]:
        """Say how many were missed, whether early or late, whether use mends or worsens it, and how."""
        if k == n:
            return []
        reasons = [f"{n - k} of {n} presses missed"]
        good = [press.good is True for press in self.all if press.good is not None]
        half = n // 2
        early, late = good[:half].count(False), good[n - half :].count(False)
        if half >= HALF and early != late:
            reasons.append(f"{early} in the first {half}, {late} in the last {half}")
        if half >= HALF and k:
            found = trend([float(one) for one in good])
            way = "fewer with use" if found.direction == "rising" else "more with use"
            shown = found.direction != "none" and found.p <= round6(1.0 - confidence)
            reasons.append(f"{way if shown else 'no trend'} (p = {found.p:.3g})")
        whys = dict.fromkeys(press.why for press in self.all if press.good is False and press.why)
        return reasons + list(whys)


class Pressed:
    """A switch's memory: `rounds` are (k, n) of those that are over, as found first; `asks` what its failure led to."""

    def __init__(self, kept: Mapping[str, Any]) -> None:
        rounds = kept.get("rounds") or ([(kept["k"], kept["runs"])] if "k" in kept else [])
        self.rounds: list[tuple[int, int]] = [(int(k), int(n)) for k, n in rounds]
        asks = kept.get("asks")
        self.asks: Asks = asks if asks in ("clean", "again") else ""
        self._open = kept

    def presses(self) -> tuple[Presses, int]:
        """Return the round that an interruption left open, and the dropouts in it; an empty one where there is none."""
        presses = Presses()
        presses.all = [Press(good, str(why)) for good, why in self._open.get("open", ())]
        presses.before = len(presses.all)
        presses.aside = int(self._open.get("aside", 0))
        return presses, int(self._open.get("dropouts", 0))

    def kept(self, presses: Presses | None = None, dropouts: int = 0) -> dict[str, Any]:
        """Return what to keep; `presses` and `dropouts` are of the round that goes on, if one does."""
        kept: dict[str, Any] = {}
        if self.rounds:
            kept = {"k": self.rounds[0][0], "runs": self.rounds[0][1], "rounds": [list(one) for one in self.rounds]}
        if self.asks:
            kept["asks"] = self.asks
        if presses is not None and (presses.all or presses.aside):
            kept["open"] = [[press.good, press.why] for press in presses.all]
            kept |= {"aside": presses.aside, "dropouts": dropouts}
        return kept


def is_asked(kept: Mapping[str, Any]) -> bool:
    """Return whether a switch that failed waits for its cleaning, or for the end of the round after it."""
    return bool(kept.get("asks"))


def taken_up_later(kept: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a later session takes up: the switch may have been worked on since, so the open round is over."""
    if not any(key in kept for key in ("open", "asks")):
        return {key: value for key, value in kept.items() if key != "cold"}  # a unit of trials is cold by then
    past = Pressed(kept)
    counted = past.presses()[0].counted
    if counted[1]:
        past.rounds.append(counted)
    past.asks = ""
    return past.kept()
