"""Lines that move virtual hands, and lines that are none."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.errors import UsageError
from metercap.practice.by_hand import ByHand
from metercap.practice.hand_lines import (
    FAR_TURNS,
    MOVES,
    NUDGE_TURNS,
    Move,
    Turns,
    move_lines,
    nearest,
    read_move,
    read_turns,
)
from metercap.screen.ports import HAND_KEYS
from metercap.words import WORDS

POINTS = ["F1", "F2", "RV1", "supply input", "start"]


@pytest.mark.parametrize(
    ("line", "move"),
    [
        ("F2", Move("touch", "F2")),
        (" f2 ", Move("touch", "F2")),
        ("Supply  Input", Move("touch", "supply input")),
        ("touch supply input", Move("touch", "supply input")),
        ("F1 reversed", Move("touch", "F1 reversed")),
        ("touch", Move("touch")),
        ("touch K9", Move("touch", "K9")),
        ("", Move("lift")),
        ("off", Move("lift")),
        ("next", Move("touch next")),
        ("turn +1", Move("turn", "+1")),
        ("turn down far", Move("turn", "down far")),
        ("dial volts dc", Move("dial", "volts dc")),
        ("dial", Move("dial")),
        ("load 470 ohm", Move("load", "470 ohm")),
        ("start", Move("touch", "start")),
    ],
)
def test_lines(line: str, move: Move) -> None:
    """A point's name touches it, whatever the case, before anything else; the rest is a move with its text."""
    assert read_move(line, POINTS) == move


@pytest.mark.parametrize("line", ["F3", "skip", "yes", "note the fuse is odd", "turning", "?"])
def test_what_is_no_move(line: str) -> None:
    """Words of the session and points that the board lacks are none of the hands' business."""
    assert read_move(line, POINTS) is None


@pytest.mark.parametrize("line", ["turn", "load", "power", "range", "lift F1", "short 2"])
def test_moves_that_lack_or_exceed_something(line: str) -> None:
    """What a move needs, and what it cannot take, is said with what it takes."""
    with pytest.raises(UsageError) as caught:
        read_move(line, POINTS)
    assert caught.value.hint


@pytest.mark.parametrize(
    ("text", "turns"),
    [
        ("+1", Turns(1.0, True)),
        ("-0.25", Turns(-0.25, True)),
        ("−.5", Turns(-0.5, True)),
        ("2", Turns(2.0, True)),
        ("up", Turns(NUDGE_TURNS, False)),
        ("Down far", Turns(-FAR_TURNS, False)),
        ("sideways", None),
        ("1e3", None),
        ("", None),
    ],
)
def test_turns(text: str, turns: Turns | None) -> None:
    """A number is turned exactly; up and down are a twist of the hand."""
    assert read_turns(text) == turns


def test_every_move_can_be_done_and_is_helped() -> None:
    """The table of moves, what the hands can do, the keys of the screen and the help agree."""
    assert set(MOVES) == set(ByHand._moves)
    assert {read_move(move).name for move, _ in HAND_KEYS.values()} <= set(MOVES)
    text = "\n".join(move_lines())
    assert all(name in text for name in MOVES)


def test_no_move_is_a_word() -> None:
    """One line of text can hold both vocabularies: none of their first words is the same."""
    heads = {name.split()[0] for name in MOVES} | {"next", "slip", "flex", "on", "off"}
    assert heads.isdisjoint({word.name.split()[0] for word in WORDS})


def test_nearest() -> None:
    """A slip of the typing finds the point or move that was meant."""
    assert nearest("relese", POINTS) == "release"
    assert nearest("RV2", POINTS) == "RV1"
    assert nearest("zzzz", POINTS) == ""


@given(st.text(max_size=300))
def test_any_line_is_read_or_refused(line: str) -> None:
    """Whatever is typed gives a move, none, or a UsageError."""
    try:
        move = read_move(line, POINTS)
    except UsageError:
        return
    assert move is None or move.name in MOVES
