"""Pictures that are not the bench: help, the question before quitting, learning a pedal."""

from __future__ import annotations

import msgspec

from metercap.records import VerdictKind
from metercap.screen.canvas import Canvas, Ink
from metercap.screen.model import MARKS, Face, Hero, Line, Place, Tone
from metercap.screen.moment import PLACE
from metercap.screen.text import visible, wrapped
from metercap.view import View

LIMITS_OF_SIGHT = (
    "The meter shows two to ten values a second: dropouts and bounces shorter than a conversion stay unseen.",
    "Wait for the tick, not for the meter's own beep; at two a second hold a touch for 1.5 s.",
    "Two slips that undo each other cannot be seen by any count; the count check at the end finds single ones.",
    "metercap defers to local codes and licensed practice. Never probe mains-side circuits on its word.",
)
"""What no screen can promise; shown under the keys."""


def paint_help(columns: int, rows: int, table: list[tuple[str, str, str]], scroll: int) -> Canvas:
    """Draw the table of keys, in two columns where there is room, from line `scroll` on; any other key leaves it."""
    canvas = Canvas(max(1, columns), max(1, rows))
    canvas.text(0, 0, " help ", Ink.LABEL)
    canvas.text(7, 0, "any key goes back; arrows scroll", Ink.QUIET)
    halves = 2 if columns >= 140 else 1
    per = -(-len(table) // halves)
    lines: list[list[tuple[int, str, Ink]]] = []
    for at in range(per):
        parts: list[tuple[int, str, Ink]] = []
        for half in range(halves):
            index = at + half * per
            if index < len(table):
                key, name, does = table[index]
                left = 1 + half * (columns // 2)
                parts += [(left, f" {key} ", Ink.LABEL), (left + 14, name, Ink.STRONG), (left + 31, does, Ink.TEXT)]
        lines.append(parts)
    lines.append([])
    lines += [[(1, part, Ink.QUIET)] for text in LIMITS_OF_SIGHT for part in wrapped(text, columns - 2, 9)]
    start = min(max(0, scroll), max(0, len(lines) - (rows - 2)))
    for y, parts in enumerate(lines[start : start + rows - 2], 2):
        for left, text, ink in parts:
            canvas.text(left, y, text, ink)
    return canvas


def paint_list(columns: int, rows: int, view: View, scroll: int) -> Canvas:
    """Draw every step of the plan with its mark and what is open in it, from line `scroll` on."""
    canvas = Canvas(max(1, columns), max(1, rows))
    canvas.text(0, 0, " list ", Ink.LABEL)
    canvas.text(7, 0, "any key goes back; arrows scroll", Ink.QUIET)
    later = {left.step for left in view.left_open}
    ranked = {} if view.proposed is None else {each.step: each for each in view.proposed.order}
    place = {step: at for at, step in enumerate(ranked, 1)}
    lines: list[tuple[str, str, Ink]] = []
    if view.proposed is not None:
        lines.append((" proposed", visible(f"{view.proposed.why}; to {view.proposed.step}"), Ink.STRONG))
    for stage in view.path:
        undone = [spot.name for spot in stage.spots if spot.verdict is None]
        told = [spot.verdict for spot in stage.spots if spot.verdict is not None]
        bad = [verdict for verdict in told if verdict.verdict is not VerdictKind.PASS]
        here = stage.id == view.step and view.end is None
        parts = [f"{MARKS[PLACE[verdict.verdict]]} {verdict.item}" for verdict in bad]
        if undone and undone != [stage.id]:
            parts.append(f"open: {', '.join(undone)}")
        if (rank := ranked.get(stage.id)) is not None:
            parts.append(f"{place[stage.id]} of {len(ranked)}: {rank.said}")
        if stage.id in later and not here:
            parts.append("comes back before the end")
        mark = "▶" if here else "·" if undone else " " if bad else MARKS[Place.PASS]
        ink = Ink.STRONG if here else Ink.TEXT if undone or bad else Ink.QUIET
        lines.append((f" {mark} {visible(stage.id)}", visible("   ".join(parts)), ink))
    start = min(max(0, scroll), max(0, len(lines) - (rows - 2)))
    for y, (name, said, ink) in enumerate(lines[start : start + rows - 2], 2):
        canvas.text(0, y, name, ink)
        canvas.text(20, y, said, ink)
    return canvas


class SecondScreen(msgspec.Struct, frozen=True):
    """Where the second screen is: its address, the whole one with its key, and that as a code, "1" a dark square.

    Without a key (this machine alone) there is no code.
    """

    url: str
    key_url: str
    code: tuple[str, ...] = ()


def paint_second(columns: int, rows: int, second: SecondScreen, *, light: bool) -> Canvas:
    """Draw where the second screen is; the code in half rows, dark on light whatever the theme, as scanners want it."""
    canvas = Canvas(max(1, columns), max(1, rows))
    canvas.text(0, 0, " second screen ", Ink.LABEL)
    canvas.text(16, 0, "any key goes back", Ink.QUIET)
    code, y = second.code, 2
    tall = -(-len(code) // 2)
    if code and tall + 2 <= rows and len(code[0]) <= columns:
        # What is drawn is the letter's own colour: dark in the light theme, light in the others.
        drawn = "1" if light else "0"
        for top in range(0, len(code), 2):
            lower = code[top + 1] if top + 1 < len(code) else "0" * len(code[top])
            halves = zip(code[top], lower, strict=True)
            cells = "".join(" ▄▀█"[2 * (upper == drawn) + (under == drawn)] for upper, under in halves)
            canvas.text(0, 1 + top // 2, cells, Ink.STRONG)
        y = 1 + tall
    for line in wrapped(second.key_url, columns, max(1, rows - y)):
        canvas.text(0, y, line, Ink.STRONG)
        y += 1
    return canvas


def quit_view(face: Face, open_items: int) -> Face:
    """The question before quitting, in place of the answer."""
    left = f"{open_items} item{'s are' if open_items != 1 else ' is'} not done; " if open_items else ""
    return msgspec.structs.replace(
        face,
        hero=Hero("QUIT?", tone=Tone.UNSURE),
        aside=None,
        done=None,
        detail="",
        next=Line(f"{left}y ends the session and closes the journal, any other key goes on", Tone.UNSURE),
        words=(),
    )


def pedal_view(face: Face, pressed: bool) -> Face:
    """Learning a pedal: first the pedal itself, then the key of the word it shall say."""
    ask = "now press the key of the word it shall say" if pressed else "press your pedal; escape leaves it"
    return msgspec.structs.replace(
        face,
        hero=Hero("WHICH WORD?" if pressed else "PRESS PEDAL"),
        aside=None,
        done=None,
        next=Line(ask, Tone.UNSURE),
        detail="",
        words=("yes", "no", "open", "skip", "pass", "fail", "again") if pressed else (),
    )
