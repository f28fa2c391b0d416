"""confirm: a word, after `wait_s` where the plan says so."""

from __future__ import annotations

from typing import Any

import pytest

from metercap.plankeys import ConfirmStep, Item
from metercap.records import Prompt, Verdict
from metercap.session.inherit import inherited_from
from tests.steps.bench_play import Play, confirm, fuses


@pytest.mark.parametrize(
    ("word", "verdict"),
    [
        ("yes", "pass"),
        ("pass", "pass"),
        ("fail", "fail"),
        ("skip", "unsure"),
        ("skip_step", "unsure"),
        ("absent", "absent"),
    ],
)
def test_words_decide(word: str, verdict: str) -> None:
    """A word ends the step; its verdict has no numbers."""
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


def test_no_is_not_yet() -> None:
    """ "Supply unplugged?" answered no stays, as often as it is said; fail decides, and a yes may come later."""
    play = Play(confirm(say="supply unplugged?"), fuses())
    for _ in range(3):
        assert play.since("+9 :no") == ["note", "prompt confirm battery out"]
        assert "not yet" in play.notes[-1]
    assert play.ticks == []
    assert Play(confirm(), fuses())(":no :fail").ticks == ["battery out fail"]
    assert play(":yes").ticks == ["battery out pass"]


def test_wait_counts_from_a_yes_to_begun() -> None:
    """Nobody has begun to discharge when the prompt appears: the time before the yes is no part of the wait."""
    play = Play(confirm(wait_s=60.0, say="discharge C12"))
    assert "begun?" in play.said
    play("+500 :no +500")
    assert play.prompts == ["confirm battery out"] * 2
    play(":yes")
    assert play.prompts[-1] == "wait battery out"
    assert play.of(Prompt)[-1].until_s == 1060.0
    assert play.since("+59.9") == []
    assert play.since("+0.1") == ["prompt confirm battery out"]


def test_no_during_the_wait_takes_the_begin_back() -> None:
    """Not begun after all: no question comes of the old deadline, and the wait counts from another yes."""
    play = Play(confirm(wait_s=60.0))(":yes +30 :no +100")
    assert play.prompts[-1] == "confirm battery out"
    assert "begun?" in play.said
    play(":yes +59")
    assert play.prompts[-1] == "wait battery out"
    assert play("+1 :yes").session.finished


def test_end_of_the_wait_stands_in_every_prompt_of_it() -> None:
    """An interlude prompts the wait again; its end has not moved."""
    play = Play(confirm(wait_s=60.0))("0.00V :yes +10 :probe=TP1 :skip :skip")
    waits = [prompt.until_s for prompt in play.of(Prompt) if prompt.do == "wait"]
    assert waits == [60.5, 60.5]


# --- check lists


def listed(**more: Any) -> ConfirmStep:
    return confirm(id="relays", say="does it click?", items=(Item("K1", where="rear"), Item("K2"), Item("K3")), **more)


def test_check_list_asks_each_item() -> None:
    """Each item has its own question and its own verdict; the step itself has none."""
    play = Play(listed(), confirm(id="after"))
    assert play.prompts == ["confirm K1"]
    assert "K1" in play.said
    assert "rear" in play.said
    play(":yes :no :fail :absent")
    assert play.ticks == ["K1 pass", "K2 fail", "K3 absent"]
    assert play.prompts == ["confirm K1", "confirm K2", "confirm K2", "confirm K3", "confirm after"]


def test_skipped_items_of_a_list_come_once_more() -> None:
    """`skip` leaves an item for the second look and writes nothing; skipped there it is unsure."""
    play = Play(listed())(":skip :yes :skip")
    assert play.ticks == ["K2 pass"]
    assert play.prompts[-1] == "confirm K1"
    assert "second look" in play.said
    play(":yes :skip")
    assert play.ticks == ["K2 pass", "K1 pass", "K3 unsure"]
    assert play.session.finished


