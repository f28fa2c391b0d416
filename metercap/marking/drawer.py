"""What of a marking is on disk while it goes on: a folder beside the plan with the draft and its pictures, held by one.

The draft is on disk before a move is answered. The system lets go of the lock however the program ends.
"""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from pathlib import Path

import msgspec

from metercap.errors import FileProblem, UsageError
from metercap.marking.draft import Draft
from metercap.marking.saving import put
from metercap.pictures import beside, read, sha256

DRAFT = "draft.json"
HELD = "held"
LARGEST = 1 << 24
"""Bytes of a draft; one of a plan with as many items as a plan takes has a third."""
TRIES = 20
_TAKEN = (errno.EACCES, errno.EAGAIN, errno.EWOULDBLOCK, errno.EDEADLK)


class Kept(msgspec.Struct, frozen=True):
    """What the draft's file holds: the hash of the plan it was made from, and the draft."""

    plan: str
    draft: Draft


class Drawer:
    """The folder of one plan's marking. UsageError where another program has it."""

    def __init__(self, plan: Path) -> None:
        self._plan = plan
        real = plan.resolve()
        self.folder = real.with_name(f".{real.name}.marks")
        self._fd = self._hold()

    def close(self) -> None:
        """Let go; a folder without a draft goes."""
        if self._fd < 0:
            return
        held = self.folder / HELD
        empty = not self.full
        if empty:
            self.clear()
            if sys.platform != "win32":  # while it is still held: afterwards it may be somebody else's
                held.unlink(missing_ok=True)
        os.close(self._fd)
        self._fd = -1
        if empty:
            with contextlib.suppress(OSError):
                if sys.platform == "win32":  # which takes nothing away that is open
                    held.unlink(missing_ok=True)
                self.folder.rmdir()

    @property
    def full(self) -> bool:
        """Whether a draft lies there."""
        return (self.folder / DRAFT).exists()

    def keep(self, kept: Kept) -> None:
        """Write the draft, whole or not at all. FileProblem where that cannot be."""
        put(self.folder / DRAFT, msgspec.json.encode(kept))

    def kept(self) -> Kept | None:
        """Return the draft that lies there. FileProblem for one that cannot be read."""
        path = self.folder / DRAFT
        if not self.full:
            return None
        try:
            with path.open("rb") as file:
                data = file.read(LARGEST + 1)
            return msgspec.json.decode(data, type=Kept)
        except (OSError, msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
            hint = f"remove the folder {self.folder.name} to begin anew"
            raise FileProblem(f"the draft cannot be read: {error}", where=str(path), hint=hint) from error

    def clear(self) -> None:
        """Throw the draft and its pictures away."""
        for path in sorted(self.folder.glob("*")):
            if path.name != HELD:
                with contextlib.suppress(OSError):
                    path.unlink()

    def add(self, data: bytes) -> str:
        """Keep a picture and return its hash. FileProblem where that cannot be."""
        sha = sha256(data)
        path = self.folder / f"{sha}.jpg"
        if not path.exists():
            put(path, data)
        return sha

    def picture(self, sha: str, file: str) -> bytes:
        """Return a picture by its hash: one kept here, or the plan's own `file`. FileProblem where neither is it."""
        path = self.folder / f"{sha}.jpg"
        data = read(path if path.is_file() else beside(self._plan.parent, file))
        if sha256(data) != sha:
            raise FileProblem("is another picture than a moment ago", where=file or path.name)
        return data

    def _hold(self) -> int:
        path = self.folder / HELD
        for _ in range(TRIES):
            try:
                self.folder.mkdir(exist_ok=True)
                fd = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
            except FileNotFoundError:  # who ends takes the folder away
                continue
            except OSError as error:
                why = f"marks cannot be kept beside the plan: {error.strerror or error}"
                hint = "copy the plan into a folder of your own, and mark it there"
                raise FileProblem(why, where=str(self.folder), hint=hint) from error
            try:
                _lock(fd)
            except OSError as error:
                if error.errno in _TAKEN:
                    os.close(fd)
                    break
            with contextlib.suppress(OSError):
                if os.path.samestat(os.fstat(fd), path.stat()):
                    return fd
            os.close(fd)  # what is locked was taken away in between, and holds nobody off
        hint = "go on in its page, or end it first"
        raise UsageError("another program is marking this plan", where=str(self._plan), hint=hint)


def _lock(fd: int) -> None:
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
