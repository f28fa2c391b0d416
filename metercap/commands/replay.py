"""`metercap replay`: play a session again, check it, or judge it by another plan."""

from __future__ import annotations

import contextlib
import itertools
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from metercap.commands._numbers import Number
from metercap.commands._pictures import picture_folders, pictures_option
from metercap.commands._saying import complain
from metercap.commands._values import PLAN
from metercap.commands._web import Paged, WithWeb, second_screen, told_lines, web_only
from metercap.gate import visible

if TYPE_CHECKING:
    from metercap.live.parts import Looker
    from metercap.screen.observer import ScreenObserver
    from metercap.view import View

EPILOG = """\b
Examples:
  metercap replay vent-pair --check
  metercap replay a.jsonl
  metercap replay a.jsonl --check
  metercap replay a.jsonl --plan stricter.toml
  metercap replay a.jsonl --json | head
  metercap replay a.jsonl --web --speed 200

With --check every raw frame is decoded again and every outcome derived again; status 0 when all are exactly as
recorded, else 1 with the first difference."""


@click.command(cls=WithWeb, epilog=EPILOG)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--speed", type=Number(0.01, 1e6), help="Session time = N × elapsed; default: as fast as it goes.")
@click.option("--plan", "other", type=PLAN, metavar="OTHER", help="Judge the recorded contacts by this plan's limits.")
@click.option("--check", "checking", is_flag=True, help="Derive everything again and compare; never paces.")
@click.option("--plain", is_flag=True, help="Lines instead of the full screen.")
@pictures_option
@click.option("--json", "as_json", is_flag=True, help="Print records as JSON lines.")
@web_only
def command(
    file: Path,
    speed: float | None,
    other: str | None,
    checking: bool,
    plain: bool,
    no_pictures: bool,
    as_json: bool,
    web: str | None,
) -> int:
    """Play the session in FILE again; of a job's folder every session, unit by unit."""
    from metercap.errors import UsageError
    from metercap.job import is_job

    if checking or other is not None:
        if web is not None:
            raise UsageError("nothing is played", where="--web", hint="leave --check and --plan away")
        return _each(file, lambda each: _judged(each, other, as_json), checking)
    page = second_screen(web, folders=picture_folders(None, file if is_job(file) else file.absolute().parent))
    with contextlib.ExitStack() as stack:
        if page is not None:
            stack.callback(page.teller.close)
            page.teller.begin()
        return _each(file, lambda each: _play(each, speed, plain, not no_pictures, as_json, page), checking)


def _each(file: Path, one: Callable[[Path], int], checking: bool) -> int:
    from metercap.job import is_job

    return _job(file, one, checking) if is_job(file) else one(file)


def _job(folder: Path, one: Callable[[Path], int], checking: bool) -> int:
    """Play every session of a job; what is wrong with one hides nothing of the others.

    The status is the worst of all where they are checked, else of each unit's last.
    """
    from metercap.commands._folders import units_of
    from metercap.errors import FileProblem

    worst = 0
    for _, paths in units_of(folder):
        for path in paths:
            try:
                status = one(path)
            except FileProblem as error:
                click.echo(f"metercap: {error}", err=True)
                worst = 2
                continue
            if status == 130:
                return status
            if checking or path == paths[-1]:
                worst = max(worst, status)
    return worst


def _judged(file: Path, other: str | None, as_json: bool) -> int:
    if other is None:
        return _check(file, as_json)
    from metercap.commands._rejudge import rejudge_file

    return rejudge_file(file, other, as_json=as_json)


def _play(file: Path, speed: float | None, plain: bool, pictures: bool, as_json: bool, page: Paged | None) -> int:
    from metercap.commands._live import full_screen

    if not (plain or as_json) and full_screen():
        folders = picture_folders(None, file.absolute().parent) if pictures else ()
        return _on_screen(file, 1.0 if speed is None else speed, folders, page)
    # Whoever watches on a second screen wants to see it happen.
    return _in_lines(file, 1.0 if speed is None and page is not None else speed, as_json, page)


