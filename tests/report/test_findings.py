"""What a report says, as data: the file itself, what stands, what is open and skipped, and what it is set beside."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import msgspec
import pytest

from metercap.compare import Side
from metercap.errors import JournalError, UsageError
from metercap.evidence import evidence
from metercap.records import EndRecord
from metercap.report import compose, study
from metercap.report.findings import Findings
from metercap.report.text import text_lines
from tests.report.papers import dipped, journal, lines, ramp, records, studied, swept, trimmers
from tests.steps.bench_play import Play, check, confirm, fuses

COILS = check("K1", "K2", id="coils", min=None, max=None, contacts=1)


def coils(unit: Any, *texts: Any, **more: Any) -> Any:
    """Return a play of relay coils without limits."""
    script = "OL*6 " + "".join(f"{text}*4 OL*6 " * 2 for text in texts)
    return Play(COILS, unit=unit, id=f"session of {unit}", **more)(script)


def good(unit: Any = "A") -> Any:
    """Return a known-good unit's session as something to compare with."""
    found = [*records(coils(unit, "160.4", "161.0", known_good=True)), EndRecord(999.0, "done", {}, "")]
    return Side(f"{unit}.jsonl", evidence(iter(found)))


def test_the_file_is_named_by_its_own_hash(tmp_path: Path) -> None:
    """SHA-256 and length are those that any other program finds for the same file."""
    path = journal(tmp_path, swept())
    found, _ = study(path, program="metercap test")
    data = path.read_bytes()
    assert found.file.sha256 == hashlib.sha256(data).hexdigest()
    assert (found.file.name, found.file.bytes, found.file.state, found.file.lost) == (
        "b.jsonl",
        len(data),
        "closed",
        "",
    )


@pytest.mark.parametrize("share", [0.05, 0.3, 0.5, 0.77, 0.999])
def test_a_file_cut_anywhere_says_what_was_lost(tmp_path: Path, share: float) -> None:
    """Its hash is still that of all its bytes, and what its whole lines hold is there."""
    whole = lines(records(swept()))
    first = whole.index(b"\n") + 1
    path = tmp_path / "cut.jsonl"
    path.write_bytes(whole[: first + int(share * (len(whole) - first))])
    found, _ = study(path, program="x")
    data = path.read_bytes()
    assert found.file.state in ("torn", "unclosed") and found.file.lost
    assert (found.file.sha256, found.file.bytes) == (hashlib.sha256(data).hexdigest(), len(data))
    assert found.end is None
    assert len(found.verdicts) + len(found.open) >= 4


def test_an_unclosed_file_is_reported_as_far_as_it_goes(tmp_path: Path) -> None:
    """Everything stands, only the end is missing."""
    found, _ = studied(tmp_path, swept(), closed=False)
    assert (found.file.state, len(found.verdicts), found.end) == ("unclosed", 4, None)


def test_a_damaged_file_is_refused_with_its_place(tmp_path: Path) -> None:
    """A changed digit makes the rest doubtful: no report is made of it, repair comes first."""
    path = tmp_path / "b.jsonl"
    path.write_bytes(lines(records(swept())).replace(b"330.1", b"130.1", 1))
    with pytest.raises(JournalError, match="checksum") as error:
        study(path, program="x")
    assert "line" in error.value.where and "repair" in error.value.hint


@pytest.mark.parametrize("data", [b"", b'{"kind":"sess'])
def test_a_file_without_a_session_is_refused(tmp_path: Path, data: bytes) -> None:
    """Cut inside the first record there is nothing to report on; the error names the file."""
    path = tmp_path / "b.jsonl"
    path.write_bytes(data)
    with pytest.raises(JournalError, match="no session") as error:
        study(path, program="x")
    assert str(path) in error.value.where


def test_what_stands_and_what_came_before(tmp_path: Path) -> None:
    """A verdict that was given anew stands; the one before it is kept beside it."""
    play = Play(fuses(2), rate=5.0)("OL*6 0.2*6 OL*9 :back OL*6 0.3*6 OL*9")
    found, _ = studied(tmp_path, play, reason="quit")
    assert [(verdict.item, verdict.value) for verdict in found.verdicts] == [("F1", 0.3)]
    assert [(verdict.item, verdict.value) for verdict in found.replaced] == [("F1", 0.2)]
    assert [(each.item, each.why) for each in found.open] == [("F2", "not done")]


def test_skipped_items_are_told_from_those_looked_at_again(tmp_path: Path) -> None:
    """F2 was skipped and had its second look; F1 was skipped twice; F3 is left open by quit."""
    play = Play(fuses(3), rate=5.0)("OL*6 :skip OL*6 :skip OL*6 :skip OL*6 :skip OL*6 0.2*6 OL*9")
    found, _ = studied(tmp_path, play, reason="quit")
    assert {(one.item, one.how) for one in found.skipped} == {
        ("F1", "skipped"),
        ("F2", "skipped first, decided at the second look"),
        ("F3", "skipped first, not done since"),
    }


