"""Teaching by displays: from pairs given at once, or in turns with the meter on a port and a person who types."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, TypeAlias

import click

from metercap.gate import visible

if TYPE_CHECKING:
    from metercap.meter import MeterProfile
    from metercap.meters.learn import Heard
    from metercap.meters.shown import Shown

Learned: TypeAlias = "tuple[MeterProfile, list[str], list[str]]"
MOST_DISPLAYS = 100
COPIES = 3
"""A pair's frame was looked at by a person, so it need not come twice; a stream's must."""


def learn_pairs(pairs: Sequence[tuple[str, str]], base: MeterProfile) -> Learned:
    """Return profile, displays and what is untold. UsageError says what is still to be shown, or what does not fit."""
    from metercap.errors import UsageError
    from metercap.meters.learn import learn
    from metercap.meters.lesson import Contradiction

    try:
        lesson = learn([_heard(*pair) for pair in pairs], base)
    except Contradiction as why:
        raise UsageError(f"no profile: {why}", hint="look at that display again") from None
    if lesson.profile is None:
        raise UsageError(f"no profile yet: {lesson.why}", hint=f"one more --pair, with {lesson.ask}")
    return lesson.profile, [f"{sent}   ->   {typed}" for sent, typed in pairs], list(lesson.untold)


def _heard(sent: str, typed: str) -> Heard:
    from metercap.errors import UsageError
    from metercap.meters.learn import Heard
    from metercap.meters.shown import shown

    if sent.startswith("hex:"):
        try:
            data = bytes.fromhex(sent[4:])
        except ValueError:
            raise UsageError(f"{sent!r} is not in hex", hint="hex:14 22 35 …") from None
    else:
        data = sent.rstrip("\r\n").encode() + b"\r\n"
    return Heard(data * COPIES, shown(typed))


def learn_port(port: str, base: MeterProfile, seconds: float, pairs: Sequence[tuple[str, str]]) -> Learned | None:
    """Ask for displays until they suffice and a fresh one is confirmed; None when the person ends before that.

    The answers are lines of stdin, typed or piped: a pipe confirms the fresh display in words too, or nothing is
    written.
    """
    from metercap.meters.learn import Heard, fresh, learn
    from metercap.meters.lesson import Contradiction

    heard = [_heard(*pair) for pair in pairs]
    said = [typed for _, typed in pairs]
    _say("put the meter on something steady and type what its display shows, unit and all; an empty line ends")
    while len(heard) < MOST_DISPLAYS:
        typed = _line("display")
        if not typed:
            return None
        display = _display(typed)
        if display is None:
            continue
        heard.append(Heard(_listen(port, base, seconds), display))
        said.append(typed)
        try:
            lesson = learn(heard, base)
        except Contradiction as why:
            _say(f"that does not go together: {why}; the last display is left out")
            heard.pop(), said.pop()
            continue
        if lesson.profile is None:
            _say(f"{len(heard)} displays: {lesson.why}; next: {lesson.ask}")
            continue
        _say(f"{len(heard)} displays are all decoded; listening afresh: show another value, and type it")
        typed = _line("display")
        if not typed:
            return None
        display = _display(typed)
        if display is None:
            continue
        stream = _listen(port, base, seconds)
        readings, why_not = fresh(lesson.profile, stream)
        if readings and not why_not and display.agrees(readings[-1]):
            return lesson.profile, said, list(lesson.untold)
        _say(f"it is not read as {typed!r}: {why_not or 'another value'}; it is learned from as well, go on")
        heard.append(Heard(stream, display))
        said.append(typed)
    return None


def _display(typed: str) -> Shown | None:
    """Return what a typed display says; None, with what is wrong said, when it is none."""
    from metercap.errors import UsageError
    from metercap.meters.shown import shown

    try:
        return shown(typed)
    except UsageError as error:
        _say(f"{error.what}; {error.hint}")
        return None


def _listen(port: str, base: MeterProfile, seconds: float) -> bytes:
    from metercap.errors import UsageError
    from metercap.finding.listen import hear
    from metercap.link.watch import NEVER_SENT

    heard = hear(port, base, seconds)
    if not heard.sample:
        raise UsageError(heard.lost or NEVER_SENT, where=port, hint="--seconds 20, another --baud, or --poll TEXT")
    return heard.sample


def _line(asked: str) -> str:
    """Return the next line of stdin; empty at its end."""
    if sys.stdin is None:
        return ""
    if sys.stdin.isatty():
        click.echo(f"{asked}: ", nl=False, err=True)
    try:
        return sys.stdin.readline(200).strip()
    except UnicodeDecodeError:
        return "?"


def _say(text: str) -> None:
    click.echo(visible(text), err=True)
