"""A trimmer that stands past its hazard limit when the session ends: said, written, and derived again."""

from __future__ import annotations

import msgspec
import pytest

from metercap.outcome import fold
from metercap.plankeys import Item, TrialsStep, TuneStep
from metercap.records import Cue, CueKind, EndRecord, Excursion, Note, Record
from metercap.session import check
from metercap.session.inherit import inherited_from
from tests.steps.bench_play import Play, confirm, volts

TUNE = TuneStep(id="bridge", items=(Item("RV1"),), target=1500.0, tolerance_share=0.01, never_below=1200.0, unit="ohm")
PAST = "OL*6 2.000k*5 1.800k 1.600k 1.400k 1.150k*10"
"""Found at 2 kilohm, turned down past 1.2 kilohm, and left there for two seconds at 5 conversions a second."""
SAID = "RV1 stands past its limit: 1.150 kΩ, below 1.2 kΩ"


def past(*more: object) -> Play:
    """Return a play whose trimmer rests past its limit."""
    return Play(TUNE, *more, rate=5.0)(PAST)  # type: ignore[arg-type]


def recorded(play: Play) -> list[Record]:
    """Return a journal's records of a play, its end left out."""
    out: list[Record] = [play.record]
    for event, outcomes in play.pairs:
        out += [event] if event is not None else []
        out += outcomes
    return out


def last(records: list[Record]) -> tuple[list[CueKind], list[str], list[Excursion]]:
    """Return what was cued, said aloud and written among these."""
    cues = [record.cue for record in records if isinstance(record, Cue)]
    said = [record.text for record in records if isinstance(record, Note) and record.aloud is True]
    return cues, said, [record for record in records if isinstance(record, Excursion)]


@pytest.mark.parametrize("off", ["", " OL*4"])
@pytest.mark.parametrize("word", ["quit", "probe=R5"])
def test_a_word_that_leaves_the_trimmer_says_first_that_it_stands_past_its_limit(word: str, off: str) -> None:
    """Tips on or off: the alarm, the sentence, then the excursion as it stands (where contact ended it is written)."""
    play = past()(off)
    before = len(play.out)
    play(f":{word}")
    cues, said, written = last(play.out[before:])  # type: ignore[arg-type]
    assert (cues[0], said) == (CueKind.HAZARD, [SAID])
    (excursion,) = play.of(Excursion)
    assert (excursion.side, excursion.limit, excursion.worst) == ("below", 1200.0, 1150.0)
    assert excursion.duration_s == pytest.approx(2.0 if off else 1.8)
    assert len(written) == (0 if off else 1)
    assert fold(recorded(play)).standing == {"RV1": ("bridge", "below")}


def test_a_signal_says_and_writes_the_same_and_it_is_derived_again() -> None:
    """Interrupted 3 s after the last reading; the excursion lasts to the end."""
    play = past()
    t_s = play.t_s + 3.0
    outcomes = play.driver.end(t_s)
    cues, said, written = last(outcomes)  # type: ignore[arg-type]
    assert (cues, said) == ([CueKind.HAZARD], [SAID])
    assert [round(each.duration_s, 6) for each in written] == [4.8]
    records = [*recorded(play), *outcomes]
    end = EndRecord(t_s, "interrupted", {}, "0" * 64)
    assert check([*records, end]).difference == ""
    assert "not in the file" in check([*recorded(play), end]).difference
    assert check(records[:-1]).difference == ""


def test_the_end_of_the_plan_says_it_once_more() -> None:
    """Given up past its limit: a fail, and the last words before `end` are of it, though a step came after."""
    play = past(confirm(id="after"))(":skip 1.150k*30")
    assert play.ticks == ["RV1 fail"]
    before = len(play.out)
    play(":yes")
    assert play.session.finished
    assert last(play.out[before:])[1] == [SAID]  # type: ignore[arg-type]


def test_nothing_is_said_of_a_trimmer_that_is_back() -> None:
    """It was past, and is not: quit is silent, and no trimmer stands."""
    play = past()("1.400k*5")
    before = len(play.out)
    play(":quit")
    assert play.out[before:] == []
    assert fold(recorded(play)).standing == {}


