"""Themes: what each ink looks like.

Blue is good and orange is bad, which all common kinds of eye tell apart; and nothing is said by hue alone: verdicts
have marks, places have shapes, calls have words. `PLAIN` uses no colour at all.
"""

from __future__ import annotations

import os
from collections.abc import Mapping

import msgspec
from rich.style import Style

from metercap.screen.canvas import Ink
from metercap.screen.model import Tone


class Theme(msgspec.Struct, frozen=True):
    """A style for every ink, in the order of `Ink`; `background` fills what is not drawn, None is the terminal's."""

    name: str
    styles: tuple[Style, ...]
    background: str | None


def _hued(name: str, ground: str, text: str, quiet: str, strong: str, good: str, bad: str, unsure: str) -> Theme:
    def on(colour: str, bold: bool = False) -> Style:
        return Style(color=colour, bgcolor=ground, bold=bold)

    def label(colour: str) -> Style:
        return Style(color=ground, bgcolor=colour, bold=True)

    return Theme(
        name=name,
        styles=(
            *(on(text), on(quiet), on(strong, True), on(good), on(bad), on(unsure)),
            *(label(colour) for colour in (bad, strong, good, bad, unsure)),
        ),
        background=ground,
    )


DARK = _hued("dark", "#0e1114", "#d5d9dc", "#7f898f", "#ffffff", "#7cbcff", "#ff9152", "#ffd866")
LIGHT = _hued("light", "#faf8f3", "#23282c", "#666d72", "#000000", "#0a5aa8", "#b03c00", "#785a00")
PLAIN = Theme(
    name="plain",
    styles=(Style(), Style(dim=True), *(Style(bold=True),) * 4, *(Style(reverse=True, bold=True),) * 5),
    background=None,
)
THEMES = {theme.name: theme for theme in (DARK, LIGHT, PLAIN)}

TONE_INKS = {
    Tone.PLAIN: Ink.STRONG,
    Tone.QUIET: Ink.QUIET,
    Tone.GOOD: Ink.GOOD,
    Tone.BAD: Ink.BAD,
    Tone.UNSURE: Ink.UNSURE,
    Tone.ALARM: Ink.ALARM,
}


def pick(name: str = "", environ: Mapping[str, str] | None = None) -> Theme:
    """Return the theme of that name; without one, `PLAIN` under NO_COLOR or TERM=dumb, `LIGHT` where COLORFGBG says so.

    COLORFGBG is what some terminals set to "foreground;background" by palette number (common practice, no source);
    7 and 15 are light grounds. Everything else is taken for dark.
    """
    env = os.environ if environ is None else environ
    if name in THEMES:
        return THEMES[name]
    if env.get("NO_COLOR") or env.get("TERM") == "dumb":
        return PLAIN
    return LIGHT if env.get("COLORFGBG", "").rpartition(";")[2] in ("7", "15") else DARK
