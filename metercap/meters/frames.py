"""Cuts what was heard while one display stood still, and takes the frame that most of it agrees on.

A stream begins and ends inside a frame, holds junk and lost bytes, and a display's last digit may flicker. So a frame
counts only when it came at least twice and more often than all others together.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from metercap.wire.lcd14 import MOST_BYTES

LEAST_COUNTED = 4
LEAST = 2
ENDS = (b"\r\n", b"\n", b"\r")


def counted_length(streams: Sequence[bytes]) -> int | None:
    """Return the length of frames whose bytes count themselves from 1 in the high nibble; None when there are none.

    A run 1, 2, … n that is followed by 1 is whole; the commonest n counts, and most bytes must lie in such runs.
    """
    runs: Counter[int] = Counter()
    total = 0
    for stream in streams:
        total += len(stream)
        runs.update(len(run) for run in _runs(stream))
    if not runs:
        return None
    length, times = max(runs.items(), key=lambda item: (item[0] * item[1], item[0]))
    fits = LEAST_COUNTED <= length <= MOST_BYTES and 2 * length * times > total
    return length if fits else None


def counted_frames(stream: bytes, length: int) -> list[bytes]:
    """Return the whole frames of `length` counted bytes."""
    return [run for run in _runs(stream) if len(run) == length]


def _runs(stream: bytes) -> list[bytes]:
    """Return the runs whose high nibbles count up from 1."""
    runs: list[bytes] = []
    start, want = 0, 1
    for at, byte in enumerate(stream):
        count = byte >> 4
        if count == want and want > 1:
            want += 1
        else:
            if want > 1:
                runs.append(stream[start:at])
            start, want = at, 2 if count == 1 else 1
    if want > 1:
        runs.append(stream[start:])
    return runs


def line_end(streams: Sequence[bytes]) -> bytes | None:
    """Return what ends the lines of printable text in the streams; None when they hold none."""
    whole = b"".join(streams)
    if not whole:
        return None
    odd = sum(not (0x20 <= byte < 0x7F or byte in b"\r\n\t" or byte >= 0x80) for byte in whole)
    counts = {end: whole.count(end) for end in ENDS}
    if 10 * odd > len(whole) or not counts[b"\n"] + counts[b"\r"]:
        return None
    if 2 * counts[b"\r\n"] > max(counts[b"\n"], counts[b"\r"]):
        return b"\r\n"
    return b"\n" if counts[b"\n"] >= counts[b"\r"] else b"\r"


def lines(stream: bytes, end: bytes) -> list[bytes]:
    """Return the lines between two ends: the first and last pieces of a stream may be cut."""
    pieces = stream.split(end)
    first = [pieces[0]] if len(pieces) == 2 and not pieces[1] else []
    return [piece for piece in (*first, *pieces[1:-1]) if piece.strip()]


def agreed(frames: Sequence[bytes]) -> bytes | None:
    """Return the frame that most of them are; None when the display moved, or too little came."""
    if not frames:
        return None
    frame, times = Counter(frames).most_common(1)[0]
    return frame if times >= LEAST and 2 * times > len(frames) else None


def alike(texts: Sequence[str]) -> list[str]:
    """Return the lines that differ in digits alone, of those the most: a line cut short is not like the others."""
    shapes = [re.sub(r"[0-9]+", "0", text.strip()) for text in texts]
    if not shapes:
        return []
    shape, times = Counter(shapes).most_common(1)[0]
    if len(texts) > 1 and (times < LEAST or 2 * times <= len(texts)):
        return []
    return [text for text, own in zip(texts, shapes, strict=True) if own == shape]
