"""The picture of a trace: value over time, with the band, the hazardous side and every excursion. Pure.

Drawn from a `Trace`, whose bins keep each column's lowest and highest value, so no spike is lost; values off the scale
are named at its edge.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from metercap.quantity import format_value
from metercap.records import Excursion
from metercap.report.axes import Scale, TimeAxis, scale
from metercap.report.document import Box, Curve, Dot, Line, Picture, Shape, Words
from metercap.report.traces import Point, Trace
from metercap.report.when import elapsed

WIDTH, HEIGHT = 720.0, 230.0
LEFT, RIGHT, TOP, BOTTOM = 66.0, 712.0, 16.0, 204.0
_NEAR = 0.8
"""A hazard limit is drawn on the scale where that widens it by at most this share; else at the edge, in words."""
_APART = 48.0
"""How far the middles of two times are apart at least, so that they do not run into each other."""
_EDGE = 16.0
"""Height of what stands at the edge."""


class Aims(msgspec.Struct, frozen=True):
    """What a trimmer was turned to, in SI: None where it is not known or not there."""

    target: float | None = None
    tolerance: float | None = None
    never_below: float | None = None
    never_above: float | None = None
    as_found: float | None = None
    as_left: float | None = None
    left_s: float | None = None
    resolution: float | None = None
    excursions: tuple[Excursion, ...] = ()

    @property
    def band(self) -> tuple[float, float] | None:
        """The band's edges."""
        if self.target is None or self.tolerance is None:
            return None
        return self.target - self.tolerance, self.target + self.tolerance

    @property
    def hazards(self) -> tuple[float | None, float | None]:
        """The limits of the hazardous sides, below and above."""
        return self.never_below, self.never_above


NO_AIMS = Aims()


def plot(title: str, trace: Trace, aims: Aims = NO_AIMS) -> Picture | None:
    """Return the picture of a trace, or None where it has no value."""
    points = list(trace.points())
    if not points:
        return None
    clock = TimeAxis([point.t_s for point in points], LEFT, RIGHT)
    values = _scale(points, aims)
    shapes = [
        *_band(values, aims, trace),
        *_hazards(values, aims, trace.unit),
        *_frame(clock, values, trace),
        *_line(clock, values, points),
        *_off_scale(clock, values, points, trace),
        *_past(clock, values, aims, trace),
        *_ends(clock, values, points, aims, trace),
    ]
    return Picture(title, tuple(_says(points, aims, trace)), WIDTH, HEIGHT, tuple(shapes))


def _scale(points: Sequence[Point], aims: Aims) -> Scale:
    """Return the scale of values; a hazardous side that is off it has room at the edge."""
    shown = [value for value in (aims.as_found, aims.as_left, *(aims.band or ())) if value is not None]
    shown += [past.worst for past in aims.excursions]
    values = [point.value for point in points]
    first = scale(values, shown, BOTTOM, TOP)
    near = [limit for limit in aims.hazards if limit is not None and first.beyond(limit) <= _NEAR]
    found = scale(values, [*shown, *near], BOTTOM, TOP) if near else first
    below, above = (limit is not None and found.beyond(limit) > 0.0 for limit in aims.hazards)
    return msgspec.structs.replace(found, y0=BOTTOM - _EDGE if below else BOTTOM, y1=TOP + _EDGE if above else TOP)


def _frame(clock: TimeAxis, values: Scale, trace: Trace) -> Iterator[Shape]:
    for value in values.ticks(5):
        y = values.y(value)
        yield Line(LEFT, y, RIGHT, y, "grid")
        yield Words(LEFT - 6.0, y + 3.5, format_value(value, trace.unit), anchor="end")
    yield Line(LEFT, BOTTOM, RIGHT, BOTTOM, "axis")
    yield from time_axis(clock, BOTTOM)


def time_axis(clock: TimeAxis, y: float) -> Iterator[Shape]:
    """Yield round times below a line, and a break where idle time is not drawn."""
    tenths = clock.to_s - clock.from_s < 8.0
    texts = []
    for fold in clock.folds:
        x = clock.x(fold.t_s - fold.s / 2.0)
        yield Curve(f"M{x - 4:.1f} {y + 4:.1f}l4 -8M{x:.1f} {y + 4:.1f}l4 -8", "axis")
        texts.append(Words(x, y + 15.0, f"{elapsed(fold.s)} idle", "quiet", "middle"))
    for t_s in clock.ticks(8):
        x = clock.x(t_s)
        yield Line(x, y, x, y + 4.0, "axis")
        texts.append(Words(x, y + 15.0, elapsed(t_s, tenths=tenths), anchor="middle"))
    taken: list[float] = []
    for words in texts:
        if all(abs(words.x - x) >= _APART for x in taken):
            taken.append(words.x)
            yield words


def _band(values: Scale, aims: Aims, trace: Trace) -> Iterator[Shape]:
    if aims.band is None or aims.target is None:
        return
    low, high = aims.band
    top, bottom, y = values.y(high), values.y(low), values.y(aims.target)
    yield Box(LEFT, top, RIGHT - LEFT, max(bottom - top, 1.0), "band")
    yield Line(LEFT, y, RIGHT, y, "target")
    yield Words(LEFT + 6.0, top - 4.0, "band")


