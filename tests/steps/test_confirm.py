"""confirm: a word, after `wait_s` where the plan says so."""

from __future__ import annotations

import pytest
from bench_play import Play, confirm, fuses

from metercap.records import Verdict


@pytest.mark.parametrize(
    ("word", "verdict"),
    [
        ("yes", "pass"),
        ("no", "fail"),
        ("pass", "pass"),
        ("fail", "fail"),
        ("skip", "unsure"),
        ("skip_step", "unsure"),
        ("absent", "absent"),
    ],
)
def test_words_decide(word: str, verdict: str) -> None:
    """A word ends the step; its verdict has no numbers, and `no` is a fail."""
    play = Play(confirm())(f"+3 :{word}")
    assert play.session.finished
    assert play.ticks == [f"battery out {verdict}"]
    given = play.of(Verdict)[0]
    assert (given.value, given.min, given.max, given.expanded, given.t_s) == (None, None, None, None, 3.0)


def test_readings_decide_nothing() -> None:
    """Whatever the meter shows, in any quantity, only a word counts."""
    play = Play(confirm(), fuses())("OL*3 0.2*9 1.52V*9 --V 0.00Vac*4 OLc*3 +600")
    assert play.ticks == []
    assert play.prompts == ["confirm battery out"]


def test_wait_comes_first() -> None:
    """With wait_s the step asks when the wait is over, not sooner; yes before that means nothing."""
    play = Play(confirm(wait_s=60.0))
    assert play.prompts == ["wait battery out"]
    assert play.since("+30 :yes :pass") == ["note", "note"]
    assert play.since("+29.9") == []
    assert play.since("+0.2") == ["prompt confirm battery out"]
    assert play.since(":yes") == ["verdict pass battery out", "cue pass battery out"]


@pytest.mark.parametrize(("word", "verdict"), [("no", "fail"), ("skip", "unsure"), ("absent", "absent")])
def test_wait_can_be_given_up(word: str, verdict: str) -> None:
    """The wait can be denied, skipped, or have no object; its deadline then wakes nobody."""
    play = Play(confirm(wait_s=60.0), fuses())(f"+3 :{word} OL*3 +100")
    assert play.ticks == [f"battery out {verdict}"]
    assert play.prompts == ["wait battery out", "probe F1"]


def test_again_waits_again() -> None:
    """`again` begins the whole wait anew, before and after its end."""
    play = Play(confirm(wait_s=60.0))("+59 :again +59")
    assert play.prompts == ["wait battery out"] * 2
    play("+2 :again")
    assert play.prompts[2:] == ["confirm battery out", "wait battery out"]
    assert play("+61").prompts[-1] == "confirm battery out"


@pytest.mark.parametrize("block", ["^lost", "^silent", "0.2!hold", "0.2!low_battery"])
def test_wait_needs_no_meter(block: str) -> None:
    """A meter that falls silent or shows HOLD during a long wait does not hold the question back."""
    play = Play(confirm(wait_s=60.0))(f"OL*3 {block} +60")
    assert play.prompts[-1] == "confirm battery out"


def test_question_is_asked_while_the_meter_is_off() -> None:
    """A step of words prompts though the link is dead."""
    play = Play(confirm(), confirm(id="cover off"))("^silent :yes")
    assert play.prompts[-1] == "confirm cover off"


def test_words_that_mean_nothing() -> None:
    """Other words are said to mean nothing, and change nothing."""
    play = Play(confirm())
    for word in ("open", "back", "undo", "at=F1", "jump"):
        assert play.since(f":{word}") == ["note"]
    assert not play.session.finished


def test_say_stands_first() -> None:
    """The plan's own words are the prompt's."""
    assert "unplug the supply" in Play(confirm(say="unplug the supply")).said
    assert "unplug the supply" in Play(confirm(say="unplug the supply", wait_s=1.0))("+2").said


def test_cautions_come_before_the_prompt() -> None:
    """A step's cautions are shown before its first prompt."""
    play = Play(confirm(cautions=("discharge through a resistor, not a short",)))
    assert [type(outcome).__name__ for outcome in play.out] == ["Note", "Prompt"]


@pytest.mark.parametrize("rate", [1.0, 2.0, 10.0])
def test_tips_on_during_the_step_are_not_credited_after_it(rate: float) -> None:
    """Tips that rest on something while a word is asked for are not put there for the next step's first item."""
    play = Play(confirm(), fuses(), rate=rate)("OL*4 0.2*9 :yes 0.2*9")
    assert play.ticks == ["battery out pass"]
    assert play("OL*20 9 0.2*2").ticks[-1] == "F1 pass"


def test_tips_off_during_the_step_are_free_after_it() -> None:
    """Tips that were off for long while a word was asked for need no further lift."""
    play = Play(confirm(), fuses())("OL*9 :yes OL*2 9 0.2*2")
    assert play.ticks[-1] == "F1 pass"
    assert "go F1" not in play.cues


def test_dial_turned_during_the_step_proves_no_lift() -> None:
    """Volts during the step say nothing about where the tips are."""
    play = Play(confirm(), fuses(), rate=1.0)("OL*9 0.00V*9 :yes 0.2*9")
    assert play.ticks == ["battery out pass"]
