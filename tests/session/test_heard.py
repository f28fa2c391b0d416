"""Words that are not taken: those that write a verdict while nothing can be read, and keys that came with a prompt."""

from __future__ import annotations

import pytest

from metercap.plankeys import TrialsStep
from metercap.records import Operator, at
from metercap.session import check
from tests.steps.bench_play import Play, confirm, fuses, safe

GOOD = "9 0.2*2 OL*5 "
BLOCKS = {
    "hold": ("0.2!hold*2", "HOLD is on"),
    "rel": ("0.2!rel*2", "REL is on"),
    "range": ("0.2!max*2", "MIN/MAX is on"),
    "dial": ("0.00V*3", "set the meter to"),
    "lost": ("^lost", "link is lost"),
    "silent": ("^silent", "link is silent"),
    "battery": ("OL!low_battery*2", "battery is low"),
}


def key(play: Play, word: str, after_s: float = 0.0, source: str = "key") -> Play:
    """Say a word by a key, so long after what came last."""
    play(f"+{after_s}")
    play.feed(Operator(at(play.t_s), word, "", source))
    return play


# --- no verdict by word while nothing can be read


@pytest.mark.parametrize("block", BLOCKS)
@pytest.mark.parametrize("word", ["open", "absent", "pass", "fail"])
def test_no_verdict_by_word_while_nothing_can_be_read(block: str, word: str) -> None:
    """Under HOLD, on the wrong dial, on a dead link: the word writes nothing; the reason is said and asked again."""
    script, why = BLOCKS[block]
    play = Play(fuses(2))("OL*3 " + script)
    said = play.since(f":{word}")
    assert said[0] == "note"
    assert said[1].startswith("prompt ")
    assert why in play.notes[-1]
    assert play.ticks == []


def test_word_is_taken_when_the_block_has_ended() -> None:
    """HOLD off again: the same word is the operator's to say."""
    assert Play(fuses(2))("OL*3 OL!hold*2 :open OL :open").ticks == ["F1 fail"]


def test_unflagged_hold_is_a_block_too() -> None:
    """Nothing changes for 5 s after a lift cue: `open` would be said of a display that is not live."""
    play = Play(fuses(2))("OL*3 9 0.2*2 0.2*20")
    assert "is HOLD on" in play.said
    assert play.since(":open")[0] == "note"
    assert play.ticks == ["F1 pass"]


@pytest.mark.parametrize("word", ["skip", "back", "again", "skip_step"])
def test_words_that_write_no_verdict_on_the_item_pass(word: str) -> None:
    """What puts an item aside, or begins it anew, needs no meter."""
    assert "is not taken" not in " ".join(Play(fuses(2))(f"OL*3 ^lost :{word}").notes)


@pytest.mark.parametrize("step", [confirm(), TrialsStep(id="starts", runs=2, off_s=1.0)], ids=["confirm", "trials"])
def test_steps_of_words_need_no_meter(step: object) -> None:
    """Whether it starts, or is done, the operator sees without a meter."""
    play = Play(step, confirm(id="after"))("OL*3 ^lost :pass")  # type: ignore[arg-type]
    assert not any("is not taken" in note for note in play.notes)


def test_question_of_a_block_is_answered_all_the_same() -> None:
    """`yes` to the low battery is no verdict."""
    assert Play(fuses(1))("OL!low_battery*3 :yes OL*6 9 0.2*2").ticks == ["F1 pass"]


# --- a key that came with a new prompt


@pytest.mark.parametrize(("after_s", "taken"), [(0.0, False), (0.1, False), (0.29, False), (0.3, True), (1.0, True)])
@pytest.mark.parametrize("source", ["key", "pedal"])
def test_key_within_0_3_s_of_a_prompt_answers_none(after_s: float, taken: bool, source: str) -> None:
    """`absent` was for F1, which ticked while the finger was on its way: F2 must not be written off by it."""
    play = Play(fuses(2))("OL*3 9 0.2*2")
    assert play.prompts[-1] == "probe F2"
    key(play, "absent", after_s, source)
    assert play.ticks == (["F1 pass", "F2 absent"] if taken else ["F1 pass"])
    if not taken:
        assert "came with a new prompt" in play.notes[-1]


