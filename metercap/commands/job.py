"""`metercap job`: a folder for several units that are repaired side by side."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from metercap.gate import visible

if TYPE_CHECKING:
    from metercap.job import Folder, JobUnit
    from metercap.job.state import UnitState
    from metercap.outcome import Fold
    from metercap.records import VerdictKind

EPILOG = """\b
Examples:
  metercap job new "vent pair" --plan greenhouse-controller --unit L --unit R
  metercap job show vent-pair
  metercap run "vent pair"

A job is a folder: job.toml says which units there are, the plan lies beside it, and each time a unit is on the mat its
journal is written there under the next number. All that is known of a job is in these files, so a copied folder is the
whole job. Pictures and anything else that is put there are left alone."""


@click.group(epilog=EPILOG)
def command() -> None:
    """Make and look at jobs: several units on one bench, taken in any order, today or next week."""


NEW_EPILOG = """\b
Examples:
  metercap job new "vent pair" --plan greenhouse-controller --unit L --unit R
  metercap job new "vent pair" --plan gc8.toml --unit A=GC-8-0231 --unit B=GC-8-0407 --known-good A
  metercap job new order-77 --plan gc8.toml --unit B --serial B=0407 --symptom "B=fan stops when warm"

A tag is short, since it is said and shown: up to 8 letters and digits. After = stands what is known of the unit of that
tag; with one unit the tag may be left out there. A symptom in the plan's own words (metercap plan show) lets the steps
that may find its cause be proposed in their best order; other words are asked about.

Exit status: 0 made; 2 bad usage or file, or the folder exists."""


@command.command(epilog=NEW_EPILOG, short_help="Make a job's folder.")
@click.argument("title")
@click.option("--plan", required=True, help="The plan: a name that metercap carries, or a TOML file; it is copied.")
@click.option("--unit", "units", multiple=True, required=True, metavar="TAG[=NAME]", help="A unit; may be repeated.")
@click.option("--serial", "serials", multiple=True, metavar="TAG=NUMBER", help="A unit's serial number.")
@click.option("--symptom", "symptoms", multiple=True, metavar="TAG=TEXT", help="What a unit does or does not.")
@click.option("--known-good", "good", multiple=True, metavar="TAG", help="This unit is good: its values serve.")
@click.option("--folder", type=click.Path(path_type=Path), help="The new folder. [default: named for the title]")
@click.option("--json", "as_json", is_flag=True, help="Print what was made as JSON.")
def new(
    title: str,
    plan: str,
    units: tuple[str, ...],
    serials: tuple[str, ...],
    symptoms: tuple[str, ...],
    good: tuple[str, ...],
    folder: Path | None,
    as_json: bool,
) -> int:
    """Make a job called TITLE: a folder with job.toml and a copy of the plan."""
    from metercap.commands._plans import checked_plan
    from metercap.job import JobFile, make
    from metercap.job.folder import PLAN_FILE, folder_name
    from metercap.profiles import find_plan

    found = checked_plan(plan, None)
    job = JobFile(title.strip(), PLAN_FILE, _units(units, serials, symptoms, good), found.model)
    made = make(folder or Path(folder_name(title)), job, find_plan(plan))
    if as_json:
        import msgspec

        from metercap.plain import json_text

        click.echo(json_text({"folder": str(made.path), **msgspec.to_builtins(made.job)}))
        return 0
    tags = ", ".join(unit.tag for unit in made.job.units)
    click.echo(f"job {visible(made.job.title)} with {visible(tags)}: {visible(str(made.path))}")
    click.echo(f"go on with: metercap run {visible(shlex.quote(str(made.path)))}")
    return 0


def _units(
    units: tuple[str, ...], serials: tuple[str, ...], symptoms: tuple[str, ...], good: tuple[str, ...]
) -> tuple[JobUnit, ...]:
    """Return the units that the options describe. UsageError for a tag that none has; JobError for no tag."""
    from metercap.errors import UsageError
    from metercap.job import JobUnit
    from metercap.job.model import units_problems

    named = [(tag.strip(), name.strip()) for tag, _, name in (text.partition("=") for text in units)]
    known = {tag.casefold(): tag for tag, _ in named}
    told: dict[str, dict[str, Any]] = {tag: {"name": name} for tag, name in named}
    for option, key, texts in (("--serial", "serial", serials), ("--symptom", "symptom", symptoms)):
        for text in texts:
            tag, equals, value = text.partition("=")
            if not equals and len(named) == 1:
                tag, value = named[0][0], text
            told[_known(tag, known, option)][key] = value.strip()
    for text in good:
        told[_known(text, known, "--known-good")]["known_good"] = True
    found = tuple(JobUnit(tag, **told[tag]) for tag, _ in named)
    problems = list(units_problems(found))
    if problems:
        raise UsageError("; ".join(problems), where="--unit", hint="short tags that differ: --unit L --unit R")
    return found


def _known(text: str, known: dict[str, str], option: str) -> str:
    from metercap.errors import UsageError
    from metercap.spelling import aside

    tag = known.get(text.strip().casefold())
    if tag is None:
        near = aside(text.strip(), known.values())
        raise UsageError(f"no unit {text.strip()!r}{near}", where=option, hint=f"{option} TAG=… with a tag of --unit")
    return tag


SHOW_EPILOG = """\b
Examples:
  metercap job show vent-pair
  metercap job show "vent pair" --json

