"""Tokens: the touch of a marked resistor is a word, learned at the start and derived from readings."""

from __future__ import annotations

import pytest
from bench_play import Play, fuses

from metercap.plan import Plan, to_builtins
from metercap.records import Operator, Record
from metercap.session import check

LEARN = "OL*8 143.5*4 OL*8 "


def with_token(*, count_check: bool = False, **tokens: float) -> Play:
    """Return a sweep of three fuses at 5 conversions/s with tokens on the mat."""
    steps = (fuses(3, count_check=count_check),)
    plan = Plan(title="t", steps=steps, tokens=tokens or {"open": 143.0})
    return Play(*steps, rate=5.0, plan=to_builtins(plan))


def words(play: Play) -> list[str]:
    """Return the words that were fed."""
    return [event.word for event in play.events if isinstance(event, Operator)]


def test_tokens_are_learned_before_the_first_step_in_ohms() -> None:
    """What the token reads is what is looked for later."""
    play = with_token()
    assert play.prompts == ["probe open"]
    play(LEARN)
    assert play.notes == ["token open reads 143.5 Ω"]
    assert play.prompts[-1] == "probe F1"


def test_two_steady_conversions_on_a_token_are_its_word() -> None:
    """F2 has no path; the tips go to the token instead of a hand to the keyboard."""
    play = with_token()(LEARN + "0.2*3 OL*8 143.4 ")
    assert words(play) == []
    play("143.5")
    assert words(play) == ["open"]
    assert play.ticks == ["F1 pass", "F2 fail"]
    assert "by the operator's word" in play.verdicts["F2"].reason


def test_one_touch_is_one_word() -> None:
    """Resting on the token says nothing more; the next item wants a certain lift first."""
    play = with_token()(LEARN + "143.5*20")
    assert words(play) == ["open"]
    assert play.ticks == ["F1 fail"]
    play("OL*8 143.5*3")
    assert play.ticks == ["F1 fail", "F2 fail"]


def test_a_token_is_never_judged_as_an_item() -> None:
    """Neither a verdict nor `again` comes of its value."""
    play = with_token()(LEARN + "143.5*3")
    assert "again F1" not in play.cues
    assert play.verdicts["F1"].value is None


def test_another_value_is_an_item() -> None:
    """160 Ω is no token of 143.5 Ω: two settled contacts make it a failed fuse."""
    play = with_token()(LEARN + "160.0*4 OL*8 160.0*4")
    assert words(play) == []
    assert play.verdicts["F1"].value == 160.0


def test_yes_can_be_a_token_too() -> None:
    """The count check is answered without a hand leaving the probes."""
    play = with_token(count_check=True, yes=143.0)(LEARN + "0.2*3 OL*8 0.2*3 OL*8 0.2*3 OL*8 143.5*3")
    assert play.session.finished


@pytest.mark.parametrize("cut", [0, 1])
def test_replay_derives_the_word_again(cut: int) -> None:
    """The operator record of a token is compared, not fed: it comes out of the readings once more."""
    play = with_token()(LEARN + "0.2*3 OL*8 143.5*3 OL*8 0.2*3")
    records: list[Record] = [play.record]
    for event, outcomes in play.pairs:
        records += ([] if event is None else [event]) + list(outcomes)
    found = check(records[: len(records) - cut])
    assert found.difference == ""
    assert found.verdicts == 3
