"""The one widget, as large as the terminal: it holds the canvas and draws again what changed of it."""

from __future__ import annotations

from rich.style import Style
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget

from metercap.screen.canvas import Canvas
from metercap.screen.theme import Theme


class Board(Widget):
    """Holds the picture and draws what changed of it."""

    DEFAULT_CSS = "Board { width: 100%; height: 100%; }"
    can_focus = False

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._canvas = Canvas(1, 1)
        self._strips: list[Strip] = []

    @property
    def canvas(self) -> Canvas:
        """The picture on the screen."""
        return self._canvas

    def show(self, canvas: Canvas, theme: Theme) -> None:
        """Take a new picture and refresh the cells that differ from the last one."""
        old, self._canvas = self._canvas, canvas
        if (old.width, old.height) != (canvas.width, canvas.height) or theme is not self._theme:
            self._theme = theme
            self._strips = [self._strip(y) for y in range(canvas.height)]
            self.refresh()
            return
        regions = []
        for y, row in enumerate(canvas.rows):
            span = row.changed(old.rows[y])
            if span is not None:
                self._strips[y] = self._strip(y)
                regions.append(Region(span[0], y, span[1] - span[0] + 1, 1))
        if regions:
            self.refresh(*regions)

    def _strip(self, y: int) -> Strip:
        return Strip(self._canvas.rows[y].segments(self._theme.styles), self._canvas.width)

    def render_line(self, y: int) -> Strip:
        """Return one row of the picture."""
        if y < len(self._strips):
            return self._strips[y]
        return Strip.blank(self.size.width, Style(bgcolor=self._theme.background))

    def render_lines(self, crop: Region) -> list[Strip]:
        """Return the rows of a region as they are: there are no borders to add and no styles to lay under them."""
        left, right = crop.column_span
        whole = (left, right) == (0, self._canvas.width)
        return [self.render_line(y) if whole else self.render_line(y).crop(left, right) for y in crop.line_range]

    def get_content_width(self, container: Size, viewport: Size) -> int:
        """Fill the terminal."""
        return container.width
