"""Keys: every word has one, questions are asked before quitting, and a pedal can be learned."""

from __future__ import annotations

from typing import Any

import pytest

from metercap.screen.keyboard import Act, Keyboard, Mode
from metercap.screen.ports import HAND_KEYS, HAND_SIGNS, PLAYER_KEYS
from metercap.words import WORDS, key_table


def typed(keyboard: Keyboard, *keys: str) -> list[Act]:
    """Press keys a second apart; return what came of them."""
    acts = [keyboard.press(key, 10.0 + at) for at, key in enumerate(keys)]
    return [act for act in acts if act is not None]


@pytest.mark.parametrize("word", WORDS, ids=lambda word: word.name)
def test_every_word_can_be_said(word: Any) -> None:
    """Each word of the vocabulary comes out of its key, with its argument where it takes one."""
    keys, text = [word.key], ""
    if word.takes:
        text = "3" if word.takes == "N" else "F3"
        keys += [*text, "enter"]
    if word.name == "quit":
        keys += ["y"]
    assert typed(Keyboard(), *keys) == [Act("word", word.name, text)]


def test_quitting_asks() -> None:
    """The quit key alone says nothing; any key but yes goes on."""
    keyboard = Keyboard()
    assert typed(keyboard, "Q") == [] and keyboard.mode is Mode.QUIT
    assert typed(keyboard, "n") == [] and keyboard.mode is Mode.WORDS  # type: ignore[comparison-overlap]
    assert typed(keyboard, "ctrl+q", "y") == [Act("word", "quit")]


def test_a_key_held_down_counts_once() -> None:
    """A foot left on a pedal must not answer the next question: the key's own repeats are passed over."""
    keyboard = Keyboard()
    acts = [keyboard.press("y", 10.0 + 0.1 * at) for at in range(20)]
    assert [act for act in acts if act is not None] == [Act("word", "yes")]
    assert keyboard.press("y", 20.0) == Act("word", "yes")


def test_a_key_pressed_again_and_again_leaves_after_the_end() -> None:
    """Begun before the end, each press is the repeat of the one before; the screen was deaf to it for ever. A hand that
    has just answered does not leave."""
    keyboard = Keyboard()
    assert keyboard.press("x", 10.0) is None and keyboard.notice
    keyboard.over = True
    acts = {at: keyboard.press("x", 10.0 + 0.2 * at) for at in range(1, 16)}
    assert [at for at, act in acts.items() if act == Act("leave")] == [11, 12, 13, 14, 15]
    keyboard = Keyboard()
    assert keyboard.press("y", 10.0) == Act("word", "yes")
    keyboard.over = True
    assert [keyboard.press("y", 10.5 + 0.03 * at) for at in range(30)] == [None] * 30
    assert keyboard.press("y", 12.5) == Act("leave")
    keyboard = Keyboard()
    keyboard.press("x", 10.0)
    keyboard.over = True
    assert keyboard.press("q", 10.1) == Act("leave")


def test_typing_takes_anything_printable() -> None:
    """While an argument is typed no key is a word; backspace takes back, escape drops, repeats are letters."""
    keyboard = Keyboard()
    keyboard.press("#", 0.0)
    for at, key in enumerate([*"yyoQ", "backspace", *" ?µ"]):
        assert keyboard.press(key, 0.01 * at) is None
    assert keyboard.typed == "yyo ?µ" and keyboard.entry.startswith("note: yyo ?µ")
    assert keyboard.press("enter", 1.0) == Act("word", "note", "yyo ?µ")
    keyboard.press("@", 2.0)
    assert keyboard.press("escape", 3.0) is None and keyboard.mode is Mode.WORDS
    assert typed(keyboard, "+", "enter") == [] and "needs its NAME" in keyboard.notice


def test_unknown_key_is_told() -> None:
    """A key that is no word says so, escaped, and does nothing."""
    keyboard = Keyboard()
    assert typed(keyboard, "%") == [] and "key % is no word" in keyboard.notice
    assert typed(keyboard, "\x9b") == [] and "\x9b" not in keyboard.notice


