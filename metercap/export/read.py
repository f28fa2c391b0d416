"""Rows of the tables that go into files, made of records as they are read: named and ordered as in the schema."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, TypeAlias

from metercap.export.places import NOWHERE, Place, Places
from metercap.export.schema import READINGS, VERDICTS
from metercap.export.source import Whose
from metercap.reading import Reading, told
from metercap.records import Contact, Lift, Prompt, Record, SessionRecord, Verdict

Row: TypeAlias = dict[str, Any]
_RAW = tuple(column.name for column in READINGS)
_OWN = tuple(column.name for column in VERDICTS)


def reading_rows(records: Iterable[Record], whose: Whose) -> Iterator[Row]:
    """Yield one row for each reading, with its place; one is held back, since a contact stands behind its first one."""
    places, asked = Places(None), NOWHERE
    on: Place | None = None
    held: tuple[Reading, Place] | None = None
    for record in records:
        if type(record) is Reading:
            if held is not None:
                yield _reading_row(held[0], on or held[1], whose)
            held = record, asked
        elif type(record) is Prompt:
            asked = places.asked(record.step, record.item)
        elif type(record) is Contact:
            on = record.step, record.item
        elif type(record) is Lift:
            on = None
        elif type(record) is SessionRecord:
            places = Places(record)
    if held is not None:
        yield _reading_row(held[0], on or held[1], whose)


def _reading_row(reading: Reading, place: Place, whose: Whose) -> Row:
    row: Row = {name: getattr(reading, name) for name in _RAW}
    row["quantity"], row["state"] = reading.quantity.value, reading.state.value
    row["flags"] = " ".join(told(reading.flags))
    row["step"], row["item"] = place
    return row | whose.row(reading.t_s)


def verdict_row(verdict: Verdict, stands: bool) -> Row:
    """Return one verdict's own columns."""
    row: Row = {name: getattr(verdict, name, None) for name in _OWN}
    row["U"] = verdict.expanded
    row["stands"] = stands
    return row
