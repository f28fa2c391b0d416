"""What a session record cannot say, though its types are right: it is checked like the plan and profile it holds.

A checksum finds accidents, and anybody can compute one. So a first record with a baud rate of 0 or a plan
without items is refused where it stands, with its field, before anything reckons with it.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import msgspec

from metercap.errors import PlanError
from metercap.judging.good import Good, GoodValue
from metercap.meter import impossible as impossible_profile
from metercap.plan import from_builtins
from metercap.plan.stored import impossible as impossible_plan
from metercap.records import SessionRecord
from metercap.session.inherit import Inherited

LARGEST = 1e24
"""In SI; no meter's value comes near it."""
DAY_S = 86_400


def impossible(record: SessionRecord) -> str:
    """Return the first thing that cannot be, as "field: what", or an empty text."""
    return next(_problems(record), "")


def _problems(record: SessionRecord) -> Iterator[str]:
    if not -DAY_S <= record.zone_offset_s <= DAY_S:
        yield "zone_offset_s: is more than a day"
    if not 0.0 <= record.t_s < LARGEST:
        yield "t_s: is no time of a session"
    if record.schema < 1:
        yield "schema: there is none below 1"
    yield from (f"meter.{problem}" for problem in impossible_profile(record.meter))
    # Tables and a plan of another shape are refused by whoever reads them; many readers need neither.
    with contextlib.suppress(PlanError):
        yield from (f"plan: {problem}" for problem in impossible_plan(from_builtins(record.plan)))
    for key, row in record.reference.items():
        yield from (f"reference.{key}: {problem}" for problem in _of_good(row))
    try:
        Inherited.of(record.inherited)
    except PlanError as error:
        yield f"inherited: {error.what}"
    yield from (f"options.{problem}" for problem in _of_options(record.options))


def _of_good(row: dict[str, object]) -> Iterator[str]:
    try:
        good = msgspec.convert(row, Good)
    except msgspec.ValidationError as error:
        yield str(error)
        return
    if good.n < 1:
        yield "n: must be 1 or above"
    if good.mad is not None and not 0.0 <= good.mad < LARGEST:
        yield "mad: is no spread"
    numbered: tuple[Good | GoodValue, ...] = (good, *good.units)
    for value in numbered:
        numbers = (abs(value.value), value.expanded, value.resolution)
        if not all(number is None or 0.0 <= number < LARGEST for number in numbers):
            yield "has a number that no meter gives"


def _of_options(options: dict[str, object]) -> Iterator[str]:
    steps = options.get("steps")
    if steps is not None and not (isinstance(steps, list) and all(isinstance(step, str) for step in steps)):
        yield "steps: must be a list of step ids"
    rate = options.get("rate")
    if rate is not None and not (isinstance(rate, int | float) and not isinstance(rate, bool) and 0 < rate < LARGEST):
        yield "rate: must be above 0"
