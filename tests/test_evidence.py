"""evidence: a recorded session with all that a comparison or a reference needs of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from metercap.compare import Side, compare_files
from metercap.compare.changes import counted
from metercap.errors import JournalError
from metercap.evidence import Evidence, evidence, joined
from metercap.journal import iterate
from metercap.outcome import ASKED_AGAIN, NOT_DONE, fold
from metercap.plankeys import CellStep, CheckStep, ConfirmStep, ExerciseStep, Item, StepBase, TrialsStep, TuneStep
from metercap.records import EndRecord, Note
from metercap.reference.learning import combine
from metercap.rejudge import rejudge
from metercap.report import study
from metercap.session import Session
from metercap.session.inherit import inherited_from
from tests.compare.two_units import coils, good, played, reads, records, session
from tests.report.papers import dipped, journal
from tests.steps.bench_play import Play, zero

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


# --- several sittings of one unit


def sat(unit: str, script: str, *steps: StepBase, before: Play | None = None, **more: Any) -> tuple[Play, Evidence]:
    """Return a sitting, which goes on with the one `before` it."""
    if before is not None:
        more["inherited"] = inherited_from(before.session.bench, "continue", before.record.id).as_builtins()
    play = played(unit, script, *steps, **more)
    return play, evidence(iter(records(play)))


DAY_2: dict[str, Any] = {"start_utc": "2026-03-02T09:00:00Z", "id": "day 2"}
FOUR = coils("K1", "K2", "K3", "K4")


def test_the_verdict_that_stands_is_the_latest_of_all_sittings() -> None:
    """K1 of the first day, K2 measured again on the second, K3 of the second: each with the session it was given in."""
    before, first = sat("B", reads("160.4", "161.0"), FOUR)
    _, second = sat("B", ":at=K2 " + reads("170.0") + ":at=K3 " + reads("162.0"), FOUR, before=before, **DAY_2)
    whole = joined([first, second])
    values = {key[1]: (verdict.value, whole.source(key).id) for key, verdict in whole.verdicts.items()}
    assert values == {"K1": (160.4, "session of B"), "K2": (170.0, "day 2"), "K3": (162.0, "day 2")}
    assert [whole.verdicts["coils", name].reason.startswith("from session") for name in ("K1", "K2")] == [False] * 2
    assert [(each.item, each.why) for each in whole.open] == [("K4", NOT_DONE)]
    assert whole.judged["coils", "K1"].budget is not None
    assert not whole.finished


def test_what_was_taken_over_stands_alone_where_its_journal_is_gone() -> None:
    """The second sitting by itself still has K1, though nothing of what its U rests on: that was another day."""
    before, _ = sat("B", reads("160.4", "161.0"), FOUR)
    _, second = sat("B", "", FOUR, before=before, **DAY_2)
    whole = joined([second])
    assert whole.verdicts["coils", "K1"].value == 160.4
    assert whole.judged["coils", "K1"].budget is None


def test_gain_cancels_by_the_day_a_value_was_read() -> None:
    """A good unit of the second day: K1, read on the first, takes both full U; K3, read that day, does not."""
    good_one = good("A", reads("160.0", "161.5", "162.5", "163.0"), FOUR, **(DAY_2 | {"id": "a"}))
    before, first = sat("B", reads("160.4", "161.0"), FOUR)
    _, second = sat("B", ":at=K3 " + reads("162.0"), FOUR, before=before, **DAY_2)
    sides = [Side("a", good_one), Side("b", joined([first, second]))]
    (pair,) = compare_files(sides).pairs
    hows = {line.item: line.how for line in pair.lines}
    assert {"K1": "another day" in hows["K1"], "K3": hows["K3"]} == {"K1": True, "K3": ""}


def test_values_of_a_good_unit_keep_their_days() -> None:
    """The other way round: the good unit was measured on two days, the one in repair on the second."""
    ill = session("B", reads("160.0", "161.5", "162.5", "163.0"), FOUR, **(DAY_2 | {"id": "b"}))
    before, first = sat("A", reads("160.4", "161.0"), FOUR, known_good=True)
    _, second = sat("A", ":at=K3 " + reads("162.0"), FOUR, before=before, known_good=True, **DAY_2)
    (pair,) = compare_files([Side("a", joined([first, second])), Side("b", ill)]).pairs
    assert {line.item: "another day" in line.how for line in pair.lines} == {"K1": True, "K2": True, "K3": False}


def test_a_count_that_was_taken_over_counts_once() -> None:
    """A switch whose presses all closed on the first day is handed on to the second, which counts none."""
    switch = ExerciseStep(id="cover", items=(Item("S1"),), presses=2)
    before, first = sat("B", "OL*6 " + "0.3*4 OL*4 " * 2, switch, coils())
    _, second = sat("B", reads("160.4"), switch, coils(), before=before, **DAY_2)
    assert [(one.k, one.runs) for one in second.counted["cover", "S1"]] == [(2, 2)]
    assert [(one.k, one.runs) for one in joined([first, second]).counted["cover", "S1"]] == [(2, 2)]


def test_asked_again_and_never_answered_stays_open() -> None:
    """`back` reopened K2 at the end of the first day; a second day that does not touch it leaves it open."""
    _, first = sat("B", reads("160.4", "161.0") + ":back", coils("K1", "K2", "K3"))
    _, second = sat("B", "", coils("K1", "K2", "K3"), **DAY_2)
    assert [(each.item, each.why) for each in joined([first, second]).open] == [("K2", ASKED_AGAIN), ("K3", NOT_DONE)]
    _, third = sat("B", ":at=K2 " + reads("160.0"), coils("K1", "K2", "K3"), **DAY_2)
    assert [each.item for each in joined([first, second, third]).open] == ["K3"]


def test_as_found_is_what_was_read_first() -> None:
    """Turned on the first day, read again on the second: as found stays."""
    bridge = TuneStep(id="b", items=(Item("RV1"),), target=1500.0, tolerance_share=0.01, unit="ohm")
    _, first = sat("B", "OL*6 1.700k*5 1.600k*3 1.550k*20", bridge)
    _, second = sat("B", "OL*6 1.550k*5 1.540k*3 1.500k*20", bridge, **DAY_2)
    assert first.as_found["b", "RV1"].value == 1700.0
    assert second.as_found["b", "RV1"].value == 1550.0
    assert joined([first, second]).as_found["b", "RV1"].value == 1700.0


def test_counts_of_all_sittings_are_one_history() -> None:
    """Two starts failed of three on the first day, the fix and its proof on the second: nothing is counted twice."""
    steps = (TrialsStep(id="starts", runs=3),)
    before, first = sat("B", ":pass :fail :fail :no", *steps)
    _, second = sat("B", ":fixed=relay " + ":pass " * 29, *steps, before=before, **DAY_2)
    whole = joined([first, second])
    assert [(one.k, one.runs) for one in whole.counted["starts", "starts"]] == [(1, 3), (29, 29)]
    (row,) = counted([whole])
    assert (row.before_k, row.before_runs, row.k, row.runs, row.changed) == (1, 3, 29, 29, True)


def test_a_trimmer_left_past_its_limit_stands_until_it_is_read_again() -> None:
    """A later sitting that gives it a verdict ends it, any other does not."""
    first = evidence(iter(records(dipped(back=False))))
    aside = evidence(iter(records(played("B", reads("160.4"), coils(), **DAY_2))))
    mended = evidence(iter(records(dipped(**DAY_2))))
    assert list(first.standing) == ["RV1"]
    assert list(joined([first, aside]).standing) == ["RV1"]
    assert list(joined([first, aside, mended]).standing) == []


# --- nothing is played again


@pytest.mark.parametrize("path", sorted((Path(__file__).parents[1] / "fixtures/sessions/schema-1").glob("*.jsonl")))
def test_files_of_the_first_schema_tell_u_alone(path: Path) -> None:
    """Their verdicts list no parts: value and U are as recorded, nothing is known of what U rests on."""
    with path.open("rb") as file:
        told = [one for one in map(json.loads, file.read().split(b"\n")[:-1]) if one["kind"] == "verdict"]
    with iterate(path) as rows:
        found = evidence(rows)
    assert told
    for one in told:
        verdict, judged = found.verdicts[one["step"], one["item"]], found.judged.get((one["step"], one["item"]))
        if one["value"] is None or one["U"] is None:
            assert judged is None
        elif verdict.t_s == one["t_s"]:
            assert judged is not None
            assert (judged.value, judged.expanded, judged.budget) == (one["value"], one["U"], None)


def test_no_session_is_played_to_know_what_values_rest_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Compared, learned from, reported and judged by another plan: the records tell it all."""
    played_once = played("A", PLAIN, known_good=True)
    path = journal(tmp_path, played_once)
    rows = records(played_once)

    def refuse(*_: object) -> None:
        raise AssertionError("a session is played")

    monkeypatch.setattr(Session, "__init__", refuse)
    found = evidence(iter(rows))
    assert found.judged["coils", "K1"].budget is not None
    assert [each.item for each in combine([found.reference()]).items] == ["K1", "K2"]
    assert compare_files([Side("a", found)], "K1").budgets
    assert study(path, program="metercap test")[0].verdicts
    assert rejudge(rows[0], rows[1:], found.plan).rows  # type: ignore[arg-type]
