"""Photographs that go into a report: made small, turned upright, and drawn anew, so that nothing else stays."""

from __future__ import annotations

import base64
from pathlib import Path

from metercap.pictures import clean, read
from metercap.report.document import Photo

LONG_SIDE = 1400
"""Pixels: at A4's width some 190 a inch."""
MOST = 60
"""So many pictures in one report."""
SUFFIXES = (".jpg", ".jpeg", ".png")


def photo(path: Path, title: str = "") -> Photo:
    """Return a picture for a report. FileProblem for what is none, UsageError where pillow is not installed."""
    data, width, height = clean(read(path), path, LONG_SIDE, upright=True)
    return Photo(title or path.name, width, height, base64.b64encode(data).decode())


def photos_in(folder: Path) -> tuple[Path, ...]:
    """Return the pictures that lie in a folder, by name."""
    return tuple(sorted(path for path in folder.iterdir() if path.suffix.lower() in SUFFIXES and path.is_file()))
