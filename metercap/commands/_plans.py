"""Finding, reading and checking a plan for the commands that run one."""

from __future__ import annotations

import sys

from metercap.meter import MeterProfile
from metercap.plan import Plan


def checked_plan(name_or_path: str, profile: MeterProfile, *, no_safe: bool = False, warn: bool = True) -> Plan:
    """Return the plan; PlanError with every problem where it must not be run. Warnings go to stderr if `warn`.

    References are not asked for here: `_reference.require_references` knows what was given.
    """
    from metercap.errors import PlanError
    from metercap.plan.rules import check_plan
    from metercap.planfile import read_plan
    from metercap.profiles import find_plan

    path = find_plan(name_or_path)
    plan = read_plan(path)
    problems = check_plan(plan, profile, no_safe=no_safe, needs=False)
    errors = [str(problem) for problem in problems if problem.severity == "error"]
    if errors:
        raise PlanError("this plan must not be run as it is", where=str(path), problems=errors)
    for problem in problems if warn else ():
        sys.stderr.write(f"metercap: {path}: {problem}\n")
    return plan
