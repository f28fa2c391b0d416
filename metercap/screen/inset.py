"""The inset: the board's picture beside the answer, in a terminal that can show one.

The library under the screen knows letters only. So a box of cells is left blank, and the picture is sent after the
letters, each row of cells as a piece of its own. What the library wrote over is known from what it displays, and only
those rows are sent again. Letters never wait for more than a few rows: they are sent while little waits for the
terminal, the rest a moment later. A thread reads, draws and codes; the newest wish replaces the one that waits.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

import msgspec

from metercap.errors import MetercapError
from metercap.pictures import flat, matching, opened
from metercap.screen.answers import FIRST, SIZES, THEN, Answers
from metercap.screen.model import Face
from metercap.screen.paint import Box, room_beside
from metercap.screen.sixel import sixel
from metercap.view import Board, Sheet

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_WAITING = 8192
"""Bytes that may wait for the terminal when a row of the picture is sent."""
MORE_S = 0.005
STALE_S = 0.3
"""So long a picture stays when another one is wanted: a lit point that is not the next one is a wrong one."""
PATIENCE_S = 10.0
"""So long a broken answer is waited for; whole ones are known as such for ever."""
MOST_SIDE = 1600
"""Pixels of a picture's longer side that are kept."""


class Port(Protocol):
    """The terminal. Until `await_until_s`, on the monotonic clock, the rest of a broken answer is waited for."""

    await_until_s: float

    def write(self, data: str) -> None:
        """Send text."""
        ...

    @property
    def waiting(self) -> int:
        """Return how many bytes wait."""
        ...


class Wish(msgspec.Struct, frozen=True):
    """A picture that is wanted: of what, and in how many cells of how many pixels, and colours."""

    board: Board
    columns: int
    rows: int
    cell: tuple[int, int]
    colours: int
    grey: bool


class Drawn(NamedTuple):
    """A wish and its rows; none where it cannot be drawn."""

    wish: Wish
    rows: tuple[str, ...]


class Inset:
    """The picture's place on the screen, for the screen's own thread.

    `folders` is where the plan's pictures may lie. `changed` is called, from whatever thread, when the screen should be
    looked at again; `later` calls something in the screen's thread after so many seconds.
    """

    def __init__(
        self,
        port: Port,
        folders: Sequence[Path],
        changed: Callable[[], None],
        later: Callable[[float, Callable[[], None]], object],
    ) -> None:
        self._port = port
        self._changed = changed
        self._later = later
        self._answers = Answers()
        self._asked = False
        self._window = (0, 0)
        self._studio = Studio(folders, changed)
        self._box: Box | None = None
        self._wish: Wish | None = None
        self._wished_s = 0.0
        self._shown: Drawn | None = None
        self._unsent: set[int] = set()
        self._sending = False

    def close(self) -> None:
        """The screen ends."""
        self._studio.close()

    # --- what the terminal says

    def hear(self, key: str) -> None:
        """Take an answer of the terminal, whenever it comes."""
        before = self._answers.sixel
        self._answers.hear(key)
        if self._answers.sixel and not before:
            self._await()
            self._port.write(THEN)
        elif not self._answers.sixel or self._answers.complete:
            self._port.await_until_s = 0.0
        self._changed()

    def resized(self, columns: int, rows: int) -> None:
        """Ask again how large the cells are, where the window is another one."""
        before, self._window = self._window, (columns, rows)
        if self._answers.sixel and before != self._window:
            self._answers.resized()
            self._port.write(SIZES)

    def _await(self) -> None:
        self._port.await_until_s = time.monotonic() + PATIENCE_S

    # --- what is wanted

    def why(self, board: Board | None) -> str:
        """Return why a board's picture cannot be shown where it could be; "" where it can, as far as is known."""
        return "" if board is None or board.shows is None else self._studio.failed.get(board.pictures[board.shows], "")

    def room(self, face: Face, board: Board | None, columns: int, rows: int) -> Box | None:
        """Return the cells that the picture of a board takes beside the answer, None where there is none.

        The terminal is asked as soon as there is something to show.
        """
        if board is None or board.next is None or self.why(board):
            return None
        if not self._asked:
            self._asked = True
            self._await()
            self._port.write(FIRST)
        cell = self._answers.cell(columns, rows)
        return None if cell is None else room_beside(face, columns, rows, cell)

    def show(self, board: Board | None, box: Box | None, *, grey: bool) -> Box | None:
        """Want the neighbourhood of the board's next point in a box, or nothing; return cells to be written blank."""
        wish = None
        if board is not None and box is not None:
            wish = Wish(board, box.columns, box.rows, box.cell, self._answers.colours, grey)
        gone = None
        if wish is None or box != self._box:
            gone = self._drop()
        self._box = box
        if wish != self._wish:
            self._wish, self._wished_s = wish, time.monotonic()
            if wish is not None:
                self._studio.want(wish)
                self._later(STALE_S, self._changed)
        done = self._studio.done
        if wish is not None and done is not None and done.wish == wish:
            if done is not self._shown:
                gone = gone or (self._drop() if not done.rows else None)
                self._shown, self._unsent = done, set(range(len(done.rows)))
        elif self._shown is not None and time.monotonic() - self._wished_s >= STALE_S:
            gone = self._drop()
        return gone

    def _drop(self) -> Box | None:
        """Let the picture on the screen go; return its cells."""
        gone = self._box if self._shown is not None and self._shown.rows else None
        self._shown = None
        self._unsent.clear()
        return gone

    # --- what is sent

    def painted(self, update: Any) -> None:
        """Take what the library has just displayed: rows that it wrote over are sent again, whatever else waits."""
        box = self._box
        if update is None or box is None or self._shown is None or not self._shown.rows:
            return
        spans = getattr(update, "spans", None)
        if spans is None:
            self._unsent.update(range(box.rows))
        else:
            over = {y - box.y for y, from_x, to_x in spans if to_x > box.x and from_x < box.x + box.columns}
            self._unsent.update(over & set(range(box.rows)))

    @property
    def unsent(self) -> bool:
        """Whether rows wait to be sent."""
        return bool(self._unsent)

    def send(self) -> None:
        """Send rows while little waits for the terminal, and the rest a moment later."""
        box, shown = self._box, self._shown
        while self._unsent and box is not None and shown is not None and self._port.waiting < MOST_WAITING:
            row = min(self._unsent)
            self._unsent.discard(row)
            self._port.write(f"\x1b[{box.y + row + 1};{box.x + 1}H{shown.rows[row]}")
        if self._unsent and not self._sending:
            self._sending = True
            self._later(MORE_S, self._more)

    def _more(self) -> None:
        self._sending = False
        self.send()


