"""Tokens: the touch of a marked resistor is a word, learned at the start and derived from readings."""

from __future__ import annotations

import msgspec
import pytest

from metercap.plan import Plan, to_builtins
from metercap.records import Operator, Record
from metercap.session import Driver, Session, check, feed_recorded
from tests.steps.bench_play import Play, fuses

LEARN = "OL*8 143.5*4 OL*8 "


def with_token(*, count_check: bool = False, **tokens: float) -> Play:
    """Return a sweep of three fuses at 5 conversions/s with tokens on the mat."""
    steps = (fuses(3, count_check=count_check),)
    plan = Plan(title="t", steps=steps, supply="none", tokens=tokens or {"open": 143.0})
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


TWICE = "143.5*3 OL*8 143.5*3 "


def test_two_steady_conversions_on_a_token_are_its_word() -> None:
    """The tips go to the token instead of a hand to the keyboard: F2 is left for the second look."""
    play = with_token(skip=143.0)(LEARN + "0.2*3 OL*8 143.4 ")
    assert words(play) == []
    play("143.5")
    assert words(play) == ["skip"]
    assert play.prompts[-1] == "probe F3"
    said = next(event for event in play.events if isinstance(event, Operator))
    assert (said.text, said.source) == ("143.5 Ω", "token")


def test_one_touch_is_one_word() -> None:
    """Resting on the token says nothing more; the next word wants a certain lift first."""
    play = with_token(skip=143.0)(LEARN + "143.5*20")
    assert words(play) == ["skip"]
    assert words(play("OL*8 143.5*3")) == ["skip", "skip"]


@pytest.mark.parametrize(
    ("name", "word", "ticks"),
    [
        ("open", "open", ["F1 fail"]),
        ("absent", "absent", ["F1 absent"]),
        ("fail", "fail", []),
        ("end", "skip step", ["F1 unsure", "F2 unsure", "F3 unsure"]),
    ],
)
def test_a_word_that_writes_a_verdict_takes_two_touches(name: str, word: str, ticks: list[str]) -> None:
    """A fuse beside a parallel path can read like the token: the first touch only shows what the second will do."""
    play = with_token(**{name: 143.0})(LEARN + "143.5*20")  # type: ignore[arg-type]
    assert (words(play), play.ticks) == ([], [])
    assert play.prompts[-1] == "answer F1"
    assert "second touch" in play.said
    assert ("ends this step" if name == "end" else f"F1: {word}") in play.said
    play("OL*8 143.5*3")
    assert words(play) == [word]
    assert play.ticks == ticks


def test_second_touch_wants_a_lift_that_is_certain() -> None:
    """A slip on the token, or on a fuse that reads like it, is no second touch."""
    play = with_token()(LEARN + "143.5*3 OL*2 143.5*9 OL*2 143.5*9")
    assert (words(play), play.ticks) == ([], [])
    assert words(play("OL*8 143.5*3")) == ["open"]


def test_open_by_token_says_so_and_keeps_no_value() -> None:
    """F2 has no path and its verdict is by word; neither `again` nor a value comes of the token's own resistance."""
    play = with_token()(LEARN + "0.2*3 OL*8 " + TWICE)
    assert play.ticks == ["F1 pass", "F2 fail"]
    assert "by the operator's word" in play.verdicts["F2"].reason
    assert play.verdicts["F2"].value is None
    assert "again F2" not in play.cues


def test_item_that_ticks_takes_the_first_touch_back() -> None:
    """Touched once by mistake, then the fuse itself: the next item wants two touches of its own again."""
    play = with_token()(LEARN + "143.5*3 OL*8 0.2*3 OL*8 143.5*3")
    assert play.ticks == ["F1 pass"]
    assert play.prompts[-1] == "answer F2"


def test_any_word_takes_the_first_touch_back() -> None:
    """`skip` after one touch skips; the token begins anew at the next item."""
    play = with_token()(LEARN + "143.5*3 OL*8 :skip OL*5 143.5*3")
    assert words(play) == ["skip"]
    assert play.prompts[-1] == "answer F2"


