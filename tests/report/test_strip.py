"""The strip of a sweep: one bar a contact, one mark a verdict, more lines where names need room."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

from metercap.records import VerdictKind
from metercap.report.document import Box, Mark, Words
from metercap.report.gather import Strip, Tick, Touch
from metercap.report.strip import LEFT, RIGHT, ROW, strip
from tests.report.papers import studied, swept


def made(count: Any, every_s: Any = 4.0, pause_after: Any = None) -> Any:
    """Return a sweep of `count` good fuses."""
    out, t_s = Strip(), 0.0
    for n in range(1, count + 1):
        t_s += every_s + (3600.0 if n == pause_after else 0.0)
        out.touches.add(Touch(t_s, t_s + 1.5, f"F{n}"))
        out.ticks.add(Tick(t_s + 1.0, f"F{n}", VerdictKind.PASS))
    return out


def of(picture: Any, kind: Any) -> Any:
    """Return a picture's shapes of one kind."""
    return [shape for shape in picture.shapes if isinstance(shape, kind)]


def names(picture: Any) -> Any:
    """Return the names of fuses in the picture, from left to right and from top to bottom."""
    return [shape.text for shape in of(picture, Words) if shape.text.startswith("F")]


def test_a_played_sweep(tmp_path: Path) -> None:
    """Four contacts of three fuses: the blown one touched twice, the skipped one last; each verdict's own mark."""
    _, gathered = studied(tmp_path, swept())
    picture = strip("fuses", gathered.strips["fuses"])
    assert [mark.verdict for mark in of(picture, Mark)] == [VerdictKind.PASS, VerdictKind.FAIL, VerdictKind.PASS]
    assert names(picture) == ["F1", "F3", "F2"]
    bars = of(picture, Box)
    assert [bar.look for bar in bars] == ["touch"] * 4
    assert all(before.x + before.width < after.x for before, after in pairwise(bars))
    assert picture.says[0] == "contacts: 4 (tall bars); touches of what was decided already: 0 (low bars)"
    assert picture.says[1].startswith("verdicts: 3, from 0:0")


def test_a_verdict_stands_above_its_contact() -> None:
    """Its mark lies between the ends of the bar that it was decided by."""
    picture = strip("fuses", made(12))
    for bar, mark in zip(of(picture, Box), of(picture, Mark), strict=True):
        assert bar.x <= mark.x <= bar.x + bar.width


def test_a_slip_looks_different() -> None:
    """A touch of what was decided already is lower, and another shape."""
    found = made(2)
    found.touches.add(Touch(20.0, 20.4, "F2", same=True))
    *touches, slip = of(strip("fuses", found), Box)
    assert slip.look == "slip" and slip.height < touches[0].height


def test_long_sweeps_wrap() -> None:
    """Sixty fuses take three lines, every one named, none outside the paper."""
    picture = strip("fuses", made(60))
    assert picture.height == 3 * ROW
    assert names(picture) == [f"F{n}" for n in range(1, 61)]
    assert all(bar.x >= LEFT - 1 and bar.x + bar.width <= RIGHT + 1 for bar in of(picture, Box))
    assert {int(mark.y // ROW) for mark in of(picture, Mark)} == {0, 1, 2}


def test_a_pause_takes_little_room() -> None:
    """An hour's pause after the third of six fuses is folded: all six are told apart, and the pause is named."""
    picture = strip("fuses", made(6, pause_after=4))
    places = [mark.x for mark in of(picture, Mark)]
    assert all(after - before > 20.0 for before, after in pairwise(places))
    assert any("idle" in shape.text for shape in of(picture, Words))


def test_nothing_touched_nothing_drawn() -> None:
    """A sweep that was skipped has no strip."""
    assert strip("fuses", Strip()) is None


def test_more_than_can_be_drawn_is_counted() -> None:
    """Of 3000 contacts a thousand are in the journal only, and the picture says so."""
    picture = strip("fuses", made(3000))
    assert len(of(picture, Box)) == 2000
    assert "2000 more contacts and verdicts are in the journal and not drawn" in picture.says
