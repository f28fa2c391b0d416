"""sweep: natural order, and the count check at the end of each look."""

from __future__ import annotations

import itertools

import pytest

from metercap.plankeys import Item, SweepStep
from metercap.quantity import Quantity
from tests.steps.bench_play import Play, check, confirm, fuses

GOOD = "9 0.2*2 OL*4 "
GO = "OL*3 "


def sweep(last: int = 3) -> SweepStep:
    """Return a sweep with its count check."""
    return fuses(last, count_check=True)


def standing(play: Play) -> dict[str, str]:
    """Return the verdict that stands, by item."""
    return {item: verdict.verdict.value for item, verdict in play.verdicts.items()}


# --- order


@pytest.mark.parametrize("names", list(itertools.permutations(["F1", "F2", "F10"])))
def test_natural_order_when_listed_otherwise(names: tuple[str, ...]) -> None:
    """F1, F2, F10, in whatever order the plan lists them."""
    step = SweepStep(id="fuses", max=2.0, unit="ohm", items=tuple(Item(name) for name in names), count_check=False)
    assert Play(step)(GO + GOOD + GOOD + GOOD).ticks == ["F1 pass", "F2 pass", "F10 pass"]


def test_the_plan_may_say_another_order() -> None:
    """The way over the board where its numbering is not; the asked item, the ticks and the count follow it."""
    step = fuses(3, count_check=True, order=("F3", "F1"))
    play = Play(step)(GO + GOOD)
    assert play.prompts[-1] == "probe F1"
    play(GOOD + GOOD)
    assert play.ticks == ["F3 pass", "F1 pass", "F2 pass"]
    assert play.prompts[-1] == "answer F2"


def test_every_item_gets_a_verdict() -> None:
    """Passed, failed, said open, absent and skipped twice: one verdict each, none left out."""
    play = Play(sweep(5))(GO + GOOD + "9 5.0*4 OL*5 9 5.0*4 OL*5 :open :absent :skip :yes :skip")
    assert play.session.finished
    assert standing(play) == {"F1": "pass", "F2": "fail", "F3": "fail", "F4": "absent", "F5": "unsure"}


# --- the count check


def test_count_check_asks_for_the_last_tick() -> None:
    """After the last item it asks by name, as a prompt to answer; nothing ends before the answer."""
    play = Play(sweep(2), confirm())(GO + GOOD + GOOD)
    assert play.prompts[-1] == "answer F2"
    assert "was the last tick on F2" in play.said
    assert play.since("OL*50 9 0.2*30 OL*9 +900") and play.machine.state == "ask"
    assert play.ticks == ["F1 pass", "F2 pass"]
    assert play(":yes").prompts[-1] == "confirm battery out"


def test_no_makes_every_item_since_the_last_check_unsure() -> None:
    """`no`: words were for other items too, so what was said to be open or absent cannot stand either."""
    play = Play(sweep(4))(GO + GOOD + ":open :absent OL*3 " + GOOD + ":no")
    assert play.prompts[-1] == "answer fuses"
    assert "F1..F4 again" in play.said
    assert play(":no").session.finished
    assert standing(play) == dict.fromkeys(("F1", "F2", "F3", "F4"), "unsure")
    assert play.ticks[:4] == ["F1 pass", "F2 fail", "F3 absent", "F4 pass"]
    assert all("count check" in verdict.reason for verdict in play.verdicts.values())


def test_no_keeps_the_numbers() -> None:
    """The values stay in the replaced verdict."""
    play = Play(sweep(1))(GO + GOOD + ":no")
    assert (play.verdicts["F1"].value, play.verdicts["F1"].max, play.verdicts["F1"].n) == (0.2, 2.0, 2)


def test_no_at_the_second_look_spares_what_was_counted() -> None:
    """Only what came since the last check is unsure."""
    play = Play(sweep(3))(GO + ":skip OL*3 " + GOOD + GOOD + ":yes")
    assert play.prompts[-1] == "probe F1"
    play("OL*3 " + GOOD)
    assert play.prompts[-1] == "answer F1"
    assert play(":no :no").session.finished
    assert standing(play) == {"F1": "unsure", "F2": "pass", "F3": "pass"}