def _hazards(values: Scale, aims: Aims, unit: str) -> Iterator[Shape]:
    for limit, side, edge in ((aims.never_below, "below", BOTTOM), (aims.never_above, "above", TOP)):
        if limit is None:
            continue
        text = f"hazard: never {side} {format_value(limit, unit)}"
        off = values.beyond(limit) > 0.0
        y = (values.y0 + 3.0 if side == "below" else values.y1 - 3.0) if off else values.y(limit)
        yield Box(LEFT, min(y, edge), RIGHT - LEFT, abs(edge - y), "hazard")
        if not off:
            yield Line(LEFT, y, RIGHT, y, "past")
        height = (edge - 3.5 if side == "below" else edge + 10.0) if off else (y + 12.0 if side == "below" else y - 4.0)
        yield Words(LEFT + 6.0, height, f"{text}, off this scale" if off else text)


def _line(clock: TimeAxis, values: Scale, points: Sequence[Point]) -> Iterator[Shape]:
    """Yield the line through every value on the scale; it breaks where contact was lost or values are off the scale."""
    parts: list[str] = []
    alone, broken = False, True
    for point in points:
        if values.beyond(point.value) > 0.0:
            broken = True
            continue
        begins = broken or point.gap
        if begins and alone:
            parts.append("h1")
        parts.append(f"{'M' if begins else 'L'}{clock.x(point.t_s):.1f} {values.y(point.value):.1f}")
        alone, broken = begins, False
    if parts:
        yield Curve("".join([*parts, "h1"] if alone else parts), "trace")


def _off_scale(clock: TimeAxis, values: Scale, points: Sequence[Point], trace: Trace) -> Iterator[Shape]:
    """Yield a pointer at the edge for every value off the scale, and the farthest one's value."""
    for extreme, y, up in ((trace.high, values.y1, 1.0), (trace.low, values.y0, -1.0)):
        if extreme is None or values.low <= extreme.value <= values.high:
            continue
        for point in points:
            if (point.value - (values.high if up > 0 else values.low)) * up > 0:
                yield Curve(f"M{clock.x(point.t_s) - 3:.1f} {y:.1f}h6l-3 {-6 * up:.0f}z", "left")
        x = clock.x(extreme.t_s)
        right = x > (LEFT + RIGHT) / 2
        text = f"off this scale: {format_value(extreme.value, trace.unit, extreme.resolution)}"
        yield Words(
            x - 8.0 if right else x + 8.0, y + (9.0 if up > 0 else -3.0), text, "label", "end" if right else "start"
        )


def _past(clock: TimeAxis, values: Scale, aims: Aims, trace: Trace) -> Iterator[Shape]:
    for past in aims.excursions:
        x0, x1 = clock.x(past.from_s), clock.x(past.from_s + past.duration_s)
        y = values.y(past.limit)
        yield Box(x0, min(y, values.y(past.worst)), max(x1 - x0, 1.5), max(abs(values.y(past.worst) - y), 1.5), "past")
        text = f"{past.duration_s:.1f} s {past.side}, worst {format_value(past.worst, trace.unit, aims.resolution)}"
        right = x0 > (LEFT + RIGHT) / 2
        yield Words(
            x0 - 4.0 if right else x1 + 4.0, values.y(past.worst) + 3.5, text, "label", "end" if right else "start"
        )


def _ends(clock: TimeAxis, values: Scale, points: Sequence[Point], aims: Aims, trace: Trace) -> Iterator[Shape]:
    if aims.as_found is not None:
        x, y = clock.x(_reached(points, aims.as_found)), values.y(aims.as_found)
        yield Dot(x, y, 3.5, "found")
        yield Words(x + 8.0, _clear(y), f"as found {format_value(aims.as_found, trace.unit, aims.resolution)}")
    if aims.as_left is not None and aims.left_s is not None:
        x, y = clock.x(aims.left_s), values.y(aims.as_left)
        yield Dot(x, y, 3.5, "left")
        yield Words(
            x - 8.0, _clear(y), f"as left {format_value(aims.as_left, trace.unit, aims.resolution)}", anchor="end"
        )


def _reached(points: Sequence[Point], value: float) -> float:
    """Return when the trace first shows a value, leads and last digit apart; else when it comes nearest."""
    near = next((point for point in points if abs(point.value - value) <= 0.005 * abs(value)), None)
    return (near or min(points, key=lambda point: abs(point.value - value))).t_s


def _clear(y: float) -> float:
    """Return a height for words beside a point, above it where there is room."""
    return y - 7.0 if y > TOP + 14.0 else y + 14.0


def _says(points: Sequence[Point], aims: Aims, trace: Trace) -> Iterator[str]:
    first, last = points[0], points[-1]
    assert trace.low is not None and trace.high is not None

    def shown(point: Point) -> str:
        return format_value(point.value, trace.unit, point.resolution)

    yield (
        f"{trace.n} values from {elapsed(first.t_s)} to {elapsed(last.t_s)}, first {shown(first)}, "
        f"last {shown(last)}; lowest {shown(trace.low)} at {elapsed(trace.low.t_s)}, "
        f"highest {shown(trace.high)} at {elapsed(trace.high.t_s)}"
    )
    if aims.band is not None and aims.target is not None:
        low, target, high = (format_value(edge, trace.unit) for edge in (aims.band[0], aims.target, aims.band[1]))
        yield f"band {low} to {high}, target {target}"
    for limit, side in ((aims.never_below, "below"), (aims.never_above, "above")):
        if limit is not None:
            yield f"hazardous side: {side} {format_value(limit, trace.unit)}"
    if trace.over:
        yield f"readings without a value (open tips, over-range), gaps in the line: {trace.over}"
