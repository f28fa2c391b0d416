"""References born in the middle: a plan starts without, and asks where a trimmer or a fuse needs one."""

from __future__ import annotations

import copy

import msgspec
import pytest

from metercap.meter import Accuracy
from metercap.plankeys import Item, SweepStep, TuneStep
from metercap.quantity import Quantity
from metercap.records import GOOD_NOTE, Note, Operator, VerdictKind, at
from metercap.session.inherit import inherited_from
from tests.session.recorded import again
from tests.steps.bench_play import Play, confirm, fuses, meter

BRIDGE = TuneStep(id="bridge", items=(Item("RV1"),), target="reference", tolerance_share=0.05, unit="ohm")
LAMP = TuneStep(
    id="lamp", items=(Item("RV1"),), target="reference", tolerance_share=0.05, never_below_share=0.8, unit="ohm"
)
TWO = TuneStep(id="two", items=(Item("RV1"), Item("RV2")), target="reference", tolerance_share=0.05, unit="ohm")
AFTER = confirm(id="after")
FOUND = "OL*6 1.860k*4 "
TURNED = "+1 OL*6 1.860k 2.000k 2.190k*40 "


def good_row(value: float) -> dict[str, object]:
    """Return a good unit's row."""
    return {"value": value, "U": 1.0, "unit": "ohm", "resolution": 1.0, "unit_name": "A"}


def asked() -> Play:
    """Return a play that has read as found, and wants to know what to turn to."""
    play = Play(BRIDGE, AFTER, rate=5.0)(FOUND)
    assert play.prompts[-1] == "answer RV1"
    return play


def test_without_a_reference_the_way_to_one_is_said() -> None:
    """As found is read first; then both ways are named, and nothing is turned or judged."""
    play = asked()
    assert "no reference" in play.said and "take" in play.said and "target" in play.said
    assert play.session.bench.as_found["bridge", "RV1"].value == 1860.0
    assert play("1.900k*20 OL*6 1.900k*20").ticks == []


def test_a_target_is_read_back_and_counts_after_yes() -> None:
    """2.19 kΩ ± 5 %: 2.0805 to 2.2995 kΩ by hand; the verdict carries the target and as found."""
    play = asked()(":target=2.19k")
    assert "target 2.190 kΩ (2.080 kΩ to 2.300 kΩ)? yes or no" in play.said
    assert play("2.190k*20").ticks == []
    play("+1 :yes " + TURNED)
    verdict = play.verdicts["RV1"]
    assert (verdict.verdict, verdict.target, verdict.as_found) == (VerdictKind.PASS, 2190.0, 1860.0)
    assert (verdict.min, verdict.max) == (2080.5, 2299.5)
    assert "the operator's target is 2.190 kΩ" in " ".join(play.notes)
    again(play(":yes"))


def test_no_asks_anew_and_another_value_replaces_it() -> None:
    """Heard wrong: no, then the right one; or another one at once."""
    play = asked()(":target=2.91k :no")
    assert "no reference" in play.said
    play(":target=2.91k :target=2.19k")
    assert "2.190 kΩ" in play.said
    assert play("+1 :yes").machine.state == "turn on"  # the tips are still on it


@pytest.mark.parametrize("text", ["green", "2.19_V", "2,19k", "1e99", ""])
def test_what_is_no_value_is_refused_with_the_reason(text: str) -> None:
    """The question stays."""
    play = asked()
    assert play.since(f":target={text}") == ["note"]
    assert play.machine.state == "target"


@pytest.mark.parametrize(
    "script", ["", "OL*6", "OL*6 1.860k", FOUND + ":target=2.19k +1 :yes", FOUND + ":target=2.19k +1 :yes " + TURNED]
)
def test_a_target_where_none_is_missing_means_nothing(script: str) -> None:
    """Before as found, while it is turned, in another step."""
    play = Play(BRIDGE, AFTER, rate=5.0)(script)
    before = play.machine.state
    assert play.since(":target=1k") == ["note"]
    assert "means nothing here" in play.notes[-1]
    assert play.machine.state == before


def test_a_reference_that_is_there_is_not_asked_for() -> None:
    """With the good unit's value nothing is missing, and as found stands beside it, aloud."""
    play = Play(BRIDGE, AFTER, rate=5.0, reference={"bridge/RV1": good_row(2190.0)})(FOUND)
    assert play.machine.state == "turn on"
    (told,) = [note for note in play.of(Note) if "as found" in note.text]
    # 1860 / 2190 = 0.8493
    assert told.text == "RV1 as found 1.860 kΩ, good unit 2.190 kΩ: 84.9 %, turned by someone?"
    assert told.aloud is True


