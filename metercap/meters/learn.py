"""Any frame: tries what the bytes look like, and says what is wanted.

A profile comes out only when every display fits it.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from metercap.meter import MeterProfile
from metercap.meters import coded, frames, lines, segments
from metercap.meters.lesson import Contradiction, Lesson, Sample
from metercap.meters.shown import Shown
from metercap.reading import Reading
from metercap.wire import decoder

FRESH_LEAST = 3


class Heard(msgspec.Struct, frozen=True):
    """What came while one display stood still, from somewhere in a frame to somewhere in a frame."""

    stream: bytes
    shown: Shown


def learn(heard: Sequence[Heard], base: MeterProfile) -> Lesson:
    """Return what the displays teach. Raises Contradiction when no frame that is known here fits them all."""
    streams = [one.stream for one in heard]
    length = frames.counted_length(streams)
    if length is not None:
        return segments.learn(_samples([(frames.counted_frames(one.stream, length), one.shown) for one in heard]), base)
    end = frames.line_end(streams)
    if end is None:
        raise Contradiction("the bytes are neither frames that count themselves nor lines of text")
    texts = [frames.alike([line.decode("utf-8", "replace") for line in frames.lines(one.stream, end)]) for one in heard]
    try:
        if end == b"\r":
            raise Contradiction("free lines end with a line feed")
        return lines.learn(list(zip(texts, [one.shown for one in heard], strict=True)), base)
    except Contradiction as why:
        apart = why
    try:
        return _coded(heard, base, end)
    except Contradiction as why:
        raise Contradiction(f"as free lines: {apart}; as fixed ones: {why}") from None


def _coded(heard: Sequence[Heard], base: MeterProfile, end: bytes) -> Lesson:
    samples = _samples([([line + end for line in frames.lines(one.stream, end)], one.shown) for one in heard])
    return coded.learn(samples, base, end)


def _samples(cut: list[tuple[list[bytes], Shown]]) -> list[Sample]:
    samples = []
    for found, shown in cut:
        frame = frames.agreed(found)
        if frame is None:
            raise Contradiction(f"no steady frame came with the display {shown.typed!r}: hold it still, and again")
        samples.append(Sample(frame, shown))
    return samples


def fresh(profile: MeterProfile, stream: bytes) -> tuple[list[Reading], str]:
    """Return the readings of bytes that were not taught from, and what is wrong with them (empty when nothing is)."""
    decode = decoder(profile, midstream=True)
    items = [*decode.feed(stream, 0.0), *decode.flush(0.0)]
    readings = [item for item in items if isinstance(item, Reading)]
    if len(readings) < FRESH_LEAST or 2 * len(readings) < len(items):
        whys = [item.why for item in items if not isinstance(item, Reading)]
        return readings, whys[0] if whys else "too few frames came"
    return readings, ""
