"""A session in short: what it measured itself, place by place."""

from __future__ import annotations

import msgspec

from metercap.evidence import Evidence, evidence
from metercap.history import History, Place
from metercap.history.digest import count, digest
from metercap.plankeys import CheckStep, Item, TuneStep
from metercap.records import EndRecord
from metercap.session.inherit import inherited_from
from tests.compare.two_units import GAP, played, reads, records, session


def rows(found: Evidence) -> list[tuple[str, str, str, str, float | None]]:
    """Return item, aspect, how, verdict and value of each row."""
    return [(row.item, row.aspect, row.how, row.verdict, row.value) for row in digest(found, 99.0).rows]


def test_settled_values_of_places() -> None:
    """Two coils; who measured, when and by what is there."""
    found = digest(session("A", reads("160.4", "161.0"), start_utc="2026-03-01T08:00:00.000Z"), 99.0)
    assert [(row.item, row.value, row.resolution, row.unit) for row in found.rows] == [
        ("K1", 160.4, 0.1, "ohm"),
        ("K2", 161.0, 0.1, "ohm"),
    ]
    assert (found.id, found.unit, found.model, found.finished) == ("session of A", "A", "GC-8", True)
    assert found.last_s == 99.0


def test_what_has_no_value_keeps_its_verdict() -> None:
    """Skipped: an absent part is counted, under the unit that its step measures in."""
    found = session("A", f"{GAP}:absent {reads('161.0')}")
    assert rows(found)[0] == ("K1", "", "", "absent", None)
    assert digest(found, 1.0).rows[0].unit == "ohm"


def test_a_trimmer_has_two_places() -> None:
    """As found and as left are told apart."""
    step = TuneStep(id="bridge", items=(Item("RV1"),), unit="ohm", contacts=1, target=150.0, tolerance=3.0, rest_s=1.0)
    script = f"{GAP}160.0*8 {GAP}160.0*4 155.0*2 150.0*20 :stop 150.0*20 {GAP}150.0*8 {GAP}"
    found = [row for row in rows(session("A", script, step)) if row[4] is not None]
    assert ("RV1", "as found", "", "", 160.0) in found
    assert all(aspect in ("as found", "as left") for _, aspect, *_ in found)


def test_as_found_without_a_last_digit_is_not_told() -> None:
    """An old journal's verdict alone says what was found, not how finely: there is no value to count."""
    step = TuneStep(id="bridge", items=(Item("RV1"),), unit="ohm", contacts=1, target=150.0, tolerance=3.0, rest_s=1.0)
    script = f"{GAP}160.0*8 {GAP}160.0*4 155.0*2 150.0*20 :stop 150.0*20 {GAP}150.0*8 {GAP}"
    found = session("A", script, step)
    coarse = {key: msgspec.structs.replace(judged, resolution=0.0) for key, judged in found.as_found.items()}
    assert coarse
    assert [row[1] for row in rows(msgspec.structs.replace(found, as_found=coarse))] == ["as left"]


def test_how_it_was_measured_is_part_of_the_place() -> None:
    """What is connected and where the tips are."""
    item = Item("K1", connected="plugs off", red="TP1", black="TP0")
    step = CheckStep(id="coils", items=(item,), contacts=1, unit="ohm")
    assert rows(session("A", reads("160.4"), step))[0][2] == "plugs off, red on TP1, black on TP0"


def test_what_was_taken_over_counts_once() -> None:
    """A session that goes on with another has only its own verdicts."""
    first = played("A", reads("160.4"))
    taken = inherited_from(first.session.bench, "continue", "first")
    again = played("A", reads("161.0"), inherited=taken.as_builtins(), id="second")
    found = evidence(iter([*records(again), EndRecord(999.0, "done", {}, "")]))
    assert [row[0] for row in rows(found)] == ["K2"]


def test_counted_in_a_history() -> None:
    """One session on one bench; without a believable day it has no date."""
    found = digest(session("A", reads("160.4", "161.0")), 99.0)
    history = History()
    count(history, found, "north", "2026-03-01", "a.jsonl")
    count(history, found, "south", "", "b.jsonl")
    cell = history.cells[Place("GC-8", "coils", "K1", "ohm")]
    assert (cell.all.n, list(cell.dates.parts), sorted(cell.benches)) == (2, ["2026-03-01"], ["north", "south"])