def test_as_found_stands_beside_the_good_unit_the_moment_both_exist() -> None:
    """Read before the good unit was measured, taken up after: said at once, and once."""
    first = asked()(":quit")
    handed = inherited_from(first.session.bench, "continue", "s0").as_builtins()
    play = Play(BRIDGE, AFTER, rate=5.0, inherited=handed, reference={"bridge/RV1": good_row(2190.0)})
    told = "RV1 as found 1.860 kΩ, good unit 2.190 kΩ: 84.9 %, turned by someone?"
    assert [note.text for note in play.of(Note) if note.aloud is True] == [told]
    assert play(":to=after :to=bridge").notes.count(told) == 1


def test_a_hazard_limit_in_percent_follows_no_operators_target() -> None:
    """80 % is of the good unit's value; without one there is none, which is said before the yes."""
    play = Play(LAMP, AFTER, rate=5.0)(FOUND + ":target=2.19k")
    assert "without one there is no alarm" in play.said
    play("+1 :yes OL*6 1.860k 1.500k 1.200k*6")
    assert "hazard RV1" not in play.cues
    known = Play(LAMP, AFTER, rate=5.0, reference={"lamp/RV1": good_row(2190.0)})
    known("OL*6 1.860k*4 1.800k 1.740k 1.700k*6")
    assert "hazard RV1" in known.cues  # 0.8 · 2190 = 1752


def test_what_was_said_is_not_asked_again_by_the_session_that_goes_on() -> None:
    """The target, what is good and what is new: a session that was cut off hands them on; one taken up later not."""
    play = Play(BRIDGE, fuses(2), AFTER, rate=5.0)(FOUND + ":target=2.19k +1 :yes :replaced=10-turn :to=fuses :good")
    handed = inherited_from(play.session.bench, "continue", "s0").as_builtins()
    later = Play(BRIDGE, fuses(2), AFTER, rate=5.0, inherited=handed)
    assert later.prompts == ["probe RV1"]
    assert later.machine.state == "turn"
    assert list(later.session.bench.good_for) == ["fuses"]
    later("OL*6 2.190k*40")
    assert (later.verdicts["RV1"].verdict, later.verdicts["RV1"].target) == ("pass", 2190.0)
    assert "replaced, 10-turn" in later.verdicts["RV1"].reason
    again(later)
    fresh = inherited_from(play.session.bench, "after", "s0").as_builtins()
    assert Play(BRIDGE, AFTER, rate=5.0, inherited=fresh).machine.state == "target"


# --- this unit is good


def test_good_makes_what_was_read_the_reference() -> None:
    """At the question: recorded and not turned, and the note that later sessions look for."""
    play = asked()(":good")
    verdict = play.verdicts["RV1"]
    assert (verdict.verdict, verdict.value) == (VerdictKind.PASS, 1860.0)
    assert "known-good unit" in verdict.reason
    assert any(note.startswith(f"{GOOD_NOTE}bridge:") for note in play.notes)
    assert play.prompts[-1] == "confirm after"
    again(play(":yes"))


def test_good_said_before_counts_for_all_trimmers_of_the_step() -> None:
    """Said after RV1 was read and before RV2: both are recorded, none is turned."""
    play = Play(TWO, AFTER, rate=5.0)("OL*6 1.860k*4 OL*6 :good 2.500k*4")
    assert play.ticks == ["RV2 pass", "RV1 pass"] or play.ticks == ["RV1 pass", "RV2 pass"]
    assert {name: each.value for name, each in play.verdicts.items()} == {"RV1": 1860.0, "RV2": 2500.0}
    assert play.prompts[-1] == "confirm after"


def test_good_is_of_one_step() -> None:
    """The next step's trimmer still asks."""
    lamp = TuneStep(id="lamp", items=(Item("RV9"),), target="reference", tolerance_share=0.05, unit="ohm")
    play = Play(BRIDGE, lamp, rate=5.0)("OL*6 :good 1.860k*4 OL*6 3.300k*4 OL*6")
    assert play.ticks == ["RV1 pass"]
    assert play.prompts[-1] == "answer RV9"


def test_a_trimmer_that_was_turned_is_no_reference() -> None:
    """While it is turned the word means nothing."""
    play = asked()(":target=2.19k +1 :yes")
    assert play.since(":good") == ["note"]
    assert "means nothing here" in play.notes[-1]
    assert play.session.bench.good_for == {}


def test_a_trimmer_not_read_as_found_is_no_reference() -> None:
    """It was moved before it was read; it still asks."""
    moved = Play(BRIDGE, AFTER, rate=5.0)("OL*6 " + " ".join(f"{n}" for n in ("1.800k", "1.820k", "1.840k", "1.860k")))
    moved("1.880k 1.900k OL*6")
    assert moved.session.bench.unread
    moved("+1 :good")
    assert moved.ticks == []
    assert moved.machine.state == "target"
    assert "can be no reference" in " ".join(moved.notes)


