"""An invented session on a greenhouse climate controller GC-8, with text that no spreadsheet or terminal should run."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading, State
from metercap.records import (
    Cue,
    CueKind,
    Note,
    Operator,
    Record,
    SessionRecord,
    Verdict,
    VerdictKind,
)
from tests.report.papers import lines

SESSION = SessionRecord(
    t_s=0.0,
    schema=2,
    id="7f3c",
    start_utc="2031-03-04T05:06:07Z",
    zone_offset_s=3600,
    unit="controller B",
    tag="B",
    operator="Ilse Grünwald",
    known_good=False,
    plan={"model": "GC-8"},
    meter=MeterProfile(name="lcd14", family="lcd14"),
    identity="",
    reference={},
    options={},
    inherited={},
    program="metercap",
)


def make_reading(t_s: float, value: float | None, **changed: object) -> Reading:
    fields: dict[str, object] = {
        "t_s": t_s,
        "quantity": Quantity.RESISTANCE,
        "value": value,
        "resolution": 0.1,
        "unit": "ohm",
        "state": State.OVER if value is None else State.OK,
        "flags": ("auto",),
        "raw": "1f2b",
    }
    return Reading(**{**fields, **changed})  # type: ignore[arg-type]


RECORDS: tuple[Record, ...] = (
    make_reading(0.1, None, flags=("auto", "beep")),
    make_reading(0.2, 0.30000000000000004),
    Cue(t_s=0.2, step="fuses", item="F1", cue=CueKind.CONTACT),
    make_reading(0.3, -1.5, quantity=Quantity.VOLTAGE_DC, unit="V", flags=()),
    Garbage(t_s=0.35, raw="ff", why="no"),
    Verdict(t_s=0.4, step="fuses", item="F1", verdict=VerdictKind.FAIL, value=3.0, unit="ohm", max=2.0, n=2),
    Verdict(t_s=0.5, step="fuses", item='=HYPERLINK("x")', verdict=VerdictKind.ABSENT, reason="@home, \x1b[31m\n-1"),
    Operator(t_s=0.6, word="back"),
    make_reading(0.7, 1e-12, quantity=Quantity.CAPACITANCE, unit="F", resolution=1e-12, raw=""),
    Verdict(
        t_s=0.8,
        step="fuses",
        item="F1",
        verdict=VerdictKind.PASS,
        value=-0.25,
        unit="ohm",
        expanded=0.1,
        rule="guarded",
        n=3,
        reason='say "2 Ω", then lift',
        min=None,
        max=2.0,
        resolution=0.1,
        settled=True,
        from_s=0.7,
    ),
    Verdict(
        t_s=0.9,
        step="bridge",
        item="RV1",
        verdict=VerdictKind.PASS,
        value=1500.0,
        unit="ohm",
        as_found=1400.0,
        as_left=1500.0,
        target=1510.0,
        tolerance=15.0,
        excursions=0,
    ),
    Note(t_s=0.95, text="=1+1"),
)


@pytest.fixture
def reading() -> Callable[..., Reading]:
    """Make (t_s, value, …) a reading in ohms."""
    return make_reading


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Write records as a journal, closed or not, whose first record has other fields where named; give its path."""

    def journal(records: tuple[Record, ...] | list[Record] = RECORDS, closed: bool = True, **first: object) -> Path:
        path = tmp_path / "gc8.jsonl"
        path.write_bytes(lines((msgspec.structs.replace(SESSION, **first), *records), closed=closed))
        return path

    return journal
