"""The columns of a data set, and what its files are called.

    DATASET/_dataset.json                                  what the folder is
    DATASET/for_model=GC-8/month=2026-11/KEY.parquet       one part a job; KEY is made of its first session's id
    DATASET/for_model=GC-8/month=2026-11/.KEY.part         what stands there is no longer what its job says

A part is announced before it is replaced, written under the announcement's name and renamed when it is whole. So a
part beside such a file is stale, whatever stopped its replacement. A part says in its footer (`metercap.part`) which
journals it was made of, by size and SHA-256. Every page has Parquet's own checksum. The folders are for whoever reads
a part of the set only: all they say is in the columns too.
"""

from __future__ import annotations

import zlib
from pathlib import Path
from typing import Any, TypeAlias

import msgspec

from metercap.errors import FileProblem
from metercap.export.schema import FRAMES, Column
from metercap.files import open_file
from metercap.history.digest import VERSION

SET_VERSION = 1
"""Of the columns and the footer: a set of another one is refused."""
MARK = "_dataset.json"
"""Readers of such sets pass over what begins with _ or a dot."""
PART = ".parquet"
HALF = ".part"
FOOTER = b"metercap.part"
PROOF = b"metercap.crc32"

Row: TypeAlias = dict[str, Any]

SET: tuple[Column, ...] = (
    *FRAMES["verdicts"],
    Column("job", "word", "the job's title"),
    Column("folder", "word", "the job's folder, below the bench's"),
    Column("bench", "word", "where it was measured, as said at the export"),
    Column("day", "word", "local date of the session's start, ISO 8601; empty where its clock cannot be right"),
    Column("identity", "word", "what the meter calls itself; empty where it says nothing"),
    Column("aspect", "word", "which of a trimmer's values: as found, as left; empty for everything else"),
    Column("how", "word", "what is connected and where the tips are, as the plan says; of counted rows"),
    Column("counted", "truth", "true where a history counts it: an item's last verdict in its session, or as found"),
    Column("measured", "number", "the settled value, in `unit`, that is held against others; none where there is none"),
)
"""One row a verdict, and one a trimmer's value as found, whose `verdict` is empty. `model` is the plan's title where it
names none."""


class SetMark(msgspec.Struct, frozen=True):
    """What `_dataset.json` says."""

    metercap_set: int
    table: str = "verdicts"


class Source(msgspec.Struct, frozen=True):
    """One journal of a part: its file (`size` in bytes, `sha256`) and session; by what, when and how long it measured.

    `whole`: it holds a session that a history counts.
    """

    journal: str
    size: int
    sha256: str
    session: str = ""
    meter: str = ""
    day: str = ""
    last_s: float = 0.0
    finished: bool = False
    whole: bool = False


class Footer(msgspec.Struct, frozen=True):
    """What a part says of itself: its `path` in the set, how many `rows` it has, `rules` is the version of what counts.

    `place` stands for the job's own folder on its machine; `lost`: what its journals may lack, and `undated` whose
    day is not believed, as told when it was made.
    """

    path: str
    rows: int
    job: str
    folder: str
    bench: str
    place: str
    sources: tuple[Source, ...]
    lost: tuple[str, ...] = ()
    undated: tuple[str, ...] = ()
    version: int = SET_VERSION
    rules: int = VERSION

    @property
    def sums(self) -> tuple[tuple[str, int, str], ...]:
        """Name, size and SHA-256 of each journal."""
        return tuple((each.journal, each.size, each.sha256) for each in self.sources)

    @property
    def metadata(self) -> dict[bytes, bytes]:
        """How it stands in the file."""
        text = msgspec.json.encode(self)
        return {FOOTER: text, PROOF: b"%08x" % zlib.crc32(text)}


def is_set(path: Path) -> bool:
    """Return whether a path is a data set's folder."""
    try:
        return (path / MARK).is_file()
    except (OSError, ValueError):
        return False


def open_set(path: Path) -> None:
    """Make sure that this program knows the set. FileProblem where it does not."""
    try:
        with open_file(path / MARK) as file:
            mark = msgspec.json.decode(file.read(1 << 16), type=SetMark)
    except OSError as error:
        raise FileProblem(f"cannot be read: {error.strerror or error}", where=str(path / MARK)) from error
    except msgspec.MsgspecError as error:
        hint = "metercap export JOBS --to DATASET/ makes one"
        raise FileProblem(f"does not say what set this is: {error}", where=str(path / MARK), hint=hint) from error
    if mark.metercap_set != SET_VERSION or mark.table != "verdicts":
        what = f"a set of version {mark.metercap_set}, and this program knows {SET_VERSION}"
        raise FileProblem(what, where=str(path), hint="export the jobs to a new set")
