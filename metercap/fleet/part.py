"""One part of a set: written beside its place and renamed when it is whole, and read only where it is what it says.

Announcing makes the file `.KEY.part` beside the part: from then on nobody counts what stands there. Writing holds that
file, so that two programs never write one part at once; renaming it takes the announcement away with it.
"""

from __future__ import annotations

import contextlib
import os
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

import msgspec

from metercap.errors import FileProblem, UsageError
from metercap.export.parquet import schema_of
from metercap.files import lock, open_file
from metercap.fleet.schema import FOOTER, HALF, PART, PROOF, SET, SET_VERSION, Footer, Row
from metercap.history.digest import VERSION

_EMPTY = {column.name: "" for column in SET if column.type in ("word", "text")}


class Unusable(Exception):
    """A part that is not counted, and why."""


class Held(Exception):
    """Another program is writing this part."""


def arrow() -> Any:
    """Return pyarrow with what is used of it. UsageError, with the extra's name, where it is missing."""
    try:
        import pyarrow
        import pyarrow.compute
        import pyarrow.parquet
    except ImportError as error:
        raise UsageError("a data set needs pyarrow", hint="pip install 'metercap[parquet]'") from error
    return pyarrow


def half_of(path: Path) -> Path:
    """Return the file that announces that a part is to be replaced."""
    return path.with_name(f".{path.name.removesuffix(PART)}{HALF}")


def announce(path: Path) -> None:
    """Say, for whoever reads the set from now on, that what stands there is no longer right."""
    try:
        half_of(path).touch()
    except OSError as error:
        raise _unwritable(half_of(path), error) from error


@contextlib.contextmanager
def writing(path: Path) -> Iterator[BinaryIO]:
    """Hold a part; what is written is taken as the part when `keep` was called, else nothing changes.

    Raises Held where another program holds it, FileProblem where it cannot be written. Nothing written but not kept
    stays; the announcement stays where there was one, or where the part that stands was to be replaced.
    """
    half = half_of(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        file = _hold(half)
    except OSError as error:
        raise _unwritable(half, error) from error
    with file:
        try:
            yield file
        finally:
            with contextlib.suppress(OSError):
                if _same(file, half):
                    file.truncate(0)
                    if not path.exists():
                        half.unlink()


def _hold(half: Path) -> BinaryIO:
    """Open the announcement's file, making it, and hold it; somebody may have renamed or removed it meanwhile."""
    while True:
        fd = os.open(half, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
        file = os.fdopen(fd, "r+b")
        if not lock(fd):
            file.close()
            raise Held
        if _same(file, half):
            file.truncate(0)
            return file
        file.close()


def _same(file: BinaryIO, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(file.fileno()), path.stat())
    except (OSError, ValueError):  # it is gone, or closed
        return False


def keep(file: BinaryIO, path: Path) -> None:
    """Make what was written the part: on disk first, then by its name."""
    try:
        file.flush()
        os.fsync(file.fileno())
        if sys.platform == "win32":  # no file that is open is renamed there
            file.close()
        half_of(path).replace(path)
    except OSError as error:
        raise _unwritable(path, error) from error


def withdraw(path: Path) -> None:
    """Take an announcement back: what stands is right after all."""
    with contextlib.suppress(OSError):
        half_of(path).unlink()


def write(file: BinaryIO, rows: list[Row], footer: Footer) -> None:
    """Write a whole part."""
    pa = arrow()
    none = (None, msgspec.UNSET)
    plain = [{name: _EMPTY.get(name) if value in none else value for name, value in row.items()} for row in rows]
    schema = set_schema()
    # In memory first: what Ctrl-C raises inside a file's own write, Arrow takes for trouble with that file.
    sink = pa.BufferOutputStream()
    # Arrow's own schema beside Parquet's would say nothing new, in as many bytes again.
    with pa.parquet.ParquetWriter(
        sink, schema, compression="zstd", write_page_checksum=True, store_schema=False, version="2.6"
    ) as writer:
        writer.write_table(pa.Table.from_pylist(plain, schema))
        writer.add_key_value_metadata(footer.metadata)
    try:
        file.write(sink.getvalue())
    except OSError as error:
        raise _unwritable(Path(footer.path), error) from error


def set_schema() -> Any:
    """Return the types of the columns, as pyarrow has them."""
    return schema_of(arrow(), SET)


@contextlib.contextmanager
def opened(dataset: Path, relative: str) -> Iterator[tuple[Footer, Any]]:
    """Open a part that can be counted: its footer and its `ParquetFile`. Raises Unusable, with the reason."""
    path = dataset / relative
    pa = arrow()
    try:
        with open_file(path) as file:
            try:
                found = pa.parquet.ParquetFile(pa.BufferReader(file.read()), page_checksum_verification=True)
            except (pa.ArrowException, OSError, ValueError) as error:
                raise Unusable("is half-written or damaged") from error
            with found:
                footer = footer_of(found)
                if footer.path.casefold() != relative.casefold():
                    raise Unusable(f"is a copy of {footer.path}")
                if found.metadata.num_rows != footer.rows or not found.schema_arrow.equals(set_schema()):
                    raise Unusable("is damaged: not what its footer says")
                # Looked for when the part is open: what was announced before that would be missed otherwise.
                if half_of(path).exists():
                    raise Unusable("is stale: its job had changed, and its replacement was not finished")
                yield footer, found
    except OSError as error:
        raise Unusable(f"cannot be read: {error.strerror or error}") from error


def standing(dataset: Path, relative: str) -> Footer | None:
    """Return what the part that stands says, announced or not; None where there is none that can be used."""
    pa = arrow()
    try:
        with open_file(dataset / relative) as file:
            found = pa.parquet.ParquetFile(pa.BufferReader(file.read()))
            footer = footer_of(found)
    except (pa.ArrowException, OSError, ValueError, Unusable):
        return None
    return footer if footer.path == relative else None


def footer_of(found: Any) -> Footer:
    """Return a part's footer. Raises Unusable for one that is not as it was written, or by other rules."""
    metadata = found.metadata.metadata or {}
    text = metadata.get(FOOTER)
    if text is None:
        raise Unusable("is no part of this set: metercap export did not write it")
    if metadata.get(PROOF) != b"%08x" % zlib.crc32(text):
        raise Unusable("is damaged: its footer is not as it was written")
    try:
        footer = msgspec.json.decode(text, type=Footer)
    except msgspec.MsgspecError as error:
        raise Unusable(f"is of a version that this program does not know: {error}") from error
    if (footer.version, footer.rules) != (SET_VERSION, VERSION):
        raise Unusable("was written by another version, which counted otherwise: export its job again")
    return footer


def _unwritable(path: Path, error: OSError) -> FileProblem:
    hint = "choose a folder that is yours to write in, and has room"
    return FileProblem(f"cannot be written: {error.strerror or error}", where=str(path), hint=hint)
