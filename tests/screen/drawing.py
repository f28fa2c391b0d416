"""A terminal that draws pictures: it answers what it is asked, and letters wipe out the pixels of their cells.

Its reading of sixel is its own, after the description in DEC STD 070 (from memory), not the program's.
"""

from __future__ import annotations

import os
import re
import time
from typing import Any

import pyte
from PIL import Image

from tests.screen.terminal import WAIT_S, Terminal

CELL_W, CELL_H = 10, 20
ATTRIBUTES, WITHOUT = b"\x1b[?64;1;2;4;6;9;15;16;17;18;21;22;28c", b"\x1b[?64;1;2;6;9;15;22c"
CELL, AREA, COLOURS = b"\x1b[6;20;10t", b"\x1b[4;%d;%dt", b"\x1b[?1;0;256S"
_PICTURE = re.compile(rb"\x1bP(.*?)\x1b\\", re.DOTALL)
_PART = re.compile(rb'"[\d;]*|#[\d;]+|!\d+.|.', re.DOTALL)
CLEAR = (0, 0, 0, 0)


class Emulator(pyte.Screen):
    """Letters, and a sheet of pixels on them."""

    def __init__(self, columns: int, rows: int) -> None:
        self.sheet = Image.new("RGBA", (columns * CELL_W, rows * CELL_H), CLEAR)
        super().__init__(columns, rows)

    def draw(self, data: str) -> None:
        """Letters wipe out the pixels of their cells."""
        x, y = self.cursor.x, self.cursor.y
        super().draw(data)
        end = self.cursor.x if self.cursor.x > x else self.columns
        self.sheet.paste(CLEAR, (x * CELL_W, y * CELL_H, end * CELL_W, (y + 1) * CELL_H))

    def erase_in_display(self, how: int = 0, *args: Any, **more: Any) -> None:
        """All is wiped out."""
        super().erase_in_display(how, *args, **more)
        self.sheet.paste(CLEAR, (0, 0, *self.sheet.size))

    def picture(self, body: bytes) -> None:
        """Draw sixels at the cursor."""
        parameters, _, text = body.partition(b"q")
        assert parameters == b"0;1;0", "pixels of no colour stay as they are"
        left, top = self.cursor.x * CELL_W, self.cursor.y * CELL_H
        x, y, times, ink = left, top, 1, (0, 0, 0)
        inks: dict[int, tuple[int, int, int]] = {}
        pixels = self.sheet.load()
        assert pixels is not None
        for part in _PART.findall(text):
            first = part[:1]
            if first == b'"':
                shape = [int(each) for each in part[1:].split(b";")]
                assert shape[:2] == [1, 1] and shape[3] <= CELL_H and left + shape[2] <= self.sheet.width
            elif first == b"#":
                number, *rest = (int(each) for each in part[1:].split(b";"))
                if rest:
                    assert rest[0] == 2 and all(0 <= each <= 100 for each in rest[1:])
                    inks[number] = (round(rest[1] * 2.55), round(rest[2] * 2.55), round(rest[3] * 2.55))
                ink = inks[number]
            elif first == b"$":
                x = left
            elif first == b"-":
                x, y = left, y + 6
            else:
                times, char = (int(part[1:-1]), part[-1]) if first == b"!" else (1, part[0])
                assert 63 <= char <= 126, part
                for _ in range(times):
                    for bit in range(6):
                        if (char - 63) >> bit & 1:
                            pixels[x, y + bit] = (*ink, 255)
                    x += 1


class Drawing(Terminal):
    """The terminal. `says` is what it answers to each question, `late_s` how long it takes for that.

    `pictures` counts those that were sent, each a row of cells; `sent` counts their bytes.
    """

    emulator = Emulator

    def __init__(
        self,
        arguments: list[str],
        columns: int = 120,
        rows: int = 36,
        says: dict[bytes, bytes] | None = None,
        late_s: float = 0.0,
        **environ: str,
    ) -> None:
        self.pictures, self.sent, self.rows_sent_now = 0, 0, 0
        self.asked: list[bytes] = []
        self._rest = b""
        self._late_s = late_s
        self._due: list[tuple[float, bytes]] = []
        usual = {b"\x1b[c": ATTRIBUTES, b"\x1b[16t": CELL, b"\x1b[14t": AREA % (rows * CELL_H, columns * CELL_W)}
        self._says = {**usual, b"\x1b[?1;1;0S": COLOURS} if says is None else says
        super().__init__(arguments, columns, rows, True, **environ)

    def read(self, wait_s: float) -> None:
        before = self.pictures
        super().read(wait_s)
        self.rows_sent_now = self.pictures - before
        now_s = time.monotonic()
        for due in [each for each in self._due if each[0] <= now_s]:
            self._due.remove(due)
            os.write(self.master, due[1])

    def take(self, data: bytes) -> None:
        text = self._rest + data
        # What is begun and not whole yet waits for the rest.
        cut = text.rfind(b"\x1bP") if text.rfind(b"\x1bP") > text.rfind(b"\x1b\\") else len(text)
        text, self._rest = text[:cut], text[cut:]
        for at, piece in enumerate(_PICTURE.split(text)):
            if at % 2:
                self.pictures, self.sent = self.pictures + 1, self.sent + len(piece) + 4
                assert isinstance(self.screen, Emulator)
                self.screen.picture(piece)
                continue
            for question in (b"\x1b[c", b"\x1b[16t", b"\x1b[14t", b"\x1b[?1;1;0S"):
                if question in piece:
                    self.asked.append(question)
                    if question in self._says:
                        self._due.append((time.monotonic() + self._late_s, self._says[question]))
                    piece = piece.replace(question, b"")
            super().take(piece)

    def read_for(self, seconds: float) -> None:
        """Read for so long, answering meanwhile."""
        end_s = time.monotonic() + seconds
        while time.monotonic() < end_s:
            self.read(0.05)

    def resize(self, columns: int, rows: int) -> None:
        """Let the window have another size; all is wiped out."""
        assert isinstance(self.screen, Emulator)
        self.screen.resize(rows, columns)
        self.screen.sheet = Image.new("RGBA", (columns * CELL_W, rows * CELL_H), CLEAR)

    @property
    def sheet(self) -> Image.Image:
        """The pixels, clear where there is no picture."""
        assert isinstance(self.screen, Emulator)
        return self.screen.sheet

    @property
    def box(self) -> tuple[int, int, int, int] | None:
        """What the picture covers, in pixels."""
        return self.sheet.getchannel("A").getbbox()

    @property
    def whole(self) -> bool:
        """Whether there is a picture without a hole."""
        box = self.box
        return box is not None and self.sheet.crop(box).getchannel("A").getextrema() == (255, 255)

    def ink(self, colour: tuple[int, int, int]) -> int:
        """How many pixels have that colour, within the percent that sixel counts in."""
        found = self.sheet.getcolors(1 << 24) or []
        near = ((n, ink[:3]) for n, ink in found if ink[3])
        return sum(n for n, ink in near if all(abs(a - b) < 3 for a, b in zip(ink, colour, strict=True)))

    def wait(self, true: Any, what: str) -> None:
        """Read until it is so."""
        end_s = time.monotonic() + WAIT_S
        while not true():
            assert time.monotonic() < end_s and self.process.poll() is None, f"not {what}\n{self.text}"
            self.read(0.05)
