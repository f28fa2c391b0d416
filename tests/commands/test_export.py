"""`metercap export`: options that say something, or are refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.export import TABLES
from metercap.fleet.schema import SET

SWEEP = str(Path(__file__).parents[2] / "fixtures/sessions/good-sweep.jsonl")


def test_columns_as_json(metercap: Callable[..., Any]) -> None:
    """Every column of all tables with its type and what it says, the same as the lines."""
    said = metercap("export", "--columns", "--json")
    tables = json.loads(said.out)
    assert set(tables) == {*TABLES, "data set"}
    for name, its in [*TABLES.items(), ("data set", SET)]:
        assert [row["name"] for row in tables[name]] == [column.name for column in its]
        assert all(row["says"] and row["type"] for row in tables[name])
    for row in tables["verdicts"]:
        assert row["says"] in metercap("export", "--columns").out


def test_a_table_on_stdout_is_all_that_is_on_it(metercap: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """What was written as JSON has no place there, and is refused rather than left out."""
    monkeypatch.delenv("METERCAP_TRACEBACK")
    said = metercap("export", SWEEP, "--to", "-", "--json")
    assert (said.status, said.out) == (2, "")
    assert "--json" in said.err


@pytest.mark.parametrize(
    ("more", "why"),
    [
        (["--to", "x.csv", "--clap", "1"], "--clap: only subtitles"),
        (["--to", "x.csv", "--film-start", "15:04"], "--film-start: only subtitles"),
        (["--to", "x.vtt", "--clap", "1", "--film-start", "15:04"], "at a clap or at a time"),
        (["--to", "x.vtt", "--table", "readings"], "subtitles show verdicts"),
        (["--to", "x.vtt"], "there is no clap to count from"),
        (["--to", "x.txt"], "neither .csv nor .parquet nor .vtt"),
    ],
)
def test_what_does_not_fit_together_is_refused(
    metercap: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path, more: list[str], why: str
) -> None:
    """Said where it is, and nothing is written."""
    monkeypatch.delenv("METERCAP_TRACEBACK")
    monkeypatch.chdir(tmp_path)
    said = metercap("export", SWEEP, *more)
    assert said.status == 2
    assert why in said.err
    assert list(tmp_path.iterdir()) == []


def test_subtitles_of_a_film(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Counted from a time of day, told as a line and as JSON."""
    start = json.loads(Path(SWEEP).read_text("utf-8").partition("\n")[0])["start_utc"]
    said = metercap("export", SWEEP, "--to", str(tmp_path / "x.vtt"), "--film-start", start)
    assert said.out.startswith(f"{tmp_path / 'x.vtt'}: 6 subtitles, counted from the film's start at ")
    said = metercap("export", SWEEP, "--to", str(tmp_path / "y.vtt"), "--film-start", start, "--json")
    told = json.loads(said.out)
    assert (told["table"], told["rows"], told["lost"]) == ("subtitles", 6, [])
    assert told["counted_from"].startswith("the film's start at ")
