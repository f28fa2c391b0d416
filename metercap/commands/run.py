"""`metercap run`: lead a plan through its measurements on one unit."""

from __future__ import annotations

from pathlib import Path

import click

from metercap.commands._names import unit_name
from metercap.commands._numbers import Number
from metercap.commands._pictures import pictures_option
from metercap.commands._values import METER, PLAN, PORT, STEPS, UNIT
from metercap.commands._web import WithWeb, web_options

EPILOG = """\b
Examples:
  metercap run greenhouse-controller --unit A --known-good
  metercap run greenhouse-controller --port /dev/ttyUSB0 --meter lcd14 --unit A --known-good --out a.jsonl
  metercap run greenhouse-controller --port COM4 --meter lcd14 --unit B --against a.jsonl --out b.jsonl
  metercap run --continue 2026-11-28-0930-B.jsonl
  metercap run "vent pair" --take R
  metercap run "vent pair" --jobs repairs
  metercap run greenhouse-controller --unit B --web
  metercap run "vent pair" --web 0.0.0.0:8493 --web-words
  metercap run my-plan.toml --port socket://bench:7000 --meter text --unit B --steps dead,fuses --out c.jsonl --plain

Port and meter that are not named are those used last, or the only meter that is heard; a polled or SCPI meter is named
once. Steps of words alone need no meter.

With a job, "take TAG" parks the unit on the mat and takes another one, in the same program and on the same port.

Exit status: 0 every verdict is pass, absent or accepted (a job: over all its units); 1 some are not, or items were not
done; 2 bad usage or file; 3 the link cannot be opened; 130 interrupted (the journal is closed properly).

Words while it runs come by key, pedal or line; ? shows all of them. Three of them count: "missed 2" says that two
presses of a switch showed nothing, "fixed new relay" that a fix was made and starts are counted anew, and
"replaced BT1" that a new part is in and is to be measured.

Any order will do: "to fuses" leaves a step for another, "at F7" or "at fuses/F7" for one item of it, "back" for the
item before; what is left open comes back before the end. "accept F7 not fitted" leaves a verdict as it is and counts it
as good. A trimmer without a reference asks for one: "target 2.19k", or "good" where this unit is the good one.

Where the plan names symptoms, "symptom 2" or its words say what this unit does: the step that finds the fault soonest
on average is proposed then, with its reason, and again after each step. "to STEP" takes it. A job's unit brings its
symptom along, and what the shop's other jobs found sharpens the plan's chances.

What a meter of a few conversions a second cannot see: dropouts and bounce shorter than one conversion. Two compensating
slips of the hand inside one sweep cannot be proved absent either; the count check is there for them."""


@click.command(cls=WithWeb, epilog=EPILOG)
@click.argument("plan", type=PLAN, metavar="PLAN|JOB", required=False)
@click.option("--port", type=PORT, help="Port, pyserial URL, tape:FILE or VISA resource of the meter. [default: found]")
@click.option("--meter", type=METER, help="Meter profile: a name or a file. [default: found]")
@click.option(
    "--unit",
    type=UNIT,
    default="",
    callback=unit_name,
    help="The unit on the mat; short names are spoken. May be named later.",
)
@click.option("--operator", default="", help="Who is measuring.")
@click.option("--known-good", is_flag=True, help="This unit is good: its values may serve as a reference.")
@click.option("--against", type=click.Path(path_type=Path), help="Session or reference file of a known-good unit.")
@click.option("--after", type=click.Path(path_type=Path), help="Earlier session of this unit: inherit as found.")
@click.option("--continue", "continue_", type=click.Path(path_type=Path), help="Interrupted session to go on with.")
@click.option("--take", default="", metavar="TAG", help="With a job: the unit to begin with.")
@click.option(
    "--jobs",
    multiple=True,
    type=click.Path(),
    metavar="FOLDER",
    help="With a job: where earlier jobs lie that teach where faults are. [default: beside it]",
)
@click.option("--steps", type=STEPS, help="Only these step ids, comma separated.")
@click.option("--rate", type=Number(0.1, 1000), help="Conversions a second of the meter, if known faster.")
@click.option("--no-safe", is_flag=True, help="Waive the proof that the unit is dead; journaled.")
@click.option("--out", type=click.Path(path_type=Path), help="New journal. [default: named for date, time and unit]")
@click.option("--plain", is_flag=True, help="Lines instead of the full screen.")
@pictures_option
@click.option("--json", "as_json", is_flag=True, help="Print the journal's own lines, read words from stdin.")
@web_options
def command(
    plan: str | None,
    port: str | None,
    meter: str | None,
    unit: str,
    operator: str,
    known_good: bool,
    against: Path | None,
    after: Path | None,
    continue_: Path | None,
    take: str,
    steps: str | None,
    rate: float | None,
    no_safe: bool,
    out: Path | None,
    plain: bool,
    no_pictures: bool,
    as_json: bool,
    web: str | None,
    web_words: bool,
    jobs: tuple[str, ...],
) -> int:
    """Lead PLAN through its measurements on one unit, watching the meter.

    PLAN is the name of a plan that metercap carries, or a TOML file; with --continue it may be left out, and the plan
    in the journal goes on. JOB is a job's folder or its title: it goes on where it stands, today or next week.
    """
    from metercap.commands._earlier import plan_of
    from metercap.commands._plans import checked_plan, fit_plan
    from metercap.commands._started import Wish, run_plan
    from metercap.job.find import job_of_argument

    wish = Wish(
        port=port,
        meter=meter,
        unit=unit,
        operator=operator,
        known_good=known_good,
        against=against,
        after=after,
        continue_=continue_,
        steps=steps,
        rate=rate,
        no_safe=no_safe,
        out=out,
        plain=plain,
        as_json=as_json,
        web=web,
        web_words=web_words,
        pictures=not no_pictures,
        jobs=jobs,
    )
    job = None if plan is None else job_of_argument(plan)
    if job is not None:
        from metercap.commands._jobs import run_job

        return run_job(job, wish, take)
    if take:
        raise click.UsageError("--take is for a job: metercap job new makes one")
    if jobs:
        raise click.UsageError("--jobs is for a job: metercap job new makes one")
    if plan is None:
        if continue_ is None:
            raise click.UsageError("a plan is needed: the name of one that metercap carries, or a TOML file")
        going_on = plan_of(continue_)
        return run_plan(
            lambda profile, only: fit_plan(going_on, str(continue_), profile, no_safe=no_safe, only=only), wish
        )
    return run_plan(lambda profile, only: checked_plan(plan, profile, no_safe=no_safe, only=only), wish, plan_name=plan)