@pytest.mark.parametrize("source", ["line", "token", "", "page"])
def test_line_is_taken_as_it_comes(source: str) -> None:
    """A program that writes lines knows what it answers."""
    play = key(Play(fuses(2))("OL*3 9 0.2*2"), "absent", 0.0, source)
    assert play.ticks == ["F1 pass", "F2 absent"]


def test_late_yes_confirms_nothing() -> None:
    """Two yes in a row, the second meant for the first question: the next one stays."""
    play = Play(confirm(), confirm(id="cell out"))
    key(key(play, "yes", 5.0), "yes", 0.2)
    assert play.ticks == ["battery out pass"]
    assert key(play, "yes", 0.2).ticks == ["battery out pass", "cell out pass"]


def test_count_check_is_not_answered_by_a_late_key() -> None:
    """The question came up under the hand."""
    play = Play(fuses(1, count_check=True))("OL*3 9 0.2*2")
    while play.prompts[-1] != "answer F1":
        play("OL")
    key(play, "no", 0.1)
    assert play.ticks == ["F1 pass"]
    assert not play.session.finished


def test_block_that_begins_is_a_new_prompt() -> None:
    """`yes` to the count check arrives as the battery is asked about: it accepts no low battery."""
    play = key(Play(fuses(1))("OL*3 OL!low_battery"), "yes", 0.1)
    assert play.session.bench.blocked


@pytest.mark.parametrize("word", ["note", "say", "quit", "probe", "clap"])
def test_words_that_answer_nothing_are_heard_at_once(word: str) -> None:
    """A remark, a question and the end are about no prompt."""
    play = Play(fuses(2))("OL*3 9 0.2*2")
    play.feed(Operator(at(play.t_s), word, "R7", "key"))
    assert not any("came with a new prompt" in note for note in play.notes)


def test_at_names_its_own_item() -> None:
    """`at F1` is about F1 whatever is asked for."""
    play = Play(fuses(2))("OL*3 9 0.2*2")
    play.feed(Operator(at(play.t_s), "at", "F1", "key"))
    assert play.prompts[-1] == "probe F1"


def test_same_prompt_again_is_no_new_one() -> None:
    """`no` asks the same question again: a quick second word answers what has been read already."""
    play = key(Play(confirm()), "no", 5.0)
    assert key(play, "fail", 0.1).ticks == ["battery out fail"]


def test_tip_beside_the_prompt_is_no_new_one() -> None:
    """A range to be fixed replaces no question, so it takes no answer away."""
    play = Play(fuses(1), auto=True)("+5 OL")
    assert play.prompts == ["probe F1", "dial None"]
    assert key(play, "absent", 0.1).ticks == ["F1 absent"]


def test_refusals_are_replayed() -> None:
    """They follow from what the journal holds: the same records come out of it again."""
    play = Play(fuses(3, count_check=True))("OL*3 9 0.2*2")
    key(play, "absent", 0.2)
    play("OL*5 ^lost :open OL*5 " + GOOD)
    key(key(play, "absent", 0.5), "yes", 0.1)
    key(play, "yes", 0.4)
    assert play.session.finished
    records = [play.record]
    for event, outcomes in play.pairs:
        records += ([] if event is None else [event]) + list(outcomes)  # type: ignore[arg-type]
    assert check(records).difference == ""


def test_safe_step_refuses_absent_on_the_wrong_dial() -> None:
    """No point is written off while the meter shows ohms."""
    play = Play(safe("C12"))("1.52V*3 0.00V*3 0.2*2 :absent")
    assert play.ticks == []