def test_steps_that_were_not_run_are_named(tmp_path: Path) -> None:
    """With --steps the rest of the plan is not open, only not run."""
    play = Play(confirm(), fuses(1), rate=5.0, options={"steps": ["fuses"]})("OL*6 0.2*6 OL*9")
    found, _ = studied(tmp_path, play)
    assert (found.not_run, found.open) == (("battery out",), ())


def test_trimmers_with_and_without_a_verdict(tmp_path: Path) -> None:
    """As found, as left and the excursion; a second trimmer that nobody came to turn is there as found."""
    found, _ = studied(tmp_path, dipped())
    (row,) = found.adjusted
    assert (row.as_found, row.as_left, row.target, row.tolerance, row.excursions) == (2187.0, 1502.0, 1500.0, 15.0, 1)
    (past,) = found.excursions
    assert (past.side, past.limit, past.worst) == ("below", 1200.0, 1107.0)
    play = Play(trimmers("RV1", "RV2"), rate=5.0)(f"OL*6 2.187k*5 OL*9 1.800k*9 OL*9 2.187k*5 {ramp(2187, 1900, -90)}")
    found, _ = studied(tmp_path, play, reason="interrupted")
    rows = [(row.item, row.verdict, row.as_found, row.as_left, row.unit) for row in found.adjusted]
    assert rows == [("RV1", "not done", 2187.0, None, "ohm"), ("RV2", "not done", 1800.0, None, "ohm")]


def past_while_moving() -> Play:
    """Return a trimmer that moved when it was touched and went past its limit: no value as found, no verdict."""
    return Play(trimmers(), rate=5.0)(f"OL*6 {ramp(2187, 1200, -60)} 1.150k 1.107k 1.150k 1.170k")


@pytest.mark.parametrize(("script", "verdict"), [("", "not done"), (" :skip :skip", "unsure")])
def test_an_excursion_is_listed_where_nothing_was_read(tmp_path: Path, script: str, verdict: str) -> None:
    """A trimmer with neither as found nor as left, with and without a verdict: its row says it was past its limit."""
    play = past_while_moving()(f"OL*9{script}")
    found, gathered = studied(tmp_path, play, reason="quit")
    (row,) = found.adjusted
    assert (row.item, row.verdict, row.as_found, row.as_left, row.excursions) == ("RV1", verdict, None, None, 1)
    (past,) = found.excursions
    text = "\n".join(text_lines(compose(found, gathered)))
    assert past.worst == 1107.0
    assert "1.107 kΩ, 0.8 s below 1.2 kΩ at 0:05" in text


def test_a_session_is_set_beside_a_known_good_one(tmp_path: Path) -> None:
    """As `compare` does: most suspicious first, and only this session's rows."""
    path = journal(tmp_path, coils("B", "161.4", "120.0"))
    found, _ = study(path, program="x", against=good())
    (pair,) = found.beside
    assert (pair.unit, pair.beside, pair.how) == ("B", "unit A", "good units")
    assert [line.item for line in pair.lines] == ["K2", "K1"]
    assert pair.lines[0].differs


def test_a_good_unit_is_set_beside_another(tmp_path: Path) -> None:
    """Two known-good units: the file that was asked for is what the other is compared with."""
    path = journal(tmp_path, coils("C", "160.9", "161.0", known_good=True))
    found, _ = study(path, program="x", against=good())
    (pair,) = found.beside
    assert (pair.unit, pair.how) == ("C", "good units")


def test_a_session_with_a_reference_is_set_beside_it(tmp_path: Path) -> None:
    """What `run --against` gave the session is in its journal, and is enough; without one there is nothing."""
    side = good()
    rows = {"coils/K1": {"value": 160.4, "U": 0.2, "unit": "ohm", "unit_name": "A", "resolution": 0.1}}
    found, _ = studied(tmp_path, coils("B", "161.4", "120.0", reference=rows))
    (pair,) = found.beside
    assert (pair.beside, [line.item for line in pair.lines]) == ("the known-good unit A", ["K1"])
    assert study(journal(tmp_path, coils("B", "161.4"), "c.jsonl"), program="x")[0].beside == ()
    given, _ = study(journal(tmp_path, coils("B", "161.4", reference=rows)), program="x", against=side)
    assert given.beside[0].beside == "unit A"  # the file that was asked for, not the session's own


def test_another_model_is_refused(tmp_path: Path) -> None:
    """Good values of another plan say nothing."""
    other = msgspec.structs.replace(good(), name="other.jsonl")
    path = journal(tmp_path, swept())
    assert other.session is not None
    plan = {**other.session.first.plan, "model": "GC-9"}
    session = evidence(iter([msgspec.structs.replace(records(coils("A", "160.4"))[0], plan=plan)]))
    with pytest.raises(UsageError, match="not of one kind"):
        study(path, program="x", against=Side("other.jsonl", session))


def test_findings_are_json_and_back(tmp_path: Path) -> None:
    """What --json prints decodes to the very findings, journal records by their own names."""
    found, _ = studied(tmp_path, dipped())
    data = msgspec.json.encode(found)
    assert msgspec.json.decode(data, type=Findings) == found
    raw = msgspec.json.decode(data)
    assert (raw["session"]["kind"], raw["verdicts"][0]["U"]) == ("session", 2.08167)
    assert raw["defers"].startswith("metercap defers to local codes")
