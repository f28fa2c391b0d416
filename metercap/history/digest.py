"""One session in short: who measured what where, without anything that a history does not ask for."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from metercap.evidence import Evidence
from metercap.history.counts import History
from metercap.history.model import Aspect, Place, Sight
from metercap.judging.good import Origin
from metercap.outcome import Key
from metercap.plankeys import Item, TuneStep
from metercap.records import Verdict
from metercap.reference.gather import why_no_value
from metercap.session.inherit import Inherited
from metercap.session.machine import INTERLUDE

VERSION = 1
"""Of what is kept of a session; what another version kept is read anew."""


class Row(msgspec.Struct, frozen=True, array_like=True):
    """One verdict, or a trimmer's value as found: as `Place` and `Sight` have it."""

    step: str
    item: str
    unit: str
    aspect: Aspect
    how: str
    verdict: str
    value: float | None
    resolution: float


class Digest(msgspec.Struct, frozen=True, array_like=True):
    """One session: its id and unit, when and by what it was measured, in which job; `rows` are its own verdicts.

    What it took over from an earlier session is in that session's rows. `last_s`: how long its journal goes;
    `finished`: it was run to its end. `day`: local, ISO 8601.
    """

    id: str
    unit: str
    model: str
    start_utc: str
    day: str
    meter: str
    job: str
    finished: bool
    last_s: float
    rows: tuple[Row, ...]


def digest(found: Evidence, last_s: float) -> Digest:
    """Return a session in short; `last_s` is the time of its last record."""
    first, origin = found.first, Origin.of(found.first)
    meter = f"{origin.meter} ({origin.identity})" if origin.identity else origin.meter
    job = "" if isinstance(first.job, msgspec.UnsetType) else first.job.title
    model = found.plan.model.strip() or found.plan.title.strip()
    return Digest(
        first.id,
        first.unit,
        model,
        first.start_utc,
        origin.day,
        meter,
        job,
        found.finished,
        last_s,
        tuple(_rows(found)),
    )


def count(history: History, found: Digest, bench: str, day: str, journal: str) -> None:
    """Count a session in a history: on a `bench`, on a `day` (empty where its clock cannot be believed)."""
    history.session(found.meter, bench, day)
    for row in found.rows:
        place = Place(found.model, row.step, row.item, row.unit, row.aspect, row.how)
        history.add(
            place,
            Sight(row.verdict, row.value, row.resolution, found.meter, bench, day, found.job, found.unit, journal),
        )


def _rows(found: Evidence) -> Iterator[Row]:
    tunes = {step.id for step in found.plan.steps if isinstance(step, TuneStep)}
    handed_on = Inherited.of(found.first.inherited).as_found
    for key, judged in found.as_found.items():
        item = found.places.get(key)
        if item is not None and "/".join(key) not in handed_on:
            unit = (found.verdicts[key].unit if key in found.verdicts else "") or _unit_of(found, key)
            if judged.resolution > 0.0:
                yield Row(*key, unit, "as found", _how(item), "", judged.value, judged.resolution)
    for key, verdict in found.verdicts.items():
        item, counted = found.places.get(key), isinstance(verdict.runs, int)
        if key in found.taken or key[0] == INTERLUDE or (item is None and not counted):
            continue
        value = _value(verdict)
        aspect: Aspect = "as left" if key[0] in tunes else ""
        unit = verdict.unit or ("" if counted and value is None else _unit_of(found, key))
        how = "" if item is None else _how(item)
        yield Row(*key, unit, aspect, how, str(verdict.verdict), value, verdict.resolution or 0.0)


def _value(verdict: Verdict) -> float | None:
    return None if why_no_value(verdict) else verdict.value


def _unit_of(found: Evidence, key: Key) -> str:
    """Return the unit in which a place's step measures, where the verdict names none: it had no value."""
    step = next((step for step in found.plan.steps if step.id == key[0]), None)
    wanted = () if step is None else step.wanted
    return wanted[0].unit if wanted else ""


def _how(item: Item) -> str:
    said = ((item.connected, ""), (item.red, "red on "), (item.black, "black on "))
    return ", ".join(f"{what}{text}" for text, what in said if text)
