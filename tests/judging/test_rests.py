"""What a U rests on goes into a record and comes back: the same numbers, and nothing that a file makes up."""

from __future__ import annotations

import math
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET

from metercap.judging.judge import Judge, Judgement, Limits
from metercap.judging.rests import judgement_of, rests_of
from metercap.meter import Accuracy, MeterProfile
from metercap.metrology.budget import LeadNull
from metercap.metrology.series import Scatter
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import Verdict, VerdictKind, decode, encode
from metercap.rests import Part, Rests

OHMS = Quantity.RESISTANCE
KNOWN = MeterProfile(
    name="x", family="text", conversions_per_s=2.0, accuracy=(Accuracy(OHMS, percent=0.8, counts=3.0),)
)
BARE = MeterProfile(name="x", family="text", conversions_per_s=2.0)

values = st.floats(0.01, 9999.0).map(lambda x: round(x, 2))
runs = st.lists(values, max_size=4)
scatters = st.none() | st.builds(Scatter, st.floats(0.0, 50.0), st.floats(1.0, 40.0))
leads = st.none() | st.builds(
    LeadNull, st.floats(-0.5, 0.9), st.floats(0.0, 0.3), st.just(math.inf) | st.floats(1.0, 9.0)
)


def verdict_of(judged: Judgement, **more: Any) -> Verdict:
    """Return a verdict on a judged value, as it comes back from a line of a journal."""
    fields: dict[str, Any] = {
        "value": judged.value,
        "unit": "ohm",
        "expanded": judged.expanded,
        "resolution": judged.resolution,
    }
    record = Verdict(1.0, "s", "F1", VerdictKind.PASS, **(fields | {"budget": rests_of(judged)} | more))
    back = decode(encode(record))
    assert isinstance(back, Verdict)
    return back


def judgement(profile: MeterProfile = KNOWN, lead: LeadNull | None = None, **how: Any) -> Judgement:
    """Judge 1.23 Ω, shown to 0.01 Ω."""
    judge, reading = Judge(profile), Reading(0.0, OHMS, 1.23, 0.01, "ohm", State.OK, (), "")
    if lead is not None:
        judge.take_lead(reading, lead)
    return judge.judge(reading, Limits(None, None, "ohm", "guarded"), **how)


@given(st.booleans(), values, runs, runs, scatters, leads, st.none() | st.just(2.0))
def test_a_record_gives_back_the_same_budget(
    known: bool,
    value: float,
    conversions: list[float],
    contacts: list[float],
    spread: Scatter | None,
    lead: LeadNull | None,
    k: float | None,
) -> None:
    """Whatever it rests on: every component with its note, U to the last digit, after a trip through JSON."""
    profile = KNOWN if known else BARE
    how = {"value": value, "conversions": conversions, "contacts": contacts, "spread": spread, "k": k}
    judged = judgement(profile, lead, **how)
    found = judgement_of(verdict_of(judged), profile)
    assert found is not None
    assert (found.value, found.expanded, found.quantity) == (judged.value, judged.expanded, OHMS)
    assert found.budget == judged.budget


def test_parts_are_what_anybody_can_count_up() -> None:
    """U = k·√Σu² of the listed parts, by hand: 0.8 % and 3 counts of 1.23 Ω, one count twice over.

    a = 0.00984 + 0.03 = 0.03984, u = a/√3; 0.01/√12; 0.01. JCGM 100:2008, 5.1.2 and table G.1 (k = 2, 95.45 %).
    """
    rests = rests_of(judgement(conversions=[1.23, 1.23]))
    assert isinstance(rests, Rests)
    assert [part.kind for part in rests.parts] == ["accuracy", "resolution", "repeatability"]
    expected = [0.03984 / math.sqrt(3.0), 0.01 / math.sqrt(12.0), 0.01]
    assert [part.u for part in rests.parts] == pytest.approx(expected, rel=1e-5)
    assert judgement(conversions=[1.23, 1.23]).expanded == pytest.approx(2.0 * math.hypot(*expected), rel=1e-5)
    assert all(float(f"{part.u:.6g}") == part.u for part in rests.parts)


def test_the_line_is_short() -> None:
    """What stands in the file: the function, each part, no factor where it is the usual one."""
    verdict = verdict_of(judgement(conversions=[1.23, 1.23], lead=LeadNull(0.12, 0.01)))
    assert msgspec.json.decode(encode(verdict))["budget"] == {
        "quantity": "resistance",
        "parts": [
            ["accuracy", 0.0230016, None, 0.03984],
            ["resolution", 0.00288675, None, None],
            ["repeatability", 0.01, None, 2.0],
            ["lead null", 0.01, None, 0.12],
        ],
    }


def test_no_parts_are_known() -> None:
    """Of a value by itself, of a word, of a file of the first schema: U alone, or nothing."""
    bare = judgement().bare
    assert rests_of(bare) is UNSET
    assert rests_of(None) is UNSET
    found = judgement_of(verdict_of(bare), KNOWN)
    assert found is not None and (found.expanded, found.quantity, found.budget) == (bare.expanded, None, None)
    assert judgement_of(verdict_of(bare, value=None), KNOWN) is None
    assert judgement_of(verdict_of(bare, expanded=None), KNOWN) is None


@pytest.mark.parametrize(
    "parts",
    [
        (Part("accuracy", 0.5),),
        (Part("accuracy", -0.5),),
        (Part("repeatability", 0.01, -1.0, 2.0),),
        (Part("repeatability", 0.01, 1.0, 0.5),),
        (Part("repeatability", 1e200, 1e-300, 1e300),),
        (Part("what", 1e308), Part("what", 1e308)),
        (),
    ],
)
@pytest.mark.parametrize("k", [None, -2.0, 1e308])
def test_parts_that_a_file_makes_up(parts: tuple[Part, ...], k: float | None) -> None:
    """Parts that cannot be, or do not come to U, are nobody's: U stands alone, and nothing raises."""
    judged = judgement(conversions=[1.23, 1.23])
    found = judgement_of(verdict_of(judged, budget=Rests(OHMS, parts, k)), KNOWN)
    assert found is not None and (found.expanded, found.budget) == (judged.expanded, None)
