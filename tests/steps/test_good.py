"""Values without limits, held against good units: live, journaled, judged again."""

from __future__ import annotations

import math
from typing import Any

import msgspec
import pytest
from scipy import stats

from metercap.errors import JournalError
from metercap.judging.good import Good, GoodValue, Origin, likeness, read_goods
from metercap.judging.rests import judgement_of
from metercap.meter import Accuracy
from metercap.metrology.pair import FULL, Measured
from metercap.plan import Plan
from metercap.plankeys import CheckStep, Item, SweepStep
from metercap.quantity import Quantity
from metercap.records import VerdictKind
from metercap.rejudge import rejudge
from tests.steps.bench_play import Play, check, meter

OHM = Quantity.RESISTANCE
METER = meter(accuracy=(Accuracy(OHM, percent=0.8, counts=3.0),))
HERE = Origin("test", "", "2026-03-01")
"""The origin of `bench_play`'s sessions."""
COILS = CheckStep(id="coils", items=(Item("K1"),), contacts=1, unit="ohm")


def good(value: float, *, origin: Origin = HERE, expanded: float = 1.8, **more: Any) -> Good:
    """One good unit's value of a relay coil, measured by the same meter with one count of scatter."""
    unit = GoodValue(value, expanded, 0.1, OHM, 0.1, name="A", origin=origin)
    keys: dict[str, Any] = {"unit": "ohm", "unit_name": "A", "session": "s0", "units": (unit,)}
    return Good(value, expanded, **(keys | more))


def played(script: str, row: Good, *steps: Any) -> Play:
    """A session that was given one good row for coils/K1."""
    reference = {"coils/K1": msgspec.to_builtins(row)}
    return Play(*(steps or (COILS,)), profile=METER, reference=reference)(script)


def test_like_the_good_unit_passes() -> None:
    """160.9 beside 160.4 Ω: U(Δ) of one meter is 0.57 Ω (worked by hand), so E_n is 0.874 and the value passes."""
    verdict = played("OL*6 160.9*4 OL*6 160.9*4 OL*6", good(160.4)).verdicts["K1"]
    # u² = (0.008·0.5)²/3 + 2·0.3²/3 + 2·0.1²/12 + 2·0.1²
    expanded = 2.0 * math.sqrt(0.004**2 / 3 + 0.06 + 0.02 / 12 + 0.02)
    assert (verdict.verdict, verdict.rule) == (VerdictKind.PASS, "reference")
    assert verdict.min == pytest.approx(160.4 - expanded, rel=1e-5)
    assert verdict.max == pytest.approx(160.4 + expanded, rel=1e-5)
    assert verdict.reason == f"like the known-good unit A (E_n {0.5 / expanded:.3g})"


def test_unlike_it_is_unsure_never_fail() -> None:
    """63.2 beside 160.4 Ω differs by many U; it is a reason to look, asked for twice, and no failure."""
    play = played("OL*6 63.2*4 OL*6 63.2*4 OL*6", good(160.4))
    verdict = play.verdicts["K1"]
    assert verdict.verdict is VerdictKind.UNSURE
    assert verdict.reason.startswith("differs from the known-good unit A (E_n -")
    assert "again K1" in play.cues


def test_limits_of_the_plan_come_first() -> None:
    """Where the plan sets limits the good unit is not asked."""
    step = check("K1", id="coils", contacts=1, min=50.0, max=70.0)
    verdict = played("OL*6 63.2*4 OL*6 63.2*4 OL*6", good(160.4), step).verdicts["K1"]
    assert (verdict.verdict, verdict.rule, verdict.reason) == (VerdictKind.PASS, "guarded", "")


@pytest.mark.parametrize(
    ("origin", "why"),
    [
        (Origin("test", "", "2026-02-28"), "another day"),
        (Origin("test", "serial 7", "2026-03-01"), "another meter"),
        (Origin("other", "", "2026-03-01"), "another meter"),
        (Origin(), "another meter"),
        (Origin("test"), "another day"),
    ],
)
def test_another_origin_takes_both_uncertainties(origin: Origin, why: str) -> None:
    """Another meter or day: U(Δ)² = U₁² + U₂², and 161.9 beside 160.4 Ω is no difference any more."""
    now = Measured(161.9, 2.0, 0.1, OHM, 0.1)
    found = likeness(now, good(160.4, origin=origin), HERE, METER)
    assert found.budget.reason == f"{FULL}: {why}"
    assert found.comparison.e_n == pytest.approx(1.5 / math.hypot(2.0, 1.8), rel=1e-5)
    assert not found.differs
    assert likeness(now, good(160.4), HERE, METER).differs


def test_two_unknown_days_are_not_one() -> None:
    """Files that tell no day were not measured on the same one, as far as anybody knows."""
    assert Origin("test", "", "").apart(Origin("test", "", "")) == "another day"


