"""WebVTT files (W3C, "WebVTT: The Web Video Text Tracks Format", section 4, syntax): timed text for a film.

file      "WEBVTT", then blocks; a blank line before each; UTF-8, lines end with LF
block     a comment: NOTE, a space and a line of text; or a cue
cue       its number; its times, `00:00:01.500 --> 00:00:04.000`; its text, at least one line, none blank
text      & < > are written as &amp; &lt; &gt;, so that no text is a tag or holds the arrow of the times
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import msgspec

from metercap.gate import visible


class Cue(msgspec.Struct, frozen=True):
    """What is shown from `start_ms` to `end_ms` of the film, one or more lines."""

    start_ms: int
    end_ms: int
    lines: tuple[str, ...]


def webvtt(cues: Iterable[Cue], comment: str) -> Iterator[str]:
    """Yield a whole file, block by block. The cues come in the order of their starts, and each ends after its start."""
    yield f"WEBVTT\n\nNOTE {_escaped(comment)}\n"
    for number, cue in enumerate(cues, start=1):
        lines = "".join(f"{_escaped(line)}\n" for line in cue.lines)
        yield f"\n{number}\n{timestamp(cue.start_ms)} --> {timestamp(cue.end_ms)}\n{lines}"


def timestamp(ms: int) -> str:
    """Return a time as hours (two digits or more), minutes, seconds and thousandths."""
    s, thousandths = divmod(ms, 1000)
    minutes, seconds = divmod(s, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}:{seconds:02}.{thousandths:03}"


def _escaped(text: str) -> str:
    """Return text on one line that is not blank and holds no mark-up."""
    return visible(text).strip().replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") or "-"
