"""Invented sessions on the greenhouse climate controller GC-8, short and long."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
import pytest

from metercap.journal import Writer
from metercap.meter import Accuracy, MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading, State
from metercap.records import (
    Clock,
    Contact,
    Cue,
    CueKind,
    Do,
    Excursion,
    Lift,
    Link,
    LinkState,
    Note,
    Operator,
    Prompt,
    Record,
    SessionRecord,
    Verdict,
    VerdictKind,
)


def make_session(**changed: object) -> SessionRecord:
    fields: dict[str, object] = {
        "t_s": 0.0,
        "schema": 2,
        "id": "7f3c",
        "start_utc": "2031-03-04T05:06:07Z",
        "zone_offset_s": 3600,
        "unit": "controller B",
        "tag": "B",
        "operator": "Ilse Grünwald",
        "known_good": False,
        "plan": {"title": "Climate controller", "step": [{"id": "fuses", "kind": "sweep", "max": 2.0}]},
        "meter": MeterProfile(
            name="lcd14", family="lcd14", accuracy=(Accuracy(quantity=Quantity.RESISTANCE, percent=0.8, counts=3),)
        ),
        "identity": "",
        "reference": {"bridge/RV1": {"value": 1510.0}},
        "options": {},
        "inherited": {},
        "program": "metercap 0.1.0",
    }
    return SessionRecord(**{**fields, **changed})  # type: ignore[arg-type]


def make_records(seed: int, count: int) -> Iterator[Record]:
    """Some of every kind, seeded; text holds what JSON and terminals find hard."""
    rng = random.Random(seed)
    t_s = 0.0
    for index in range(count):
        t_s = round(t_s + rng.random(), 6)
        yield _one_of_every_kind(rng, t_s, f"F{index}")[index % 12]


def _one_of_every_kind(rng: random.Random, t_s: float, item: str) -> list[Record]:
    over = rng.random() < 0.3
    step = "fuses"
    value = None if over else round(rng.random() * 1e3, 1)
    return [
        Reading(
            t_s=t_s,
            quantity=Quantity.RESISTANCE,
            value=value,
            resolution=0.1,
            unit="ohm",
            state=State.OVER if over else State.OK,
            flags=("auto",),
            raw=rng.randbytes(14).hex(),
        ),
        Contact(t_s=t_s, step=step, item=item),
        Verdict(t_s=t_s, step=step, item=item, verdict=VerdictKind.PASS, value=0.2, unit="ohm", expanded=0.1),
        Cue(t_s=t_s, step=step, item=item, cue=CueKind.PASS),
        Lift(t_s=t_s, step=step, item=item),
        Prompt(t_s=t_s, step=step, item=item, do=Do.PROBE, say='say "F2"\nthen \u2028 wait'),
        Operator(t_s=t_s, word="note", text='},"crc":"00000000"}'),
        Link(t_s=t_s, state=LinkState.SILENT, why="\x1b[31m kein Ton \U0001f50a"),
        Clock(t_s=t_s, due=step),
        Garbage(t_s=t_s, raw="ff00", why="no such digit", offset=7),
        Excursion(t_s=t_s, step=step, item="RV1", side="below", limit=1.0, worst=0.5, from_s=0.1, duration_s=0.2),
        Note(t_s=t_s, text="Ω µ ± \\ \x7f"),
    ]


@pytest.fixture
def session() -> SessionRecord:
    """A session record with everything a plan and profile can hold."""
    return make_session()


@pytest.fixture
def new_session() -> Callable[..., SessionRecord]:
    """Make a session record with some fields changed."""
    return make_session


@pytest.fixture
def records() -> Callable[[int, int], Iterator[Record]]:
    """Make (seed, count) records of every kind."""
    return make_records


@pytest.fixture
def journal(tmp_path: Path) -> Callable[..., tuple[Path, list[Record]]]:
    """Write a journal of some records of every kind; give its path and all records in it."""

    def write(count: int = 14, closed: bool = True, seed: int = 1) -> tuple[Path, list[Record]]:
        path = tmp_path / f"gc8-{seed}-{count}-{closed}.jsonl"
        written: list[Record] = [make_session(), *make_records(seed, count)]
        with Writer.create(path, make_session()) as writer:
            for record in written[1:]:
                writer.append(record)
            if closed:
                writer.close(written[-1].t_s, "done")
        return path, written

    return write


@pytest.fixture
def session_json(session: SessionRecord) -> str:
    """The session record as JSON, for another process."""
    return msgspec.json.encode(session).decode()
