"""`metercap practice`: learn the tool on the practice bench, your own hands on the keys."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import click

from metercap.commands._numbers import Number, Whole
from metercap.commands._pictures import pictures_option
from metercap.commands._values import PLAN, SCENE, STEPS
from metercap.commands._web import WithWeb, web_options

EPILOG = """\b
Examples:
  metercap practice
  metercap practice gc8-b-whole --steps bridge --no-safe
  metercap practice gc8-a --plain
  metercap practice gc8-pair --no-safe --web
  metercap practice --port
  metercap practice gc8-b --port --family polled-line

Without --port it is a whole session: read what the screen asks for, move the virtual probes by keys, say words by their
keys. The keys that mean something now stand below the picture, ? shows them all. With --plain the moves are lines on
stdin: `touch` or a point's name, an empty line to lift, `short`, `turn +0.5`, `press`, `release`, `dial`; `help` lists
them. Nothing moves by itself, and the mistakes are yours: at the end the verdicts are set against the bench itself.

With --web --web-words a tap on the board's picture in the browser puts both tips there; one more on the same
place, or one beside all places, lifts them.

With --port the simulated meter alone waits on a port. It prints the port and a `metercap run` line for another
terminal; any other program may read the port too. Lines on stdin move the probes until Ctrl-C.

Where a plan compares with a known-good unit, a simulated technician measures one first, unless --against gives it.

Exit status of a session: 0 every verdict is pass or absent; 1 some are not, or items were not done; 2 bad usage or
file; 3 there are no ports here; 130 interrupted (the journal is closed properly). With --port 0 after quit, 130 after
Ctrl-C."""

USUAL = "gc8-b"


@click.command(cls=WithWeb, epilog=EPILOG)
@click.argument("scene", type=SCENE, default=USUAL)
@click.option("--port", is_flag=True, help="Only open the simulated meter on a port, and serve it.")
@click.option("--list", "listed", is_flag=True, help="List the scenes there are.")
@click.option("--plan", type=PLAN, help="Another plan than the scene's own, with all its steps.")
@click.option("--steps", type=STEPS, help="Only these step ids, comma separated.")
@click.option(
    "--against",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Journal or learned reference of a known-good unit.",
)
@click.option(
    "--family",
    type=click.Choice(["lcd14", "digits14", "polled-line", "text"]),
    help="Wire format of the simulated meter.",
)
@click.option("--rate", type=Number(0.1, 1000), help="Conversions a second of the simulated meter.")
@click.option("--speed", type=Number(0.1, 20.0), default=1.0, show_default=True, help="Session time = N × elapsed.")
@click.option("--no-safe", is_flag=True, help="Waive the proof that the unit is dead; journaled.")
@click.option("--seed", type=Whole(-(2**31)), help="Another board and another noise.")
@click.option("--out", type=click.Path(path_type=Path), help="New folder for the journal; default: a temporary one.")
@click.option("--plain", is_flag=True, help="Lines instead of the full screen, moves and words as lines on stdin.")
@pictures_option
@click.option("--json", "as_json", is_flag=True, help="Print the journal's own lines, the port or the list as JSON.")
@web_options
def command(
    scene: str,
    port: bool,
    listed: bool,
    plan: str | None,
    steps: str | None,
    against: Path | None,
    family: str | None,
    rate: float | None,
    speed: float,
    no_safe: bool,
    seed: int | None,
    out: Path | None,
    plain: bool,
    no_pictures: bool,
    as_json: bool,
    web: str | None,
    web_words: bool,
) -> int:
    """Learn the tool on the practice bench SCENE, with virtual probes that your keys move.

    SCENE is the name of a scene that metercap carries (gc8-b unless given), or a TOML file; gc8-pair is a job of two
    units, which "take TAG" puts on the mat in turn.
    """
    if listed:
        _list(as_json=as_json)
        return 0
    from metercap.practice.mat import job_scene_names

    if scene in job_scene_names():
        unfit = {"--port": port, "--plan": plan, "--against": against, "--family": family, "--rate": rate}
        return _job(
            scene,
            unfit,
            steps,
            speed=speed,
            no_safe=no_safe,
            seed=seed,
            out=out,
            plain=plain,
            as_json=as_json,
            pictures=not no_pictures,
            web=web,
            web_words=web_words,
        )
    from metercap.commands._opening import step_ids
    from metercap.commands._setting import setting
    from metercap.errors import UsageError
    from metercap.files import refuse_existing

    if port and speed != 1.0:
        raise UsageError("another program reads a port in real time", where="--speed", hint="leave --speed away")
    if port and out is not None:
        raise UsageError("with --port the session writes its own journal", where="--out", hint="leave --out away")
    if port and web is not None:
        raise UsageError("with --port the session has the second screen", where="--web", hint="add it to metercap run")
    made: list[Path] = []

    def folder() -> Path:
        """The journals' folder, made when the first of them is written."""
        if not made:
            if out is not None:
                out.mkdir(parents=True)
            made.append(Path(tempfile.mkdtemp(prefix="metercap-practice-")) if out is None else out)
        return made[0]

    if out is not None:
        refuse_existing(out)
    chosen = setting(
        scene,
        folder=folder,
        family=family,
        rate=rate,
        plan=plan,
        steps=step_ids(steps),
        against=against,
        seed=seed,
        no_safe=no_safe,
    )
    if chosen.against is not None and against is None and not as_json:
        click.echo(f"the known-good unit was measured by a simulated technician: {chosen.against}")
    if port:
        from metercap.commands._served import serve

        return serve(chosen, as_json=as_json)
    from metercap.commands._by_hand import practise
    from metercap.commands._pictures import picture_folders
    from metercap.commands._web import second_screen

    page = second_screen(web, web_words, folders=picture_folders(chosen.plan_name))
    shows = {"plain": plain, "as_json": as_json, "pictures": not no_pictures}
    return practise(chosen, folder(), speed=speed, page=page, **shows)