def test_no_says_that_the_item_itself_reads_so() -> None:
    """A blown fuse beside 143.5 ohms, as was seen on the bench: by `no` it is measured, not said to be open."""
    play = with_token()(LEARN + "143.5*3 :no OL*8")
    assert play.prompts[-1] == "probe F1"
    assert not any("means nothing" in note for note in play.notes)
    play("143.5*4 OL*8 143.5*4")
    assert words(play) == ["no"]
    assert (play.verdicts["F1"].verdict, play.verdicts["F1"].value) == ("fail", 143.5)
    play("OL*8 143.5*3")
    assert play.prompts[-1] == "answer F2", "the next item may be the token again"


@pytest.mark.parametrize(
    ("ohm", "script", "is_token"),
    [
        # Learned 143.0: 2 % is 2.86 ohms, so 145.8 is the token and 145.9 is not.
        (143.0, "145.8", True),
        (143.0, "145.9", False),
        (143.0, "140.2", True),
        (143.0, "140.1", False),
        # Learned 10.0, one count 0.1: three counts are 0.3 ohms, more than 2 % of it.
        (10.0, "10.3", True),
        (10.0, "10.4", False),
        (10.0, "9.7", True),
        (10.0, "9.6", False),
    ],
)
def test_how_near_a_token_must_be(ohm: float, script: str, is_token: bool) -> None:
    """2 % of what it read when learned, or 3 counts, whichever is more; worked by hand."""
    play = with_token(skip=ohm)(f"OL*8 {ohm}*4 OL*8 {script}*3")
    assert words(play) == (["skip"] if is_token else [])


def test_another_value_is_an_item() -> None:
    """160 Ω is no token of 143.5 Ω: two settled contacts make it a failed fuse."""
    play = with_token()(LEARN + "160.0*4 OL*8 160.0*4")
    assert words(play) == []
    assert play.verdicts["F1"].value == 160.0


def test_yes_can_be_a_token_too() -> None:
    """The count check is answered without a hand leaving the probes."""
    play = with_token(count_check=True, yes=143.0)(LEARN + "0.2*3 OL*8 0.2*3 OL*8 0.2*3 OL*8 143.5*3")
    assert play.session.finished


def recorded(play: Play) -> list[Record]:
    """Return what a journal of the play holds."""
    records: list[Record] = [play.record]
    for event, outcomes in play.pairs:
        records += ([] if event is None else [event]) + list(outcomes)
    return records


def test_names_that_begin_like_a_token_are_replayed() -> None:
    """`probe token 5` and a note about a token are the operator's own words; the text marks nothing any more."""
    play = with_token()(LEARN + ":probe=token_5 OL*8 47.0*6 OL*8 :note=token_open_is_worn " + TWICE)
    records = recorded(play)
    driver = Driver(Session(play.record))
    driver.start()
    fed = [event for event, _ in feed_recorded(driver, records[1:])]
    assert [event.word for event in fed if isinstance(event, Operator)] == ["probe", "note", "open"]
    assert driver.session.bench.verdicts == play.session.bench.verdicts


def test_old_journals_mark_a_tokens_word_in_its_text() -> None:
    """A file of schema 1 says "token 143.5 Ω" and no source: the readings say the word once more, it is not fed."""
    play = with_token(skip=143.0)(LEARN + "143.5*3")
    old = [
        msgspec.structs.replace(one, source="", text=f"token {one.text}") if isinstance(one, Operator) else one
        for one in recorded(play)
    ]
    driver = Driver(Session(play.record))
    driver.start()
    fed = [event for event, _ in feed_recorded(driver, old[1:])]
    assert [event.word for event in fed if isinstance(event, Operator)] == ["skip"]


@pytest.mark.parametrize("cut", [0, 1])
def test_replay_derives_the_word_again(cut: int) -> None:
    """The operator record of a token is compared, not fed: it comes out of the readings once more."""
    play = with_token()(LEARN + "0.2*3 OL*8 " + TWICE + "OL*8 0.2*3")
    records = recorded(play)
    found = check(records[: len(records) - cut])
    assert found.difference == ""
    assert found.verdicts == 3
