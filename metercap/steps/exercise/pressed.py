"""What is kept of a switch's presses from one session to the next, in the form that a first record carries.

The first presses are as found, whatever ended the session they were made in: an unfinished round goes on where it was
interrupted, and so does the question whether to clean.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from metercap.steps.presses import Press, Presses

Asks = Literal["", "clean", "again"]
"""A switch that failed: not asked about, waiting for the answer to "clean it?", cleaned and exercised again."""


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
        return dict(kept)
    past = Pressed(kept)
    counted = past.presses()[0].counted
    if counted[1]:
        past.rounds.append(counted)
    past.asks = ""
    return past.kept()
