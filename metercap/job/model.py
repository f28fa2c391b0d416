"""What `job.toml` says: the job's title, its plan, and its units. Pure: text in, text out."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Sequence
from typing import Any

import msgspec

from metercap.errors import JobError
from metercap.plan.new import quoted
from metercap.records import TAG_LENGTH
from metercap.spelling import aside

MOST_UNITS = 100
LARGEST = 1 << 20
"""Bytes of the largest `job.toml` that is read."""

_TAG = re.compile(rf"[A-Za-z0-9][A-Za-z0-9_-]{{0,{TAG_LENGTH - 1}}}")
"""What a tag may be: it is spoken, shown large, and part of a file's name on any system."""


class JobUnit(msgspec.Struct, frozen=True, omit_defaults=True):
    """One unit: the short `tag` that is said and shown, and what else is known of it."""

    tag: str
    name: str = ""
    serial: str = ""
    symptom: str = ""
    known_good: bool = False

    @property
    def called(self) -> str:
        """Its name, or its tag where it has none."""
        return self.name or self.tag


class JobFile(msgspec.Struct, frozen=True, omit_defaults=True):
    """The whole of it; `plan` is the name of a file beside it, `units` are in the order they were given."""

    title: str
    plan: str
    units: tuple[JobUnit, ...]
    model: str = ""

    def named(self, unit: JobUnit) -> str:
        """Return what a unit is called beside units of other jobs, where every job may have an L."""
        return unit.name or f"{self.title} {unit.tag}"

    def unit(self, tag: str) -> JobUnit:
        """Return the unit of a tag. JobError, with the nearest right spelling, when there is none."""
        for each in self.units:
            if each.tag.casefold() == tag.strip().casefold():
                return each
        tags = [each.tag for each in self.units]
        raise JobError(
            f"no unit {tag.strip()!r} in this job{aside(tag.strip(), tags)}", hint=f"the job has {', '.join(tags)}"
        )


def tag_problem(tag: str) -> str:
    """Return why a text can be no tag, or an empty text."""
    if _TAG.fullmatch(tag):
        return ""
    return f"{tag[:40]!r} is no tag: 1 to {TAG_LENGTH} letters and digits, - and _ after the first"


def units_problems(units: Sequence[JobUnit]) -> Iterator[str]:
    """Yield what is wrong with the units of a job."""
    if not 1 <= len(units) <= MOST_UNITS:
        yield f"unit: a job has 1 to {MOST_UNITS}"
    seen: dict[str, None] = {}
    for n, unit in enumerate(units, 1):
        problem = tag_problem(unit.tag)
        if problem:
            yield f"unit {n}, tag: {problem}"
        elif unit.tag.casefold() in seen:  # file systems that take no notice of case
            yield f"unit {n}, tag: {unit.tag!r} is there twice"
        seen[unit.tag.casefold()] = None
    called: dict[str, None] = {}
    for n, unit in enumerate(units, 1):
        if unit.called.strip().casefold() in called:
            yield f"unit {n}, name: {unit.called!r} is there twice; two units need two names"
        called[unit.called.strip().casefold()] = None


def load(text: str, where: str) -> JobFile:
    """Return the job that a text says. JobError with every problem that was found."""
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise JobError(f"is not TOML: {error}", where=where, hint="mend the line it names") from error
    problems = list(_problems(data))
    if not problems:
        try:
            job = msgspec.convert({**data, "units": data["unit"]}, JobFile)
        except msgspec.ValidationError as error:
            what, _, path = str(error).partition(" - at `$.")
            problems.append(f"{path.rstrip('`')}: {what[:1].lower()}{what[1:]}" if path else what)
        else:
            problems = [*units_problems(job.units), *_plan_problems(job.plan)]
            if not problems:
                return job
    raise JobError("this job cannot be used as it is", where=where, problems=problems)


def _problems(data: dict[str, Any]) -> Iterator[str]:
    keys = {"title": str, "model": str, "plan": str, "unit": list}
    yield from (f"{key}: no such key{aside(key, keys)}" for key in data if key not in keys)
    yield from (f"{key}: is missing" for key in ("title", "plan", "unit") if key not in data)
    units = data.get("unit", [])
    inside = [field.name for field in msgspec.structs.fields(JobUnit)]
    for n, unit in enumerate(units if isinstance(units, list) else (), 1):
        if isinstance(unit, dict):
            yield from (f"unit {n}, {key}: no such key{aside(key, inside)}" for key in unit if key not in inside)


def _plan_problems(plan: str) -> Iterator[str]:
    if not plan.endswith(".toml") or "/" in plan or "\\" in plan or plan.startswith("."):
        yield f"plan: {plan!r} is no file beside this one"


def text_of(job: JobFile) -> str:
    """Return what to write: the job as TOML, with a word on what it is."""
    lines = [
        "# A job: units on one bench and the plan that they are led through. Their journals stand beside this file,",
        "# numbered in the order in which they were written. Pictures and other files may lie here too.",
        "",
        f"title = {quoted(job.title)}",
        *([f"model = {quoted(job.model)}"] if job.model else []),
        f"plan = {quoted(job.plan)}",
    ]
    for unit in job.units:
        lines += ["", "[[unit]]", f"tag = {quoted(unit.tag)}"]
        told = (("name", unit.name), ("serial", unit.serial), ("symptom", unit.symptom))
        lines += [f"{key} = {quoted(value)}" for key, value in told if value]
        lines += ["known_good = true"] if unit.known_good else []
    return "\n".join([*lines, ""])
