"""What `run`, `record` and the practice bench share: the first record of a session, and the loop around it."""

from __future__ import annotations

import datetime
import os
import re
import secrets
from collections.abc import Sequence
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from msgspec import UNSET, UnsetType

from metercap.gate import storable
from metercap.meter import MeterProfile
from metercap.order import known
from metercap.plan import Plan, to_builtins
from metercap.quantity import Quantity
from metercap.records import SCHEMA, InJob, SessionRecord, tag_of
from metercap.symptom import Symptom


def program() -> str:
    """Return the program's name and version, as journals carry it."""
    try:
        return f"metercap {version('metercap')}"
    except PackageNotFoundError:
        return "metercap"


def session_record(
    plan: Plan,
    profile: MeterProfile,
    *,
    unit: str,
    tag: str = "",
    operator: str = "",
    known_good: bool = False,
    identity: str = "",
    reference: dict[str, dict[str, Any]] | None = None,
    options: dict[str, Any] | None = None,
    inherited: dict[str, Any] | None = None,
    conversion_s: dict[Quantity, float] | None = None,
    job: InJob | UnsetType = UNSET,
    symptom: Symptom | None = None,
    now: datetime.datetime | None = None,
    session_id: str | None = None,
) -> SessionRecord:
    """Return the first record of a session that starts now, by the wall clock with its zone.

    A plan that names symptoms gives the chances by itself where no `symptom` is known: it may be said later.
    """
    local = (now or datetime.datetime.now(datetime.UTC)).astimezone()
    offset = local.utcoffset() or datetime.timedelta(0)
    return SessionRecord(
        t_s=0.0,
        schema=SCHEMA,
        id=session_id or secrets.token_hex(8),
        start_utc=utc_text(local),
        zone_offset_s=int(offset.total_seconds()),
        unit=unit,
        tag=tag or tag_of(unit),
        operator=operator,
        known_good=known_good,
        plan=to_builtins(plan),
        meter=profile,
        identity=identity,
        reference=reference or {},
        options=storable(options or {}),
        inherited=inherited or {},
        program=program(),
        conversion_s=conversion_s or {},
        job=job,
        symptom=_symptom(plan, symptom),
    )


def utc_text(when: datetime.datetime) -> str:
    """Return a time as files have it: RFC 3339, UTC, milliseconds."""
    return when.astimezone(datetime.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _symptom(plan: Plan, symptom: Symptom | None) -> Symptom | UnsetType:
    return (symptom or known(plan.steps, plan.symptoms)) if plan.symptoms else UNSET


def free_name(unit: str, what: str = "", now: datetime.datetime | None = None) -> Path:
    """Return a journal's name in the working folder, from date, time and unit, that no file has yet."""
    local = (now or datetime.datetime.now(datetime.UTC)).astimezone()
    tag = re.sub(r"[^\w-]+", "-", tag_of(unit)).strip("-") or what or "unit"
    stem = f"{local:%Y-%m-%d-%H%M}-{tag}"
    names = (f"{stem}{'' if n == 1 else f'-{n}'}.jsonl" for n in range(1, 10_000))
    return next(Path(name) for name in names if not os.path.lexists(name))


def step_ids(text: str | None) -> list[str]:
    """Return the step ids of `--steps a,b`."""
    return [part.strip() for part in (text or "").split(",") if part.strip()]


def check_step_ids(ids: Sequence[str], plan: Plan) -> None:
    """Raise UsageError, with the nearest right spelling, for a step that the plan does not have."""
    from metercap.errors import UsageError
    from metercap.spelling import near

    known = [step.id for step in plan.steps]
    for name in ids:
        if name not in known:
            hint = near(name, known) or f"the plan has {', '.join(known)}"
            raise UsageError(f"the plan has no step {name!r}", where="--steps", hint=hint)
