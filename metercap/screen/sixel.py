"""Sixel: pixels as text that a terminal draws (DEC STD 070, sixel graphics; from memory). Pure.

Six rows of pixels make a band. For each colour of a band one pass says, column by column, which of the six have it:
a character from "?" on, the uppermost pixel its lowest bit. "$" goes back to the band's first column for the next
colour, "-" goes to the next band, "!n" repeats a character n times.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

Colour = tuple[int, int, int]
"""Red, green and blue, 0 to 255."""

BAND = 6
_FIRST = 0x3F
_BEGIN, _END = b"\x1bP0;1;0q", b"\x1b\\"
"""What no colour is given for is left as it was."""
_LIFTED = bytes(range(_FIRST, 256)) + bytes(_FIRST)
_RUN = re.compile(rb"(.)\1{3,}", re.DOTALL)


def sixel(pixels: bytes, width: int, palette: Sequence[Colour]) -> bytes:
    """Return the sequence that draws `pixels`, rows of `width` numbers of a colour in `palette`, from the cursor on."""
    height = len(pixels) // width
    used = sorted(set(pixels))
    parts = [_BEGIN, b'"1;1;%d;%d' % (width, height)]
    parts += [b"#%d;2;%d;%d;%d" % (n, *(round(each * 100 / 255) for each in palette[n])) for n in used]
    bands = []
    for top in range(0, height, BAND):
        rows = [pixels[y * width : (y + 1) * width] for y in range(top, min(top + BAND, height))]
        passes = [b"#%d" % n + _pass(rows, n, width) for n in sorted(set(b"".join(rows)))]
        bands.append(b"$".join(passes))
    return b"".join([*parts, b"-".join(bands), _END])


def _pass(rows: Sequence[bytes], number: int, width: int) -> bytes:
    """One colour of one band: each row becomes its bit, and the rows are laid on one another as one large number."""
    bits = 0
    for at, row in enumerate(rows):
        table = bytearray(256)
        table[number] = 1 << at
        bits |= int.from_bytes(row.translate(bytes(table)), "big")
    columns = bits.to_bytes(width, "big").rstrip(b"\0").translate(_LIFTED)
    return _RUN.sub(lambda run: b"!%d%c" % (len(run[0]), run[0][0]), columns)