def test_back_and_at_in_a_list() -> None:
    """The last answer can be taken back, and any item asked again."""
    play = Play(listed())(":fail :back :yes :at=k3 :fail :yes")
    assert play.ticks == ["K1 fail", "K1 pass", "K3 fail", "K2 pass"]
    assert play.session.finished
    assert Play(listed()).since(":at=K9") == ["note"]


def test_no_item_gets_round_the_wait() -> None:
    """Before the question comes, a word is about the whole list."""
    for word, verdict in (("skip", "unsure"), ("skip_step", "unsure"), ("fail", "fail"), ("absent", "absent")):
        for before in ("", ":yes +5"):
            play = Play(listed(wait_s=60.0))(f"{before} :{word}")
            assert play.ticks == [f"{item} {verdict}" for item in ("K1", "K2", "K3")], word
            assert play.session.finished


def test_list_after_its_wait() -> None:
    """One wait, then every item."""
    play = Play(listed(wait_s=60.0))(":yes +60 :yes :yes :yes")
    assert play.prompts == ["confirm K1", "wait K1", "confirm K1", "confirm K2", "confirm K3"]
    assert play.ticks == ["K1 pass", "K2 pass", "K3 pass"]


def test_interrupted_list_goes_on_where_it_was() -> None:
    """What an interrupted session decided is not asked again."""
    first = Play(listed())(":yes :fail :quit")
    kept = inherited_from(first.session.bench, "continue", "s1").as_builtins()
    again = Play(listed(), inherited=kept)
    assert again.prompts == ["confirm K3"]
    assert again(":yes").session.finished


# --- waiting


def test_wait_comes_first() -> None:
    """With wait_s the step asks when the wait is over, not sooner; yes before that means nothing."""
    play = Play(confirm(wait_s=60.0))(":yes")
    assert play.prompts == ["confirm battery out", "wait battery out"]
    assert play.since("+30 :yes :pass") == ["note", "note"]
    assert play.since("+29.9") == []
    assert play.since("+0.2") == ["prompt confirm battery out"]
    assert play.since(":yes") == ["verdict pass battery out", "cue pass battery out"]


@pytest.mark.parametrize(("word", "verdict"), [("fail", "fail"), ("skip", "unsure"), ("absent", "absent")])
def test_wait_can_be_given_up(word: str, verdict: str) -> None:
    """The wait can be denied, skipped, or have no object; its deadline then wakes nobody."""
    play = Play(confirm(wait_s=60.0), fuses())(f":yes +3 :{word} OL*3 +100")
    assert play.ticks == [f"battery out {verdict}"]
    assert play.prompts == ["confirm battery out", "wait battery out", "probe F1"]


def test_again_waits_again() -> None:
    """`again` begins the whole wait anew, before and after its end."""
    play = Play(confirm(wait_s=60.0))(":yes +59 :again +59")
    assert play.prompts == ["confirm battery out", "wait battery out", "confirm battery out"]
    play(":yes +61 :again")
    assert play.prompts[3:] == ["wait battery out", "confirm battery out", "confirm battery out"]
    assert "begun?" in play.said


@pytest.mark.parametrize("block", ["^lost", "^silent", "0.2!hold", "0.2!low_battery"])
def test_wait_needs_no_meter(block: str) -> None:
    """A meter that falls silent or shows HOLD during a long wait does not hold the question back."""
    play = Play(confirm(wait_s=60.0))(f":yes OL*3 {block} +60")
    assert play.prompts[-1] == "confirm battery out"
    assert "begun?" not in play.said


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
    assert "unplug the supply" in Play(confirm(say="unplug the supply", wait_s=1.0))(":yes +2").said


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


def test_skip_step_takes_no_answer_back() -> None:
    """K1 clicked, `back` asks about it again, and the list is skipped: K1's answer stands."""
    step = confirm(items=(Item("K1"), Item("K2")))
    play = Play(step, confirm(id="after"))(":yes :back :skip_step")
    assert (play.verdicts["K1"].verdict, play.verdicts["K2"].verdict) == ("pass", "unsure")
