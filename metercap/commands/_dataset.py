"""Jobs into a data set (`export`), and a data set's history (`history`); what is told of either."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from metercap.gate import visible
from metercap.quantity import counted

if TYPE_CHECKING:
    from metercap.archive.gather import Trouble
    from metercap.fleet.count import SetTold
    from metercap.fleet.save import Saved
    from metercap.history import History


def meant(to: str) -> bool:
    """Return whether `--to` names a data set: a folder, there already or told by the slash at its end."""
    return to.endswith(("/", "\\")) or (to != "-" and Path(to).is_dir())


def save(arguments: Sequence[Path], to: str, bench: str, *, as_json: bool) -> int:
    """Bring jobs into the data set; return the exit status."""
    import datetime

    from metercap.commands._saying import showing, tell
    from metercap.errors import UsageError
    from metercap.fleet.save import save_set

    now = datetime.datetime.now(datetime.UTC)
    with between_jobs(showing()) as progress:
        saved = save_set([str(each) for each in arguments], Path(to), bench, tell, progress, now)
    for text in _troubles(saved):
        tell(text)
    if not saved.jobs:
        hint = "name jobs' folders, or folders of them; metercap job new makes one"
        raise UsageError("there is no job to export", where=", ".join(map(str, arguments)), hint=hint)
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text({"dataset": to, **{name: getattr(saved, name) for name in saved.__struct_fields__}}))
    else:
        jobs = counted(saved.jobs, "job")
        click.echo(f"{visible(to)}: {jobs}, {saved.written} written ({saved.rows} rows), {saved.same} as they were")
    return 1 if saved.left_out.n else 0


@contextlib.contextmanager
def between_jobs(say: Callable[[str], None]) -> Iterator[Callable[[str], None]]:
    """Give what says how far it is, and ends there where Ctrl-C was pressed; a second one ends at once.

    Raised anywhere, it may be lost: what an object's end raises is ignored, and Arrow's writers have such ends.
    """
    asked = False

    def ask(number: int, frame: object) -> None:
        nonlocal asked
        asked = True
        signal.signal(signal.SIGINT, signal.default_int_handler)

    def progress(text: str) -> None:
        if asked:
            raise KeyboardInterrupt
        say(text)

    before = signal.signal(signal.SIGINT, ask)
    try:
        yield progress
    finally:
        signal.signal(signal.SIGINT, before)


def history(dataset: Path, address: str) -> tuple[History, SetTold]:
    """Return the history of a data set, and what was found in it; `address` is a cluster's, empty for none."""
    from metercap.commands._saying import showing, tell
    from metercap.fleet.gather import set_history

    if not address:
        return set_history(dataset, tell, showing())
    from metercap.fleet.cluster import cluster

    with cluster(address) as where:
        return set_history(dataset, tell, showing(), where)


def troubles(told: SetTold) -> Iterator[str]:
    """Yield what is to be said of parts and journals that are not as they should be."""
    from metercap.history.text import unfinished_words

    yield from named(told.unusable, "part", "not counted")
    yield from named(told.copies, "journal", "copies of sessions that are counted already, and left out")
    yield from named(told.damaged, "journal", "could not be read whole; what stands before that is counted")
    yield from named(told.undated, "journal", "with a clock that cannot be right; counted without a date")
    if told.unfinished:
        yield unfinished_words(told.unfinished)


def _troubles(saved: Saved) -> Iterator[str]:
    yield from named(saved.left_out, "job", "not in the set as it is now")
    yield from named(saved.copies, "job", "copies of jobs that are in already and go farther, and left out")
    yield from named(saved.damaged, "journal", "cannot be read whole; what stands before that is in")
    yield from named(saved.undated, "journal", "with a clock that cannot be right; in without a date")
    if saved.empty:
        yield f"{saved.empty} of the jobs have no journal yet"
    if saved.loose:
        yield f"in no job, and left out, since a set is made of jobs: {counted(saved.loose, 'journal')}"


def named(trouble: Trouble, noun: str, what: str) -> Iterator[str]:
    """Yield what is to be said of one kind of trouble: how many, and the first few by name."""
    if trouble.n:
        yield f"{counted(trouble.n, noun)}: {what}"
        yield from (f"  {text}" for text in trouble.named)
        if trouble.n > len(trouble.named):
            yield f"  and {trouble.n - len(trouble.named)} more"
