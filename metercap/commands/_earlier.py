"""What an earlier session of the same unit left: `--continue` goes on with it, `--after` takes the unit up later."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import msgspec

from metercap.commands._reference import Rows
from metercap.errors import UsageError
from metercap.gate import visible
from metercap.plan import Plan, from_builtins
from metercap.records import SCHEMA, EndRecord, Operator, Record, SessionRecord, Verdict, named
from metercap.session.inherit import How, Inherited


class Earlier(msgspec.Struct, frozen=True):
    """An earlier session: its `first` record, what it hands on, and why its file ends (empty where it just breaks off).

    Of a session that is gone on with, the operator, the good unit's values, the mark of a good unit and the chosen
    steps hold until they are given anew. What waives a proof (`--no-safe`) never does.
    """

    how: How
    first: SessionRecord
    end: str
    steps: tuple[str, ...]
    inherited: Inherited

    @property
    def reference(self) -> Rows:
        """The good unit's values that it was given; none for a unit that is taken up later."""
        return self.first.reference if self.how == "continue" else {}


def plan_of(path: Path) -> Plan:
    """Return the plan that a session ran, for going on with it. Raises JournalError or PlanError."""
    from metercap.journal import iterate
    from metercap.session import opening

    with iterate(path) as records:
        return from_builtins(opening(records).plan)


def earlier(
    *, continue_: Path | None, after: Path | None, unit: str, plan: Plan, only: Sequence[str] = ()
) -> Earlier | None:
    """Return what `--continue` or `--after` take over; None where neither was given.

    An empty `unit` is the one of that session. UsageError for a session of another unit, and for one that cannot be
    gone on with: of another plan, or made by an earlier version, whose rules were others than those of today.
    """
    if continue_ is None and after is None:
        return None
    if continue_ is not None and after is not None:
        raise UsageError("--continue and --after exclude each other", hint="--after takes up a finished session")
    from metercap.job import is_job
    from metercap.journal import iterate
    from metercap.reference.gather import same_unit
    from metercap.session import opening

    how: How = "continue" if continue_ is not None else "after"
    path, option = (continue_ or after), f"--{how}"
    assert path is not None
    with iterate(path) as records:
        first = opening(records)
        if how == "continue" and is_job(path.parent):
            raise UsageError(
                f"{path} is of a job, which goes on as a whole",
                where=option,
                hint=f"metercap run {path.parent}, with --take TAG for one of its units",
            )
        if how == "continue" and first.schema < SCHEMA:
            raise UsageError(
                f"{path} was made by an earlier version, whose rules were others",
                where=option,
                hint="--after takes up the same unit with what was found",
            )
        if how == "continue" and from_builtins(first.plan) != plan:
            raise UsageError(
                f"{path} ran another plan or another version of it",
                where=option,
                hint="--after takes up the same unit with any plan",
            )
        found = _taken(how, first, records, plan, only)
    if unit and found.first.unit and not same_unit(found.first.unit, unit):
        raise UsageError(f"{path} is a session of {found.first.unit}, not of {unit}", where=option)
    if records.lost and records.state != "unclosed":
        sys.stderr.write(f"metercap: {visible(str(path))}: {records.lost}; what stands before it is taken over\n")
    return found


def _taken(how: How, first: SessionRecord, records: Iterator[Record], plan: Plan, only: Sequence[str]) -> Earlier:
    """Play the session again, and take what its file holds and what its steps knew."""
    from metercap.session import Driver, Session, feed_recorded
    from metercap.session.inherit import inherited_from, recorded_only

    standing: dict[tuple[str, str], Verdict] = {}
    end, unit = "", first

    def noting() -> Iterator[Record]:
        nonlocal end, unit
        for record in records:
            if isinstance(record, Verdict):
                standing[record.step, record.item] = record
            elif isinstance(record, Operator):
                unit = named(unit, record)
            elif isinstance(record, EndRecord):
                end = record.reason
            yield record

    if first.schema < SCHEMA:  # its outcomes are not derived again: the verdicts themselves say what was found
        for _ in noting():
            pass
        return Earlier(how, unit, end, tuple(only), recorded_only(first.id, standing))
    session = Session(first)
    driver = Driver(session)
    driver.start()
    for _ in feed_recorded(driver, noting()):
        pass
    steps = tuple(only) if only or end == "done" else tuple(first.options.get("steps", ()))
    if how == "after":
        steps = tuple(only)
    to_do = [step for step in plan.steps if not steps or step.id in steps]
    return Earlier(how, unit, end, steps, inherited_from(session.bench, how, first.id, to_do=to_do, standing=standing))
