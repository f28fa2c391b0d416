"""CSV by RFC 4180, with nothing in it that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
import os
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.errors import FileProblem, JournalError
from metercap.export import TABLES, save_csv, write_csv
from metercap.export.schema import FROM_WHERE
from metercap.export.sheet import cell, defused
from metercap.reading import Reading
from tests.effort import examples

Write = Callable[..., Path]


def parse_rfc4180(text: str) -> list[list[str]]:
    """The grammar of RFC 4180, section 2, character by character; anything outside it is a ValueError.

    file = record *(CRLF record) [CRLF]; record = field *(COMMA field); field = escaped / non-escaped;
    escaped = DQUOTE *(TEXTDATA / COMMA / CR / LF / 2DQUOTE) DQUOTE; non-escaped = *TEXTDATA
    """
    records: list[list[str]] = [[]]
    at = 0
    while True:
        field = ""
        if text[at : at + 1] == '"':
            at += 1
            while True:
                close = text.index('"', at)
                field += text[at:close]
                at = close + 1
                if text[at : at + 1] != '"':
                    break
                field += '"'
                at += 1
        else:
            start = at
            while at < len(text) and text[at] not in ',"\r\n':
                at += 1
            field = text[start:at]
        records[-1].append(field)
        if at == len(text):
            return records
        if text[at] == ",":
            at += 1
        elif text[at : at + 2] == "\r\n":
            at += 2
            if at == len(text):
                return records
            records.append([])
        else:
            raise ValueError(f"{text[at]!r} at {at} fits no rule")


def test_rfc4180_s_own_examples() -> None:
    """The parser of this test takes the examples of RFC 4180, section 2, rules 1 to 7."""
    assert parse_rfc4180("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n") == [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]
    assert parse_rfc4180('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx') == [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]
    assert parse_rfc4180('"aaa","b""bb","ccc"') == [["aaa", 'b"bb', "ccc"]]


def exported(journal: Path, table: str) -> str:
    stream = io.StringIO(newline="")
    write_csv(journal, table, stream)  # type: ignore[arg-type]
    return stream.getvalue()


def test_readings(write: Write) -> None:
    """Every byte of a small readings table: the schema's header, one CR LF line a reading, over-range empty."""
    whose = "B,gc8.jsonl,7f3c,controller B,GC-8,lcd14"
    assert exported(write(), "readings") == (
        "t_s,quantity,value,resolution,unit,state,flags,raw,step,item,time,tag,journal,session,unit_name,model,meter\r\n"
        f"0.1,resistance,,0.1,ohm,over,auto beep,1f2b,,,2031-03-04T05:06:07.100000Z,{whose}\r\n"
        f"0.2,resistance,0.30000000000000004,0.1,ohm,ok,auto,1f2b,,,2031-03-04T05:06:07.200000Z,{whose}\r\n"
        f"0.3,voltage_dc,-1.5,0.1,V,ok,,1f2b,,,2031-03-04T05:06:07.300000Z,{whose}\r\n"
        f"0.7,capacitance,1e-12,1e-12,F,ok,auto,,,,2031-03-04T05:06:07.700000Z,{whose}\r\n"
    )


def test_verdicts(write: Write) -> None:
    """Every cell of a small verdicts table: replaced ones marked, hostile text defused, negative numbers left alone."""
    header, *rows = parse_rfc4180(exported(write(), "verdicts"))
    assert header == [column.name for column in TABLES["verdicts"]]
    own = len(header) - len(FROM_WHERE)
    assert [row[own:] for row in rows] == [
        [f"2031-03-04T05:06:07.{tenth}00000Z", "B", "gc8.jsonl", "7f3c", "controller B", "GC-8", "lcd14"]
        for tenth in (4, 5, 8, 9)
    ]
    found = [{name: text for name, text in zip(header[:own], row[:own], strict=True) if text} for row in rows]
    assert found[0] == {
        "t_s": "0.4",
        "step": "fuses",
        "item": "F1",
        "verdict": "fail",
        "stands": "false",
        "value": "3.0",
        "unit": "ohm",
        "max": "2.0",
        "n": "2",
        "settled": "false",
    }
    assert found[1]["item"] == '\'=HYPERLINK("x")'
    assert found[1]["reason"] == "'@home, \\x1b[31m\\n-1"
    assert found[2] == {
        "t_s": "0.8",
        "step": "fuses",
        "item": "F1",
        "verdict": "pass",
        "stands": "true",
        "value": "-0.25",
        "unit": "ohm",
        "U": "0.1",
        "max": "2.0",
        "resolution": "0.1",
        "rule": "guarded",
        "n": "3",
        "settled": "true",
        "from_s": "0.7",
        "reason": 'say "2 Ω", then lift',
    }
    assert (found[3]["as_found"], found[3]["tolerance"], found[3]["excursions"]) == ("1400.0", "15.0", "0")