def test_no_before_the_second_look() -> None:
    """After a `no` the skipped items still get their second look."""
    play = Play(sweep(3))(GO + ":skip OL*3 " + GOOD + GOOD + ":no :no")
    assert play.prompts[-1] == "probe F1"
    play("OL*3 " + GOOD + ":yes")
    assert standing(play) == {"F1": "pass", "F2": "unsure", "F3": "unsure"}


def test_last_tick_by_contact_is_named() -> None:
    """The check names the last item ticked by contact, not the last one decided by a word."""
    play = Play(sweep(3))(GO + GOOD + GOOD + ":open")
    assert play.prompts[-1] == "answer F2"


def test_look_without_a_tick_by_contact_is_not_asked_about() -> None:
    """Nothing ticked by contact, nothing to count."""
    play = Play(sweep(3))(GO + ":open :absent :open")
    assert play.session.finished
    assert "answer F1" not in play.prompts


def test_second_look_without_a_tick_is_not_asked_about() -> None:
    """The second look is asked about only if it ticked something by contact."""
    play = Play(sweep(2))(GO + ":skip OL*3 " + GOOD + ":yes :skip")
    assert play.session.finished
    assert len([prompt for prompt in play.prompts if prompt.startswith("answer")]) == 1


def test_quit_leaves_the_check_open() -> None:
    """`quit` at the count check ends the session as quit, with the question unanswered."""
    play = Play(sweep(1))(GO + GOOD + ":quit")
    assert play.session.finished
    assert play.session.end_reason == "quit"
    assert play.prompts[-1] == "answer F1"


@pytest.mark.parametrize("word", ["open", "skip", "absent", "again", "pass", "fail", "undo"])
def test_only_an_answer_answers(word: str) -> None:
    """Words that answer nothing are said to, and the check stays open."""
    play = Play(sweep(1))(GO + GOOD)
    assert play.since(f":{word}") == ["note"]
    assert not play.session.finished


def test_back_at_the_check_reopens_the_last_item() -> None:
    """At the check the last item can be measured again; then the check is asked again."""
    play = Play(sweep(2))(GO + GOOD + GOOD + ":back")
    assert play.prompts[-1] == "probe F2"
    play("OL*3 " + GOOD)
    assert play.prompts[-1] == "answer F2"
    play(":yes")
    assert play.ticks == ["F1 pass", "F2 pass", "F2 pass"]


def test_at_at_the_check() -> None:
    """`at` opens any item from the check; the tick that follows is the last one, which is then asked for."""
    play = Play(sweep(3))(GO + GOOD * 3 + ":at=F1 OL*3 " + GOOD)
    assert play.prompts[-1] == "answer F1"
    play(":at=F9")
    assert play.machine.state == "ask"


def test_skip_step_still_counts_what_was_ticked() -> None:
    """A step given up half-way asks whether the last tick was where it should be."""
    play = Play(sweep(4))(GO + GOOD + GOOD + ":skip_step")
    assert play.prompts[-1] == "answer F2"
    assert play(":no :no").session.finished
    assert standing(play) == dict.fromkeys(("F1", "F2", "F3", "F4"), "unsure")


def test_skip_step_at_the_check_leaves_nothing_proved() -> None:
    """A check that is skipped is as good as a `no`."""
    play = Play(sweep(2))(GO + GOOD + GOOD + ":skip_step")
    assert play.session.finished
    assert standing(play) == {"F1": "unsure", "F2": "unsure"}


def test_check_prompt_comes_again_after_a_block() -> None:
    """A block during the check prompts; its end asks the question again."""
    play = Play(sweep(1))(GO + GOOD + "^lost OL*4")
    assert play.prompts[-3:] == ["wait F1", "lift F1", "answer F1"]


