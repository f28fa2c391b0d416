"""A picture of the real screen: the app itself, run without a terminal, its rows taken as they were handed to it."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

from rich.segment import Segment

from metercap.screen.app import BenchApp
from metercap.screen.observer import ScreenObserver
from metercap.screen.ports import Controls, Hands
from metercap.screen.theme import THEMES
from metercap.screen.widget import Board
from metercap.view import View
from tests.screen.picture import svg

_TERMINALS = {"dark": ("#d5d9dc", "#0e1114"), "light": ("#23282c", "#faf8f3"), "plain": ("#d8d8d8", "#101010")}
"""Ink and ground that stand for the terminal's own, by theme."""


def picture_of(
    view: View,
    columns: int,
    rows: int,
    theme: str = "dark",
    *,
    keys: Sequence[str] = (),
    controls: Controls | None = None,
    hands: Hands | None = None,
) -> str:
    """Return as SVG what a terminal of that size shows of `view`, and after `keys` were pressed."""

    async def run() -> list[list[Segment]]:
        observer = ScreenObserver()
        app = BenchApp(observer, theme=THEMES[theme], controls=controls, hands=hands)
        async with app.run_test(size=(columns, rows)) as pilot:
            observer.look(view)
            if keys:
                await pilot.press(*keys)
            await pilot.pause(0.1)
            board = app.query_one(Board)
            lines = [list(board.render_line(y)) for y in range(rows)]
        if app.fault is not None:
            raise app.fault
        return lines

    ink, ground = _TERMINALS[theme]
    return svg(asyncio.run(run()), ink=ink, ground=ground)
