"""The picture of a trace: band, hazardous side, excursions and ends where they belong, every spike told."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import pytest

from metercap.records import Excursion
from metercap.report.document import Box, Curve, Dot, Line, Words
from metercap.report.plot import BOTTOM, LEFT, RIGHT, TOP, Aims, plot
from metercap.report.sections import trimmers
from metercap.report.traces import Trace
from tests.report.papers import dipped, studied

AIMS = Aims(target=1500.0, tolerance=15.0, as_found=2187.0, as_left=1502.0, left_s=99.0, resolution=1.0)


def trace(values: Any, step_s: Any = 0.5) -> Any:
    """Return a trace in ohms."""
    out = Trace("ohm")
    for n, value in enumerate(values):
        if value is None:
            out.gap()
        else:
            out.add(n * step_s, value, 1.0)
    return out


def of(picture: Any, kind: Any, look: Any = None) -> Any:
    """Return a picture's shapes of one kind."""
    return [shape for shape in picture.shapes if isinstance(shape, kind) and look in (None, shape.look)]


def words(picture: Any) -> Any:
    """Return a picture's texts."""
    return [shape.text for shape in of(picture, Words)]


def path(picture: Any) -> Any:
    """Return the corners of the trace's line as (x, y), one list for each unbroken part."""
    (curve,) = of(picture, Curve, "trace")
    parts = re.findall(r"M([^M]*)", curve.d.replace("h1", ""))
    return [[tuple(float(n) for n in corner.split()) for corner in part.split("L")] for part in parts]


SLOPE = [2187.0] * 8 + [2187.0 - 20.0 * n for n in range(35)] + [1502.0] * 20


def test_value_over_time() -> None:
    """A falling value falls on paper: left to right, high to low, inside the frame."""
    (line,) = path(plot("RV1", trace(SLOPE), AIMS))
    assert len(line) == len(SLOPE)
    assert (line[0][0], line[-1][0]) == (LEFT, RIGHT)
    assert all(one[0] <= other[0] and one[1] <= other[1] + 0.2 for one, other in pairwise(line[:44]))
    assert all(TOP <= y <= BOTTOM for _, y in line)


def test_the_band_lies_around_the_target() -> None:
    """Its edges are target ± tolerance on the same scale as the line."""
    picture = plot("RV1", trace(SLOPE), AIMS)
    (band,) = of(picture, Box, "band")
    (target,) = of(picture, Line, "target")
    assert band.y < target.y1 < band.y + band.height
    assert target.y1 == pytest.approx(band.y + band.height / 2.0)
    line = path(picture)[0]
    assert band.y < line[-1][1] < band.y + band.height  # 1502 Ω is in the band
    assert not band.y < line[0][1] < band.y + band.height


def test_found_and_left_are_marked_where_the_trace_shows_them() -> None:
    """An open circle at the first value, a full one at the last, each with its value in the display's digits."""
    picture = plot("RV1", trace(SLOPE), AIMS)
    (found,), (left,) = of(picture, Dot, "found"), of(picture, Dot, "left")
    assert (found.x, round(found.y, 1)) == path(picture)[0][0]
    assert left.y > found.y
    assert "as found 2.187 kΩ" in words(picture) and "as left 1.502 kΩ" in words(picture)


def test_a_near_hazard_is_on_the_scale() -> None:
    """Below 1.2 kΩ is hatched, with a line at the limit."""
    picture = plot("RV1", trace(SLOPE), msgspec.structs.replace(AIMS, never_below=1200.0))
    (hatched,), (limit,) = of(picture, Box, "hazard"), of(picture, Line, "past")
    assert hatched.y == limit.y1 and hatched.y + hatched.height == BOTTOM
    assert "hazard: never below 1.2 kΩ" in words(picture)


def test_a_far_hazard_stands_at_the_edge() -> None:
    """10 Ω would flatten the picture: the side is named at the bottom, and nothing of the trace lies on it."""
    picture = plot("RV1", trace(SLOPE), msgspec.structs.replace(AIMS, never_below=10.0, never_above=9e6))
    below, above = of(picture, Box, "hazard")
    assert below.y + below.height == BOTTOM and above.y == TOP
    assert all(above.y + above.height < y < below.y for part in path(picture) for _, y in part)
    assert "hazard: never below 10 Ω, off this scale" in words(picture)
    assert "hazard: never above 9 MΩ, off this scale" in words(picture)


