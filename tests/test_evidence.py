"""evidence: a recorded session with all that a comparison or a reference needs of it."""

from __future__ import annotations

import pytest

from metercap.errors import JournalError
from metercap.evidence import evidence
from metercap.outcome import fold
from metercap.plankeys import CellStep, CheckStep, ConfirmStep, Item, TrialsStep
from metercap.records import EndRecord, Note
from tests.compare.two_units import coils, played, reads, records
from tests.steps.bench_play import zero

PLAIN = reads("160.4", "161.0")


def test_verdicts_are_those_that_stand_everywhere() -> None:
    """The same verdicts in the same order as `outcome` has them, whatever was decided twice."""
    play = played("B", reads("160.4") + ":back " + PLAIN)
    found = evidence(iter(records(play)))
    assert list(found.verdicts.items()) == list(fold(records(play)).verdicts.items())
    assert list(found.judged) == list(found.verdicts)


def test_places_of_the_unit() -> None:
    """Leads and questions are no places of the unit; both polarities and what was not planned are."""
    steps = (
        ConfirmStep(id="intake"),
        zero(),
        coils(),
        CheckStep(id="diode", items=(Item("D1", red="anode", black="cathode", both_ways=True),), contacts=1),
        CellStep(id="backup", items=(Item("BT1", connected="removed"),)),
        TrialsStep(id="starts"),
    )
    play = played("B", ":yes OL*6 0.2*6 OL*6 :probe=R9 OL*6 47.0*4 " + PLAIN, *steps)
    places = evidence(iter(records(play))).places
    assert list(places) == [
        ("coils", "K1"),
        ("coils", "K2"),
        ("diode", "D1"),
        ("diode", "D1 reversed"),
        ("backup", "BT1"),
        ("unplanned", "R9"),
    ]
    assert (places["diode", "D1 reversed"].red, places["backup", "BT1"].connected) == ("cathode", "removed")


def test_every_count_is_kept() -> None:
    """Counts before a fix and after it are both there, in the file's order."""
    script = ":pass :fail :fixed=new_relay " + ":pass " * 29
    found = evidence(iter(records(played("B", script, TrialsStep(id="starts", runs=2)))))
    assert [(one.k, one.runs) for one in found.counted["starts", "starts"]] == [(1, 2), (29, 29)]
    last = found.counts["starts", "starts"]
    assert (last.k, last.runs, last.fix, last.after, last.tries) == (1, 2, "new relay", 29, ())


@pytest.mark.parametrize(("reason", "finished"), [("done", True), ("quit", False), ("interrupted", False)])
def test_whether_it_was_run_to_its_end(reason: str, finished: bool) -> None:
    """Only a session that ended as done was finished; one without an end was not."""
    rows = records(played("B", PLAIN))
    assert evidence(iter([*rows, EndRecord(99.0, reason, {}, "")])).finished is finished  # type: ignore[arg-type]
    assert not evidence(iter(rows)).finished


def test_no_session_is_refused() -> None:
    """Records that do not begin with a session are none."""
    with pytest.raises(JournalError):
        evidence(iter([Note(0.0, "nothing")]))
    with pytest.raises(JournalError):
        evidence(iter([]))


def test_a_cut_session_says_what_it_has() -> None:
    """Cut after the first item the session still gives that item's value with its budget."""
    rows = records(played("B", PLAIN))
    cut = next(n for n, row in enumerate(rows) if getattr(row, "item", "") == "K1" and hasattr(row, "verdict"))
    found = evidence(iter(rows[: cut + 1]))
    assert list(found.verdicts) == [("coils", "K1")]
    assert found.judged["coils", "K1"].budget is not None