class _Both:
    """The full screen's eye, and the second screen's."""

    def __init__(self, first: ScreenObserver, page: Paged) -> None:
        self._first, self._second = first, page.teller

    def look(self, view: View) -> None:
        self._second.look(view)
        self._first.look(view)


def _on_screen(file: Path, speed: float, pictures: Sequence[Path], page: Paged | None) -> int:
    """Play the recorded session on the full screen, with keys to pause, step, speed up and jump."""
    from metercap.journal import Kept
    from metercap.outcome import fold
    from metercap.screen.observer import ScreenObserver
    from metercap.screen.player import Player
    from metercap.screen.run import run_screen

    with Kept(file) as records:
        observer = ScreenObserver()
        player = Player(records, observer if page is None else _Both(observer, page), speed=speed)
        second = None
        if page is not None:
            page.teller.clock, second = player, page.at
        reason = run_screen(
            player, observer, words=player, clock=player, controls=player, pictures=pictures, second=second
        )
        return 130 if reason == "interrupted" else fold(records).exit_status


def _check(file: Path, as_json: bool) -> int:
    import time

    import metercap.profiles  # noqa: F401 - finds the decoders that other packages bring
    from metercap.journal import iterate
    from metercap.session import check

    before = time.perf_counter()
    with iterate(file) as records:
        found = check(records)
    took = time.perf_counter() - before
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text(found))
    elif found.difference:
        told = found.difference if found.difference.startswith("not derived") else f"differs\n{found.difference}"
        click.echo(f"{visible(str(file))}: {told}")
    else:
        rate = f", {found.readings / took:,.0f} readings/s" if took > 0 else ""
        click.echo(
            f"{visible(str(file))}: {found.verdicts} verdicts derived again exactly "
            f"from {found.readings} readings{rate}"
        )
    return 1 if found.difference else 0


def _in_lines(file: Path, speed: float | None, as_json: bool, page: Paged | None) -> int:
    """Play the events again and show what comes of them; of a file of an older schema, what came of them then."""
    import time

    from metercap.clock import ScaledClock
    from metercap.journal import iterate
    from metercap.outcome import Fold
    from metercap.plain import JsonLines, PlainLines, verdict_table
    from metercap.plain.style import use_colour
    from metercap.records import EndRecord, encode
    from metercap.session import opening
    from metercap.view.retold import Retold

    clock = ScaledClock(speed) if speed is not None else None
    result, again = Fold(), Retold(looks=not as_json or page is not None)
    lines = None if as_json else PlainLines()
    show = JsonLines() if lines is None else lines
    if page is not None:
        page.teller.clock = clock
        for line in told_lines(page.at, drawn=lines is not None and sys.stdout.isatty()):
            complain(line) if lines is None else lines.say(line)
    eyes: list[Looker] = [*([] if lines is None else [lines]), *([] if page is None else [page.teller])]
    with iterate(file) as records:
        first = opening(records)
        try:
            for recorded in itertools.chain([first], records):
                for view, told in again.take(recorded):
                    if clock is not None and told:
                        time.sleep(clock.wait_s(told[0].t_s))
                    for eye in eyes:
                        eye.look(view)
                    for record in told:
                        if clock is not None:
                            time.sleep(clock.wait_s(record.t_s))
                        if not isinstance(record, EndRecord) or not again.derives:
                            show.see(record, encode(record) + b"\n")
                        result.add(record)
        except KeyboardInterrupt:
            return 130
    if not as_json:
        how = "derived again" if again.derives else f"as recorded: schema {first.schema}, not derived again"
        click.echo(verdict_table(result.verdicts.values(), colour=use_colour(sys.stdout), title=f"\nVerdicts, {how}"))
    return result.exit_status
