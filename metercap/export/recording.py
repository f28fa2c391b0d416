"""What `metercap.load` gives: one journal or a folder of them, their state, their records and their tables."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from metercap.errors import JournalError
from metercap.export.frame import readings_frame
from metercap.export.rows import rows_frame
from metercap.export.source import Journal
from metercap.journal import State, iterate, prove
from metercap.quantity import natural_key
from metercap.records import Record, SessionRecord

if TYPE_CHECKING:
    import pandas as pd

_WORSE: tuple[State | None, ...] = ("closed", "unclosed", "torn", None)


class Recording:
    """One journal, or all of a folder, opened for analysis.

    `path`: what was opened; `journals`: each file with its session, state and what it may lack, in natural order of
    their names. The tables have the rows of all journals, one journal behind the other; their columns are in
    `metercap.export.schema`. They need pandas: UsageError without. Each raises JournalError for a file that was not
    verified and has lines that cannot be decoded.
    """

    def __init__(self, path: Path, journals: tuple[Journal, ...]) -> None:
        self.path = path
        self.journals = journals

    def __repr__(self) -> str:
        units = ", ".join(dict.fromkeys(each.session.unit for each in self.journals if each.session is not None))
        n = "" if len(self.journals) == 1 else f", {len(self.journals)} journals"
        state = self.state or "not verified"
        return f"<metercap recording of {units or 'no session'!r}, {state}{n}: {self.path}>"

    @property
    def session(self) -> SessionRecord | None:
        """The first record of the first journal, with unit, plan and meter; None when it was cut off inside it."""
        return self.journals[0].session

    @property
    def state(self) -> State | None:
        """The state of the journal, the worst of several; None when that was not looked for."""
        return max((each.state for each in self.journals), key=_WORSE.index)

    @property
    def lost(self) -> str:
        """What files that are not closed may lack; empty where all are."""
        if len(self.journals) == 1:
            return self.journals[0].lost
        return "; ".join(f"{each.path.name}: {each.lost}" for each in self.journals if each.lost)

    def records(self) -> Iterator[Record]:
        """Give every record in order, typed, one in memory at a time; no pandas is needed.

        Raises JournalError, with line and byte, at the first line that does not verify.
        """
        for journal in self.journals:
            with iterate(journal.path) as records:
                yield from records

    def readings(self, *, raw: bool = False) -> pd.DataFrame:
        """Return every reading, with the step and item it belongs to and its time in UTC.

        Over-range readings have NaN as `value`. `raw` adds the frames' bytes in hex, at the cost of time and memory.
        """
        return self._with_session(readings_frame(self.journals, raw=raw))

    def contacts(self) -> pd.DataFrame:
        """Return every contact of the tips, from touch to lift."""
        return self._with_session(rows_frame(self.journals, "contacts"))

    def prompts(self) -> pd.DataFrame:
        """Return all that the hands were asked for."""
        return self._with_session(rows_frame(self.journals, "prompts"))

    def words(self) -> pd.DataFrame:
        """Return all that the operator said."""
        return self._with_session(rows_frame(self.journals, "words"))

    def verdicts(self) -> pd.DataFrame:
        """Return every verdict; `stands` is False for one that a later verdict of the same item replaces."""
        return self._with_session(rows_frame(self.journals, "verdicts"))

    def _with_session(self, frame: pd.DataFrame) -> pd.DataFrame:
        first = self.session
        if first is not None and len(self.journals) == 1:
            frame.attrs = {"session": first.id, "unit": first.unit, "tag": first.tag, "start_utc": first.start_utc}
        return frame


def load(path: str | Path, *, verified: bool = True) -> Recording:
    """Open a journal, or every journal (`*.jsonl`) of a folder, for analysis.

    `verified` checks every line's checksum first and raises JournalError, with line and byte, for a damaged
    file; a file that was cut off opens, and `lost` says what it may lack. Without it a changed value would go
    unnoticed, but loading a long trace takes two thirds of the time. Either way JournalError is raised for what
    is no journal or of a newer schema, and for a folder without any.
    """
    path = Path(path)
    return Recording(path, tuple(_opened(each, verified=verified) for each in journals_in(path)))


def journals_in(path: Path) -> list[Path]:
    """Return the journals that a path stands for: itself, or those of a folder in natural order of their names."""
    if not path.is_dir():
        return [path]
    found = sorted(path.glob("*.jsonl"), key=lambda each: natural_key(each.name))
    if not found:
        raise JournalError("no journal is in this folder", where=str(path), hint="journals are named *.jsonl")
    return found


def _opened(path: Path, *, verified: bool) -> Journal:
    with iterate(path) as records:
        first = next(records, None)
    session = first if isinstance(first, SessionRecord) else None
    if first is None or not verified:
        return Journal(path, session, records.state if first is None else None, records.lost)
    return Journal(path, session, *prove(path))