def test_learn_a_pedal() -> None:
    """Press the pedal, then the key of its word; from then on the pedal says it."""
    keyboard = Keyboard()
    assert typed(keyboard, "P", "f13", "y") == [Act("pedal", "f13", "yes")]
    assert typed(keyboard, "f13") == [Act("word", "yes", source="pedal")]
    assert any(key == "f13" for key, _, _ in keyboard.help_rows())
    assert typed(keyboard, "P", "?") == [] and keyboard.mode is Mode.WORDS
    assert typed(keyboard, "P", "f14", "@") == [] and "no pedal" in keyboard.notice
    assert typed(Keyboard(pedals={"b": "skip"}), "b") == [Act("word", "skip", source="pedal")]
    assert typed(Keyboard(pedals={"b": "skip"}), "s") == [Act("word", "skip", source="key")]


def test_help_lists_every_key() -> None:
    """Help names every word with its key; it scrolls, and any other key leaves it."""
    keyboard = Keyboard(hands=True)
    rows = keyboard.help_rows()
    assert {word.name for word in WORDS} <= {name.split()[0] if name != "skip step" else name for _, name, _ in rows}
    assert {HAND_SIGNS.get(key, key) for key in HAND_KEYS} <= {key for key, _, _ in rows}
    assert typed(keyboard, "?", "down", "pageup", "x") == [Act("scroll", text="1"), Act("scroll", text="-10")]
    assert keyboard.mode is Mode.WORDS


def test_replay_has_no_words() -> None:
    """In a replay the player's keys steer, none of them is a word, and leaving needs no second key."""
    keyboard = Keyboard(replay=True)
    acts = typed(keyboard, *PLAYER_KEYS)
    assert [act.name for act in acts] == ["pause", "step", "faster", "slower", "next", "before", ""]
    assert acts[-1].kind == "leave"
    assert typed(Keyboard(replay=True), "y") == []


def test_keys_of_a_replay_are_its_own() -> None:
    """Hold, event, verdict: each by its letter; none has another meaning on the screen or in practice."""
    acts = typed(Keyboard(replay=True), "h", "e", "v", "V", "+", "-")
    assert [act.name for act in acts] == ["pause", "step", "next", "before", "faster", "slower"]
    for key in (" ", ".", "]", "["):
        assert typed(Keyboard(replay=True), key) == []


def test_hands() -> None:
    """With virtual hands the arrows move probes and trimmer, at any pace; without them they do nothing."""
    keyboard = Keyboard(hands=True)
    acts = [keyboard.press("right", 0.01 * at) for at in range(3)]
    assert acts == [Act("hand", "turn up")] * 3
    assert typed(Keyboard(), "right") == []
    assert set(HAND_KEYS).isdisjoint(key_table())


def test_the_second_screen_has_a_page_only_where_there_is_one() -> None:
    """Its key shows where it is and any other goes back; a code that has to be scanned comes first."""
    keyboard = Keyboard(paged=True)
    modes = []
    for key in ("B", "y"):
        assert typed(keyboard, key) == []
        modes.append(keyboard.mode)
    assert modes == [Mode.PAGE, Mode.WORDS]
    assert any(key == "B" for key, _, _ in keyboard.help_rows())
    assert Keyboard(paged=True, scanned=True).mode is Mode.PAGE
    assert typed(keyboard, "P", "B") == [] and "a pedal cannot type it" in keyboard.notice
    without = Keyboard()
    assert typed(without, "B") == [] and without.mode is Mode.WORDS and "no word" in without.notice
    assert "B" not in key_table() and not any(key == "B" for key, _, _ in without.help_rows())


def test_after_the_end_any_key_leaves() -> None:
    """The closed session stays on the screen until somebody has seen it."""
    for hands in (False, True):
        keyboard = Keyboard(hands=hands)
        keyboard.over = True
        assert typed(keyboard, "x") == [Act("leave")]


def test_ctrl_c_stops_in_every_mode() -> None:
    """Ctrl-C is the wish to end, whatever is being asked or typed."""
    for keys in ([], ["Q"], ["#", "a"], ["?"], ["P"]):
        keyboard = Keyboard()
        typed(keyboard, *keys)
        assert typed(keyboard, "ctrl+c") == [Act("stop")]
