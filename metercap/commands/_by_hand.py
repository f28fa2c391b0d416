"""A session by hand: keys and lines move virtual hands and say words, everything else is the real program."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import click

from metercap.clock import ScaledClock
from metercap.commands._bench import over_port, practice_record, untrue
from metercap.commands._live import INTERRUPTED, Keep, Shown, print_closing, rescue, shown_by
from metercap.commands._pictures import picture_folders
from metercap.commands._saying import complain
from metercap.commands._setting import Setting
from metercap.commands._web import Paged
from metercap.errors import UsageError
from metercap.journal import Writer
from metercap.plain import JsonLines, PlainLines
from metercap.practice.audit import Audit
from metercap.practice.bench import PracticeBench
from metercap.practice.by_hand import ByHand, Offer
from metercap.practice.hand_lines import move_lines, nearest, read_move
from metercap.practice.port import PracticePort, pieces
from metercap.session import Session
from metercap.view import View, tapped
from metercap.words import LineWords, WordSource, help_lines, parse_line

Tell = Callable[[str], None]
Read = Callable[[str], "tuple[str, str] | None"]


def bench_of(chosen: Setting, speed: float) -> PracticeBench:
    """Return the bench, its frames in as many pieces as a port can send at that speed."""
    whole = PracticeBench(chosen.scene, seed=chosen.seed, hands=ByHand)
    return PracticeBench(chosen.scene, seed=chosen.seed, chunks=pieces(whole.frame_s, 14, speed), hands=ByHand)


class Grip:
    """Virtual hands behind an open port, moved from any thread."""

    def __init__(self, port: PracticePort) -> None:
        self._port = port

    @property
    def _hands(self) -> ByHand:
        """The hands on the unit that is on the mat now."""
        hands = self._port.bench.hands
        assert isinstance(hands, ByHand)
        return hands

    @property
    def points(self) -> tuple[str, ...]:
        """The names on the board that is on the mat now."""
        return tuple(self._port.bench.board.parts)

    @property
    def status(self) -> str:
        """Where the tips are, what the other hand does, what the eyes see."""
        return self._hands.status

    @property
    def offers(self) -> tuple[Offer, ...]:
        """The moves that mean something now."""
        return self._hands.offers

    def move(self, line: str) -> str:
        """Move now; return what was felt, or why it cannot be done."""
        try:
            return self.do(line)
        except UsageError as error:
            return error.what

    def tap_picture(self, view: View, picture: int, x: float, y: float, width: float, height: float) -> str:
        """Take a tap on the board's picture, and return what was felt, or why it cannot be done; from any thread.

        For whatever shows the picture and takes a finger: `view` is the newest one, `picture` the number of the plan's
        picture that was shown, `x` and `y` the place as fractions of its file as it is stored (a picture that is shown
        turned or zoomed is turned back first), `width` and `height` that file's pixels. A tap on a placed item puts
        both tips on it; one on the item under the tips, or beside all of them, lifts. Any numbers may come.
        """
        meant = tapped(view, picture, x, y, width, height)
        return self.tap("" if meant is None else meant.item)

    def tap(self, item: str) -> str:
        """Take a tap on an item of the board's picture, "" beside all of them; return what was felt, or why not."""
        try:
            return self._port.at_once(lambda t_s: self._hands.tap(item, t_s))
        except UsageError as error:
            return error.what

    def do(self, line: str) -> str:
        """Move now; return what was felt. UsageError when it cannot be done."""
        return self._port.at_once(lambda t_s: self._hands.move(line, t_s))


def line_reader(grip: Grip, tell: Tell, *, words: bool = True) -> Read:
    """Return what reads a person's lines: a move is made at once and answered by `tell`, a word is returned.

    Without `words` the only word is `quit`. UsageError for a line that is neither.
    """

    def read(line: str) -> tuple[str, str] | None:
        text = line.strip()
        if text.casefold() in ("?", "help"):
            tell("\n".join(["moves:", *move_lines(), *(["words:", *help_lines()] if words else [])]))
            return None
        if words or text.casefold() == "quit":
            with contextlib.suppress(UsageError):
                return parse_line(text)
        if read_move(text, grip.points) is None:
            raise _neither(text, grip.points, words)
        felt = grip.do(text)
        tell(f"{grip.status}: {felt}" if felt and felt not in grip.status else grip.status)
        return None

    return read


