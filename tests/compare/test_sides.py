"""Which file is compared with which, and what is refused."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from metercap.compare import Side, compare_files
from metercap.errors import UsageError
from metercap.evidence import evidence
from metercap.plan import to_builtins
from metercap.plankeys import CheckStep, Item
from metercap.records import EndRecord
from metercap.reference.learning import combine
from metercap.reference.model import Folded
from tests.compare.two_units import coils, good, played, reads, records, session

SAME = reads("160.4", "161.0")
LATER = {"start_utc": "2026-03-01T11:00:00Z", "id": "later"}


def sides(*sessions: Any, learned: Any = None) -> Any:
    """Return sessions as files named for their ids, after a learned reference."""
    found = [Side(one.first.id.removeprefix("session of "), session=one) for one in sessions]
    return ([] if learned is None else [Side("good.json", learned=learned)]) + found


def who(report: Any) -> Any:
    """Return every comparison in short: file, beside what, how."""
    return [(pair.file, pair.beside, pair.how) for pair in report.pairs]


def test_suspects_beside_the_good_units() -> None:
    """Two suspects are each compared with both known-good units, wherever they stand in the list."""
    report = compare_files(sides(session("B", SAME), good("A", SAME), session("D", SAME), good("C", SAME)))
    assert [(pair.file, pair.how) for pair in report.pairs] == [("B", "good units"), ("D", "good units")]
    assert all(line.n == 2 for pair in report.pairs for line in pair.lines)
    assert not any("known good" in warning for warning in report.warnings)


def test_learned_reference_is_good() -> None:
    """A reference that was learned stands for its units; a session of one of them adds nothing to it."""
    learned = combine([good("A", SAME).reference(), good("C", SAME).reference()])
    report = compare_files(sides(session("B", SAME), good("A", SAME, **LATER), learned=learned))
    assert who(report) == [("B", "units A, C", "good units")]


def test_a_reference_of_many_units() -> None:
    """Twenty are named, and how many are not; so are those that nobody called good."""
    made = combine([good("A", SAME).reference()])
    many = tuple(msgspec.structs.replace(made.units[0], name=f"G{n}") for n in range(24))
    learned = msgspec.structs.replace(made, units=(*made.units, *many), folded=Folded(100, 3, 0, ""))
    report = compare_files(sides(session("B", SAME), learned=learned))
    assert report.pairs[0].beside == f"units A, {', '.join(f'G{n}' for n in range(19))} and 105 more"
    assert any(warning.endswith("though learned from: 3 more") for warning in report.warnings)


def test_before_and_after_of_one_unit() -> None:
    """Two sessions of one unit are told apart by their time, in whatever order they are given."""
    before = session("B", reads("330.0", "330.0", "161.0"), coils(max=200.0))
    after = session("b ", SAME, coils(max=200.0), **LATER)
    report = compare_files(sides(after, before))
    assert who(report) == [("later", "B as in B", "before and after")]
    line = report.pairs[0].lines[0]
    assert (line.item, line.value, line.reference) == ("K1", 160.4, 330.0)
    assert report.differing == 0  # a change is no difference from a good unit


def test_nobody_is_marked_good() -> None:
    """Without a known-good unit the first file stands in, with all its settled values, and a warning says so."""
    report = compare_files(sides(session("B", SAME), session("C", SAME)))
    assert who(report) == [("C", "unit B", "first file")]
    assert "no unit is marked known good: compared with the first file, B" in report.warnings


def test_everybody_is_marked_good() -> None:
    """Two known-good units are compared with each other: the first file is the reference."""
    report = compare_files(sides(good("A", SAME), good("C", SAME)))
    assert who(report) == [("C", "unit A", "good units")]
    assert any(warning.startswith("every unit is marked known good") for warning in report.warnings)


def test_a_meter_without_identity_is_said_to_be_taken_for_one() -> None:
    """What rests on an assumption is stated; a meter that tells its identity needs none."""
    said = "the meter of profile test tells no identity: it is taken for one meter"
    assert said in compare_files(sides(session("B", SAME), good("A", SAME))).warnings
    named = {"identity": "serial 7"}
    assert said not in compare_files(sides(session("B", SAME, **named), good("A", SAME, **named))).warnings
    apart = {"start_utc": "2026-03-05T09:00:00Z"}
    assert said not in compare_files(sides(session("B", SAME, **apart), good("A", SAME))).warnings


def test_one_file_has_nothing_to_be_compared_with() -> None:
    """One session alone gives no comparison and no error."""
    assert compare_files(sides(session("B", SAME))).pairs == ()


def test_lost_lines_are_said() -> None:
    """What a torn journal lost is among the warnings."""
    report = compare_files([Side("b", session=session("B", SAME), lost="line 9 is cut off")])
    assert report.warnings == ("b: line 9 is cut off",)


def test_an_unfinished_session_is_said() -> None:
    """A session that was quit is compared all the same, and the report says that it was not run to its end."""
    rows = records(played("B", SAME))
    report = compare_files([Side("b", session=evidence(iter([*rows, EndRecord(99.0, "quit", {}, "")])))])
    assert report.warnings == ("b: the session was not run to its end",)


def test_one_session_twice_is_refused() -> None:
    """A copy of a file is not a second measurement."""
    one = session("B", SAME)
    with pytest.raises(UsageError, match="same session"):
        compare_files([Side("b", session=one), Side("copy", session=one)])


def test_other_models_are_refused() -> None:
    """A greenhouse controller is not compared with another kind of device."""
    plan = msgspec.structs.replace(session("B", SAME).plan, model="GC-9")
    other = session("B", SAME, plan=to_builtins(plan))
    with pytest.raises(UsageError, match=r"GC-8.*GC-9"):
        compare_files(sides(good("A", SAME), other))


def test_good_units_measured_differently_are_refused() -> None:
    """Good units whose item was connected differently make no reference together."""
    plugged = CheckStep(id="coils", items=(Item("K1", connected="plugs on"), Item("K2")), contacts=1, unit="ohm")
    with pytest.raises(UsageError, match="coils/K1 was not measured alike"):
        compare_files(sides(good("A", SAME), good("C", SAME, plugged), session("B", SAME)))
