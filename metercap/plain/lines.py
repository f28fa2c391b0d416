"""Observers that write lines: for people (`PlainLines`) and for programs (`JsonLines`)."""

from __future__ import annotations

import sys
from typing import BinaryIO, TextIO

from metercap.outlet import Outlet
from metercap.plain.style import LOUD, MARKS, SAYINGS, limits_text, paint, safe, use_colour, value_text
from metercap.quantity import format_value
from metercap.reading import Reading
from metercap.records import (
    Cue,
    CueKind,
    Do,
    EndRecord,
    Excursion,
    Link,
    Note,
    Operator,
    Prompt,
    Record,
    SessionRecord,
    Verdict,
    VerdictKind,
)
from metercap.view import View

_DECISIONS = frozenset(kind.value for kind in VerdictKind)


class JsonLines:
    """Writes the file's own lines in the file's order, flushed, and nothing else.

    A reader that went away, or that lets more wait than an outlet holds, stops the writing, not the session: the file
    has everything. What was printed is always the file's beginning, with nothing left out.
    """

    def __init__(self, out: BinaryIO | None = None) -> None:
        self._out: BinaryIO | None = sys.stdout.buffer if out is None else out

    @property
    def gone(self) -> bool:
        """Whether the reader went away."""
        return self._out is None

    def see(self, record: Record, line: bytes) -> None:
        """Write the line."""
        if not line and isinstance(record, Note):  # what the disk does is in no file, so it is no line of one either
            sys.stderr.write(f"metercap: {safe(record.text)}\n")
            sys.stderr.flush()
        if self._out is None or not line:
            return
        try:
            self._out.write(line)
            self._out.flush()
        except (OSError, ValueError):
            self._out = None

    def urgent(self, record: Cue) -> None:
        """A hazard goes out with its line; programs have no ears."""


class PlainLines:
    """Writes what a person at the bench needs, one line each, newest last.

    What only the session knows comes with the view: one line a value while a trimmer is turned, how long to stay off.
    """

    def __init__(self, out: TextIO | None = None) -> None:
        self._out: TextIO | None = sys.stdout if out is None else out
        self._colour = use_colour(self._out)
        self._bell = "\a" if self._out.isatty() else ""
        self._view = View()
        self._shown: tuple[float | None, float] | None = None
        self._rung: Cue | None = None

    @property
    def gone(self) -> bool:
        """Whether the reader went away, or the terminal."""
        return self._out is None

    def look(self, view: View) -> None:
        """Take the view that goes with the next records."""
        self._view = view

    def see(self, record: Record, line: bytes) -> None:
        """Write the record's line, if it has one for people."""
        text = self._text(record)
        if text:
            self.write(f"{record.t_s:8.1f}  {text}")

    def urgent(self, record: Cue) -> None:
        """A hazard is shown, and a terminal's bell rung, before any disk work and before all lines that still wait."""
        self._rung = record
        self._write(f"{record.t_s:8.1f}  {self._cue(record)}{self._bell}\n", first=True)

    def say(self, text: str) -> None:
        """Write a line that is no record: help, a refusal."""
        for part in text.splitlines():
            self.write(f"          {part}")

    def write(self, text: str, end: str = "\n") -> None:
        """Write text as it is. A broken pipe, a full disk, a closed terminal end the writing, not the session."""
        self._write(text + end)

    def _write(self, text: str, *, first: bool = False) -> None:
        out = self._out
        if out is None:
            return
        try:
            if first and isinstance(out, Outlet):
                out.overtake(text)
            else:
                out.write(text)
            out.flush()
        except (OSError, ValueError):
            self._out = None

    def _text(self, record: Record) -> str:
        if isinstance(record, Reading):
            return self._tuning(record)
        if isinstance(record, Prompt):
            mark = "!!" if record.do is Do.STOP else "> "
            bold = record.do in (Do.STOP, Do.DIAL, Do.WAIT)
            return paint(f"{mark} {safe(record.say)}", "yellow" if bold else None, self._colour, bold=True)
        if isinstance(record, Verdict):
            return self._verdict(record)
        if isinstance(record, Cue):
            if record is self._rung or record.cue.value in _DECISIONS:
                return ""
            return self._cue(record)
        if isinstance(record, Excursion):
            worst, limit = (f"{value:.6g}" for value in (record.worst, record.limit))
            text = f"{record.item} was {record.side} its limit of {limit} for {record.duration_s:.1f} s, worst {worst}"
            return paint(f"!  {safe(text)}", "red", self._colour)
        if isinstance(record, Note):
            return f"   {safe(record.text)}"
        if isinstance(record, Link):
            return paint(
                f"~  meter {record.state}{': ' + safe(record.why) if record.why else ''}", "cyan", self._colour
            )
        if isinstance(record, Operator):
            return f'"  {safe(record.word)} {safe(record.text)}'.rstrip()
        if isinstance(record, SessionRecord):
            title = record.plan.get("title", "")
            return f"unit {safe(record.unit)}, {safe(str(title))}, meter {safe(record.meter.name)}"
        if isinstance(record, EndRecord):
            return f"end: {record.reason}"
        return ""

    def _cue(self, record: Cue) -> str:
        view = self._view
        if (
            record.cue is CueKind.STOP and view.kind == "tune" and view.call is not CueKind.STOP
        ):  # not voltage: a slow meter's nudge
            return f".  {safe(record.item)}: hands still, wait two values"
        loud = record.cue in LOUD
        text = f"{'!!' if loud else '. '} {safe(record.item)}: {SAYINGS.get(record.cue, record.cue.value)}"
        stay = view.tips.stay if record.cue is CueKind.LIFT and view.tips is not None else None
        if stay is not None:
            text += f", and stay off {stay.left_s:.1f} s until go"
        return paint(text, "red" if loud else None, self._colour, bold=loud)

    def _verdict(self, record: Verdict) -> str:
        mark, colour = MARKS[record.verdict]
        head = paint(f"{mark}  {safe(record.item):<10} {record.verdict.value:<6}", colour, self._colour, bold=True)
        accepted = f"accepted: {safe(record.accepted)}" if isinstance(record.accepted, str) else ""
        parts = [value_text(record), limits_text(record), accepted, safe(record.reason)]
        return f"{head}  " + "  ".join(part for part in parts if part)

    def _tuning(self, reading: Reading) -> str:
        trimmer = self._view.trimmer
        if trimmer is None or trimmer.phase not in ("turn", "stop") or reading.value is None:
            return ""
        value, error = trimmer.value, trimmer.error
        if value is None or error is None or (value, reading.t_s) == self._shown:
            return ""
        if self._shown is not None and self._shown[0] == value and reading.t_s - self._shown[1] < 1.0:
            return ""
        self._shown = (value, reading.t_s)
        share = "" if trimmer.share is None else f"{100.0 * trimmer.share:+.2f} %"
        edge = trimmer.low is not None and trimmer.high is not None and trimmer.low <= value <= trimmer.high
        side = "at the edge of the band" if edge else "above" if error > 0 else "below"
        where = "in band" if trimmer.inside else side
        shown, off = (format_value(each, trimmer.unit, trimmer.resolution) for each in (value, error))
        return f"   {safe(self._view.item)} {shown:>10}  off by {off} ({share})  {where}"
