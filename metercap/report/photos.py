"""Photographs that go into a report: made small, turned upright, and drawn anew, so that nothing else of a file stays.

A camera writes place, time and its own number into a file, and a file may hold more than a picture. So each one is
decoded and encoded again from its pixels alone. What is no JPEG or PNG, or would unfold to more than a large
photograph, is refused before it is decoded.
"""

from __future__ import annotations

import base64
import io
import warnings
from pathlib import Path

from metercap.errors import FileProblem, UsageError
from metercap.files import open_file
from metercap.report.document import Photo

LARGEST = 40_000_000
"""Bytes of a file; a camera's largest JPEG has about half."""
MOST_PIXELS = {"JPEG": 51_000_000, "PNG": 25_000_000}
"""The largest photographs of telephones; of PNG, which unfolds whole, less. It bounds the memory a file can take."""
LONG_SIDE = 1400
"""Pixels: at A4's width some 190 a inch."""
QUALITY = 82
MOST = 60
"""So many pictures in one report."""
SUFFIXES = (".jpg", ".jpeg", ".png")
HINT = "pip install 'metercap[pictures]'"


def photo(path: Path, title: str = "") -> Photo:
    """Return a picture for a report. FileProblem for what is none, UsageError where pillow is not installed."""
    try:
        from PIL import Image, ImageOps
    except ImportError as error:
        raise UsageError("pictures in a report need pillow, which is not installed", hint=HINT) from error
    data = _bytes(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its own bound is lower than a large photograph
            picture = Image.open(io.BytesIO(data), formats=("JPEG", "PNG"))
            width, height = picture.size
            if width * height > MOST_PIXELS[picture.format or "PNG"]:
                raise _refused(path, f"{width} × {height} pixels are more than a photograph has")
            picture.draft("RGB", (LONG_SIDE, LONG_SIDE))
            upright = ImageOps.exif_transpose(picture)
            upright.thumbnail((LONG_SIDE, LONG_SIDE))
            flat = Image.new("RGB", upright.size, "white")
            shape = upright.convert("RGBA") if upright.mode in ("P", "LA", "PA", "RGBA") else None
            flat.paste(upright.convert("RGB"), mask=None if shape is None else shape.getchannel("A"))
    except FileProblem:
        raise
    except MemoryError:
        raise
    except Exception as error:
        raise _refused(path, "no picture that can be read") from error
    out = io.BytesIO()
    flat.save(out, "JPEG", quality=QUALITY)
    return Photo(title or path.name, *flat.size, base64.b64encode(out.getvalue()).decode())


def photos_in(folder: Path) -> tuple[Path, ...]:
    """Return the pictures that lie in a folder, by name."""
    return tuple(sorted(path for path in folder.iterdir() if path.suffix.lower() in SUFFIXES and path.is_file()))


def _bytes(path: Path) -> bytes:
    try:
        with open_file(path) as file:
            data = file.read(LARGEST + 1)
    except OSError as error:
        raise FileProblem(f"cannot be read: {error.strerror or error}", where=str(path)) from error
    if len(data) > LARGEST:
        raise _refused(path, f"longer than {LARGEST // 1_000_000} MB")
    return data


def _refused(path: Path, why: str) -> FileProblem:
    return FileProblem(why, where=str(path), hint="a report takes photographs as JPEG or PNG")
