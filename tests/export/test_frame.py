"""DataFrames: right values, right types, and nothing passed over."""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import metercap
from metercap.errors import JournalError, UsageError
from metercap.export import TABLES, frame
from metercap.journal import Chain, iterate
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import Record, SessionRecord, Verdict

pd = pytest.importorskip("pandas")

Write = Callable[..., Path]
DTYPES = {"number": "float64", "count": "Int64", "truth": "bool", "word": "category"}


def check_types(table: Any, columns: list[Any]) -> None:
    assert list(table.columns) == [column.name for column in columns]
    for column in columns:
        if column.type == "text":
            assert pd.api.types.is_string_dtype(table[column.name].dtype)
        else:
            assert str(table[column.name].dtype) == DTYPES[column.type], column.name


def test_readings(write: Write) -> None:
    """Every reading, in order, with the schema's types; over-range is NaN; other records between them do not matter."""
    table = metercap.load(write()).readings()
    check_types(table, [column for column in TABLES["readings"] if column.name != "raw"])
    assert table["t_s"].tolist() == [0.1, 0.2, 0.3, 0.7]
    assert math.isnan(table["value"][0])
    assert table["value"].tolist()[1:] == [0.30000000000000004, -1.5, 1e-12]
    assert table["quantity"].tolist() == ["resistance", "resistance", "voltage_dc", "capacitance"]
    assert table["unit"].tolist() == ["ohm", "ohm", "V", "F"]
    assert table["state"].tolist() == ["over", "ok", "ok", "ok"]
    assert table["flags"].tolist() == ["auto beep", "auto", "", "auto"]
    assert table.attrs == {"session": "7f3c", "unit": "controller B", "tag": "B", "start_utc": "2031-03-04T05:06:07Z"}


def test_raw_when_asked_for(write: Write) -> None:
    """With `raw` the frames' bytes are the last column."""
    table = metercap.load(write()).readings(raw=True)
    check_types(table, list(TABLES["readings"]))
    assert table["raw"].tolist() == ["1f2b", "1f2b", "1f2b", ""]


def test_verdicts(write: Write) -> None:
    """Every verdict with the schema's types; a replaced one stays and does not stand; what a step lacks is missing."""
    table = metercap.load(write()).verdicts()
    check_types(table, list(TABLES["verdicts"]))
    assert table["verdict"].tolist() == ["fail", "absent", "pass", "pass"]
    assert table["stands"].tolist() == [False, True, True, True]
    assert table["U"].tolist()[2] == 0.1
    assert table["excursions"].isna().tolist() == [True, True, True, False]
    assert table["excursions"][3] == 0
    assert table["as_found"].isna().tolist() == [True, True, True, False]
    assert table["item"].tolist()[1] == '=HYPERLINK("x")'
    assert table["condition"].tolist() == ["", "", "", ""]


def test_schema_has_every_field_of_a_verdict() -> None:
    """No field of a verdict is missing from the table; `U` is `expanded`, `stands` is made; contacts are rows.

    The parts of U stay in the journal, by which `metercap compare --budget` shows them.
    """
    names = {column.name for column in TABLES["verdicts"]}
    assert names - {"U", "stands"} == set(Verdict.__struct_fields__) - {"expanded", "contacts", "budget"}
    assert {column.name for column in TABLES["readings"]} == set(Reading.__struct_fields__)


@pytest.mark.parametrize("block", [1, 60, 301, 1000])
def test_blocks_do_not_matter(write: Write, monkeypatch: pytest.MonkeyPatch, block: int) -> None:
    """However the file is cut into blocks, the tables are the same."""
    recording = metercap.load(write())
    readings, verdicts = recording.readings(raw=True), recording.verdicts()
    monkeypatch.setattr(frame, "_BLOCK", block)
    pd.testing.assert_frame_equal(recording.readings(raw=True), readings)
    pd.testing.assert_frame_equal(recording.verdicts(), verdicts)


def test_many_readings_agree_with_reading_records(write: Write, reading: Callable[..., Reading]) -> None:
    """Thousands of readings of every quantity, state and flag come out as the records hold them."""
    flags = ("auto", "hold", "rel", "min", "max", "peak", "low_battery", "beep", "link", "own")
    quantities = list(Quantity)
    records = [
        reading(
            index / 7,
            None if index % 5 == 0 else index / 3,
            quantity=quantities[index % len(quantities)],
            unit=quantities[index % len(quantities)].unit,
            state=list(State)[index % 3],
            flags=tuple(flag for bit, flag in enumerate(flags) if index >> bit & 1),
            raw=f"{index:04x}",
        )
        for index in range(3000)
    ]
    journal = write(records)
    table = metercap.load(journal).readings(raw=True)
    for row, record in zip(table.itertuples(index=False), iterate_readings(journal), strict=True):
        assert (row.t_s, row.quantity, row.resolution) == (record.t_s, record.quantity, record.resolution)
        assert (row.unit, row.state, row.raw) == (record.unit, record.state, record.raw)
        assert row.flags == " ".join(record.flags)
        assert row.value == record.value or (record.value is None and math.isnan(row.value))


