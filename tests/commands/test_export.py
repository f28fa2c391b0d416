"""`metercap export`: options that say something, or are refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.export import OF_A_JOB, TABLES

SWEEP = str(Path(__file__).parents[2] / "fixtures/sessions/good-sweep.jsonl")


def test_columns_as_json(metercap: Callable[..., Any]) -> None:
    """Every column of both tables with its type and what it says, the same as the lines."""
    said = metercap("export", "--columns", "--json")
    tables = json.loads(said.out)
    assert set(tables) == set(TABLES)
    for name, its in TABLES.items():
        assert [row["name"] for row in tables[name]] == [column.name for column in (*its, *OF_A_JOB)]
        assert all(row["says"] and row["type"] for row in tables[name])
    for row in tables["verdicts"]:
        assert row["says"] in metercap("export", "--columns").out


def test_a_table_on_stdout_is_all_that_is_on_it(metercap: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """What was written as JSON has no place there, and is refused rather than left out."""
    monkeypatch.delenv("METERCAP_TRACEBACK")
    said = metercap("export", SWEEP, "--to", "-", "--json")
    assert (said.status, said.out) == (2, "")
    assert "--json" in said.err
