"""A second copy of the journal being written, where no other program finds it.

What a file that was cut is made anew from: a nameless temporary file, compressed. It needs no promise to the power,
since it only stands in for the journal while this program runs. Where there is no room for it the journal does without.
"""

from __future__ import annotations

import contextlib
import tempfile
import zlib
from collections.abc import Iterator
from typing import IO

_LEVEL = 1
_CHUNK = 1 << 16


class Spool:
    """Takes lines with `add`, and gives them all back with `bytes_so_far`. `whole` is False once it could not."""

    def __init__(self) -> None:
        self.whole = True
        self._file: IO[bytes] | None = None
        self._packer = zlib.compressobj(_LEVEL)
        try:
            self._file = tempfile.TemporaryFile(prefix="metercap-")  # noqa: SIM115 - closed by `close`
        except OSError:
            self.whole = False

    def add(self, line: bytes) -> None:
        """Keep a line."""
        if self._file is None or not self.whole:
            return
        try:
            if packed := self._packer.compress(line):
                self._file.write(packed)
        except OSError:
            self.whole = False

    def bytes_so_far(self) -> Iterator[bytes]:
        """Yield all that was kept, in order, in pieces. Raises OSError where it cannot be read back."""
        file = self._file
        if file is None or not self.whole:
            raise OSError("no second copy is kept")
        try:
            file.write(self._packer.flush(zlib.Z_SYNC_FLUSH))
            file.flush()
            file.seek(0)
            unpacker = zlib.decompressobj()
            while packed := file.read(_CHUNK):
                while packed:
                    yield unpacker.decompress(packed, _CHUNK)
                    packed = unpacker.unconsumed_tail
            file.seek(0, 2)
        except (OSError, zlib.error) as error:
            self.whole = False
            raise OSError(f"the second copy cannot be read: {error}") from error

    def close(self) -> None:
        """Give the file back."""
        if self._file is not None:
            with contextlib.suppress(OSError):
                self._file.close()
            self._file = None
            self.whole = False
