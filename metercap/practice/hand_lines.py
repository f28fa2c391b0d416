"""What a person types to move virtual hands, a line a move; keys of a screen say the same moves.

F3                 both tips on F3 (any point of the board; `touch F3` where its name is a move too)
(an empty line)    lift both tips
short              the tips together
turn +0.5          the trimmer half a turn up; `turn up`, `turn down`, and the same with `far`
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from typing import NamedTuple

from metercap.errors import UsageError
from metercap.practice.board import REVERSED

MOST_LINE = 200
NUDGE_TURNS = 0.02
"""A little, for a trimmer of 25 turns."""
FAR_TURNS = 0.25
"""A lot, for the same."""


class Move(NamedTuple):
    """A move: its name, one of `MOVES`, and what follows it."""

    name: str
    text: str = ""


class Turns(NamedTuple):
    """How far to turn, positive up. What is not `exact` is a twist of the hand: held down, it goes on and on."""

    turns: float
    exact: bool


class Kind(NamedTuple):
    """What a move takes (`needs` it when true), and what it does."""

    takes: str
    does: str
    needs: bool = False


MOVES = {
    "touch": Kind("POINT", "both tips on a point; alone: on the one that is asked for"),
    "touch next": Kind("", "slip on to the point after this one"),
    "lift": Kind("", "lift both tips; an empty line does it too"),
    "short": Kind("", "hold the tips together"),
    "swap": Kind("", "swap the tips, red for black"),
    "turn": Kind("TURNS", "turn the trimmer: +0.5, -0.1, up, down, up far, down far", needs=True),
    "press": Kind("", "what the other hand does here: press, flex, put the load on, start the unit"),
    "release": Kind("", "let go of it, take the load off"),
    "load": Kind("OHM", "put a load across the cell under the tips: 470 ohm, or off", needs=True),
    "start": Kind("", "switch the unit on once and see whether it comes up"),
    "power": Kind("on|off", "switch the unit's supply", needs=True),
    "discharge": Kind("POINT", "disconnect and discharge a point; alone: the one under the tips"),
    "clean": Kind("POINT", "clean a switch's contact; alone: the one under the tips"),
    "dial": Kind("WHERE", "turn the meter's dial: ohms, volts dc, volts ac, continuity; alone: as asked"),
    "range": Kind("low|auto", "fix the lowest range of the dial, or give it back to the meter", needs=True),
    "hold": Kind("", "press the meter's HOLD key"),
    "rel": Kind("", "press the meter's REL key"),
    "look": Kind("", "look at the meter and at the hands"),
}
"""Every move, in the order of help."""

_ALSO = {"": "lift", "next": "touch next", "slip": "touch next", "flex": "press", "on": "touch", "off": "lift"}
"""Other ways to say a move that takes nothing."""
_TURN = re.compile(r"(?P<sign>[+\-−]?)(?P<turns>\d+(?:\.\d*)?|\.\d+)|(?P<way>up|down)(?P<far> far)?", re.IGNORECASE)


def read_move(line: str, points: Iterable[str] = ()) -> Move | None:
    """Return the move that a line says, or None when it says none.

    `points` are the names on the board; case does not matter. UsageError for a move without what it needs, or with what
    it cannot take.
    """
    text = " ".join(line[:MOST_LINE].split())
    found = _point(text, points)
    if found is not None:
        return Move("touch", found)
    low = text.casefold()
    if low in _ALSO:
        return Move(_ALSO[low])
    if low in MOVES:
        return _checked(Move(low))
    head, _, rest = text.partition(" ")
    name = head.casefold()
    return _checked(Move(name, _point(rest, points) or rest)) if name in MOVES else None


def read_turns(text: str) -> Turns | None:
    """Return what "+0.5", "-0.1", "up" or "down far" ask of the screw; None for anything else."""
    told = _TURN.fullmatch(text.strip())
    if told is None:
        return None
    if told["way"]:
        way = 1.0 if told["way"].casefold() == "up" else -1.0
        return Turns(way * (FAR_TURNS if told["far"] else NUDGE_TURNS), exact=False)
    way = -1.0 if told["sign"] in ("-", "\u2212") else 1.0
    return Turns(way * float(told["turns"]), exact=True)


def nearest(line: str, points: Iterable[str]) -> str:
    """Return the move or point that a line may have meant, or an empty text."""
    names = {name.casefold(): name for name in (*MOVES, *points)}
    close = difflib.get_close_matches(line.strip().casefold()[:MOST_LINE], names, n=1, cutoff=0.5)
    return names[close[0]] if close else ""


def move_lines() -> list[str]:
    """Return one line of help for each move."""
    rows = [("POINT", "both tips on that point of the board")]
    rows += [(f"{name} {kind.takes}".strip(), kind.does) for name, kind in MOVES.items()]
    return [f"  {said:<17} {does}" for said, does in rows]


def _point(text: str, points: Iterable[str]) -> str | None:
    """Return the board's own spelling of a point, or of its other polarity."""
    low = text.casefold()
    for name in points:
        for known in (name, name + REVERSED):
            if low == known.casefold():
                return known
    return None


def _checked(move: Move) -> Move:
    kind = MOVES[move.name]
    if kind.needs and not move.text:
        raise UsageError(f"{move.name} needs what it is to do", hint=f"{move.name} {kind.takes}: {kind.does}")
    if move.text and not kind.takes:
        raise UsageError(f"{move.name} stands alone, without {move.text[:40]!a}", hint=move.name)
    return move
