"""rejudge: recorded readings under another plan's limits, targets and rule."""

from __future__ import annotations

import msgspec
import pytest

from metercap.plan import Plan
from metercap.plankeys import Item, TuneStep
from metercap.records import Verdict, VerdictKind
from metercap.rejudge import _between, rejudge
from metercap.rests import Touched
from tests.steps.bench_play import Play, check, fuses, zero

SWEEP = "OL*6 0.2*3 OL*6 0.8*3 OL*6 :open OL*6 40.0*4 OL*8 41.0*4"


def recorded(play: Play) -> list[object]:
    """Return every record after the first, in the file's order."""
    out: list[object] = []
    for event, outcomes in play.pairs:
        out += ([] if event is None else [event]) + list(outcomes)
    return out


def swept() -> Play:
    """Return a sweep of four fuses: good, 0.8 Ω, open by a word, 40 Ω."""
    return Play(fuses(4), rate=5.0)(SWEEP)


def under(play: Play, *steps: object) -> dict[str, str]:
    """Return the verdicts under another plan, and what it did not judge."""
    found = rejudge(play.record, recorded(play), Plan(title="other", steps=steps))  # type: ignore[arg-type]
    out = {row.item: str(row.after.verdict) for row in found.rows}
    return out | {left.item: f"not judged: {left.why}" for left in found.not_judged}


def test_the_same_plan_gives_the_same_verdicts() -> None:
    """Nothing changes, and the word's verdict is listed as not judged."""
    play = swept()
    found = rejudge(play.record, recorded(play), Plan(title="same", steps=(fuses(4),)))  # type: ignore[arg-type]
    assert found.changed == ()
    assert [row.item for row in found.rows] == ["F1", "F2", "F4"]
    assert [left.why for left in found.not_judged] == ["decided by a word, not by a value"]


def test_a_stricter_limit_turns_a_pass() -> None:
    """0.8 Ω passes at most 2 Ω and fails at most 0.5 Ω; 0.2 Ω passes both."""
    assert under(swept(), fuses(4, max=0.5))["F1"] == "pass"
    assert under(swept(), fuses(4, max=0.5))["F2"] == "fail"


def test_a_laxer_limit_turns_a_fail() -> None:
    """40 Ω is a good small-current fuse under a limit of 100 Ω."""
    assert under(swept(), fuses(4, max=100.0))["F4"] == "pass"


def test_readings_that_do_not_agree_under_the_new_limit_are_unsure() -> None:
    """A decisive pass rests on two readings that need not be equal: 0.8 and 1.2 Ω straddle 1 Ω."""
    play = Play(fuses(1), rate=5.0)("OL*6 9 1.2 0.8 1.2")
    assert play.ticks == ["F1 pass"]
    assert under(play, fuses(1, max=1.0))["F1"] == "unsure"
    assert under(play, fuses(1, max=1.5))["F1"] == "pass"


def test_the_leads_are_off_in_what_is_judged_again() -> None:
    """Leads of 0.4 Ω; 1.2 and 1.6 Ω were read, so 0.8 and 1.2 are judged: both pass at most 1.5 Ω."""
    play = Play(zero(), fuses(1), rate=5.0)("OL*6 0.4*4 OL*8 9 1.6 1.2 1.6")
    assert play.verdicts["F1"].value == 1.2
    assert under(play, zero(), fuses(1, max=1.5))["F1"] == "pass"
    assert under(play, zero(), fuses(1, max=1.0))["F1"] == "unsure"


def test_a_rejected_contact_stays_rejected() -> None:
    """Only the listed contacts are judged: readings between them are those of a contact that was thrown out."""
    play = Play(fuses(1), rate=5.0)("OL*6 9 9.0 0.9 0.8")
    (told,) = (record for record in recorded(play) if isinstance(record, Verdict))
    last = [event.t_s for event in play.events][-2:]
    listed = msgspec.structs.replace(told, contacts=(Touched(last[0], last[1], 0.8),), from_s=play.events[-3].t_s)
    assert contacts_judged(play, listed) == [0.9, 0.8]
    assert contacts_judged(play, msgspec.structs.replace(listed, contacts=msgspec.UNSET)) == [9.0, 0.9, 0.8]


def contacts_judged(play: Play, verdict: Verdict) -> list[float]:
    """Return the values that a verdict is judged again by."""
    readings = [event for event in play.events if hasattr(event, "value")]
    return [reading.value for reading in _between(readings, [each.t_s for each in readings], verdict)]  # type: ignore[arg-type, misc]


