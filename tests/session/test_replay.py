"""The check of a replay: every outcome derived again, every raw decoded again, and the first difference found."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from metercap.errors import JournalError
from metercap.profiles import find_meter
from metercap.reading import Reading
from metercap.records import Clock, Cue, EndRecord, Note, Operator, Prompt, Record, Verdict
from metercap.session import check, opening
from metercap.wire import decoder
from tests.steps.bench_play import Play, confirm, fuses, zero

SCRIPT = "OL*4 9 0.20*3 OL*20 :skip OL*2 9 0.30*2 OL*5 :yes :open :yes +30 :yes"


def recorded(told: Play) -> list[Record]:
    """Return a journal's records of a play."""
    out: list[Record] = [told.record]
    for event, outcomes in told.pairs:
        out += [event] if event is not None else []
        out += outcomes
    return out


def story() -> list[Record]:
    """Return the records of a session with deadlines, words and verdicts."""
    told = Play(zero(), fuses(2, count_check=True, patience_s=4.0), confirm(wait_s=20.0))(SCRIPT)
    assert told.session.finished
    return recorded(told)


def end(t_s: float) -> EndRecord:
    """Return a journal's last record."""
    return EndRecord(t_s, "done", {}, "0" * 64)


def test_what_was_recorded_is_derived_again() -> None:
    """The records as they were written show no difference, and are counted."""
    records = story()
    found = check([*records, end(99.0)])
    assert found.difference == ""
    assert found.verdicts == sum(isinstance(record, Verdict) for record in records)
    assert found.readings == sum(isinstance(record, Reading) for record in records)


def place(records: list[Record], kind: type, nth: int = 0) -> int:
    """Return where the nth record of a kind stands."""
    return [n for n, record in enumerate(records) if isinstance(record, kind)][nth]


def changed(kind: type, **fields: Any) -> Callable[[list[Record]], int]:
    """Return what changes the first record of a kind, and tells its line."""

    def change(records: list[Record]) -> int:
        n = place(records, kind)
        records[n] = msgspec.structs.replace(records[n], **fields)
        return n + 1

    return change


def dropped(kind: type) -> Callable[[list[Record]], int]:
    """Return what drops the first record of a kind, and tells the line that took its place."""

    def drop(records: list[Record]) -> int:
        n = place(records, kind)
        del records[n]
        return n + 1

    return drop


def added(record: Record) -> Callable[[list[Record]], int]:
    """Return what adds a record before the fifth reading, and tells its line."""

    def add(records: list[Record]) -> int:
        n = place(records, Reading, 4)
        records.insert(n, record)
        return n + 1

    return add


@pytest.mark.parametrize(
    "tamper",
    [
        changed(Verdict, value=0.3),
        changed(Verdict, verdict="fail"),
        changed(Verdict, reason="because"),
        changed(Cue, item="F9"),
        changed(Prompt, say="something else"),
        changed(Clock, t_s=7.0),
        dropped(Verdict),
        dropped(Cue),
        dropped(Prompt),
        dropped(Clock),
        added(Note(2.0, "never said")),
        added(Clock(2.0, "leads")),
    ],
)
def test_first_difference_is_found(tamper: Callable[[list[Record]], int]) -> None:
    """A changed, missing or added record is told with the line where it shows."""
    records = story()
    line = tamper(records)
    found = check(records)
    assert found.difference.startswith(f"line {line}:"), found.difference


def test_changed_event_shows_in_what_follows() -> None:
    """A reading that was altered gives other outcomes."""
    records = story()
    n = place(records, Reading, 6)
    records[n] = msgspec.structs.replace(records[n], value=0.9)
    assert check(records).difference


def test_unclosed_file_may_lack_the_last_outcomes() -> None:
    """On an unclosed file the outcomes of the last event may be missing; on a closed one they may not."""
    records = story()
    last_event = max(n for n, record in enumerate(records) if isinstance(record, Reading | Operator | Clock))
    assert last_event < len(records) - 1
    cut = records[: last_event + 1]
    assert check(cut).difference == ""
    assert "not in the file" in check([*cut, end(99.0)]).difference


def test_file_cut_at_any_record_checks() -> None:
    """However early the file ends, what is there is derived again."""
    records = story()
    for n in range(1, len(records)):
        assert check(records[:n]).difference == "", n


@pytest.mark.parametrize("records", [[], [Note(0.0, "x")]])
def test_no_session_no_replay(records: list[Record]) -> None:
    """A file that does not begin with a session is refused."""
    with pytest.raises(JournalError):
        check(records)
    with pytest.raises(JournalError):
        opening(iter(records))


def test_every_raw_is_decoded_again() -> None:
    """Readings off the wire are decoded again from their bytes; an altered value or raw is found."""
    profile = find_meter("text")
    told = Play(fuses(1), profile=profile, rate=1.0)
    wire = decoder(profile)
    for n, line in enumerate(("OL", "OL", "OL", "9 ohm", "0.2 ohm", "0.2 ohm")):
        for each in wire.feed(line.encode() + b"\r\n", n + 1.0):
            assert isinstance(each, Reading)
            told.feed(each)
    assert told.ticks == ["F1 pass"]
    records = recorded(told)
    assert check(records).difference == ""
    n = place(records, Reading, 1)
    for fields in ({"raw": "4f4b"}, {"raw": "no hex"}, {"resolution": 10.0}, {"t_s": 2.0000001}):
        other = [*records]
        other[n] = msgspec.structs.replace(records[n], **fields)
        assert check(other).difference.startswith(f"line {n + 1}:"), fields
