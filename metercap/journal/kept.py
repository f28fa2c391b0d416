"""A journal's records as a sequence that stays in its file: a place each in memory, decoded when asked for.

A day at ten readings a second is 864 000 records: 7 MB of places, where the records themselves take half a gigabyte.
"""

from __future__ import annotations

import contextlib
from array import array
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import overload

from metercap.errors import JournalError
from metercap.journal.reader import iterate, open_journal, read_line
from metercap.records import Record, Verdict, decode


class Kept(Sequence[Record]):
    """The good records of a journal, up to its end or to the first damage, as `read` gives them.

    `verdicts` are the indices of the verdicts. Raises JournalError as `read` does.
    """

    def __init__(self, path: str | Path) -> None:
        self._places = array("Q")
        self.verdicts = array("Q")
        with iterate(path) as records:
            try:
                for record in records:
                    if type(record) is Verdict:
                        self.verdicts.append(len(self._places))
                    self._places.append(records.byte)
            except JournalError:
                if records.state != "damaged" or records.refused:
                    raise
        self._path = Path(path)
        self._file = open_journal(self._path)

    def close(self) -> None:
        """Give the file back."""
        with contextlib.suppress(OSError):
            self._file.close()

    def __enter__(self) -> Kept:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __len__(self) -> int:
        return len(self._places)

    @overload
    def __getitem__(self, index: int) -> Record: ...

    @overload
    def __getitem__(self, index: slice) -> list[Record]: ...

    def __getitem__(self, index: int | slice) -> Record | list[Record]:
        if isinstance(index, slice):
            return [self[n] for n in range(*index.indices(len(self)))]
        self._file.seek(self._places[index])
        return decode(read_line(self._file, self._path))

    def __iter__(self) -> Iterator[Record]:
        for n in range(len(self)):
            yield self[n]
