"""`accept ITEM TEXT`: the verdict stays, the reason is in the journal, and the exit status counts it as good."""

from __future__ import annotations

import pytest
from msgspec import UNSET

from metercap.outcome import fold, is_good
from metercap.plankeys import CellStep, ExerciseStep, Item, TrialsStep, TuneStep
from metercap.records import Cue, Operator, Verdict, at
from metercap.session.inherit import inherited_from
from tests.session.recorded import again
from tests.steps.bench_play import Play, check, confirm, fuses, safe, short

FIRST = "OL*3 "
GOOD = "9 0.2*2 OL*5 "
HIGH = "9 5.0*4 OL*5 9 5.0*4 OL*5 "
AFTER = confirm(id="after")


def failed(*more: object) -> Play:
    """Return a play in which F1 has failed at 5.0 Ω and F2 is asked for."""
    play = Play(fuses(2), *more)(FIRST + HIGH)  # type: ignore[arg-type]
    assert play.ticks == ["F1 fail"]
    return play


def test_the_verdict_stays_with_the_reason_and_counts_as_good() -> None:
    """F1 fails, is accepted, F2 passes: exit status 0; without the word it is 1."""
    play = failed()(":accept=F1_the_owner_wants_it_so")
    assert play.ticks == ["F1 fail", "F1 fail"]
    first, second = play.of(Verdict)
    assert (first.accepted, second.accepted) == (UNSET, "the owner wants it so")
    assert (second.value, second.reason, second.max) == (first.value, first.reason, first.max)
    assert play.notes[-1] == "F1 (fuses) is fail, accepted as it is: the owner wants it so"
    play(GOOD)
    assert play.session.finished
    assert fold(again(play)).exit_status == 0
    assert fold(again(failed()(GOOD))).exit_status == 1


def test_nothing_new_is_cued_and_what_is_asked_stays() -> None:
    """The hands are at F2: no tone of F1's tells them anything."""
    play = failed()
    before = len(play.out)
    play(":accept=F1_known")
    assert [short(outcome) for outcome in play.out[before:]] == ["verdict fail F1", "note"]
    assert not [each for each in play.out[before:] if isinstance(each, Cue)]
    assert play(GOOD).ticks[-1] == "F2 pass"


def test_a_new_verdict_is_not_accepted() -> None:
    """Measured again, the decision is a new one."""
    play = failed()(":accept=F1_known :at=F1 OL*3 " + HIGH)
    assert play.verdicts["F1"].accepted is UNSET
    assert not is_good(play.verdicts["F1"])


def test_a_count_check_that_takes_a_verdict_back_takes_the_acceptance_back() -> None:
    """The value may have been another fuse's."""
    play = Play(fuses(1, count_check=True), AFTER)(FIRST + HIGH + ":accept=F1_known")
    assert [each.why for each in fold(again(play)).open if each.step == "fuses"] == ["count check not answered"]
    play("OL :no")
    assert (play.verdicts["F1"].verdict, play.verdicts["F1"].accepted) == ("unsure", UNSET)


@pytest.mark.parametrize(
    ("script", "text", "says"),
    [
        ("", "F1", "needs its reason"),
        ("", "", "no item ''"),
        ("", "F3 known", "no item 'F3': there are F1, F2, after, fuses/F1"),
        ("", "F2 known", "was not done"),
        (GOOD, "F2 known", "F2 is pass: there is nothing to accept"),
        (":absent ", "F2 known", "F2 is absent: there is nothing to accept"),
        (":skip :skip ", "F2 known", "was not done"),
        (":skip_step ", "F2 known", "was not done"),
        (":at=F1 ", "F1 known", "asked for again"),
    ],
)
def test_what_cannot_be_accepted_is_refused_with_the_reason(script: str, text: str, says: str) -> None:
    """One remark, no verdict."""
    play = failed(AFTER)(script)
    before = len(play.of(Verdict))
    play.feed(Operator(at(play.t_s), "accept", text))
    assert says in play.notes[-1]
    assert len(play.of(Verdict)) == before


def test_what_was_left_open_elsewhere_is_not_accepted() -> None:
    """F1 is asked for again when its step comes back."""
    play = Play(fuses(2), AFTER)(FIRST + HIGH + ":at=F1 :to=after :accept=F1_known")
    assert "asked for again" in play.notes[-1]
    assert play.verdicts["F1"].accepted is UNSET


def test_a_count_that_proves_nothing_may_be_accepted() -> None:
    """Two starts, none failed, is unsure: there is a count, though no value."""
    play = Play(TrialsStep(id="starts", runs=2), AFTER)(":pass +2 :pass")
    assert play.ticks == ["starts unsure"]
    play(":accept=starts_two_will_do")
    assert play.verdicts["starts"].accepted == "two will do"