def iterate_readings(journal: Path) -> list[Reading]:
    return [record for record in iterate(journal) if isinstance(record, Reading)]


def test_a_journal_without_readings_has_empty_tables(write: Write) -> None:
    """No rows, but all columns with their types."""
    recording = metercap.load(write([]))
    for table, name in ((recording.readings(raw=True), "readings"), (recording.verdicts(), "verdicts")):
        assert len(table) == 0
        check_types(table, list(TABLES[name]))


def test_state_and_session(write: Write) -> None:
    """A recording knows its session and whether its file is closed."""
    recording = metercap.load(str(write()))
    assert (recording.state, recording.lost) == ("closed", "")
    assert recording.session is not None
    assert recording.session.unit == "controller B"
    assert "controller B" in repr(recording)
    unclosed = metercap.load(write(closed=False))
    assert unclosed.state == "unclosed"
    assert "no end record" in unclosed.lost
    assert metercap.load(write(), verified=False).state is None


def test_a_torn_file_opens_and_says_so(write: Write) -> None:
    """Cut inside its last record the tables have the rest; cut inside the first there is nothing, and that is said."""
    journal = write(closed=False)
    os.truncate(journal, journal.stat().st_size - 1)
    for verified in (True, False):
        recording = metercap.load(journal, verified=verified)
        assert len(recording.readings()) == 4
    assert "cut off after" in metercap.load(journal).lost
    for size in (100, 0):
        os.truncate(journal, size)
        for verified in (True, False):
            recording = metercap.load(journal, verified=verified)
            assert (recording.session, recording.state, len(recording.readings())) == (None, "torn", 0)
            assert recording.lost


def test_damage_is_refused_with_its_place(write: Write) -> None:
    """One changed digit stops a verified load; unverified it is not seen, as documented."""
    journal = write()
    journal.write_bytes(journal.read_bytes().replace(b'"value":-1.5', b'"value":-9.5'))
    with pytest.raises(JournalError, match=r"line 5, byte \d+: the checksum does not match"):
        metercap.load(journal)
    assert metercap.load(journal, verified=False).readings()["value"][2] == -9.5


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b'"value":-1.5', b'"value":"x"'),
        (b'"quantity":"voltage_dc"', b'"quantity":"weight"'),
        (b'"flags":[],', b""),
        (b'"flags":[]', b'"flags":[' + b"[" * 100_000),
        (b'"unit":"V"', b'"unit":"\xff"'),
        (b'"raw":"1f2b"', b'"raw":"' + b"0" * (3 << 20) + b'"'),
    ],
)
def test_broken_lines_are_errors_even_unverified(write: Write, old: bytes, new: bytes) -> None:
    """A reading that cannot be decoded is never passed over, verified or not."""
    journal = write()
    content = journal.read_bytes()
    assert old in content
    journal.write_bytes(content.replace(old, new))
    with pytest.raises(JournalError, match=r"line \d+, byte \d+"):
        metercap.load(journal, verified=False).readings()
    with pytest.raises(JournalError, match=r"line \d+, byte \d+"):
        metercap.load(journal)


def test_a_broken_verdict_is_an_error(write: Write) -> None:
    """The same for verdicts."""
    journal = write()
    journal.write_bytes(journal.read_bytes().replace(b'"verdict":"fail"', b'"verdict":"fine"'))
    with pytest.raises(JournalError, match=r"line \d+, byte \d+"):
        metercap.load(journal, verified=False).verdicts()


def test_other_files_are_refused(tmp_path: Path) -> None:
    """What is no journal, of a newer schema or missing is refused at once, verified or not."""
    path = tmp_path / "a"
    for verified in (True, False):
        with pytest.raises(JournalError, match="cannot be read"):
            metercap.load(path, verified=verified)
    path.write_bytes(b"a,b\r\n")
    for verified in (True, False):
        with pytest.raises(JournalError, match="no journal"):
            metercap.load(path, verified=verified)


def test_a_newer_schema_is_refused(write: Write) -> None:
    """A newer schema is refused at once, verified or not."""
    journal = write()
    with iterate(journal) as records:
        first = next(records)
    assert isinstance(first, SessionRecord)
    newer: Record = SessionRecord(**{name: getattr(first, name) for name in first.__struct_fields__} | {"schema": 99})
    journal.write_bytes(Chain().line(newer))
    for verified in (True, False):
        with pytest.raises(JournalError, match="schema 99"):
            metercap.load(journal, verified=verified)


def test_without_pandas_the_error_says_what_to_install(write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    """Loading works without pandas; only a table needs it."""
    monkeypatch.setitem(sys.modules, "pandas", None)
    recording = metercap.load(write())
    assert recording.state == "closed"
    for table in (recording.readings, recording.verdicts):
        with pytest.raises(UsageError, match=r"metercap\[tables\]"):
            table()
