"""`metercap demo`: a whole repair on the practice bench, with no hardware."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import click

from metercap.commands._numbers import Number, Whole
from metercap.gate import visible

if TYPE_CHECKING:
    from metercap.commands._bench import Played

EPILOG = """\b
Examples:
  metercap demo
  metercap demo --speed 20 --plain
  metercap demo --out my-demo

Two identical greenhouse climate controllers, unit A known good, unit B in for repair. A simulated technician works on a
simulated board with a simulated meter; its frames go over a real pseudo-terminal, and everything from there to the
verdict is the real program. Status 0 when every verdict equals the scene's truth.

Above a speed of 20, and where there are no pseudo-terminals, it runs in process on a clock of its own."""

SCENES = ("gc8-a-whole", "gc8-b-whole")


@click.command(epilog=EPILOG)
@click.option("--speed", type=Number(0.1, 100_000), default=10.0, show_default=True, help="Session time = N × elapsed.")
@click.option("--seed", type=Whole(-(2**31)), help="Another technician and another noise.")
@click.option("--out", type=click.Path(path_type=Path), help="New folder for the journals; default: a temporary one.")
@click.option("--sound", is_flag=True, help="Let it be heard as well.")
@click.option("--plain", is_flag=True, help="Lines instead of the full screen.")
@click.option("--json", "as_json", is_flag=True, help="Print the journals' own lines.")
def command(speed: float, seed: int | None, out: Path | None, sound: bool, plain: bool, as_json: bool) -> int:
    """Play the repair of a greenhouse climate controller from start to end."""
    from metercap.commands._bench import play_scene
    from metercap.files import refuse_existing

    if out is None:
        folder = Path(tempfile.mkdtemp(prefix="metercap-demo-"))
    else:
        refuse_existing(out)
        out.mkdir(parents=True)
        folder = out
    played: list[Played] = []
    for name in SCENES:
        against = played[0].journal if played else None
        done = play_scene(
            name, folder, speed=speed, seed=seed, against=against, plain=plain, as_json=as_json, sound=sound
        )
        played.append(done)
        if done.reason == "interrupted":
            return 130
    if not as_json:
        _close(played)
    return 0 if all(done.true for done in played) else 1


def _close(played: list[Played]) -> None:
    import sys

    from metercap.plain import verdict_table
    from metercap.plain.style import use_colour

    for done in played:
        title = f"\nUnit {done.scene.unit}: {done.scene.title}"
        click.echo(verdict_table(done.fold.verdicts.values(), colour=use_colour(sys.stdout), title=title))
        for line in done.untrue:
            click.echo(f"  not as it is on the bench: {line}")
    count = sum(len(done.fold.verdicts) for done in played)
    good = all(done.true for done in played)
    click.echo(
        f"\n{count} verdicts, {'all as it is on the bench' if good else 'not all as it is on the bench'}; journals:"
    )
    for done in played:
        click.echo(f"  {visible(str(done.journal))}")
    _hand_over(played[-1].journal)


def _hand_over(journal: Path) -> None:
    """Write the report of the repaired unit, or say how to read it where jinja2 is not installed."""
    from importlib.util import find_spec

    if find_spec("jinja2") is None:
        click.echo(f"its report:\n  metercap report {visible(str(journal))} --text")
        return
    from metercap.commands._papers import make
    from metercap.commands.report import save

    path = journal.with_suffix(".html")
    save(make(journal)[1], path)
    click.echo(f"report:\n  {visible(str(path))}")