@pytest.mark.parametrize(("listed", "asked", "judged"), [(1, 2, False), (2, 2, True), (3, 2, True), (None, 2, True)])
def test_where_more_contacts_are_asked_for_nothing_is_judged(listed: int | None, asked: int, judged: bool) -> None:
    """Contacts that were never made cannot be judged; a file that lists none had those that its plan asked for."""
    play = Play(check("R1"), rate=5.0)("OL*6 100.0*5 OL*8 100.0*5 OL*8 100.0*5 OL*8")
    (told,) = (record for record in recorded(play) if isinstance(record, Verdict))
    touched = tuple(Touched(told.from_s or 0.0, told.t_s, 100.0) for _ in range(listed or 0))
    told = msgspec.structs.replace(told, contacts=msgspec.UNSET if listed is None else touched)
    records = [told if isinstance(record, Verdict) else record for record in recorded(play)]
    found = rejudge(play.record, records, Plan(title="other", steps=(check("R1", contacts=asked),)))  # type: ignore[arg-type]
    assert bool(found.rows) is judged
    assert judged or "asks for 2 contacts, and there is 1" in found.not_judged[0].why


# --- what no limit decided


def test_a_count_check_answered_no_stays_unsure() -> None:
    """Whatever its value would be worth: nobody knows which fuse it was."""
    play = Play(fuses(2, count_check=True), rate=5.0)("OL*6 0.2*3 OL*6 1.95*3 OL*8 :no :no")
    assert under(play, fuses(2, count_check=True)) == {"F1": "unsure", "F2": "unsure"}
    assert under(play, fuses(2, max=100.0)) == {"F1": "unsure", "F2": "unsure"}


def test_a_count_check_over_one_that_was_unsure_by_its_limit_stays() -> None:
    """Both say unsure; the count check's reason comes first, and no limit mends it."""
    play = Play(fuses(2, count_check=True), rate=5.0)("OL*6 2.0*4 OL*8 2.0*4 OL*8 0.2*3 OL*8 :no :no")
    assert play.verdicts["F1"].verdict is VerdictKind.UNSURE
    assert under(play, fuses(2, max=100.0))["F1"] == "unsure"


def test_one_that_was_unsure_by_its_limit_alone_is_judged() -> None:
    """2.0 Ω is within a guard of 2 Ω, and passes 100 Ω."""
    play = Play(fuses(1), rate=5.0)("OL*6 2.0*4 OL*8 2.0*4 OL*8")
    assert play.verdicts["F1"].verdict is VerdictKind.UNSURE
    assert under(play, fuses(1)) == {"F1": "unsure"}
    assert under(play, fuses(1, max=100.0)) == {"F1": "pass"}
    assert under(play, fuses(1, max=1.0)) == {"F1": "fail"}


def test_a_capacitor_that_charged_stays_unsure() -> None:
    """It climbed for ten seconds: the last value is no resistance."""
    climb = " ".join(f"{10 + 3 * n}.0" for n in range(60))
    play = Play(fuses(1), rate=5.0)(f"OL*6 {climb}")
    assert "climbs" in play.verdicts["F1"].reason
    assert under(play, fuses(1)) == {"F1": "unsure"}
    assert under(play, fuses(1, max=1e4)) == {"F1": "unsure"}


def test_leakage_stays_unsure() -> None:
    """40 kΩ across a fuse is leakage or fingers, and neither a fail nor a pass."""
    play = Play(fuses(1), rate=5.0)("OL*6 40.0k*4 OL*8 40.0k*4 OL*8")
    assert "leakage" in play.verdicts["F1"].reason
    assert under(play, fuses(1)) == {"F1": "unsure"}
    assert under(play, fuses(1, max=1.0)) == {"F1": "unsure"}


def test_leads_that_drifted_leave_it_unsure() -> None:
    """The null at the end withdrew it; another limit does not bring it back."""
    steps = (zero(), fuses(1), zero(id="after"))
    play = Play(*steps, rate=5.0)("OL*6 0.2*4 OL*8 1.9*3 OL*8 0.9*4")
    assert play.verdicts["F1"].verdict is VerdictKind.UNSURE
    assert under(play, zero(), fuses(1, max=100.0), zero(id="after"))["F1"] == "unsure"


