"""A picture of readings by itself, as one SVG that needs nothing else: for a notebook, or a file of its own."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path

from metercap.errors import UsageError
from metercap.files import new_text
from metercap.report.page import environment, kind_of
from metercap.report.plot import plot
from metercap.report.traces import Trace

_STYLE = """
svg { background: #fff; color: #1b2125; font-family: Charter, Georgia, "DejaVu Serif", serif; max-width: 60rem; }
text { font-size: 11px; fill: #1b2125; stroke: #fff; stroke-width: 3px; paint-order: stroke; }
text.quiet { fill: #5b656b; }
.axis { stroke: #1b2125; stroke-width: 1; fill: none; }
.grid { stroke: #cfd4d7; stroke-width: 0.6; }
.trace { fill: none; stroke: #1b2125; stroke-width: 1.3; stroke-linejoin: round; stroke-linecap: round; }
circle.found { fill: #fff; stroke: #1b2125; stroke-width: 1.5; }
circle.left, path.left { fill: #1b2125; }
"""


class Drawing:
    """A picture. A notebook shows it where it is the last expression of a cell."""

    def __init__(self, svg: str) -> None:
        self.svg = svg

    def _repr_svg_(self) -> str:
        return self.svg

    def save(self, path: str | Path) -> None:
        """Write it to a new SVG file. Raises FileProblem when the file exists or cannot be written."""
        new_text(path, self.svg)


def drawing(title: str, unit: str, values: Iterable[tuple[float, float]]) -> Drawing:
    """Draw values (t_s, value in `unit`) over time; NaN breaks the line.

    UsageError where there is no value.
    """
    trace = Trace(unit)
    for t_s, value in values:
        if math.isnan(value):
            trace.gap()
        else:
            trace.add(t_s, value)
    picture = plot(title, trace)
    if picture is None:
        raise UsageError("there is no value to draw", hint="choose readings whose state is ok")
    text = environment().get_template("picture.html").render(block=picture, kind=kind_of)
    inside = text[text.index("<svg ") + len("<svg ") : text.index("</svg>")]
    head, _, shapes = inside.partition(">")
    size = f'width="{picture.width:g}" height="{picture.height:g}"'
    return Drawing(f'<svg xmlns="http://www.w3.org/2000/svg" {size} {head}><style>{_STYLE}</style>{shapes}</svg>\n')