def test_words_at_the_question() -> None:
    """Skip gives it up, absent and open say why, quit leaves it open, to leaves it for later."""
    for word, verdict in (("skip", "unsure"), ("absent", "absent"), ("open", "fail")):
        assert copy.deepcopy(asked())(f":{word}").ticks == [f"RV1 {verdict}"]
    play = asked()(":to=after :yes")
    assert play.machine.state == "target"
    assert [left.said for left in asked()(":to=after").session.left_open] == ["bridge: RV1"]


@pytest.mark.parametrize("word", ["good", "target"])
def test_a_late_key_answers_nothing(word: str) -> None:
    """The question came up under the hand."""
    play = asked()
    t_s = play.session.bench.prompted_s
    play.t_s = t_s
    play.feed(Operator(at(play.t_s), word, "2k", "key"))
    assert ("came with a new prompt" in play.notes[-1]) == (play.events[-1].t_s < t_s + 0.3)


# --- a fuse whose limit comes from a good unit

UNKNOWN = SweepStep(id="odd", items=(Item("F1", type="unknown"), Item("F2")), unit="ohm", count_check=False)


def test_a_fuse_without_a_limit_does_not_pass() -> None:
    """No table, no good unit: the prompt says so, and whatever it reads is unsure."""
    play = Play(UNKNOWN, AFTER)("OL*3")
    assert "no reference" in play.said
    play("9 0.2*4 OL*5 9 0.2*4 OL*5")
    assert play.ticks[0] == "F1 unsure"
    assert "comes from a good unit" in play.verdicts["F1"].reason
    assert "no reference" not in play.said


@pytest.mark.parametrize("how", ["word", "known good"])
def test_in_a_good_unit_it_is_recorded(how: str) -> None:
    """Its value is the limit that others take."""
    play = Play(UNKNOWN, AFTER, known_good=how != "word")("OL*3")
    if how == "word":
        play(":good")
    play("9 0.2*4 OL*5")
    assert play.ticks == ["F1 pass"]


def test_good_in_a_step_with_limits_marks_it_too() -> None:
    """A later session may hold its own values against it."""
    play = Play(fuses(2), AFTER)("OL*3 :good")
    assert list(play.session.bench.good_for) == ["fuses"]
    assert play("9 0.2*2").ticks == ["F1 pass"]


@pytest.mark.parametrize("way", ["", ":no "])
def test_a_target_said_wrong_can_be_said_again_while_a_wider_band_is_asked_about(way: str) -> None:
    """219 ohm for 2.19 kΩ, ± 0.1 %: less than a count, so the rule is asked about, then the band; neither is wanted."""
    rough = meter(5.0, (Accuracy(Quantity.RESISTANCE, 0.5, 3.0),))
    bridge = msgspec.structs.replace(BRIDGE, tolerance_share=0.001)
    play = Play(bridge, AFTER, rate=5.0, profile=rough)(FOUND + ":target=219 +1 :yes +1 " + way)
    assert play.machine.state == ("wider" if way else "rule")
    play(":target=2.19k")
    assert "target 2.190 kΩ" in play.said
    assert play.session.bench.targets == {}, "nothing is aimed at before its yes"
    play("+1 :yes")
    assert play.session.bench.targets == {("bridge", "RV1"): 2190.0}
    again(play)


def test_no_word_changes_the_plans_own_target() -> None:
    """Its band cannot be proved either; a target is not asked for, and that is said."""
    rough = meter(5.0, (Accuracy(Quantity.RESISTANCE, 0.5, 3.0),))
    own = msgspec.structs.replace(BRIDGE, target=2190.0, tolerance_share=0.001)
    play = Play(own, AFTER, rate=5.0, profile=rough)(FOUND + ":target=2.5k")
    assert (play.machine.state, play.notes[-1]) == ("rule", "target '2.5k': the plan says what to turn it to")


def test_a_reference_that_appears_after_a_target_was_said_is_told_beside_it() -> None:
    """The good unit reads 2.3 kΩ now: what the operator said stands, and that it does is said."""
    before = asked()(":target=2.19k +1 :yes :quit")
    handed = inherited_from(before.session.bench, "continue", "s1").as_builtins()
    later = Play(BRIDGE, AFTER, rate=5.0, inherited=handed, reference={"bridge/RV1": good_row(2300.0)})
    (told,) = [note for note in later.notes if "good unit 2.300 kΩ" in note]
    assert told.endswith("; it is turned to 2.190 kΩ all the same, the target that was said before")