@pytest.mark.parametrize("how", ["continue", "after"])
@pytest.mark.parametrize("end", ["", " :quit"])
def test_the_session_that_takes_it_up_asks_with_the_alarm_and_keeps_what_it_read(how: str, end: str) -> None:
    """Cut off or ended: first the alarm, then a prompt that names it; a word and the end still know the value."""
    before = past()(end)
    handed = inherited_from(before.session.bench, how, "s0").as_builtins()  # type: ignore[arg-type]
    play = Play(TUNE, confirm(id="after"), rate=5.0, inherited=handed)
    assert last(play.out) == ([CueKind.HAZARD], [SAID], [])  # type: ignore[arg-type]
    assert "it stands past its limit, below 1.2 kΩ" in play.said
    play(":skip :skip")
    assert play.ticks == ["RV1 unsure"]
    play(":yes")
    assert play.session.finished
    assert set(last(play.out)[1]) == {SAID}  # type: ignore[arg-type]
    assert fold(recorded(play)).standing == {"RV1": ("after", "below")}
    inside = Play(TUNE, rate=5.0, inherited=handed)("OL*6 1.150k*5 1.400k*5")
    assert "stands past" not in inside.said
    assert fold(recorded(inside)).standing == {}


def test_a_powered_step_is_refused_while_a_trimmer_stands_past_its_limit() -> None:
    """No value is judged and no word gets past it; measured inside its limit again, it is led."""
    play = past(volts("TP1", power="on"))(":skip 1.150k*30")
    assert play.ticks == ["RV1 fail"]
    assert play.prompts[-1] == "wait TP1"
    assert SAID in play.said and "turned back before the unit is powered" in play.said and "yes" not in play.said
    assert not play.session._power.on  # what is refused gave no power: a proof of being dead still holds
    for word in (":yes", ":no", ":pass", ":again", ":skip"):
        play(f"+1 {word} 0.00V*10 3.30V*20")
        assert "contact TP1" not in play.cues and SAID in play.said
        assert "not taken" in play.notes[-1] or word == ":skip"
    play("+1 :probe=TP9 0.00V*10 3.30V*20 OL*9")
    assert "contact TP9" not in play.cues and SAID in play.notes[-1] and SAID in play.said
    play("+1 :to=bridge OL*9 1.150k*3 1.400k*3 1.502k*40")
    assert play.ticks[-1] == "RV1 pass"
    assert SAID not in play.said
    play("0.00V*10 3.30V*20")
    assert "contact TP1" in play.cues


def test_nothing_stands_before_the_refusal() -> None:
    """A meter on auto range is asked for no fixed one there, as it is where something is measured."""
    play = Play(TUNE, volts("TP1", power="on"), rate=5.0, auto=True)(PAST + " :skip 1.150k*30 OL*9 1.150k*9")
    assert SAID in play.said and play.view.aside is None


def test_no_start_is_counted_while_it_stands_nor_anything_said_of_a_trimmer_that_is_back() -> None:
    """Trials power the unit whatever their `power` says; a handed-on excursion refuses them as well."""
    starts = TrialsStep(id="starts", runs=5)
    handed = inherited_from(past().session.bench, "after", "s0").as_builtins()
    play = Play(starts, rate=5.0, inherited=handed)
    assert SAID in play.said
    for word in (":yes", ":pass"):
        play(word)
        assert SAID in play.notes[-1] and "not taken" in play.notes[-1]
        assert SAID in play.said
    back = past(starts)("1.502k*40")
    assert back.ticks == ["RV1 pass"]
    assert "stands past" not in back.said


def test_a_powered_step_that_only_measures_a_trimmer_of_that_name_is_refused_too() -> None:
    """Reading volts at RV1 turns nothing back."""
    handed = inherited_from(past().session.bench, "after", "s0").as_builtins()
    play = Play(volts("RV1", power="on"), rate=5.0, inherited=handed)
    assert SAID in play.said and play.prompts[-1] == "wait RV1"


def test_the_powered_step_that_turns_it_back_is_not_asked_about() -> None:
    """A trimmer that is set with the power on can be brought back no other way."""
    handed = inherited_from(past().session.bench, "after", "s0").as_builtins()
    play = Play(msgspec.structs.replace(TUNE, power="on"), rate=5.0, inherited=handed)
    assert play.prompts[-1].startswith("probe")
    assert "before the unit is powered" not in play.said


@pytest.mark.parametrize("off", ["", " OL*4"])
def test_a_trimmer_that_stands_past_its_limit_is_not_absent(off: str) -> None:
    """It was there to be turned: a word cannot make it go away, and the hazard stands."""
    play = past()(f"{off} :absent")
    assert "RV1" not in play.verdicts
    assert any("it is there, turn it back" in note.text for note in play.of(Note))
    assert fold(recorded(play)).standing == {"RV1": ("bridge", "below")}
