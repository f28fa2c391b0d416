"""The stored picture of a board: a photograph drawn anew, upright, no larger than needed, turned and cut as asked."""

from __future__ import annotations

import io
from pathlib import Path

from metercap.marking.spots import WHOLE, Box
from metercap.pictures import UPLOADED, clean, flat, opened

LONG_SIDE = 2400
"""Pixels: a board of 20 cm at twelve a millimetre, on which the smallest chip fuse (IEC 60127-4) is a dozen wide."""
QUALITY = 88
LEAST_SIDE = 64
"""Pixels: what is smaller shows no board."""
TURNS = {1: "ROTATE_270", 2: "ROTATE_180", 3: "ROTATE_90"}
"""The library's turns go the other way round."""


def taken(data: bytes, name: str) -> tuple[bytes, int, int]:
    """Return an uploaded photograph as JPEG with its size; nothing else that its file held. FileProblem for none."""
    return clean(data, Path(name), LONG_SIDE, upright=True, formats=UPLOADED, quality=QUALITY)


def size(data: bytes, name: str) -> tuple[int, int]:
    """Return a stored picture's width and height. FileProblem for what is none."""
    return opened(data, Path(name)).size


def drawn(data: bytes, name: str, quarters: int, box: Box) -> tuple[bytes, int, int]:
    """Return a picture turned clockwise by quarters and then cut; as it is where neither is asked."""
    from PIL import Image

    if quarters % 4 == 0 and box == WHOLE:
        return data, *size(data, name)
    picture = flat(opened(data, Path(name)), Path(name), 2 * LONG_SIDE, upright=False)
    if quarters % 4:
        picture = picture.transpose(Image.Transpose[TURNS[quarters % 4]])
    left, top, right, bottom = box
    width, height = picture.size
    picture = picture.crop((round(left * width), round(top * height), round(right * width), round(bottom * height)))
    if min(picture.size) < LEAST_SIDE:
        raise ValueError(f"what is left is smaller than {LEAST_SIDE} pixels")
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=QUALITY)
    return out.getvalue(), *picture.size
