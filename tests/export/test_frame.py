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
from metercap.export import TABLES, source
from metercap.export.places import UNSEEN
from metercap.export.schema import FRAMES, FROM_WHERE
from metercap.journal import Chain, iterate
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import Contact, Do, Lift, Operator, Prompt, Record, SessionRecord, Verdict, VerdictKind
from metercap.steps import MACHINES

pd = pytest.importorskip("pandas")

Write = Callable[..., Path]
DTYPES = {
    "number": "float64",
    "count": "Int64",
    "truth": "bool",
    "word": "category",
    "time": "datetime64[us, UTC]",
}


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
    check_types(table, [column for column in FRAMES["readings"] if column.name != "raw"])
    assert table["t_s"].tolist() == [0.1, 0.2, 0.3, 0.7]
    assert math.isnan(table["value"][0])
    assert table["value"].tolist()[1:] == [0.30000000000000004, -1.5, 1e-12]
    assert table["quantity"].tolist() == ["resistance", "resistance", "voltage_dc", "capacitance"]
    assert table["unit"].tolist() == ["ohm", "ohm", "V", "F"]
    assert table["state"].tolist() == ["over", "ok", "ok", "ok"]
    assert table["flags"].tolist() == ["auto beep", "auto", "", "auto"]
    assert table.attrs == {"session": "7f3c", "unit": "controller B", "tag": "B", "start_utc": "2031-03-04T05:06:07Z"}


def test_raw_when_asked_for(write: Write) -> None:
    """With `raw` the frames' bytes are a column too."""
    table = metercap.load(write()).readings(raw=True)
    check_types(table, list(FRAMES["readings"]))
    assert table["raw"].tolist() == ["1f2b", "1f2b", "1f2b", ""]


def test_verdicts(write: Write) -> None:
    """Every verdict with the schema's types; a replaced one stays and does not stand; what a step lacks is missing."""
    table = metercap.load(write()).verdicts()
    check_types(table, list(FRAMES["verdicts"]))
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
    behind = {column.name for column in FROM_WHERE}
    names = {column.name for column in TABLES["verdicts"]} - behind
    assert names - {"U", "stands"} == set(Verdict.__struct_fields__) - {"expanded", "contacts", "budget"}
    assert {column.name for column in TABLES["readings"]} - behind == {*Reading.__struct_fields__, "step", "item"}


@pytest.mark.parametrize("block", [1, 60, 301, 1000])
def test_blocks_do_not_matter(write: Write, monkeypatch: pytest.MonkeyPatch, block: int) -> None:
    """However the file is cut into blocks, the tables are the same."""
    recording = metercap.load(write())
    readings, verdicts = recording.readings(raw=True), recording.verdicts()
    monkeypatch.setattr(source, "BLOCK", block)
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
    for name, columns in FRAMES.items():
        table = recording.readings(raw=True) if name == "readings" else getattr(recording, name)()
        assert len(table) == 0
        check_types(table, list(columns))


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
    assert len([record for record in recording.records() if isinstance(record, Reading)]) == 4
    for table in (recording.readings, recording.contacts, recording.prompts, recording.words, recording.verdicts):
        with pytest.raises(UsageError, match=r"metercap\[tables\]"):
            table()


def story(reading: Callable[..., Reading]) -> list[Record]:
    """F1 touched and ticked, a slip back onto it, F2 touched; then a switch whose step sees no contact; a word."""
    return [
        Prompt(0.0, "fuses", "F1", Do.PROBE, "F1: both tips on it"),
        reading(0.1, None),
        reading(0.2, 0.3),
        Contact(0.2, "fuses", "F1"),
        reading(0.3, 0.3),
        Verdict(0.3, "fuses", "F1", VerdictKind.PASS, value=0.3, unit="ohm"),
        Prompt(0.3, "fuses", "F2", Do.PROBE, "F2"),
        reading(0.4, 0.3),
        reading(0.5, None),
        Lift(0.5, "fuses", "F1"),
        reading(0.6, 0.3),
        Contact(0.6, "fuses", "F1", same=True),
        Prompt(0.6, "fuses", None, Do.DIAL, "a fixed range"),
        reading(0.7, None),
        Lift(0.7, "fuses", "F1", same=True),
        reading(0.8, 0.2),
        Contact(0.8, "fuses", "F2"),
        Prompt(0.8, "cover", "K1", Do.PRESS, "press K1", quantity=Quantity.RESISTANCE),
        reading(0.9, 0.2),
        reading(1.0, None),
        Lift(1.0, "fuses", "F2"),
        reading(1.1, 0.1),
        Operator(1.15, "note", "a green corner", "line"),
        reading(1.2, None),
        Prompt(1.2, "cover", None, Do.DIAL, "ohms"),
        reading(1.3, None),
        Prompt(1.3, "lid", None, Do.ANSWER, "clean?"),
        reading(1.4, None),
    ]


