"""Files that hold what units measured: a session's journal or a learned reference."""

from __future__ import annotations

from pathlib import Path

import msgspec

from metercap.errors import FileProblem, JournalError
from metercap.evidence import Evidence, evidence
from metercap.files import open_file
from metercap.reference.model import Reference


class Source(msgspec.Struct, frozen=True):
    """One file: a session's `evidence`, or a `learned` reference. `lost` says what a torn journal no longer has."""

    path: Path
    evidence: Evidence | None = None
    learned: Reference | None = None
    lost: str = ""

    def good(self) -> Reference:
        """Return the good units' values that it holds."""
        if self.learned is not None:
            return self.learned
        assert self.evidence is not None
        return self.evidence.reference()


def open_source(path: Path) -> Source:
    """Read a file; FileProblem when it cannot be read, is neither, is damaged or of a newer schema."""
    from metercap.journal.format import FIRST

    try:
        with open_file(path) as file:
            head = file.read(len(FIRST))
    except OSError as error:
        raise FileProblem(f"cannot be read: {error.strerror or error}", where=str(path)) from error
    return _session(path) if head == FIRST[: len(head)] else _learned(path)


def _session(path: Path) -> Source:
    from metercap.journal import iterate

    with iterate(path) as records:
        try:
            found = evidence(records)
        except JournalError as error:
            raise JournalError(error.what, where=error.where or str(path), hint=error.hint) from error
        return Source(path, evidence=found, lost="" if records.state == "closed" else records.lost)


def _learned(path: Path) -> Source:
    from metercap.reference.file import LARGEST, decode

    with open_file(path) as file:
        data = file.read(LARGEST + 1)
    if len(data) > LARGEST:
        raise FileProblem(f"longer than {LARGEST} bytes, which no reference is", where=str(path))
    return Source(path, learned=decode(data, str(path)))
