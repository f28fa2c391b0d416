"""One journal, read once in bounded memory: the file itself, what it proves, and what pictures are drawn from."""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Iterator
from pathlib import Path

import msgspec

from metercap.errors import JournalError
from metercap.evidence import Evidence
from metercap.files import open_file
from metercap.journal import State, iterate
from metercap.records import Record
from metercap.report.gather import Gathered
from metercap.session import opening


class FileFacts(msgspec.Struct, frozen=True):
    """The journal as it was read: `sha256` of all its `bytes`; `lost` says what a file that is not closed may lack."""

    name: str
    bytes: int
    sha256: str
    state: State
    lost: str


class Sitting(msgspec.Struct, frozen=True):
    """A journal that was read: the file, what it proves, and all else that was gathered of it."""

    file: FileFacts
    evidence: Evidence
    gathered: Gathered


def sit(path: Path, *, damaged: bool = False) -> Sitting:
    """Read a journal once. Raises JournalError for a damaged file or one without a session, PlanError for its plan.

    With `damaged` what stands before a damage is taken, and the file's facts name it.
    """
    reading = _Reading(path, damaged)
    gathered = Gathered()
    try:
        records = reading.records()
        evidence = gathered.take(itertools.chain([opening(records)], records))
    except JournalError as error:
        raise JournalError(error.what, where=error.where or str(path), hint=error.hint) from error
    return Sitting(reading.facts(), evidence, gathered)


class _Reading:
    """The records of one file, and what there is to say of the file when they were taken."""

    def __init__(self, path: Path, damaged: bool) -> None:
        self._path = path
        self._damaged = damaged
        self._digest = hashlib.sha256()
        self._bytes = 0
        self._state: State = "closed"
        self._lost = ""

    def records(self) -> Iterator[Record]:
        """Yield every record, up to the damage where there is one."""
        with iterate(self._path) as records:
            try:
                for record in records:
                    self._digest.update(records.line)
                    yield record
            except JournalError as error:
                if not self._damaged:
                    raise
                self._state, self._lost = "damaged", str(error.what)
                return
            self._digest.update(records.line)  # of a torn file its tail
            self._bytes, self._state, self._lost = records.byte + len(records.line), records.state, records.lost

    def facts(self) -> FileFacts:
        """Return the file's facts; a damaged one is hashed by itself, since its lines end where it is damaged."""
        if self._state != "damaged":
            return FileFacts(self._path.name, self._bytes, self._digest.hexdigest(), self._state, self._lost)
        with open_file(self._path) as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
            return FileFacts(self._path.name, file.tell(), digest, "damaged", self._lost)
