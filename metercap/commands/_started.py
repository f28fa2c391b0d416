"""Starting a session: the meter, the plan, the first record and the journal, from what the command line wishes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec

from metercap.clock import ScaledClock
from metercap.commands._earlier import earlier
from metercap.commands._opening import free_name, session_record, step_ids
from metercap.commands._pictures import picture_folders
from metercap.commands._rates import kept_rates
from metercap.commands._reference import read_reference, tell_missing
from metercap.commands._saying import tell
from metercap.commands._web import second_screen
from metercap.files import refuse_existing
from metercap.finding.found import NoMeter, meter_on, no_meter, remember, same_file
from metercap.link import open_link
from metercap.link.source import Source
from metercap.meter import MeterProfile
from metercap.plan import Plan


class Wish(msgspec.Struct, frozen=True, kw_only=True):
    """What `run` and the commands of one step were given; None and empty mean: find it, or leave it open."""

    port: str | None = None
    meter: str | None = None
    unit: str = ""
    operator: str = ""
    known_good: bool = False
    against: Path | None = None
    after: Path | None = None
    continue_: Path | None = None
    steps: str | None = None
    rate: float | None = None
    no_safe: bool = False
    out: Path | None = None
    plain: bool = False
    as_json: bool = False
    web: str | None = None
    web_words: bool = False
    pictures: bool = True
    jobs: tuple[str, ...] = ()


def run_plan(plan_for: Callable[[MeterProfile | None, list[str]], Plan], wish: Wish, *, plan_name: str = "") -> int:
    """Find the meter, make the session's first record, run it and return the exit status.

    `plan_for` gives the checked plan for a meter and the chosen step ids; it is asked without a meter first, so that a
    plan's mistakes are named before anything is listened to.
    """
    if wish.out is not None:
        refuse_existing(wish.out)
    only = step_ids(wish.steps)
    plan = plan_for(None, only)
    before = earlier(continue_=wish.continue_, after=wish.after, unit=wish.unit, plan=plan, only=only)
    if before is not None:
        first, goes_on = before.first, before.how == "continue"
        wish = msgspec.structs.replace(
            wish,
            unit=wish.unit or first.unit,
            operator=wish.operator or (first.operator if goes_on else ""),
            known_good=wish.known_good or (goes_on and first.known_good),
        )
        if only != list(before.steps):  # it goes on with the steps that were chosen then: these must be fit to run
            only = list(before.steps)
            plan = plan_for(None, only)
    chosen = [step for step in plan.steps if not only or step.id in only]
    source: Source
    port, meter = wish.port or "", ""
    if any(step.wanted for step in chosen) or wish.port is not None or wish.meter is not None:
        found = meter_on(wish.port, wish.meter, tell)
        profile = found.profile if wish.rate is None else found.profile.at_rate(wish.rate)
        plan = plan_for(profile, only)
        port, meter = found.port, same_file(found.meter)
    else:
        profile = no_meter()
    reference = read_reference(wish.against, wish.unit, plan) if wish.against is not None else {}
    if before is not None:
        reference = reference or before.reference
    tell_missing(plan, reference, only, known_good=wish.known_good)
    folders = picture_folders(plan_name, *([] if wish.continue_ is None else [wish.continue_.parent]))
    page = second_screen(wish.web, wish.web_words, folders=folders)
    clock = ScaledClock()
    source = open_link(port, profile) if port else NoMeter()
    options: dict[str, Any] = {"port": port, "no_safe": wish.no_safe}
    if wish.rate is not None:
        options["rate"] = wish.rate
    if only:
        options["steps"] = only
    record = session_record(
        plan,
        profile,
        unit=wish.unit,
        operator=wish.operator,
        known_good=wish.known_good,
        identity=source.identity,
        reference=reference,
        options=options,
        inherited=None if before is None else before.inherited.as_builtins(),
        conversion_s=kept_rates(profile.name, port, tell) if port else None,
    )
    out = wish.out or free_name(wish.unit)
    if port:
        remember(port=port, meter=meter, journal=str(out.absolute()), plan=plan_name)
    from metercap.commands._live import run_session

    pictures = picture_folders(plan_name, out.parent) if wish.pictures and plan.pictures else ()
    return run_session(record, source, clock, out, plain=wish.plain, as_json=wish.as_json, pictures=pictures, page=page)