def test_an_excursion_is_drawn_from_its_limit_to_its_worst(tmp_path: Path) -> None:
    """Played and judged by the real steps: depth, duration and side stand beside it."""
    section = trimmers(*_of_play(tmp_path, dipped()))
    (picture,) = section.blocks[1:]
    (box,) = of(picture, Box, "past")
    (limit,) = of(picture, Line, "past")
    lowest = max(y for part in path(picture) for _, y in part)
    assert box.y == limit.y1
    assert box.y + box.height == pytest.approx(lowest, abs=0.1)
    assert "0.6 s below, worst 1.107 kΩ" in words(picture)


def _of_play(folder: Any, play: Any) -> Any:
    found, gathered = studied(folder, play)
    return found, gathered, gathered.fold.plan


def test_a_spike_off_the_scale_is_pointed_at_and_named() -> None:
    """One reading of 15 MΩ in the trace breaks the line, has its pointer at the top edge, and its value in words."""
    values = [2000.0 + n % 3 for n in range(60)]
    values[30] = 15e6
    picture = plot("RV1", trace(values))
    (pointer,) = of(picture, Curve, "left")
    assert pointer.d.startswith(f"M{LEFT + (RIGHT - LEFT) * 30 / 59 - 3:.1f} {TOP:.1f}")
    assert "off this scale: 15.000000 MΩ" in words(picture)
    assert len(path(picture)) == 2
    assert "highest 15.000000 MΩ at 0:15" in picture.says[0]


def test_every_spike_within_the_scale_is_drawn() -> None:
    """10 000 readings in 646 columns: one that stands out is a corner of the line."""
    values = [2000.0 + n % 5 for n in range(10_000)]
    values[7003], values[123] = 2007.0, 1997.0
    corners = [y for part in path(plot("RV1", trace(values))) for _, y in part]
    assert len(corners) <= 4 * 640
    assert corners.count(min(corners)) == corners.count(max(corners)) == 1
    steady = plot("RV1", trace([2000.0 + n % 5 for n in range(10_000)]))
    flat = [y for part in path(steady) for _, y in part]
    assert flat.count(min(flat)) > 100


def test_lost_contact_is_a_gap() -> None:
    """Two touches, two lines; a touch of one value is still seen."""
    parts = path(plot("RV1", trace([5.0, 5.0, None, 6.0, None, 7.0, 7.0])))
    assert [len(part) for part in parts] == [2, 1, 2]
    (curve,) = of(plot("RV1", trace([5.0, None, 6.0])), Curve, "trace")
    assert curve.d.count("h1") == 2


def test_many_excursions_at_odd_places_stay_inside(tmp_path: Path) -> None:
    """Excursions outside the trace's own time, as a repaired file may hold, are drawn at its edge."""
    past = Excursion(500.0, "bridge", "RV1", "above", 2000.0, 2300.0, -50.0, 1e9)
    picture = plot("RV1", trace(SLOPE), msgspec.structs.replace(AIMS, excursions=(past,)))
    (box,) = of(picture, Box, "past")
    assert box.x >= LEFT and box.x + box.width <= RIGHT + 0.1


def test_no_value_no_picture() -> None:
    """An empty trace is not drawn."""
    assert plot("RV1", trace([None, None])) is None


def test_the_same_in_words() -> None:
    """What the picture shows is said below its title, for who cannot see it."""
    says = plot("RV1", trace(SLOPE), msgspec.structs.replace(AIMS, never_below=1200.0)).says
    assert says[0].startswith("63 values from 0:00 to 0:31, first 2.187 kΩ, last 1.502 kΩ; lowest 1.502 kΩ")
    assert says[1:] == ("band 1.485 kΩ to 1.515 kΩ, target 1.5 kΩ", "hazardous side: below 1.2 kΩ")
