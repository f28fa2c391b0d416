"""What Python code does with metercap: the functions that `import metercap` names.

`open` reads a meter live, `load` opens journals for analysis and `plot` draws their readings; `check`, `rejudge` and
`compare` do what the commands do, and return what they found. Each loads what it needs when it is called.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from metercap.compare import SideBySide
    from metercap.export import Recording
    from metercap.live.readings import LiveReadings
    from metercap.rejudge import Rejudgement
    from metercap.report.drawn import Drawing
    from metercap.session import Checked


def open(  # noqa: A001 - `metercap.open` is what it is read as
    port: str | None = None, meter: str | Path | None = None, *, rate: float | None = None
) -> LiveReadings:
    """Open a meter and return its readings, live: iterate over it, or ask `read(timeout_s)`; use it in a `with`.

    `port` and `meter` as for `metercap watch --port --meter`. What is None is found: the meter used last if it is
    there, else the only one that is heard; nothing is sent for that. `rate`: conversions a second, where the meter is
    faster than its profile states. Raises `metercap.errors.LinkError` when no meter, or more than one, is heard or the
    port cannot be opened, `ProfileError` for a profile that cannot be used.
    """
    import logging

    from metercap.finding.found import meter_on
    from metercap.link import open_link
    from metercap.live.readings import LiveReadings

    found = meter_on(port, None if meter is None else str(meter), logging.getLogger("metercap").info)
    profile = found.profile if rate is None else found.profile.at_rate(rate)
    return LiveReadings(open_link(found.port, profile), profile, port=found.port, meter=found.meter)


def load(path: str | Path, *, verified: bool = True) -> Recording:
    """Open a journal, or all journals of a job's folder, for analysis.

    Its `readings()`, `contacts()`, `prompts()`, `words()` and `verdicts()` are pandas DataFrames; `records()` gives
    every record, typed, without pandas. `verified` checks every line's checksum first and raises
    `metercap.errors.JournalError`, with line and byte, for a damaged file; a file that was cut off opens, and `.lost`
    says what it may lack. Without it a changed value would go unnoticed. Columns are described in
    `metercap.export.schema`.
    """
    from metercap.export import load as load_journal

    return load_journal(path, verified=verified)


def plot(readings: pd.DataFrame, title: str = "") -> Drawing:
    """Draw readings, some of those that `load(path).readings()` gave, over time: a notebook shows it, `.save` keeps it.

    Over-range breaks the line. They must be in one unit, and some must have a value: UsageError otherwise.
    """
    from metercap.errors import UsageError
    from metercap.report.drawn import drawing

    units = [str(unit) for unit in readings["unit"].unique()]
    if len(units) != 1:
        raise UsageError(f"readings in {' and '.join(units) or 'no unit'} make no picture", hint="choose one unit")
    return drawing(title, units[0], zip(readings["t_s"].tolist(), readings["value"].tolist(), strict=True))


def check(path: str | Path) -> Checked:
    """Decode every frame of a journal again, derive every outcome again, and say whether all are as recorded.

    `difference` of what is returned is empty when they are, else it says where the first one differs; `readings` and
    `verdicts` count what was derived. Of a folder every journal is checked, and they are counted together. Raises
    JournalError for damage.
    """
    import metercap.profiles  # noqa: F401 - finds the decoders that other packages bring
    from metercap.export.recording import journals_in
    from metercap.journal import iterate
    from metercap.session import Checked
    from metercap.session import check as check_records

    readings = verdicts = 0
    difference = ""
    found = journals_in(Path(path))
    for journal in found:
        with iterate(journal) as records:
            checked = check_records(records)
        readings, verdicts = readings + checked.readings, verdicts + checked.verdicts
        if checked.difference and not difference:
            difference = checked.difference if len(found) == 1 else f"{journal.name}, {checked.difference}"
    return Checked(readings, verdicts, difference)


def rejudge(path: str | Path, plan: str | Path) -> Rejudgement:
    """Judge a journal's verdicts again by the limits of another plan (a file, or the name of one that is shipped).

    `rows` holds each item's verdict before and after, `changed` those that differ, `not_judged` what could not be, and
    why. Raises JournalError for damage, PlanError for a plan that cannot be used.
    """
    from metercap.journal import iterate
    from metercap.planfile import read_plan
    from metercap.profiles import find_plan
    from metercap.rejudge import rejudge as rejudge_records
    from metercap.session import opening

    other = read_plan(find_plan(str(plan)))
    with iterate(path) as records:
        return rejudge_records(opening(records), records, other)


def compare(*paths: str | Path) -> SideBySide:
    """Set journals, jobs and learned references side by side, as `metercap compare` does.

    What of a job cannot be read is among the `warnings`. Raises FileProblem for a file that is none of these.
    """
    import msgspec

    from metercap.compare import Side, compare_files
    from metercap.compare.sources import open_sources
    from metercap.export.recording import journals_in
    from metercap.job import is_job

    files = [Path(path) for path in paths]
    files = [each for path in files for each in ([path] if is_job(path) else journals_in(path))]
    unread: list[str] = []
    sides = [Side(str(one.path), one.evidence, one.learned, one.lost) for one in open_sources(files, unread.append)]
    found = compare_files(sides)
    return msgspec.structs.replace(found, warnings=(*unread, *found.warnings))