PLACES = {
    0.1: ("fuses", ""),
    0.2: ("fuses", "F1"),
    0.3: ("fuses", "F1"),
    0.4: ("fuses", "F1"),
    0.5: ("fuses", ""),
    0.6: ("fuses", "F1"),
    0.7: ("fuses", ""),
    0.8: ("fuses", "F2"),
    0.9: ("fuses", "F2"),
    1.0: ("cover", "K1"),
    1.1: ("cover", "K1"),
    1.2: ("cover", "K1"),
    1.3: ("cover", "K1"),
    1.4: ("lid", ""),
}
"""By hand: a contact from the reading that made it to the last before it was lifted; a slip is the item's before it."""


@pytest.mark.parametrize("block", [1, 400, 1 << 20])
def test_a_reading_belongs_to_what_the_tips_were_on(
    write: Write, reading: Callable[..., Reading], monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    """Step and item of every reading, however the file is cut into blocks; its time is the session's start plus t_s."""
    monkeypatch.setattr(source, "BLOCK", block)
    plan = {
        "steps": (
            {"id": "fuses", "kind": "sweep"},
            {"id": "cover", "kind": "exercise"},
            {"id": "lid", "kind": "exercise"},
        )
    }
    table = metercap.load(write(story(reading), plan=plan)).readings()
    found = {row.t_s: (row.step, row.item) for row in table.itertuples()}
    assert found == PLACES
    assert table["time"][0] == pd.Timestamp("2031-03-04T05:06:07.1Z")
    assert set(table["tag"]) == {"B"}
    assert set(table["journal"]) == {"gc8.jsonl"}


def test_steps_that_see_no_contact_are_the_machines() -> None:
    """The kinds whose readings belong to what was asked for are those whose machines do not look at contact."""
    kinds = {str(step.__struct_config__.tag): machine for step, machine in MACHINES.items()}
    blind = {kind for kind, machine in kinds.items() if not getattr(machine, "shows_contact", True)}
    assert blind == set(UNSEEN)


def test_contacts_prompts_and_words(write: Write, reading: Callable[..., Reading]) -> None:
    """A contact from touch to lift, with what was asked and said, typed and timed."""
    recording = metercap.load(write(story(reading)))
    contacts, prompts, words = recording.contacts(), recording.prompts(), recording.words()
    for name, table in (("contacts", contacts), ("prompts", prompts), ("words", words)):
        check_types(table, list(FRAMES[name]))
    rows = contacts[["t_s", "until_s", "step", "item", "same"]].to_numpy().tolist()
    assert rows == [[0.2, 0.5, "fuses", "F1", False], [0.6, 0.7, "fuses", "F1", True], [0.8, 1.0, "fuses", "F2", False]]
    assert prompts["do"].tolist() == ["probe", "probe", "dial", "press", "dial", "answer"]
    assert prompts["item"].tolist() == ["F1", "F2", "", "K1", "", ""]
    assert prompts["quantity"].tolist()[3:5] == ["resistance", ""]
    assert words[["t_s", "word", "text", "source"]].to_numpy().tolist() == [[1.15, "note", "a green corner", "line"]]
    assert words["time"][0] == pd.Timestamp("2031-03-04T05:06:08.15Z")


def test_a_contact_that_never_ended_has_no_end(write: Write, reading: Callable[..., Reading]) -> None:
    """The file ends, or the next contact begins, without a lift."""
    records = [Contact(0.2, "fuses", "F1"), Contact(0.4, "fuses", "F2"), reading(0.5, 0.1)]
    contacts = metercap.load(write(records)).contacts()
    assert contacts["item"].tolist() == ["F1", "F2"]
    assert contacts["until_s"].isna().all()


def test_a_unit_that_was_named_on_the_way(write: Write, reading: Callable[..., Reading]) -> None:
    """The tag is the last one that a word gave."""
    records = [reading(0.1, 0.2), Operator(0.2, "name", "A", "line"), Operator(0.3, "name", "C", "line")]
    assert set(metercap.load(write(records)).readings()["tag"]) == {"C"}


def test_a_folder_of_journals(write: Write, reading: Callable[..., Reading]) -> None:
    """All of its journals in natural order, one behind the other; a verdict of a later sitting stands."""
    for number, value in (("10", 0.5), ("2", 0.3)):
        records = [reading(0.1, value), Verdict(0.3, "fuses", "F1", VerdictKind.PASS, value=value, unit="ohm")]
        path = write(records, start_utc=f"2031-03-{number:0>2}T05:06:07Z", id=number, closed=number == "2")
        path.rename(path.with_name(f"{number}-B.jsonl"))
    folder = path.parent
    (folder / "job.toml").write_text("title = 'x'", "utf-8")
    recording = metercap.load(folder)
    table = recording.readings()
    assert table["journal"].tolist() == ["2-B.jsonl", "10-B.jsonl"]
    assert table["value"].tolist() == [0.3, 0.5]
    assert [str(when)[:10] for when in table["time"]] == ["2031-03-02", "2031-03-10"]
    verdicts = recording.verdicts()
    assert verdicts["stands"].tolist() == [False, True]
    assert verdicts["journal"].tolist() == ["2-B.jsonl", "10-B.jsonl"]
    assert (recording.state, recording.lost) == ("unclosed", f"10-B.jsonl: {recording.journals[1].lost}")
    assert recording.lost.count("no end record") == 1
    assert [type(record).__name__ for record in recording.records()].count("Verdict") == 2
    assert "2 journals" in repr(recording)
    (folder / "2-B.jsonl").write_bytes(b"a,b")
    with pytest.raises(JournalError, match=r"2-B\.jsonl"):
        metercap.load(folder)


def test_what_a_sitting_took_over_has_one_row(write: Write) -> None:
    """A verdict taken over from a session that is here too is that session's; from one that is not, it is kept."""
    own = Verdict(0.3, "fuses", "F1", VerdictKind.PASS, value=0.3, unit="ohm")
    taken = Verdict(0.0, "fuses", "F1", VerdictKind.PASS, value=0.3, unit="ohm", reason="from session s1; as it was")
    other = Verdict(0.0, "fuses", "F2", VerdictKind.PASS, value=0.2, unit="ohm", reason="from session s0")
    for number, records in (("1", [own]), ("2", [taken, other])):
        path = write(records, id=f"s{number}")
        path.rename(path.with_name(f"{number}.jsonl"))
    verdicts = metercap.load(path.parent).verdicts()
    assert verdicts[["item", "journal", "stands"]].to_numpy().tolist() == [
        ["F1", "1.jsonl", True],
        ["F2", "2.jsonl", True],
    ]


def test_a_folder_without_journals_is_refused(tmp_path: Path) -> None:
    """And says what a journal is named."""
    with pytest.raises(JournalError, match="no journal is in this folder"):
        metercap.load(tmp_path)


def test_a_start_that_is_no_time_gives_no_times(write: Write) -> None:
    """Times are missing, and nothing else is."""
    table = metercap.load(write(start_utc="yesterday")).readings()
    assert table["time"].isna().all()
    assert table["t_s"].tolist() == [0.1, 0.2, 0.3, 0.7]


def test_kinds_that_nobody_knows_are_passed_over(write: Write) -> None:
    """A line of a kind that is not known, as a later program may write, hides no reading."""
    journal = write(closed=False)
    lines = journal.read_bytes().splitlines(keepends=True)
    lines.insert(3, b'{"kind":"weather","t_s":0.2,"crc":"00000000"}\n')
    journal.write_bytes(b"".join(lines))
    assert len(metercap.load(journal, verified=False).readings()) == 4
