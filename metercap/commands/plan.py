"""`metercap plan`: make, check and show plans."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import msgspec

from metercap.commands._values import KIND, METER, PLAN
from metercap.errors import UsageError
from metercap.gate import visible

if TYPE_CHECKING:
    from metercap.plan.problems import Problem

EPILOG = """\b
Examples:
  metercap plan show greenhouse-controller
  metercap plan check my-plan.toml --meter lcd14
  metercap plan new --title "Pump driver" --fuses F1..F6 --cell BT1 --out pump.toml
  metercap plan keys sweep"""


@click.group(epilog=EPILOG)
def command() -> None:
    """Make, check and show plans: ordered steps for one model of unit."""


# --- check

CHECK_EPILOG = """\b
Examples:
  metercap plan check greenhouse-controller
  metercap plan check my-plan.toml --meter lcd14 --json

Exit status: 0 the plan can be run (warnings are said); 2 it cannot."""


@command.command(epilog=CHECK_EPILOG, short_help="Name every mistake of a plan.")
@click.argument("plan", type=PLAN, metavar="PLAN")
@click.option("--meter", type=METER, help="Meter profile: say also what this meter cannot decide.")
@click.option("--no-safe", is_flag=True, help="Waive the proof that the unit is dead, as run --no-safe does.")
@click.option("--json", "as_json", is_flag=True, help="Print the problems as JSON.")
def check(plan: str, meter: str | None, no_safe: bool, as_json: bool) -> int:
    """Name every mistake of PLAN, a plan's name or a TOML file, with file, line and key."""
    from metercap.gate import visible
    from metercap.plan.load import examine
    from metercap.plan.pictures import unplaced
    from metercap.plan.problems import in_file_order, plan_error
    from metercap.plan.rules import check_plan
    from metercap.planfile import picture_problems, read_text
    from metercap.profiles import find_meter, find_plan
    from metercap.quantity import counted

    path = find_plan(plan)
    where = visible(str(path))
    found = examine(read_text(path))
    problems = in_file_order(found.problems, found.places)
    if found.plan is not None:
        profile = None if meter is None else find_meter(meter)
        problems = check_plan(found.plan, profile, no_safe=no_safe)
        problems += [*unplaced(found.plan), *picture_problems(found.plan, path)]
    errors = [problem for problem in problems if problem.severity == "error"]
    if as_json:
        rows = [_row(problem, found.places.line(problem.path)) for problem in problems]
        _print_json({"file": str(path), "ok": not errors, "problems": rows})
        return 2 if errors else 0
    for problem in problems:
        if problem.severity == "warning":
            click.echo(f"{visible(str(where))}:{found.places.line(problem.path)}: warning: {problem}", err=True)
    if errors or found.plan is None:
        raise plan_error(where, errors, found.places, found.count)
    items = sum(len(step.item_names) for step in found.plan.steps)
    warned = f", {counted(len(problems), 'warning')}" if problems else ""
    steps, verdicts = counted(len(found.plan.steps), "step"), counted(items, "verdict")
    click.echo(f"{visible(str(where))}: {steps}, {verdicts} to come{warned}; it can be run")
    return 0


def _row(problem: Problem, line: int) -> dict[str, Any]:
    return {
        "severity": problem.severity,
        "line": line,
        "path": list(problem.path),
        "where": problem.where,
        "what": problem.what,
        "hint": problem.hint,
    }


def _print_json(data: Any) -> None:
    from metercap.plain import json_text

    click.echo(msgspec.json.format(json_text(data), indent=2))


# --- show


@command.command(short_help="Say a plan step by step in plain words.")
@click.argument("plan", type=PLAN, metavar="PLAN")
@click.option("--json", "as_json", is_flag=True, help="Print the plan as a journal carries it: values in SI.")
def show(plan: str, as_json: bool) -> None:
    """Say PLAN, a plan's name or a TOML file, step by step in plain words."""
    from metercap.plan import to_builtins
    from metercap.plan.show import plan_lines
    from metercap.planfile import read_plan
    from metercap.profiles import find_plan

    loaded = read_plan(find_plan(plan))
    if as_json:
        _print_json(to_builtins(loaded))
        return
    for line in plan_lines(loaded):
        click.echo(line)


# --- keys

KEYS_EPILOG = """\b
Examples:
  metercap plan keys
  metercap plan keys sweep
  metercap plan keys tune --json"""


@command.command(epilog=KEYS_EPILOG, short_help="Say every key of plan files, with an example.")
@click.argument("kind", type=KIND, required=False, metavar="[KIND]")
@click.option("--json", "as_json", is_flag=True, help="Print a list of objects as JSON.")
def keys(kind: str | None, as_json: bool) -> None:
    """Say every key of plan files, or of one KIND of step: an example, its meaning, how it is written, its default."""
    from metercap.plan.fields import step_kinds
    from metercap.plan.keys import key_rows, key_text
    from metercap.spelling import near

    if kind is not None and kind not in step_kinds():
        raise UsageError(
            f"{kind!a} is no kind of step",
            where="KIND",
            hint=near(kind, step_kinds()) or ", ".join(step_kinds()),
        )
    if as_json:
        _print_json([row._asdict() for row in key_rows(kind)])
        return
    for line in key_text(kind):
        click.echo(line)


