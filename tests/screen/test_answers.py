"""A terminal's answers: ECMA-48 for the shape of the first one, from memory for what its numbers mean."""

from __future__ import annotations

import pytest

from metercap.screen.answers import Answers, Cell, is_answer


def told(*answers: str) -> Answers:
    found = Answers()
    for each in answers:
        assert is_answer(each), each
        found.hear(each)
    return found


@pytest.mark.parametrize(
    ("answer", "sixel"),
    [
        ("\x1b[?64;1;2;4;6;9;15;16;17;18;21;22;28c", True),
        ("\x1b[?62;4c", True),
        ("\x1b[?62;22c", False),
        ("\x1b[?6c", False),
        ("\x1b[?4c", False),  # the first number says what kind of terminal it is
        ("\x1b[?4;6c", False),
        ("\x1b[?62;14;40;24c", False),
    ],
)
def test_pictures_where_a_four_is_listed(answer: str, sixel: bool) -> None:
    """And nowhere else, whatever else is listed."""
    assert told(answer).sixel is sixel


def test_before_any_answer_there_is_nothing() -> None:
    """Sizes alone say nothing of pictures."""
    assert Answers().sixel is None and Answers().cell(80, 24) is None
    assert told("\x1b[6;20;10t").cell(80, 24) is None
    assert told("\x1b[6;20;10t", "\x1b[?62c").cell(80, 24) is None


def test_the_size_of_a_cell() -> None:
    """Told (height first), or reckoned from the whole area; what cannot be is not believed."""
    assert told("\x1b[?62;4c", "\x1b[6;20;10t").cell(80, 24) == Cell(10, 20)
    assert told("\x1b[?62;4c", "\x1b[4;480;800t").cell(80, 24) == Cell(10, 20)
    assert told("\x1b[?62;4c", "\x1b[4;480;800t", "\x1b[6;18;9t").cell(80, 24) == Cell(9, 18)
    for broken in ("\x1b[6;0;0t", "\x1b[6;2000;10t", "\x1b[6;20;999999t", "\x1b[4;0;0t", "\x1b[4;999999;999999t"):
        assert told("\x1b[?62;4c", broken).cell(80, 24) is None
    assert told("\x1b[?62;4c", "\x1b[4;480;800t").cell(0, 0) is None
    again = told("\x1b[?62;4c", "\x1b[6;20;10t")
    again.resized()
    assert again.cell(80, 24) is None and again.sixel


def test_colours() -> None:
    """As many as there are, between those of the first terminals and those that a glance can use."""
    assert told("\x1b[?62;4c").colours == 16
    assert [told(f"\x1b[?1;0;{n}S").colours for n in (2, 24, 1024)] == [16, 24, 32]
    failed = told("\x1b[?1;3;24S")
    assert failed.colours == 16 and failed.complete, "it has answered, if only that it cannot"
    assert told("\x1b[?1;0;99999999999999999999S").colours == 32


@pytest.mark.parametrize(
    "key",
    [
        "s",
        "?",
        "\x1b",
        "\x1b[A",
        "\x1b[1;2C",
        "\x1b[15~",
        "\x1b[c",
        "\x1bOP",
        "\x1b[?2026;2$y",
        "\x1b[48;24;80;480;800t",
    ],
)
def test_keys_and_other_reports_are_no_answers(key: str) -> None:
    """They go their usual way, and change nothing where they come."""
    assert not is_answer(key)
    found = Answers()
    found.hear(key)
    assert found.sixel is None and not found.complete
