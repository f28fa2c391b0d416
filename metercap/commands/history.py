"""`metercap history`: what many sessions measured, item by item, and what their meters read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from metercap.commands._values import Text
from metercap.gate import visible

if TYPE_CHECKING:
    from metercap.archive.gather import Told
    from metercap.fleet.count import SetTold
    from metercap.history import History
    from metercap.history.text import By

EPILOG = """\b
Examples:
  metercap history vent-pair fan-pair
  metercap history . --by meter
  metercap history . --to history.html
  metercap history . --json
  metercap history fleet/
  metercap history fleet/ --cluster tcp://10.0.0.5:8786

Folders are searched at any depth for journals and jobs. Of every model and item: how many values, their median and
spread (scaled MAD), how they go over the dates (Theil and Sen's slope; told where Mann and Kendall's test gives chance
less than 1 in 100), how often it did not pass, and values that stand out (more than 3.5 spreads off), with the job they
are from. What is measured otherwise (other things connected, tips elsewhere) is told apart; a trimmer as found and as
left too.

A meter that reads everything high or low is told: its values are ranked among the others' at every item (van Elteren's
test), and it is named where chance gives that less than once in 1000 and it is 1 % off or more.

A session counts once, however many copies there are. Each argument is a bench. A day that a clock cannot have meant
(before 2020, in the future, before that of the journal before it in the job) is passed over, its values are not.

A data set (metercap export JOBS --to DATASET/) tells the same as the jobs that are in it; its benches are those named
at the export. Parts that are stale, half-written or damaged are told, and not counted. A Dask cluster counts it on many
machines, with the same answer to the last digit: every worker needs this version (pip install 'metercap[fleet]') and
the set under the same path. A cluster does whatever its clients send it, so let only your own network reach it.

What was read is remembered, so that the next time only new and changed journals are read; that file may be deleted.

Exit status: 0 told; 1 a meter reads otherwise than the others; 2 bad usage or file."""


@click.command(epilog=EPILOG)
@click.argument("files", nargs=-1, required=True, metavar="FOLDER...", type=click.Path(path_type=Path))
@click.option(
    "--by",
    type=click.Choice(("meter", "bench", "date")),
    help="Take every item apart by meter, by bench (each FOLDER is one), or by date.",
)
@click.option("--to", type=click.Path(path_type=Path), help="Write a page with plots to this new HTML file.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--cluster", metavar="ADDRESS", type=Text(), default="", help="Count a data set on this Dask cluster.")
@click.option("--anew", is_flag=True, help="Read every journal again, whatever is remembered.")
def command(files: tuple[Path, ...], by: By | None, to: Path | None, as_json: bool, cluster: str, anew: bool) -> int:
    """Tell what the sessions in FOLDERS measured: jobs, journals, folders of them at any depth; or a data set."""
    from metercap.commands._opening import program
    from metercap.commands._saying import tell
    from metercap.errors import UsageError
    from metercap.files import refuse_existing
    from metercap.history.summary import summary

    if to is not None:
        refuse_existing(to)
    history, told, said = _read(files, cluster, anew=anew)
    for text in said:
        tell(text)
    if not history.sessions:
        hint = "name jobs, journals or folders of them; metercap run makes journals"
        raise UsageError("there is no session to tell of", where=", ".join(map(str, files)), hint=hint)
    found = summary(history)
    if to is not None:
        from metercap.files import new_text
        from metercap.report.history import compose_history
        from metercap.report.page import page

        new_text(to, page(compose_history(found, said, program())))
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text({"history": found, "files": told}))
    else:
        from metercap.history.text import history_lines
        from metercap.plain.style import safe

        for line in history_lines(found, by or ""):
            click.echo(safe(line))
        if to is not None:
            click.echo(f"page: {visible(str(to))}")
    return 1 if found.told else 0


def _read(files: tuple[Path, ...], cluster: str, *, anew: bool) -> tuple[History, Told | SetTold, list[str]]:
    """Return the history of folders or of a data set, what was found on the way, and what is to be said of that."""
    import datetime

    from metercap.archive.gather import gathered
    from metercap.archive.store import usual_place
    from metercap.commands import _dataset
    from metercap.commands._saying import progress, tell
    from metercap.errors import UsageError
    from metercap.fleet.schema import is_set

    if not any(is_set(file) for file in files):
        if cluster:
            hint = "metercap export JOBS --to DATASET/ makes one"
            raise UsageError("only a data set is counted on a cluster", where="--cluster", hint=hint)
        place = None if anew else usual_place()
        now = datetime.datetime.now(datetime.UTC)
        with progress("journals") as say:
            history, told = gathered([str(file) for file in files], place, tell, say, now)
        return history, told, troubles(told)
    if len(files) > 1:
        hint = "name it alone; metercap export brings more jobs into it"
        raise UsageError("a data set is told of by itself", where=str(files[0]), hint=hint)
    of_set, found = _dataset.history(files[0], cluster)
    return of_set, found, list(_dataset.troubles(found))


def troubles(told: Told) -> list[str]:
    """Return what is to be said of journals that are not as they should be."""
    from metercap.history.text import unfinished_words
    from metercap.quantity import counted

    found: list[str] = []
    for trouble, what in (
        (told.damaged, "cannot be read whole; what stands before that is counted"),
        (told.copies, "copies of sessions that are counted already, and left out"),
        (told.undated, "with a clock that cannot be right; counted without a date"),
    ):
        if trouble.n:
            found.append(f"{counted(trouble.n, 'journal')}: {what}")
            found += [f"  {text}" for text in trouble.named]
            found += [f"  and {trouble.n - len(trouble.named)} more"] if trouble.n > len(trouble.named) else []
    if told.unfinished:
        found.append(unfinished_words(told.unfinished))
    if told.foreign:
        found.append(f"{counted(told.foreign, 'file')} named .jsonl: no journal, and left out")
    return found
