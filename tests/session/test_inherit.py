"""What a session takes over: everything decided when it is continued, as found and counts when it is taken up later."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "steps"))

from bench_play import Play, fuses, safe, zero

from metercap.records import VerdictKind
from metercap.session.inherit import inherited_from
from metercap.steps import Item, TuneStep


def bridge() -> TuneStep:
    """Return a tune step of RV1 toward 1.5 kΩ."""
    return TuneStep(id="b", items=(Item("RV1"),), target=1500.0, tolerance_share=0.01, unit="ohm")


def continued(before: Play, *steps: object, how: str = "continue") -> Play:
    """Return the session that goes on with `before`."""
    handed = inherited_from(before.session.bench, how, before.record.id).as_builtins()  # type: ignore[arg-type]
    return Play(*steps, rate=5.0, inherited=handed)  # type: ignore[arg-type]


def test_a_continued_sweep_asks_only_for_what_is_open() -> None:
    """F1 passed and F2 was absent; F3 was never decided."""
    before = Play(fuses(3), rate=5.0)("OL*6 0.2*3 OL*6 :absent OL*3")
    play = continued(before, fuses(3))
    assert play.prompts == ["probe F3"]
    assert play.ticks == ["F1 pass", "F2 absent"]
    assert all(verdict.reason.startswith("from session s1") for verdict in play.verdicts.values())
    play("OL*6 0.2*3")
    assert play.session.finished


def test_unsure_is_asked_again() -> None:
    """A verdict that decided nothing is not kept."""
    before = Play(fuses(2), rate=5.0)("OL*6 :skip OL*6 0.2*3 OL*6 :skip")
    assert before.verdicts["F1"].verdict is VerdictKind.UNSURE
    assert continued(before, fuses(2)).prompts == ["probe F1"]


def test_the_proof_of_no_voltage_and_the_lead_null_are_asked_again() -> None:
    """Time has passed: someone may have plugged it in, or changed the leads."""
    before = Play(zero(), fuses(2), rate=5.0)("OL*6 0.2*4 OL*6 0.2*3")
    play = continued(before, zero(), fuses(2))
    assert play.prompts == ["short leads"]
    assert continued(before, safe("C12"), fuses(2)).prompts == ["probe dead"]


def test_a_whole_session_that_is_continued_ends_at_once() -> None:
    """Nothing is open, so nothing is asked."""
    before = Play(fuses(1), rate=5.0)("OL*6 0.2*3")
    assert continued(before, fuses(1)).session.finished


def test_as_found_survives_an_interruption_and_a_later_session() -> None:
    """The trimmer was turned when the session broke off; what it was found at is not read again."""
    before = Play(bridge(), rate=5.0)("OL*6 1.700k*5 1.600k*3")
    for how in ("continue", "after"):
        play = continued(before, bridge(), how=how)("OL*6 1.600k*3 1.500k*30")
        assert play.verdicts["RV1"].as_found == 1700.0


def test_after_takes_no_verdict_over() -> None:
    """Another day, another measurement."""
    before = Play(fuses(2), rate=5.0)("OL*6 0.2*3 OL*6 0.2*3")
    play = continued(before, fuses(2), how="after")
    assert play.prompts == ["probe F1"]
    assert play.ticks == []


def test_what_is_inherited_goes_through_json() -> None:
    """The first record carries it; the session built from that record is the same."""
    before = Play(fuses(2), bridge(), rate=5.0)("OL*6 0.2*3 OL*6 0.2*3 OL*6 1.700k*5")
    handed = inherited_from(before.session.bench, "continue", "s1")
    assert type(handed).of(handed.as_builtins()) == handed