def test_it_is_asked_when_the_tips_are_off() -> None:
    """At the tick the tips are on: lift first, and the question comes with `go`. An answer before that is none."""
    play = Play(sweep(1))(GO + "9 0.2*2")
    assert play.prompts[-1] == "lift F1"
    assert play.since(":yes :no") == ["note", "note"]
    assert "answers nothing yet" in play.notes[-1]
    assert play.since("OL*4") == ["lift of a slip F1", "cue go F1", "prompt answer F1"]
    assert play(":yes").session.finished


def test_a_last_item_that_is_said_is_asked_about_at_once() -> None:
    """With the tips off already there is nothing to wait for."""
    assert Play(sweep(2))(GO + GOOD).since(":absent")[-1] == "prompt answer F1"


@pytest.mark.parametrize("word", [":yes", ":no"])
@pytest.mark.parametrize("hides", ["^lost", "0.2!hold*2", "9 0.2"])
def test_what_hides_the_question_keeps_its_answer_out(hides: str, word: str) -> None:
    """Behind a dead link, HOLD or "lift" nobody sees it: the answer is refused, and it is asked again afterwards."""
    play = Play(sweep(1))(GO + GOOD)
    # A slip: the tips come back before the lift is certain for what follows, or stay on.
    play("+0.1 :back OL*3 9 0.2*2" if hides == "9 0.2" else hides)
    assert play.since(word) == ["note"]
    assert not play.session.finished
    assert play.ticks[-1] == "F1 pass"
    assert play("OL*5").prompts[-1] == "answer F1"
    assert play(":yes").session.finished


def test_lift_larger_than_the_question_keeps_the_answer_out() -> None:
    """A touch too early after the question is a slip: "lift" stands there until the tips are off again."""
    play = Play(sweep(2), rate=10.0)("OL*10 9 0.2*3 OL*12 :absent 0.2*12")
    assert play.cues[-1] == "lift F1"
    assert play.since(":yes") == ["note"]
    assert play.since("OL*12")[-1] == "prompt answer F1"
    assert play(":yes").session.finished


def test_no_offers_to_sweep_those_again_at_once() -> None:
    """`yes` to the offer asks for each of them anew, and then whether the last tick was right this time."""
    play = Play(sweep(3))(GO + ":skip OL*3 " + GOOD + GOOD + ":no :yes")
    assert play.prompts[-1] == "probe F2"
    play("OL*3 " + GOOD + GOOD)
    assert play.prompts[-1] == "answer F3"
    assert play(":yes").prompts[-1] == "probe F1", "the second look comes after it"
    assert play("OL*3 " + GOOD + ":yes").session.finished
    assert standing(play) == dict.fromkeys(("F1", "F2", "F3"), "pass")


def test_at_a_place_that_is_none_is_refused() -> None:
    """With a remark that names what was said and what there is; the question stays."""
    play = Play(sweep(12))(GO + GOOD)
    assert play.since(":at=F99") == ["note"]
    assert "'F99'" in play.notes[-1]
    assert "F1 to F12" in play.notes[-1]
    assert play.machine.item == "F2"


# --- clusters


def clustered(last: int, *clusters: tuple[str, ...]) -> SweepStep:
    """Return a sweep whose count check comes after each cluster."""
    return fuses(last, count_check=True, clusters=clusters)


def test_each_cluster_is_counted() -> None:
    """Two pairs and one fuse that belongs to none: asked after F2, after F4 and after F5."""
    play = Play(clustered(5, ("F1", "F2"), ("F3", "F4")))(GO + GOOD * 2)
    assert play.prompts[-1] == "answer F2"
    assert play(":yes").prompts[-1] == "probe F3"
    assert play("OL*3 " + GOOD * 2).prompts[-1] == "answer F4"
    assert play(":yes OL*3 " + GOOD).prompts[-1] == "answer F5"
    assert play(":yes").session.finished


def test_a_no_costs_one_cluster() -> None:
    """What was counted before stands."""
    play = Play(clustered(4, ("F1", "F2"), ("F3", "F4")))(GO + GOOD * 2 + ":yes OL*3 " + GOOD * 2 + ":no :no")
    assert play.session.finished
    assert standing(play) == {"F1": "pass", "F2": "pass", "F3": "unsure", "F4": "unsure"}


