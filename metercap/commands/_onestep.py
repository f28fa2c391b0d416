"""One step without a plan file: the plan is built from options, journaled whole, and can be written down afterwards.

`safe` comes before whatever is measured in ohms, with the points named by `--point`, and `zero` after it. Loose parts
on the mat need no proof; `--no-safe` waives it, and the waiver is journaled.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from metercap.commands._names import unit_name
from metercap.commands._numbers import Number
from metercap.commands._values import METER, PORT, UNIT
from metercap.commands._web import web_options
from metercap.errors import UsageError

SOURCE = "a fresh 1.5 V cell"
Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

_MEASURING: Sequence[Decorator] = (
    click.option(
        "--port", type=PORT, help="Port, pyserial URL, tape:FILE or VISA resource of the meter. [default: found]"
    ),
    click.option("--meter", type=METER, help="Meter profile: a name or a file. [default: found]"),
    click.option(
        "--unit",
        type=UNIT,
        default="",
        callback=unit_name,
        help="The unit on the mat; short names are spoken. May be named later.",
    ),
    click.option("--operator", default="", help="Who is measuring."),
    click.option("--known-good", is_flag=True, help="This unit is good: its values may serve as a reference."),
    click.option("--against", type=click.Path(path_type=Path), help="Session or reference file of a known-good unit."),
    click.option("--rate", type=Number(0.1, 1000), help="Conversions a second of the meter, if known faster."),
    click.option(
        "--out", type=click.Path(path_type=Path), help="New journal. [default: named for date, time and unit]"
    ),
    click.option("--plain", is_flag=True, help="Lines instead of the full screen."),
    click.option("--json", "as_json", is_flag=True, help="Print the journal's own lines, read words from stdin."),
    web_options,
)
_DEAD: Sequence[Decorator] = (
    click.option("--point", "points", multiple=True, help="A point to prove dead first; may be repeated."),
    click.option("--source", default=SOURCE, show_default=True, help="The known live source that proves the meter."),
    click.option("--loose", is_flag=True, help="Loose parts on the mat, no supply: nothing has to be proved dead."),
    click.option("--no-safe", is_flag=True, help="Waive the proof that the unit is dead; journaled."),
)


def measuring(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options that every measuring command has."""
    for option in reversed(_MEASURING):
        function = option(function)
    return function


def dead(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options of a command that measures ohms, and so needs its proof that the unit is dead."""
    for option in reversed(_DEAD):
        function = option(function)
    return function


def run_step(
    kind: str,
    items: Sequence[str],
    keys: dict[str, Any],
    given: dict[str, Any],
    each: dict[str, Any] | None = None,
) -> int:
    """Build the plan of one step of `kind` and run it.

    `keys` are the step's and `each` those of every item, as people write them; None where not given.
    """
    from metercap.commands._started import Wish, run_plan
    from metercap.meter import MeterProfile
    from metercap.plan import Plan
    from metercap.plan.load import load_plan
    from metercap.plan.new import quoted
    from metercap.plan.rules import check_plan

    points, source = given.pop("points", ()), given.pop("source", SOURCE)
    loose, no_safe = given.pop("loose", False), given.get("no_safe", False)
    title = f"{kind} {', '.join(items)}"
    head = ["[plan]", f"title = {quoted(title)}", *(['supply = "none"'] if loose else [])]
    own = [f"{name} = {_written(value)}" for name, value in keys.items() if value not in (None, ())]
    body = ["[[step]]", f"id = {quoted(kind)}", f"kind = {quoted(kind)}", f"items = {_items(items, each or {})}", *own]
    step = load_plan("\n".join([*head, *body]), "these options").steps[0]
    proof: list[str] = []
    if step.in_ohms:
        if not (points or loose or no_safe):
            hint = 'name one, such as --point "supply input"; parts that lie loose on the mat: --loose'
            raise UsageError("ohms need a point to prove the unit dead at", where="--point", hint=hint)
        if points and not loose and not no_safe:
            proof = ["[[step]]", 'id = "dead"', 'kind = "safe"', f"source = {quoted(source)}"]
            proof += [f"points = {_written(points)}"]
        proof += ["[[step]]", 'id = "leads"', 'kind = "zero"']
    plan = load_plan("\n".join([*head, *proof, *body]), "these options")

    def checked(profile: MeterProfile | None, only: list[str]) -> Plan:
        from metercap.commands._plans import refuse_unfit

        refuse_unfit(check_plan(plan, profile, no_safe=no_safe), "these options", warn=profile is not None)
        return plan

    return run_plan(checked, Wish(**given), plan_name="")


def _items(items: Sequence[str], each: dict[str, Any]) -> str:
    """Return the items as a list of names, or of tables where there is more to say of each."""
    more = ", ".join(f"{name} = {_written(value)}" for name, value in each.items() if value is not None)
    if not more:
        return _written(tuple(items))
    return "[" + ", ".join(f"{{ name = {_written(name)}, {more} }}" for name in items) + "]"


def _written(value: Any) -> str:
    """Return a value as TOML has it: texts quoted, numbers and switches bare."""
    from metercap.plan.new import quoted

    if isinstance(value, tuple):
        return "[" + ", ".join(_written(each) for each in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value) if isinstance(value, int | float) else quoted(str(value))
