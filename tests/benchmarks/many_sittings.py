"""Makes a job of several units and many sittings: real frames through decoder and session, in no real time."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from metercap.commands._opening import session_record
from metercap.job import Folder, JobFile, JobUnit, make
from metercap.journal import Writer
from metercap.meter import MeterProfile
from metercap.profiles import find_meter
from metercap.reading import Reading
from metercap.records import InJob, Operator, Record, at
from metercap.session import Driver, Session
from metercap.session.taken import Left, taken_over
from metercap.wire import decoder
from tests.e2e.outside_meter import OPEN, auto_ohms, lcd14

RATE = 3.0
FUSES = 60
PLAN = f"""[plan]
title = "Loose fuses of a GC-8"
model = "GC-8"
supply = "none"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F{FUSES}"
max = "2 ohm"
count_check = false
"""


class Sat:
    """One sitting: frames and words go in, the journal is written."""

    def __init__(self, folder: Folder, tag: str, profile: MeterProfile, before: Session | None, id: str) -> None:  # noqa: A002
        plan = folder.plan()
        self.sitting = folder.free(tag)
        mine = None if before is None else Left(before, id, before.bench.verdicts, -3600.0, here=False)
        self.record = session_record(
            plan,
            profile,
            unit=tag,
            tag=tag,
            known_good=tag == "A",
            inherited=taken_over(mine, plan.steps, {}, None).as_builtins(),
            job=InJob(folder.job.title, self.sitting.number, tuple(unit.tag for unit in folder.job.units)),
        )
        self.session = Session(self.record)
        self._driver = Driver(self.session)
        self._decoder = decoder(profile, midstream=True)
        self._writer = Writer.create(self.sitting.path, self.record)
        self.t_s = 0.0
        self._write(self._driver.start())

    def show(self, ohm: float, times: int) -> None:
        """The meter shows a value for some conversions."""
        frame = lcd14(auto_ohms(ohm)._replace(auto=False))
        for _ in range(times):
            self.t_s += 1.0 / RATE
            for found in self._decoder.feed(frame, at(self.t_s)):
                if isinstance(found, Reading):
                    self._feed(found)

    def say(self, word: str) -> None:
        """The operator says a word."""
        self._feed(Operator(at(self.t_s), word, "", "line"))

    def close(self, reason: str) -> None:
        """End the journal."""
        self._writer.close(self.t_s, reason)  # type: ignore[arg-type]

    def _feed(self, event: Reading | Operator) -> None:
        for fed, outcomes in self._driver.feed(event):
            self._write([fed, *outcomes])

    def _write(self, records: Sequence[Record]) -> None:
        for record in records:
            self._writer.append(record)


def make_sittings(folder: Path, units: int = 3, sittings: int = 20, idle: int = 5000) -> Folder:
    """Make the job: each sitting has `idle` conversions of open tips and its share of the unit's fuses."""
    plan = folder.with_name("given.toml")
    plan.write_text(PLAN, encoding="utf-8")
    tags = [chr(ord("A") + n) for n in range(units)]
    job = JobFile("many sittings", "plan.toml", tuple(JobUnit(tag, known_good=tag == "A") for tag in tags), "GC-8")
    made = make(folder, job, plan)
    profile = find_meter("lcd14").at_rate(RATE)
    before: dict[str, tuple[Session, str]] = {}
    for number in range(sittings):
        for tag in tags:
            session, sat_id = before.get(tag, (None, ""))
            sat = Sat(made, tag, profile, session, sat_id)
            sat.show(OPEN, idle)
            for _ in range(FUSES // sittings):
                sat.show(OPEN, 8)
                sat.show(0.4 + 0.1 * (number % 3), 4)
            sat.show(OPEN, 8)
            sat.close("done" if number == sittings - 1 else "parked")
            before[tag] = (sat.session, sat.record.id)
    return made
