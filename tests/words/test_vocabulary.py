"""The words, their keys, and how a line says them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.errors import UsageError
from metercap.words import HELP_KEY, WORDS, help_lines, key_name, key_table, parse_line


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("yes", ("yes", "")),
        ("  NO \n", ("no", "")),
        ("open", ("open", "")),
        ("skip", ("skip", "")),
        ("skip step", ("skip step", "")),
        (" Skip   STEP ", ("skip step", "")),
        ("absent", ("absent", "")),
        ("back", ("back", "")),
        ("again", ("again", "")),
        ("at F3", ("at", "F3")),
        ("at fuses/F3", ("at", "fuses/F3")),
        ("target 2.19 kohm", ("target", "2.19 kohm")),
        ("good", ("good", "")),
        ("accept F3 worn, the owner knows", ("accept", "F3 worn, the owner knows")),
        ("To bridge", ("to", "bridge")),
        ("AT supply input", ("at", "supply input")),
        ("pass", ("pass", "")),
        ("fail", ("fail", "")),
        ("undo", ("undo", "")),
        ("missed 2", ("missed", "2")),
        ("Fixed  new cover switch ", ("fixed", "new cover switch")),
        ("replaced", ("replaced", "")),
        ("replaced BT1", ("replaced", "BT1")),
        ("probe R7 left", ("probe", "R7 left")),
        ("take R", ("take", "R")),
        ("say", ("say", "")),
        ("clap", ("clap", "")),
        ("note  flux on  the board ", ("note", "flux on  the board")),
        ("note skip step", ("note", "skip step")),
        ("quit", ("quit", "")),
    ],
)
def test_every_word_as_a_line(line: str, said: tuple[str, str]) -> None:
    """Each word of the vocabulary is said by a line, in any case, with its argument as written."""
    assert parse_line(line) == said


def test_the_table_above_is_the_whole_vocabulary() -> None:
    """No word goes untested."""
    assert {word.name for word in WORDS} == {
        *("yes", "no", "open", "skip", "skip step", "absent", "back", "again", "at", "pass", "fail", "undo"),
        *("probe", "say", "note", "quit", "missed", "fixed", "replaced", "name", "to", "target", "good", "accept"),
        *("take", "clap", "waive", "symptom"),
    }


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        ("yess", "yes"),
        ("skipstep", "skip step"),
        ("qiut", "quit"),
        ("at", "at ITEM"),
        ("note   ", "note TEXT"),
        ("fixed", "fixed TEXT"),
        ("missed", "missed N"),
        ("missed 0", "missed 2"),
        ("missed two", "missed 2"),
        ("missed -1", "missed 2"),
        ("yes please", "yes"),
        ("skip F3", "skip"),
        ("xyzzy", "yes, no, open"),
        ("", "yes, no, open"),
        ("note " + "x" * 501, "several notes"),
    ],
)
def test_what_is_no_word_is_answered_with_the_nearest(line: str, hint: str) -> None:
    """A slip is refused, never guessed, and the nearest word suggested."""
    with pytest.raises(UsageError) as caught:
        parse_line(line)
    assert caught.value.hint.startswith(hint)


@given(st.text(max_size=600))
def test_no_line_gives_anything_but_a_word_or_a_refusal(line: str) -> None:
    """Any text is a word or a UsageError, and a refusal shows nothing a terminal would obey."""
    names = {word.name: word for word in WORDS}
    try:
        word, text = parse_line(line)
    except UsageError as error:
        assert "\x1b" not in str(error)
        assert str(error).isascii()
    else:
        assert names[word].optional or bool(text) == bool(names[word].takes)


def test_keys_are_one_each_and_help_shows_them_all() -> None:
    """Every word has its own key, none is the help key, and help names key, word and argument."""
    table = key_table()
    assert list(table.values()) == list(WORDS)
    assert HELP_KEY not in table
    lines = help_lines()
    assert len(lines) == len(WORDS)
    assert any(line.split()[:3] == ["@", "at", "ITEM"] for line in lines)
    assert any(line.split()[:2] == ["space", "say"] for line in lines)


def test_words_that_put_aside_more_than_one_item_need_shift() -> None:
    """A bumped key neither ends the session nor drops a step."""
    keys = {word.name: word.key for word in WORDS}
    assert keys["quit"].isupper()
    assert keys["skip step"].isupper()


def test_a_pedal_may_type_any_key() -> None:
    """A word can be moved to what a pedal types, an escape sequence included."""
    table = key_table({"yes": "\x1b[24~", "pass": "\r"})
    assert table["\x1b[24~"].name == "yes"
    assert table["\r"].name == "pass"
    assert "y" not in table
    assert key_name("\r") == "enter"
    assert key_name("\x1b[24~") == "\\x1b[24~"
    assert any(line.split()[:2] == ["enter", "pass"] for line in help_lines(table))


@pytest.mark.parametrize("changes", [{"yess": "x"}, {"yes": "n"}, {"yes": "?"}, {"yes": ""}])
def test_a_key_table_that_makes_no_sense(changes: dict[str, str]) -> None:
    """An unknown word, a key taken twice, the help key and no key are refused."""
    with pytest.raises(UsageError):
        key_table(changes)
