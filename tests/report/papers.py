"""Sessions of greenhouse climate controllers as journals, and their reports, for the tests of this room."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from metercap.journal import Chain
from metercap.plankeys import Item, TuneStep
from metercap.records import EndRecord, Record
from metercap.report import compose, study
from metercap.report.document import Document
from metercap.report.findings import Findings
from metercap.report.gather import Gathered
from tests.steps.bench_play import Play, confirm, fuses

HOSTILE = (
    '<script>alert(1)</script><img src=x onerror=alert(2)>" onload=alert(3) '
    "\x1b[31m\x07\u202eevil\u2066\u200b\u2028\x00 &lt; {{7*7}}"
)
"""What nobody should be able to put into a report: markup, a terminal's escapes, a bidi override, a template."""


def records(play: Play) -> list[Record]:
    """Return every record of a play in the file's order."""
    rest = [record for event, out in play.pairs for record in ([] if event is None else [event]) + list(out)]
    return [play.record, *rest]


def lines(found: Sequence[Record], *, closed: bool = True, reason: Any = "done") -> bytes:
    """Return records as a journal's bytes, with the end record unless `closed` is false."""
    chain = Chain()
    data = b"".join(chain.line(record) for record in found)
    counts: dict[str, int] = {}
    for record in found:
        kind = str(record.__struct_config__.tag)
        counts[kind] = counts.get(kind, 0) + 1
    if closed:
        data += chain.line(EndRecord(found[-1].t_s, reason, counts, hashlib.sha256(data).hexdigest()))
    return data


def journal(folder: Path, play: Play, name: str = "b.jsonl", **more: Any) -> Path:
    """Write a play as a journal and return its path."""
    path = folder / name
    path.write_bytes(lines(records(play), **more))
    return path


def studied(folder: Path, play: Play, **more: Any) -> tuple[Findings, Gathered]:
    """Return what there is to say of a play."""
    return study(journal(folder, play, **more), program="metercap test")


def report(folder: Path, play: Play, **more: Any) -> Document:
    """Return the report of a play."""
    return compose(*studied(folder, play, **more))


def ramp(start: int, stop: int, step: int) -> str:
    """Return a script of ohms in the kilohm range from `start` to before `stop`."""
    return " ".join(f"{value / 1000:.3f}k" for value in range(start, stop, step))


def trimmers(*names: str, **more: Any) -> TuneStep:
    """Return a tune step toward 1.5 kΩ ± 1 %, never below 1.2 kΩ."""
    keys: dict[str, Any] = {"id": "bridge", "target": 1500.0, "tolerance_share": 0.01, "never_below": 1200.0}
    return TuneStep(items=tuple(Item(name) for name in names or ("RV1",)), **(keys | {"unit": "ohm"} | more))


def dipped(*, back: bool = True, **more: Any) -> Play:
    """Return a trimmer that is turned from 2.187 kΩ past its hazard limit and, unless it stays there, into the band."""
    play = Play(trimmers(), rate=5.0, **more)(f"OL*6 2.187k*5 {ramp(2187, 1200, -90)} 1.150k 1.107k 1.150k")
    return play(f"{ramp(1210, 1500, 40)} 1.502k*30 OL*9") if back else play


def swept(count: int = 3, **more: Any) -> Play:
    """Return a confirmed intake and a sweep: the second fuse skipped at first, the third blown beside a path."""
    play = Play(confirm(say="Cell out?"), fuses(count, count_check=True), rate=5.0, **more)(":yes OL*8")
    for n in range(1, count + 1):
        touches = {2: ":skip OL*8", 3: "330.1*8 OL*9 330.1*8 OL*9"}
        play(touches.get(n, "0.2*6 OL*9"))
    return play(":yes OL*8 0.2*6 OL*9 :yes")