class Studio:
    """Reads, draws and codes pictures in a thread of its own.

    `done` is the last wish that came true, or did not; `failed` says why of pictures that cannot be shown.
    """

    def __init__(self, folders: Sequence[Path], changed: Callable[[], None]) -> None:
        self.done: Drawn | None = None
        self.failed: dict[Sheet, str] = {}
        self._folders = folders
        self._changed = changed
        self._wish: Wish | None = None
        self._kept: tuple[Sheet, Image] | None = None
        self._wake = threading.Event()
        self._over = False
        self._thread: threading.Thread | None = None

    def want(self, wish: Wish) -> None:
        """Draw this next; what was wanted before and is not begun is forgotten."""
        self._wish = wish
        self._wake.set()
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="pictures", daemon=True)
            self._thread.start()

    def close(self) -> None:
        """Draw no more."""
        self._over = True
        self._wake.set()

    def _run(self) -> None:
        while True:
            self._wake.wait()
            self._wake.clear()
            if self._over:
                return
            wish = self._wish
            if wish is not None:
                self.done = self._draw(wish)
                self._changed()

    def _draw(self, wish: Wish) -> Drawn:
        from metercap.screen.patch import draw

        assert wish.board.shows is not None
        sheet = wish.board.pictures[wish.board.shows]
        width, high = wish.columns * wish.cell[0], wish.cell[1]
        patch = None
        try:
            picture = self._picture(sheet)
            patch = draw(picture, wish.board, width, wish.rows * high, wish.colours, grey=wish.grey)
        except MetercapError as error:
            self.failed[sheet] = error.what
        except Exception as error:  # a defect here must not cost the screen
            self.failed[sheet] = f"cannot be drawn ({type(error).__name__})"
        if patch is None:
            return Drawn(wish, ())
        size = width * high
        rows = (patch.pixels[at * size : (at + 1) * size] for at in range(wish.rows))
        return Drawn(wish, tuple(sixel(row, width, patch.palette).decode("ascii") for row in rows))

    def _picture(self, sheet: Sheet) -> Image:
        if self._kept is None or self._kept[0] != sheet:
            path = Path(sheet.file)
            data = matching(sheet.file, sheet.sha256, self._folders)
            self._kept = sheet, flat(opened(data, path, MOST_SIDE), path, MOST_SIDE, upright=False)
        return self._kept[1]