def _job(scene: str, unfit: dict[str, Any], steps: str | None, *, out: Path | None, **how: Any) -> int:
    """Practise on the units of a job, whose scenes say the rest."""
    from metercap.commands._pair import practise_job
    from metercap.errors import UsageError
    from metercap.files import refuse_existing
    from metercap.practice.mat import load_job_scene

    given = ", ".join(name for name, value in unfit.items() if value)
    if given:
        raise UsageError("a job's scenes say this themselves", where=given, hint=f"metercap practice {scene}")
    if out is not None:
        refuse_existing(out)
    path = Path(tempfile.mkdtemp(prefix="metercap-practice-")) / scene if out is None else out
    return practise_job(load_job_scene(scene), path, steps=steps, **how)


def _list(*, as_json: bool) -> None:
    from metercap.practice.mat import job_scene_names, load_job_scene
    from metercap.practice.scene import load_scene, scene_names

    scenes = {name: load_scene(name) for name in scene_names()}
    if as_json:
        rows = [
            {
                "name": name,
                "title": scene.title,
                "unit": scene.unit,
                "model": scene.model,
                "known_good": scene.known_good,
                "plan": scene.plan,
                "steps": list(scene.truth),
                "family": scene.meter.family,
                "per_s": scene.meter.per_s,
            }
            for name, scene in scenes.items()
        ]
        from metercap.plain import json_text

        click.echo(json_text(rows))
        return
    width = max(len(name) for name in scenes)
    for name, scene in scenes.items():
        click.echo(f"{name:<{width}}  {scene.title}; {len(scene.truth)} steps, {scene.meter.family} meter")
    for name in job_scene_names():
        tags = " and ".join(unit.tag for unit in load_job_scene(name).units)
        click.echo(f"{name:<{width}}  a job of the units {tags}, taken in turn with: take TAG")