def _neither(text: str, points: Sequence[str], words: bool) -> UsageError:
    """What to say of a line that is no move; what a word lacks is said by the words' own grammar."""
    try:
        parse_line(text)
    except UsageError as error:
        if words and not error.what.endswith("is no word"):
            return error
        kinds = "no point of the board, no move and no word" if words else "no point of the board and no move"
        return UsageError(f"{text[:40]!a} is {kinds}", hint=nearest(text, points) or "help")
    return UsageError(f"{text[:40]!a} is a word of the session", hint="say it where the session runs")


def stdin_lines(read: Read, complain: Tell) -> list[WordSource]:
    """Return what listens to stdin, in a list; an empty one where there is none."""
    try:
        return [LineWords(sys.stdin.fileno(), complain=complain, read=read)]
    except (AttributeError, OSError, ValueError):
        return []


def practise(
    chosen: Setting,
    folder: Path,
    *,
    speed: float,
    plain: bool,
    as_json: bool,
    pictures: bool = True,
    page: Paged | None = None,
) -> int:
    """Run a whole session by hand into a new journal in `folder`; return a session's exit status."""
    scene = chosen.scene
    record = practice_record(
        chosen.name,
        scene,
        chosen.plan,
        chosen.profile,
        seed=chosen.seed,
        speed=speed,
        steps=chosen.steps,
        reference=chosen.reference,
        no_safe=chosen.no_safe,
    )
    journal = folder / f"{scene.unit.lower()}.jsonl"
    bench, clock, keep, session = bench_of(chosen, speed), ScaledClock(speed), Keep(), Session(record)
    audit = Audit(bench)
    with PracticePort(bench, clock) as port, Writer.create(journal, record) as writer:
        grip = Grip(port)
        if page is not None:
            page.teller.tapped = grip.tap_picture
        where = picture_folders(chosen.plan_name) if pictures and chosen.plan.pictures else ()
        shown = shown_by(as_json=as_json, plain=plain, listen=False, sound=True, hands=grip, pictures=where, page=page)
        shown = with_lines(grip, shown)
        try:
            reason = over_port(port, clock, session, record, writer, [keep, audit], shown)
        finally:
            shown.close()
            rescue(writer)
    if not as_json:
        with contextlib.suppress(OSError):  # nobody reads any more; the journal has it all
            _close(keep, audit, journal)
    return INTERRUPTED if reason == "interrupted" else keep.fold.exit_status


def with_lines(grip: Grip, shown: Shown) -> Shown:
    """Return what shows a session, with lines on stdin as moves and words, unless the full screen has the keys."""
    return shown._replace(words=[*shown.words, *_lines(grip, shown)])


def _lines(grip: Grip, shown: Shown) -> list[WordSource]:
    first = shown.observers[0]
    if isinstance(first, PlainLines):
        first.say("a point's name touches it, touch the one asked for, an empty line lifts; help lists moves and words")
        return stdin_lines(line_reader(grip, first.say), first.say)
    return stdin_lines(line_reader(grip, complain), complain) if isinstance(first, JsonLines) else []


def _close(keep: Keep, audit: Audit, journal: Path) -> None:
    """Print the verdicts, and what the bench knows of them."""
    print_closing(keep.fold, journal)
    count = len(audit.marked)
    wrong = [line for line in untrue(audit) if not line.endswith(": no verdict")]
    if count:
        agree = len([mark for mark in audit.marked if mark.agrees])
        click.echo(f"{agree} of {count} verdicts are as it is on the bench" + (", but:" if wrong else ""))
    for line in wrong:
        click.echo(f"  {line}")