def test_a_no_in_the_middle_goes_on_with_the_next_cluster() -> None:
    """Left unsure or swept again, the next cluster follows."""
    start = GO + GOOD * 2 + ":no "
    left = Play(clustered(3, ("F1", "F2"), ("F3",)))(start + ":no")
    assert left.prompts[-1] == "probe F3"
    again = Play(clustered(3, ("F1", "F2"), ("F3",)))(start + ":yes OL*3 " + GOOD * 2 + ":yes")
    assert again.prompts[-1] == "probe F3"
    assert standing(again) == {"F1": "pass", "F2": "pass"}


def test_a_cluster_whose_last_item_is_passed_over_is_counted() -> None:
    """A word for the last of a cluster ends it as well; one without a tick is not asked about."""
    play = Play(clustered(4, ("F1", "F2"), ("F3", "F4")))(GO + GOOD + ":skip")
    assert play.prompts[-1] == "answer F1"
    silent = Play(clustered(3, ("F1", "F2"), ("F3",)))(GO + ":open :absent")
    assert silent.prompts[-1] == "probe F3"


def test_check_step_asks_nothing() -> None:
    """A `check` step has no count check."""
    play = Play(check("R1", contacts=1))(GO + "9 100.0*3 OL*5 9 100.0*3 OL*4")
    assert play.session.finished


# --- what it wants


def test_wanted() -> None:
    """With ohm limits and no quantity resistance and continuity both count; a stated quantity alone does."""
    assert fuses().wanted == (Quantity.RESISTANCE, Quantity.CONTINUITY)
    assert fuses(quantity=Quantity.CONTINUITY).wanted == (Quantity.CONTINUITY,)
    assert fuses(unit="V", max=0.5).wanted == (Quantity.VOLTAGE_DC,)


# --- lists with gaps: who goes by names makes up for a double touch unawares, so each gap is counted before it

GAPS = GO + (":skip OL*3 " + GOOD) * 3 + ":yes OL*4 "
"""F1, F3 and F5 of six are left for the second look, F2, F4 and F6 passed and counted."""


def test_a_double_touch_beside_a_gap_is_found() -> None:
    """F1 is touched twice: among neighbours the count would be one behind; here the prompt for F5 makes up for it."""
    play = Play(sweep(6), confirm())(GAPS + GOOD)
    assert "was the last tick on F1" in play.said, "before F3 is asked for"
    play(GOOD)  # F1 once more: it is no tick of F3
    assert "F3" not in play.verdicts
    play("OL*3 :yes OL*4 " + GOOD)
    assert "was the last tick on F3" in play.said
    assert play(":no").verdicts["F3"].verdict == "unsure"
    assert play.verdicts["F1"].verdict == "pass", "a no costs what was counted last"


def test_neighbours_at_the_second_look_are_counted_once() -> None:
    """F1 and F2 are left, side by side."""
    play = Play(sweep(3), confirm())(GO + ":skip :skip OL*3 " + GOOD + ":yes OL*4 " + GOOD)
    assert play.prompts[-1] == "probe F2"
    assert "was the last tick on F2" in play(GOOD).said


def test_what_a_word_decides_on_the_way_is_no_gap() -> None:
    """The walk goes on past an item that is absent: hands go on to the neighbour in turn."""
    play = Play(sweep(3), confirm())(GO + GOOD + ":absent")
    assert play.prompts[-1] == "probe F3"


def test_just_those_again_are_counted_at_each_gap() -> None:
    """F2 was decided before; F1 and F3 are swept again after a no, and between them lies the gap."""
    first = Play(sweep(3), rate=2.0)(GO + ":skip OL*3 " + GOOD)
    assert first.verdicts["F2"].verdict == "pass"
    first(":at=F1 OL*4 " + GOOD)
    assert "was the last tick on F1" in first.said