def test_several_good_units_give_an_interval() -> None:
    """Three units: mean ± t·s·√(1 + 1/3), t by scipy; a value inside passes though it differs from each of them."""
    values = (150.0, 160.0, 170.0)
    units = tuple(GoodValue(value, 1.8, 0.1, OHM, 0.1, name=f"G{value:g}", origin=HERE) for value in values)
    row = good(160.0, units=units, n=3, unit_name="A, C, D")
    half = float(stats.t.ppf(0.975, 2)) * 10.0 * math.sqrt(1.0 + 1.0 / 3.0)
    verdict = played("OL*6 190.0*4 OL*6 190.0*4 OL*6", row).verdicts["K1"]
    assert verdict.verdict is VerdictKind.PASS
    assert verdict.max == pytest.approx(160.0 + half, rel=1e-5)
    assert verdict.reason == f"like 3 known-good units ({30.0 / half:.3g} of the expected half-width)"
    assert played("OL*6 230.0*4 OL*6 230.0*4 OL*6", row).verdicts["K1"].verdict is VerdictKind.UNSURE


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"connected": "plugs off"}, "connected: not said, there plugs off"),
        ({"red": "pin 1"}, "red on: not said, there pin 1"),
        ({"black": "pin 2"}, "black on: not said, there pin 2"),
        ({"unit": "V"}, "it is in ohm, the reference in V"),
    ],
)
def test_what_is_not_comparable_is_only_recorded(changed: dict[str, str], why: str) -> None:
    """Something else plugged in, or the tips the other way round: recorded, with the reason, and not judged."""
    verdict = played("OL*6 63.2*4 OL*6 63.2*4 OL*6", good(160.4, **changed)).verdicts["K1"]  # type: ignore[arg-type]
    assert (verdict.verdict, verdict.rule, verdict.min) == (VerdictKind.PASS, "", None)
    assert verdict.reason.endswith(why)


def test_unmarked_unit_is_called_so() -> None:
    """A unit that nobody marked known good is no authority, and the reason says so."""
    reason = played("OL*6 160.4*4 OL*6 160.4*4 OL*6", good(160.4, known_good=False)).verdicts["K1"].reason
    assert reason == "like unit A, not marked known good (E_n 0)"


def test_fuse_without_a_table_takes_its_limit_from_the_good_unit() -> None:
    """A chip fuse whose good twin reads 0.2 Ω is limited to 0.5 Ω: it passes below, and fails beyond."""
    # U of a quiet contact is 2·√(1/12 + 1) counts, 0.21 Ω.
    step = SweepStep(id="fuses", items=(Item("F1", type="chip"),), count_check=False)
    row = msgspec.to_builtins(good(0.2, fuse_max=0.5, expanded=0.1))
    kept = {"profile": meter(), "reference": {"fuses/F1": row}}
    passed = Play(step, **kept)("OL*6 0.2*4 OL*6").verdicts["F1"]  # type: ignore[arg-type]
    assert (passed.verdict, passed.max, passed.rule) == (VerdictKind.PASS, 0.5, "guarded")
    assert Play(step, **kept)("OL*6 9.0*4 OL*6 9.0*4 OL*6").verdicts["F1"].verdict is VerdictKind.FAIL  # type: ignore[arg-type]


def test_an_older_row_with_a_value_alone_is_understood() -> None:
    """A row that holds only a value and its U is one good unit, measured who knows how."""
    rows = read_goods({"coils/K1": {"value": 160.4, "U": 1.8, "unit": "ohm", "unit_name": "A", "n": 1}})
    found = likeness(Measured(160.4, 1.8), rows["coils/K1"], HERE, METER)
    assert found.budget.expanded == pytest.approx(math.hypot(1.8, 1.8), rel=1e-5)


def test_a_row_that_is_none_is_refused() -> None:
    """A first record with a reference value that is no number is refused by name."""
    with pytest.raises(JournalError, match="coils/K1"):
        read_goods({"coils/K1": {"value": "a lot"}})


def recorded(play: Play) -> list[Any]:
    """Every record after the first, in the file's order."""
    return [record for event, outcomes in play.pairs for record in ([] if event is None else [event]) + list(outcomes)]


@pytest.mark.parametrize("ohm", ["160.9", "63.2"])
def test_judged_again_by_the_same_plan_nothing_changes(ohm: str) -> None:
    """The recorded session under its own plan gives the very verdict that was given live, band and reason included."""
    play = played(f"OL*6 {ohm}*4 OL*6 {ohm}*4 OL*6", good(160.4))
    found = rejudge(play.record, recorded(play), Plan(title="same", steps=(COILS,)))
    assert [row.after for row in found.rows] == [play.verdicts["K1"]]


def test_judged_again_without_the_plans_limits() -> None:
    """A plan that drops its limits leaves the item to the good unit."""
    play = played("OL*6 63.2*4 OL*6 63.2*4 OL*6", good(160.4), check("K1", id="coils", contacts=1, min=50.0, max=70.0))
    found = rejudge(play.record, recorded(play), Plan(title="bare", steps=(COILS,)))
    assert [str(row.after.verdict) for row in found.rows] == ["unsure"]


def test_what_a_value_rests_on_stands_in_its_record() -> None:
    """A verdict alone gives back the budget behind it; its U is the recorded one."""
    verdict = played("OL*6 160.9*4 OL*6 160.9*4 OL*6", good(160.4)).verdicts["K1"]
    found = judgement_of(verdict, METER)
    assert found is not None and found.quantity is OHM
    assert found.budget is not None and found.budget.expanded == verdict.expanded
    names = [row.name for row in found.budget.rows()]
    assert names == ["accuracy", "resolution", "repeatability", "separate contacts"]


def test_parts_that_do_not_come_to_the_recorded_u_are_left_out() -> None:
    """A verdict with another U than its parts make says nothing of what its value rests on, but for that U."""
    verdict = played("OL*6 160.9*4 OL*6 160.9*4 OL*6", good(160.4)).verdicts["K1"]
    found = judgement_of(msgspec.structs.replace(verdict, expanded=9.0), METER)
    assert found is not None and found.budget is None and found.quantity is None
    assert (found.value, found.expanded) == (verdict.value, 9.0)