Exit status: 0 every verdict of every unit is pass, absent or accepted; 1 some are not, or something is not done; 2 bad
usage or file."""


@command.command(epilog=SHOW_EPILOG, short_help="Say how a job's units stand.")
@click.argument("job", metavar="JOB")
@click.option(
    "--jobs",
    multiple=True,
    type=click.Path(exists=True, file_okay=False),
    metavar="FOLDER",
    help="Where earlier jobs lie. [default: beside it]",
)
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def show(job: str, jobs: tuple[str, ...], as_json: bool) -> int:
    """Say how the units of JOB stand: a folder, or a job's title."""
    from metercap.commands._folders import the_job
    from metercap.job.state import job_states, on_mat

    folder = the_job(job)
    states = job_states(folder)
    status = 0 if all(state.good for state in states) else 1
    tag = on_mat(folder, states)
    if as_json:
        from metercap.plain import json_text

        said = {"title": folder.job.title, "model": folder.job.model, "folder": str(folder.path), "next": tag}
        click.echo(json_text({**said, "units": [_row(state) for state in states]}))
        return status
    model = f", {visible(folder.job.model)}" if folder.job.model else ""
    click.echo(f"{visible(folder.job.title)}{model}: {visible(str(folder.path))}")
    for state in states:
        for line in [*_lines(state), *_proposed(folder, state, jobs)]:
            click.echo(line)
    go_on = f"metercap run {visible(shlex.quote(str(folder.path)))}"
    click.echo(f"goes on with {visible(tag)}: {go_on}" if tag else "nothing is open")
    return status


def _proposed(folder: Folder, state: UnitState, jobs: tuple[str, ...]) -> list[str]:
    """Return what is proposed for a unit with a symptom: what its session told last, or will tell first."""
    from metercap.commands._shop import Nearby, foretold
    from metercap.plain.style import safe

    unit = state.unit
    if unit.known_good or state.over:
        return []
    if state.last is not None:
        line = state.last.session.search.line
        return [f"   proposed: {safe(line)}"] if line else []
    plan = folder.plan()
    if not unit.symptom or not plan.symptoms:
        return []
    shop = Nearby(folder, jobs).shop(plan, unit.tag)
    line = foretold(plan, unit.symptom, shop)
    source = shop.source or "the plan"
    return [f"   proposed: {safe(line)}", f"   by the chances of {safe(source)}"] if line else []


def _row(state: UnitState) -> dict[str, Any]:
    import msgspec

    fold = None if state.last is None else state.last.fold
    row: dict[str, Any] = {
        **msgspec.to_builtins(state.unit),
        "journals": [each.path.name for each in state.sittings],
        "ended": "" if fold is None else "broken off" if fold.end is None else fold.end.reason,
        "verdicts": {} if fold is None else {str(kind): n for kind, n in _counts(fold).items()},
        "open": [] if fold is None else [[each.step, each.item, each.why] for each in fold.open],
        "past_limit": [] if fold is None else list(fold.standing),
        "troubles": list(state.troubles),
    }
    return row


def _counts(fold: Fold) -> dict[VerdictKind, int]:
    """Return how many items have each verdict; good ones that are asked for again are open, and not counted as good."""
    from metercap.outcome import is_good

    counts = fold.counts
    for each in fold.open:
        verdict = fold.verdict_of((each.step, each.item))
        if verdict is not None and is_good(verdict):
            counts[verdict.verdict] -= 1
    return counts


def _lines(state: UnitState) -> list[str]:
    from metercap.plain.style import safe
    from metercap.quantity import counted

    unit = state.unit
    known = [unit.name, f"serial {unit.serial}" if unit.serial else "", "known good" if unit.known_good else ""]
    head = ", ".join(part for part in known if part)
    lines = [f"\n{safe(unit.tag)}{f'  {safe(head)}' if head else ''}"]
    said = "" if state.last is None else state.last.session.search.symptom
    first = f"; at first: {safe(unit.symptom)}" if unit.symptom and said not in ("", unit.symptom) else ""
    lines += [f"   symptom: {safe(said or unit.symptom)}{first}"] if said or unit.symptom else []
    lines += [f"   {safe(trouble)}" for trouble in state.troubles]
    if state.last is None:
        return [*lines, "   not begun"]
    fold = state.last.fold
    counts = ", ".join(f"{n} {kind}" for kind, n in _counts(fold).items() if n)
    ended = "broken off" if fold.end is None else fold.end.reason
    lines.append(f"   {counted(len(state.sittings), 'journal')}, the last one {ended}: {counts or 'no verdict'}")
    lines += [f"   !! {safe(item)} stands past its limit" for item in fold.standing]
    left = fold.open
    named = ", ".join(f"{safe(each.step)} {safe(each.item)}" for each in left[:6])
    more = f" and {len(left) - 6} more" if len(left) > 6 else ""
    return [*lines, f"   open: {named}{more}"] if left else lines
