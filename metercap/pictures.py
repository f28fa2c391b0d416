"""Pictures: read within bounds, decoded only after a look at what they say of themselves, never drawn with what else
a file holds.

A camera writes place, time and its own number into a file, and a file may hold more than a picture. So each one that
goes on is decoded and encoded again from its pixels alone. What is no JPEG or PNG, or would unfold to more than a large
photograph, is refused before it is decoded.
"""

from __future__ import annotations

import hashlib
import io
import os
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from metercap.errors import FileProblem, UsageError
from metercap.files import open_file

if TYPE_CHECKING:
    from PIL.Image import Image

LARGEST = 40_000_000
"""Bytes of a file; a camera's largest JPEG has about half."""
MOST_PIXELS = {"JPEG": 51_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}
"""The largest photographs of telephones; of PNG and WebP, which unfold whole, less.

It bounds the memory that a file can take."""
QUALITY = 82
STORED = ("JPEG", "PNG")
UPLOADED = (*STORED, "WEBP")
"""Formats of what lies in a folder, and of what is drawn anew before it does."""
HINT = "pip install 'metercap[pictures]'"
_TURNED = 0x0112
"""The tag of a camera's turn (EXIF 2.3: orientation); 1 is upright."""


class Clean(NamedTuple):
    """A picture drawn anew from its pixels: a JPEG without anything else in it."""

    data: bytes
    width: int
    height: int


def read(path: Path) -> bytes:
    """Return a picture file's bytes. FileProblem where it cannot be read or is too long."""
    try:
        with open_file(path) as file:
            data = file.read(LARGEST + 1)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        why = getattr(error, "strerror", None) or error
        raise FileProblem(f"cannot be read: {why}", where=str(path)) from error
    if len(data) > LARGEST:
        raise refused(path, f"longer than {LARGEST // 1_000_000} MB")
    return data


def beside(folder: Path, name: str) -> Path:
    """Return the path of a picture that lies in a plan's folder; FileProblem for a link that leads out of it."""
    path = folder / name
    try:
        real = path.resolve()
        home = folder.resolve()
    except (OSError, ValueError, RuntimeError) as error:  # RuntimeError: links in a circle
        raise FileProblem("cannot be read: it leads nowhere", where=str(path)) from error
    if path.parent != folder or real.parent != home:
        raise FileProblem("leads away from the plan", where=str(path), hint="a picture lies beside its plan")
    return path


def sha256(data: bytes) -> str:
    """Return a file's SHA-256 in hex."""
    return hashlib.sha256(data).hexdigest()


def opened(data: bytes, path: Path, most_side: int | None = None, formats: tuple[str, ...] = STORED) -> Image:
    """Return a picture, opened but as good as undecoded; a JPEG may be decoded at less than its size, `most_side` at
    least. FileProblem for what is none or too large, UsageError where pillow is not installed."""
    try:
        from PIL import Image
    except ImportError as error:
        raise UsageError("pictures need pillow, which is not installed", hint=HINT) from error
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its own bound is lower than a large photograph
            picture = Image.open(io.BytesIO(data), formats=formats)
        width, height = picture.size
        if width * height > MOST_PIXELS[picture.format or "PNG"]:
            raise refused(path, f"{width} × {height} pixels are more than a photograph has")
        if most_side is not None:
            picture.draft("RGB", (most_side, most_side))
    except (FileProblem, MemoryError):
        raise
    except Exception as error:
        raise unreadable(path) from error
    return picture


def flat(picture: Image, path: Path, most_side: int, *, upright: bool) -> Image:
    """Return its pixels in RGB on white, no side longer than `most_side`; `upright`: turned as the camera was."""
    from PIL import Image, ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            shown = ImageOps.exif_transpose(picture) if upright else picture
            shown.thumbnail((most_side, most_side))
            out = Image.new("RGB", shown.size, "white")
            shape = shown.convert("RGBA") if shown.mode in ("P", "LA", "PA", "RGBA") else None
            out.paste(shown.convert("RGB"), mask=None if shape is None else shape.getchannel("A"))
    except MemoryError:
        raise
    except Exception as error:
        raise unreadable(path) from error
    return out


def clean(
    data: bytes,
    path: Path,
    most_side: int,
    *,
    upright: bool,
    formats: tuple[str, ...] = STORED,
    quality: int = QUALITY,
) -> Clean:
    """Return a picture drawn anew; `upright` is for photographs, a board's picture stays as it is stored.

    FileProblem for what is none, UsageError where pillow is not installed.
    """
    shown = flat(opened(data, path, most_side, formats), path, most_side, upright=upright)
    out = io.BytesIO()
    shown.save(out, "JPEG", quality=quality)
    return Clean(out.getvalue(), *shown.size)


def faults(data: bytes, path: Path) -> str:
    """Return why a board's picture cannot be drawn as it is stored; "" where it can, or where pillow is missing."""
    try:
        picture = opened(data, path, 64)
        turned = picture.getexif().get(_TURNED, 1)
        flat(picture, path, 64, upright=False)
    except UsageError:
        return ""
    except FileProblem as error:
        return error.what
    except Exception:  # broken EXIF raises whatever it meets
        return "no picture that can be read"
    return "" if turned == 1 else "its camera's turn is not baked in: it lies on its side"


def matching(name: str, wanted: str, folders: Sequence[Path]) -> bytes:
    """Return the bytes of the picture of that name and hash, from the first of `folders` that has it.

    FileProblem, in words for the screen, where none has, or another one lies in its place: nothing is lit then.
    """
    why: FileProblem | None = None
    for folder in folders:
        try:
            path = beside(folder, name)
            if not os.path.lexists(path):
                continue
            data = read(path)
        except FileProblem as error:
            why = why or error
            continue
        if wanted and sha256(data) == wanted:
            return data
        why = why or FileProblem("is another file than the one that was marked: nothing is lit", where=str(path))
    raise why or FileProblem("is not there: nothing is lit", where=name, hint="a picture lies beside its plan")


def refused(path: Path, why: str) -> FileProblem:
    """Return the error for a picture that is not taken."""
    return FileProblem(why, where=str(path), hint="a picture is a photograph as JPEG or PNG")


def unreadable(path: Path) -> FileProblem:
    """Return the error for what is no picture, whatever its name says."""
    return refused(path, "no picture that can be read")
