"""rejudge: recorded readings under another plan's limits, targets and rule."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "steps"))

from bench_play import Play, fuses, zero

from metercap.plan import Plan
from metercap.records import VerdictKind
from metercap.rejudge import rejudge
from metercap.steps import Item, TuneStep

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
    found = rejudge(play.record, recorded(play), Plan(title="same", steps=(fuses(4),)))
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
    """A decisive pass rests on two readings that need not be equal: 0.9 and 0.3 straddle 0.6 Ω."""
    play = Play(fuses(1), rate=5.0)("OL*6 9 0.9 0.3 0.3")
    assert play.ticks == ["F1 pass"]
    assert under(play, fuses(1, max=0.6))["F1"] in ("unsure", "pass")
    rests = [r for r in play.events if getattr(r, "value", None) == 0.9]
    if play.verdicts["F1"].from_s is not None and rests and rests[0].t_s >= play.verdicts["F1"].from_s:
        assert under(play, fuses(1, max=0.6))["F1"] == "unsure"


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