def hazardous(**more: object) -> TuneStep:
    """Return a tune step toward 1.5 kΩ, never below 1.2 kΩ."""
    keys = {"id": "b", "items": (Item("RV1"),), "target": 1500.0, "tolerance_share": 0.01, "unit": "ohm"}
    return TuneStep(**{**keys, "never_below": 1200.0, **more})  # type: ignore[arg-type]


def test_what_was_left_past_a_hazard_limit_fails_until_that_limit_moves() -> None:
    """1.100 kΩ lies in a wide band, and below what was never to be passed: only moving that limit passes it."""
    play = Play(hazardous(), rate=5.0)("OL*6 1.100k*5 1.100k*2 :skip 1.100k*40 OL*8 :skip")
    assert play.verdicts["RV1"].verdict is VerdictKind.FAIL, play.out[-5:]
    assert under(play, hazardous(tolerance_share=0.5)) == {"RV1": "fail"}
    assert under(play, hazardous(tolerance_share=0.5, never_below=1000.0)) == {"RV1": "pass"}
    assert under(play, hazardous(tolerance_share=0.01, never_below=1000.0)) == {"RV1": "fail"}


def test_a_hazard_that_moves_leaves_the_band_to_decide() -> None:
    """It was in its wide band and failed by the hazard limit alone: without that limit the band passes it."""
    play = Play(hazardous(tolerance_share=0.5), rate=5.0)("OL*6 1.100k*5 1.100k*2 :skip 1.100k*40 OL*8 :skip")
    assert play.verdicts["RV1"].verdict is VerdictKind.FAIL, play.out[-5:]
    assert under(play, hazardous(tolerance_share=0.5)) == {"RV1": "fail"}
    assert under(play, hazardous(tolerance_share=0.5, never_below=None)) == {"RV1": "pass"}


def test_a_value_in_the_band_fails_past_the_other_plans_hazard_limit() -> None:
    """Where only the other plan has the limit, it holds."""
    play = Play(hazardous(never_below=None), rate=5.0)("OL*6 1.600k*5 1.505k*30")
    assert under(play, hazardous(never_below=1550.0, tolerance_share=0.1)) == {"RV1": "fail"}


def test_a_word_stays_and_counts() -> None:
    """A fuse said to be open is not judged again, and keeps the whole from being good."""
    play = Play(fuses(2), rate=5.0)("OL*6 0.2*3 OL*6 :open")
    found = rejudge(play.record, recorded(play), Plan(title="same", steps=(fuses(2),)))  # type: ignore[arg-type]
    assert not found.good
    passed = Play(fuses(2), rate=5.0)("OL*6 0.2*3 OL*6 :absent")
    assert rejudge(passed.record, recorded(passed), Plan(title="same", steps=(fuses(2),))).good  # type: ignore[arg-type]


def test_what_only_one_plan_has_is_listed() -> None:
    """Another step id, and an item that the other plan does not have."""
    found = under(swept(), fuses(2), zero())
    assert found["F3"].startswith("not judged")
    assert found["F4"] == "not judged: only the session's plan has it"
    assert found["leads"].startswith("not judged: only the other plan has it")


def test_a_trimmer_is_judged_by_the_other_target_and_tolerance() -> None:
    """Left at 1505 Ω: in 1500 ± 1 %, out of 1490 ± 0.5 %."""
    step = TuneStep(id="b", items=(Item("RV1"),), target=1500.0, tolerance_share=0.01, unit="ohm")
    play = Play(step, rate=5.0)("OL*6 1.600k*5 1.505k*30")
    assert play.verdicts["RV1"].verdict is VerdictKind.PASS
    other = TuneStep(id="b", items=(Item("RV1"),), target=1490.0, tolerance_share=0.005, unit="ohm")
    assert under(play, other) == {"RV1": "fail"}


def test_a_target_that_the_operator_said_is_judged_by_again() -> None:
    """No reference was known: 2190 ± 5 % passed at 2200; at ± 0.1 % it would not."""
    step = TuneStep(id="bridge", items=(Item("RV1"),), target="reference", tolerance_share=0.05, unit="ohm")
    play = Play(step, rate=5.0)("OL*6 1.860k*4 :target=2.19k +1 :yes OL*6 2.000k 2.200k*40")
    assert play.ticks == ["RV1 pass"]
    assert under(play, step)["RV1"] == "pass"
    assert under(play, msgspec.structs.replace(step, tolerance_share=0.001))["RV1"] == "fail"
