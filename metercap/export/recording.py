"""A journal as `metercap.load` gives it: its session, its state, and its tables."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from metercap.export.frame import readings_frame, verdicts_frame
from metercap.journal import State, iterate, prove
from metercap.records import SessionRecord

if TYPE_CHECKING:
    import pandas as pd


class Recording:
    """One journal, opened for analysis.

    `session`: its first record, with unit, plan and meter; None when the file was cut off inside it. `state`: "closed",
    "unclosed" or "torn"; None when that was not looked for. `lost`: what a file that is not closed may lack.
    """

    def __init__(self, path: Path, session: SessionRecord | None, state: State | None, lost: str) -> None:
        self.path = path
        self.session = session
        self.state = state
        self.lost = lost

    def __repr__(self) -> str:
        unit = self.session.unit if self.session else "no session"
        return f"<metercap recording of {unit!r}, {self.state or 'not verified'}: {self.path}>"

    def readings(self, *, raw: bool = False) -> pd.DataFrame:
        """Return every reading as a DataFrame; its columns are in `metercap.export.schema`.

        Over-range readings have NaN as `value`. `raw` adds the frames' bytes in hex, at the cost of time and
        memory. Needs pandas: UsageError without. Raises JournalError for an unverified file with lines that
        cannot be decoded.
        """
        return self._with_session(readings_frame(self.path, raw=raw))

    def verdicts(self) -> pd.DataFrame:
        """Return every verdict as a DataFrame, replaced ones with `stands` False; otherwise as `readings`."""
        return self._with_session(verdicts_frame(self.path))

    def _with_session(self, frame: pd.DataFrame) -> pd.DataFrame:
        if self.session is not None:
            first = self.session
            frame.attrs = {"session": first.id, "unit": first.unit, "tag": first.tag, "start_utc": first.start_utc}
        return frame


def load(path: str | Path, *, verified: bool = True) -> Recording:
    """Open a journal for analysis.

    `verified` checks every line's checksum first and raises JournalError, with line and byte, for a damaged
    file; a file that was cut off opens, and `lost` says what it may lack. Without it a changed value would go
    unnoticed, but loading a long trace takes about half the time. Either way JournalError is raised for what
    is no journal or of a newer schema.
    """
    path = Path(path)
    with iterate(path) as records:
        first = next(records, None)
    session = first if isinstance(first, SessionRecord) else None
    if first is None or not verified:
        state = records.state if first is None else None
        return Recording(path, session, state, records.lost)
    return Recording(path, session, *prove(path))
