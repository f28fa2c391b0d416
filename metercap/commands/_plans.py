"""Finding, reading and checking a plan for the commands that run one."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import msgspec

from metercap.meter import MeterProfile
from metercap.plan import Plan


def checked_plan(
    name_or_path: str,
    profile: MeterProfile,
    *,
    no_safe: bool = False,
    only: Sequence[str] = (),
    warn: bool = True,
) -> Plan:
    """Return the plan; PlanError with every problem where it must not be run. Warnings go to stderr if `warn`.

    With `only` (`--steps`) the rules hold for those steps alone, so that an ohms step run by itself still needs its
    proof that the unit is dead. UsageError for a step that the plan does not have.
    """
    from metercap.commands._opening import check_step_ids
    from metercap.errors import PlanError
    from metercap.plan.rules import check_plan
    from metercap.planfile import read_plan
    from metercap.profiles import find_plan

    path = find_plan(name_or_path)
    plan = read_plan(path)
    check_step_ids(only, plan)
    chosen = tuple(step for step in plan.steps if not only or step.id in only)
    problems = check_plan(msgspec.structs.replace(plan, steps=chosen), profile, no_safe=no_safe)
    errors = [str(problem) for problem in problems if problem.severity == "error"]
    if errors:
        what = "these steps must not be run alone" if only else "this plan must not be run as it is"
        hint = "add the safe step to --steps, or waive it with --no-safe" if only else ""
        raise PlanError(what, where=str(path), hint=hint, problems=errors)
    for problem in problems if warn else ():
        sys.stderr.write(f"metercap: {path}: {problem}\n")
    return plan