def test_a_proof_of_being_dead_is_never_accepted() -> None:
    """Neither the step nor its points."""
    play = Play(safe("C12"), AFTER)("1.52V*3 0.00V*3 :skip :skip 0.00V 1.52V*3")
    assert play.verdicts["dead"].verdict == "unsure"
    for text in ("dead no meter", "C12 no meter"):
        play.feed(Operator(at(play.t_s), "accept", text))
        assert "never accepted" in play.notes[-1]
    assert not any(each.accepted is not UNSET for each in play.of(Verdict))


def test_a_standing_excursion_is_never_accepted() -> None:
    """RV1 was given up past its limit; turned back and out of band only, it may be."""
    tune = TuneStep(
        id="bridge", items=(Item("RV1"),), target=1500.0, tolerance_share=0.01, never_below=1200.0, unit="ohm"
    )
    past = Play(tune, AFTER, rate=5.0)("OL*6 2.000k*5 1.600k 1.400k 1.150k*10 :skip 1.150k*30 :accept=RV1_enough")
    assert "stands past its limit" in past.notes[-1] and "never accepted" in past.notes[-1]
    inside = Play(tune, AFTER, rate=5.0)("OL*6 2.000k*5 :skip 2.000k*30 :accept=RV1_enough")
    assert inside.verdicts["RV1"].accepted == "enough"


def test_unsure_with_a_value_may_be_accepted_and_is_not_asked_again() -> None:
    """A session that goes on keeps it, and keeps it accepted; one without the word asks again."""
    touches = "9 5.0*4 OL*5 9 7.0*4 OL*5 9 9.5*4 OL*5 9 13.0*4 OL*5 "
    play = Play(fuses(2), AFTER)(FIRST + touches)
    assert play.ticks == ["F1 unsure"]
    asked = Play(fuses(2), AFTER, inherited=inherited_from(play.session.bench, "continue", "s0").as_builtins())
    assert asked.prompts[-1] == "probe F1"
    play(":accept=F1_worn")
    later = Play(fuses(2), AFTER, inherited=inherited_from(play.session.bench, "continue", "s0").as_builtins())
    assert later.prompts[-1] == "probe F2"
    assert later.verdicts["F1"].accepted == "worn"
    later("OL*3 " + GOOD + ":yes")
    assert fold(again(later)).exit_status == 0


@pytest.mark.parametrize("kind", ["switch", "cell", "starts"])
def test_accepting_what_is_asked_about_after_its_verdict_answers_that(kind: str) -> None:
    """Clean it, replaced, mended? Left as it is: the session goes on, and a later one does not ask again."""
    step, script, item = {
        "switch": (
            ExerciseStep(id="cover", items=(Item("S1"),), presses=3, rest_s=0.0),
            "OL*3 :fail :fail :fail",
            "S1",
        ),
        "cell": (CellStep(id="backup", items=(Item("BT1"),)), "0.00V*4 1.500V*4", "BT1"),
        "starts": (TrialsStep(id="starts", runs=2), ":fail +2 :pass +2", "starts"),
    }[kind]
    play = Play(step, AFTER)(script)
    if kind == "switch":
        play = Play(step, AFTER)("OL*3 :yes OL*80 :yes")
    assert play.machine.step.id != "after", play.prompts
    play(f"+1 :accept={item}_the_owner_knows")
    assert play.prompts[-1] == "confirm after"
    assert play.verdicts[item].accepted == "the owner knows"
    later = Play(step, AFTER, inherited=inherited_from(play.session.bench, "continue", "s0").as_builtins())
    assert later.prompts == ["confirm after"]
    assert fold(again(later(":yes"))).exit_status == 0


def test_an_unplanned_item_may_be_accepted() -> None:
    """`probe R7` failed by the word open; its name is looked for as well."""
    play = Play(fuses(1), AFTER)("OL*3 :probe=R7 :open :accept=R7_not_fitted")
    assert play.verdicts["R7"].accepted == "not fitted"


def test_names_with_spaces_and_of_other_steps() -> None:
    """The longest name that fits counts, and STEP/ITEM where names repeat."""
    step = check("main", "main rail", contacts=1)
    play = Play(step, fuses(1), fuses(1, id="more"), AFTER)("OL*3 :open :open")
    play(":accept=main_rail_is_low")
    assert play.verdicts["main rail"].accepted == "is low"
    assert play.verdicts["main"].accepted is UNSET
    play(":open :open")
    play(":accept=F1_known")
    assert "more than one step" in play.notes[-1]
    play(":accept=more/F1_known")
    assert [each.accepted for each in play.of(Verdict) if each.step == "more"] == [UNSET, "known"]


@pytest.mark.parametrize("source", ["key", "line", "page"])
def test_it_names_its_item_whenever_it_comes(source: str) -> None:
    """Said with a new prompt, under a block, in an interlude: it is about what it names."""
    play = failed()
    play.feed(Operator(at(play.t_s), "accept", "F1 known", source))
    assert play.verdicts["F1"].accepted == "known"
    play = failed()("^lost")
    play.feed(Operator(at(play.t_s), "accept", "F1 known", source))
    assert play.verdicts["F1"].accepted == "known"
