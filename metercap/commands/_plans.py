"""Finding, reading and checking a plan for the commands that run one."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import msgspec

from metercap.gate import visible
from metercap.meter import MeterProfile
from metercap.plan import Plan
from metercap.plan.problems import Problem


def checked_plan(
    name_or_path: str,
    profile: MeterProfile | None,
    *,
    no_safe: bool = False,
    only: Sequence[str] = (),
    warn: bool = True,
) -> Plan:
    """Return the plan; PlanError with every problem where it must not be run. Warnings go to stderr if `warn`
    and there is a meter to say them for.

    With `only` (`--steps`) the rules hold for those steps alone, so that an ohms step run by itself still needs its
    proof that the unit is dead. UsageError for a step that the plan does not have.
    """
    from metercap.planfile import picture_problems, read_plan
    from metercap.profiles import find_plan

    path = find_plan(name_or_path)
    plan = fit_plan(read_plan(path), str(path), profile, no_safe=no_safe, only=only, warn=warn)
    refuse_unfit(list(picture_problems(plan, path)), str(path), warn=warn)
    return plan


def fit_plan(
    plan: Plan,
    where: str,
    profile: MeterProfile | None,
    *,
    no_safe: bool = False,
    only: Sequence[str] = (),
    warn: bool = True,
) -> Plan:
    """Return a plan that was read from `where`, found fit to run; raises as `checked_plan` does."""
    from metercap.commands._opening import check_step_ids
    from metercap.plan.rules import check_plan

    check_step_ids(only, plan)
    chosen = plan.steps
    if only:  # what opens the way to a chosen step need not be chosen with it: somebody has opened it
        chosen = tuple(msgspec.structs.replace(step, teardown=(), opens=None) for step in plan.steps if step.id in only)
    problems = check_plan(msgspec.structs.replace(plan, steps=chosen), profile, no_safe=no_safe)
    what = "these steps must not be run alone" if only else "this plan must not be run as it is"
    hint = "add the safe step to --steps, or waive it with --no-safe" if only else ""
    refuse_unfit(problems, where, warn=warn and profile is not None, what=what, hint=hint)
    return plan


def refuse_unfit(
    problems: Sequence[Problem],
    where: str,
    *,
    warn: bool,
    what: str = "this must not be run as it is",
    hint: str = "",
) -> None:
    """Raise PlanError with every problem that is an error; say the warnings on stderr if `warn`."""
    from metercap.errors import PlanError

    errors = [str(problem) for problem in problems if problem.severity == "error"]
    if errors:
        raise PlanError(what, where=where, hint=hint, problems=errors)
    for problem in problems if warn else ():
        sys.stderr.write(f"metercap: {visible(str(where))}: {problem}\n")