@pytest.mark.parametrize("table", ["readings", "verdicts"])
def test_both_tables_are_rfc4180_and_end_in_crlf(write: Write, table: str) -> None:
    """The grammar takes every file, every record has as many fields as the header, and no bare CR or LF is left."""
    text = exported(write(), table)
    records = parse_rfc4180(text)
    assert {len(record) for record in records} == {len(TABLES[table])}
    assert text.endswith("\r\n")
    assert text.count("\n") == text.count("\r") == len(records)


# Characters that begin a formula: = + - @ and their full-width forms, tab and CR (OWASP, "CSV Injection", from memory).
STARTS = "=+-@＝＋－＠\t\r\n"


@given(st.text(alphabet=st.sampled_from(STARTS + ",;|\"' \x1b\x9b\u202eaΩ1"), max_size=12))
@settings(max_examples=examples(400), derandomize=True, deadline=None)
def test_no_text_begins_a_formula(text: str) -> None:
    """Whatever the text, and wherever a spreadsheet splits it (comma, semicolon, bar), no cell begins with one."""
    stream = io.StringIO(newline="")
    csv.writer(stream, lineterminator="\r\n").writerow(["1.0", cell(text), "2.0"])
    ((_, field, _),) = parse_rfc4180(stream.getvalue())
    assert field.isprintable()
    for part in field.replace(";", ",").replace("|", ",").split(","):
        # Some programs take spaces off before they look (common practice, no source).
        assert part.strip()[:1] not in tuple(STARTS)
    assert field.replace("'", "").startswith(defused(text).replace("'", "")[:3])


@pytest.mark.parametrize(
    "text", ["F1", "TP5 reversed", "2 Ω ± 0.1 Ω", "a-b+c=d@e", "leads 0.3 Ω; clean them", "a; b-c"]
)
def test_harmless_text_is_left_alone(text: str) -> None:
    """What begins no formula comes out as it is."""
    assert cell(text) == text


@pytest.mark.parametrize(("value", "text"), [(-1.5, "-1.5"), (0, "0"), (True, "true"), (False, "false"), (None, "")])
def test_numbers_are_left_alone(value: object, text: str) -> None:
    """Numbers, a leading minus included, are no text."""
    assert cell(value) == text


def test_pandas_reads_the_same_texts(write: Write, tmp_path: Path) -> None:
    """Another CSV reader gets the texts that give every float back bit for bit."""
    pd = pytest.importorskip("pandas")
    journal = write()
    result = save_csv(journal, "readings", tmp_path / "out.csv")
    frame = pd.read_csv(tmp_path / "out.csv", dtype=str)
    assert result.rows == len(frame) == 4
    assert list(map(float, frame["value"][1:])) == [0.30000000000000004, -1.5, 1e-12]
    assert list(map(float, frame["t_s"])) == [0.1, 0.2, 0.3, 0.7]
    assert (tmp_path / "out.csv").read_bytes() == exported(journal, "readings").encode()


def test_what_a_torn_file_lacks_is_told(write: Write, tmp_path: Path) -> None:
    """A file cut off inside a record exports what is whole, and says what it lacks."""
    journal = write()
    os.truncate(journal, journal.stat().st_size - 5)
    result = save_csv(journal, "verdicts", tmp_path / "out.csv")
    assert (result.rows, result.state) == (4, "torn")
    assert "cut off after" in result.lost
    assert save_csv(write(), "verdicts", tmp_path / "whole.csv").lost == ""


def test_a_new_file_is_whole_or_not_there(write: Write, tmp_path: Path) -> None:
    """A damaged journal, a taken name, a folder that is not there: an error with its place, and nothing left behind."""
    journal = write()
    taken = tmp_path / "taken.csv"
    taken.write_text("mine")
    with pytest.raises(FileProblem, match="already exists"):
        save_csv(journal, "readings", taken)
    assert taken.read_text() == "mine"
    with pytest.raises(FileProblem, match="cannot be written"):
        save_csv(journal, "readings", tmp_path / "none" / "out.csv")
    content = journal.read_bytes()
    journal.write_bytes(content.replace(b'"value":-1.5', b'"value":-1.6'))
    with pytest.raises(JournalError, match=r"line 5, byte \d+"):
        save_csv(journal, "readings", tmp_path / "out.csv")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["gc8.jsonl", "taken.csv"]


def test_readings_are_streamed(write: Write, reading: Callable[..., Reading]) -> None:
    """A long trace is exported in bounded memory."""
    journal = write([reading(index / 10, 1.0) for index in range(20_000)])
    with open(os.devnull, "w", newline="", encoding="utf-8") as nowhere:
        tracemalloc.start()
        try:
            assert write_csv(journal, "readings", nowhere).rows == 20_000
            assert tracemalloc.get_traced_memory()[1] < 2_000_000
        finally:
            tracemalloc.stop()