# --- schema

SCHEMA_FILE = "plan.schema.json"
SCHEMA_LINE = f"#:schema ./{SCHEMA_FILE}"
"""Where editors of TOML commonly look for the schema: a comment, so a plan stays plain TOML for all that do not."""
SCHEMA_EPILOG = f"""\b
Example:
  metercap plan schema > {SCHEMA_FILE}

Many editors then check and complete a plan while one types, by the comment in its first line, which metercap plan new
writes:
  {SCHEMA_LINE}"""


@command.command(epilog=SCHEMA_EPILOG, short_help="Print the JSON Schema of plan files, for editors.")
def schema() -> None:
    """Print the JSON Schema of plan files, for editors that check while one types."""
    from metercap.plan.schema import plan_schema

    _print_json(plan_schema())


# --- new

NEW_EPILOG = """\b
Examples:
  metercap plan new
  metercap plan new --title "Pump driver" --model PD-2 --fuses F1..F6 --switch S1 --trimmer RV1=2.2kohm
  metercap plan new --title "GC-8" --from first-look.jsonl --out gc8.toml

Without options it asks, one question after the other. Without --out the plan goes to stdout. It is a
beginning: read it, and put in limits, places and cautions."""


@command.command(epilog=NEW_EPILOG, short_help="Write a new plan, commented.")
@click.option("--title", help="What the plan is for.")
@click.option("--model", default="", help="Model of the units.")
@click.option("--point", "points", multiple=True, help="A point to prove dead; may be repeated. Default: supply input.")
@click.option("--fuses", default="", help='Fuses, such as "F1..F12" or "F1, F2, F7".')
@click.option("--fuse-max", default="2 ohm", show_default=True, help="Highest value of a good fuse.")
@click.option("--fuse-rating", default="", help='Rating of the fuses, such as "315 mA", instead of --fuse-max.')
@click.option("--fuse-type", type=click.Choice(["glass 5x20", "chip", "resettable", "unknown"]), default="unknown")
@click.option("--switch", "switches", multiple=True, help='A switch, "S1" or "S1:nc"; may be repeated.')
@click.option("--cell", "cells", multiple=True, help="A backup cell; may be repeated.")
@click.option("--trimmer", "trimmers", multiple=True, help='A trimmer, "RV1" or "RV1=2.2kohm"; may be repeated.')
@click.option("--loose", is_flag=True, help="Loose parts on the mat: no supply, no proof.")
@click.option(
    "--from", "journal", type=click.Path(path_type=Path), help="Session whose steps and unplanned items to take up."
)
@click.option("--out", type=click.Path(path_type=Path), help="New file to write; default: stdout.")
def new(journal: Path | None, out: Path | None, **given: Any) -> None:
    """Write a new plan, commented, from options, from questions, or from what a session measured."""
    from metercap.commands._newplan import asked, from_journal, from_options, refuse_idle
    from metercap.files import new_text, refuse_existing
    from metercap.plan.load import load_plan
    from metercap.plan.new import plan_text

    if out is not None:
        refuse_existing(out)
    asked_for = [name for name in given if _was_given(name)]
    refuse_idle(asked_for)
    if journal is not None:
        text = from_journal(journal, given, asked_for)
    elif asked_for:
        text = plan_text(from_options(given))
    else:
        text = plan_text(asked())
    text = f"{SCHEMA_LINE}\n# metercap plan schema > {SCHEMA_FILE} makes that file, and editors check by it.\n{text}"
    load_plan(text, "the new plan")
    if out is None:
        click.echo(text, nl=False)
        return
    new_text(out, text)
    click.echo(f"{visible(str(out))}: written; read it, then metercap plan check {visible(str(out))}", file=sys.stderr)


def _was_given(name: str) -> bool:
    source = click.get_current_context().get_parameter_source(name)
    return source is not click.core.ParameterSource.DEFAULT


# --- mark

MARK_EPILOG = """\b
Examples:
  metercap plan mark my-plan.toml
  metercap plan mark my-plan.toml --no-open
  metercap plan mark my-plan.toml --host 192.168.1.5:8000

A page in the browser takes a photo of the board; each item is tapped where it is. The photo goes beside the plan as a
file of its own, turned and cut as asked and without what the camera wrote into it; the places go into the plan, whose
comments and order stay. The page is for this machine alone unless --host names another address; then a phone can open
it by the whole address, key included, or by the code in the terminal. Every tap is kept at once, beside the plan:
what ends before it was written goes on with the same command. Needs an extra: pip install 'metercap[web]'

Exit status: 0 ended by the page; 2 bad usage or file; 130 Ctrl-C."""


@command.command(epilog=MARK_EPILOG, short_help="Tap each item on a photo of the board.")
@click.argument("plan", type=PLAN, metavar="PLAN")
@click.option("--host", default="", metavar="[HOST:PORT]", help="Address to serve the page on; default: this machine.")
@click.option("--no-open", is_flag=True, help="Open no browser; the address is printed.")
def mark(plan: str, host: str, no_open: bool) -> int:
    """Tap where each item of PLAN, a TOML file, is on a photo of the board, on a page in the browser."""
    from metercap.commands._mark import mark_plan, own_plan

    return mark_plan(own_plan(plan), host, open_browser=not no_open)
