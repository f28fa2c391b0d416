"""`metercap demo`: a whole job on the practice bench, with no hardware."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import click

from metercap.commands._numbers import Number, Whole
from metercap.commands._pictures import pictures_option
from metercap.commands._web import WithWeb, web_options
from metercap.gate import visible

if TYPE_CHECKING:
    from metercap.commands._pair import PlayedJob

EPILOG = """\b
Examples:
  metercap demo
  metercap demo --speed 20 --plain
  metercap demo --out my-demo
  metercap demo --speed 2 --web

Two identical greenhouse climate controllers on one bench: unit B in for repair, unit A known good. B's trimmer needs a
value of A's, a cell is replaced, the cover switch is cleaned twice, and while B's clock must keep its time A's fuses
are swept. A simulated technician works on simulated boards with a simulated meter; its frames go over a real
pseudo-terminal, and everything from there to the verdict is the real program. Status 0 when every verdict equals the
scenes' truth. What is left is a job's folder: metercap job show, report, compare and verify take it; and the next unit
with B's symptom profits from it: in which order its steps are proposed now, and why, is said at the end.

Above a speed of 20, and where there are no pseudo-terminals, it runs in process on a clock of its own."""

JOB = "gc8-pair"


@click.command(cls=WithWeb, epilog=EPILOG)
@click.option("--speed", type=Number(0.1, 100_000), default=10.0, show_default=True, help="Session time = N × elapsed.")
@click.option("--seed", type=Whole(-(2**31)), help="Another technician and another noise.")
@click.option("--out", type=click.Path(path_type=Path), help="New folder of the job; default: a temporary one.")
@click.option("--sound", is_flag=True, help="Let it be heard as well.")
@click.option("--plain", is_flag=True, help="Lines instead of the full screen.")
@pictures_option
@click.option("--json", "as_json", is_flag=True, help="Print the journals' own lines.")
@web_options
def command(
    speed: float,
    seed: int | None,
    out: Path | None,
    sound: bool,
    plain: bool,
    no_pictures: bool,
    as_json: bool,
    web: str | None,
    web_words: bool,
) -> int:
    """Play the repair of a greenhouse climate controller from start to end."""
    from metercap.commands._pair import play_job
    from metercap.files import refuse_existing
    from metercap.practice.mat import load_job_scene

    if out is None:
        path = Path(tempfile.mkdtemp(prefix="metercap-demo-")) / JOB
    else:
        refuse_existing(out)
        path = out
    played = play_job(
        load_job_scene(JOB),
        path,
        speed=speed,
        seed=seed,
        plain=plain,
        as_json=as_json,
        sound=sound,
        pictures=not no_pictures,
        web=web,
        web_words=web_words,
    )
    if played.status == 130:
        return 130
    if not as_json:
        _close(played)
    return 1 if played.untrue else 0


def _close(played: PlayedJob) -> None:
    for line in played.untrue:
        click.echo(f"  not as it is on the bench: {line}")
    path = visible(str(played.folder.path))
    click.echo(f"\n{'not all' if played.untrue else 'all'} as it is on the bench; the job:\n  {path}")
    _foretell(played)
    _hand_over(played)


def _foretell(played: PlayedJob) -> None:
    """Say what the next unit of the same symptom profits from this one: what is proposed for it, before and now."""
    from metercap.commands._shop import Nearby, foretold
    from metercap.order import Shop

    folder = played.folder
    plan = folder.plan()
    symptom = next((unit.symptom for unit in folder.job.units if unit.symptom), "")
    shop = Nearby(folder, alone=True).shop(plan, "")
    if not shop.source:
        return
    click.echo(f"the next {visible(plan.model)} that comes in with: {visible(symptom)}")
    click.echo(f"  by the plan alone    {visible(foretold(plan, symptom, Shop()))}")
    click.echo(f"  after this repair    {visible(foretold(plan, symptom, shop))}")


def _hand_over(played: PlayedJob) -> None:
    """Write the job's report, or say how to read it where jinja2 is not installed."""
    from importlib.util import find_spec

    folder = played.folder.path
    if find_spec("jinja2") is None:
        click.echo(f"its report:\n  metercap report {visible(str(folder))} --text")
        return
    from metercap.commands._papers import make_job, papers_of
    from metercap.commands.report import save

    papers = papers_of(folder, ())
    assert papers is not None
    path = papers.free_page()
    save(make_job(papers, None, "html")[1], path)
    click.echo(f"report:\n  {visible(str(path))}")
