"""Lines for people and for programs, and what a reader that goes away does to them: nothing."""

from __future__ import annotations

import errno
import io

import pytest

from metercap.contact import Stay
from metercap.plain import JsonLines, PlainLines
from metercap.records import Cue, CueKind, Note, Verdict, VerdictKind
from metercap.session.facts import Tips
from metercap.view import View

NOTE = Note(1.0, "lid \x1b[2J open")


class Broken(io.StringIO):
    """A stream that fails as a pipe, a disk or a terminal does."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number
        self.tries = 0

    def write(self, text: str) -> int:
        """Fail."""
        self.tries += 1
        raise OSError(self.number, "broken")


class Terminal(io.StringIO):
    """A stream that people look at."""

    def isatty(self) -> bool:
        """It is one."""
        return True


@pytest.mark.parametrize("number", [errno.EPIPE, errno.ENOSPC, errno.EIO])
def test_a_dead_stream_ends_the_writing_only(number: int) -> None:
    """Broken pipe, full disk, terminal gone: one attempt, `gone`, and no exception however much follows."""
    text = Broken(number)
    people = PlainLines(text)
    assert not people.gone
    for _ in range(3):
        people.see(NOTE, b"")
        people.say("help")
        people.urgent(Cue(1.0, "s", "i", CueKind.HAZARD))
    assert people.gone
    assert text.tries == 1
    programs = JsonLines(Broken(number))
    programs.see(NOTE, b"{}\n")
    programs.see(NOTE, b"{}\n")
    assert programs.gone


def test_json_lines_are_the_files_own() -> None:
    """Line by line as given; a record that is in no file (an empty line) is not printed."""
    out = io.BytesIO()
    lines = JsonLines(out)
    lines.see(NOTE, b'{"a":1}\n')
    lines.see(NOTE, b"")
    assert out.getvalue() == b'{"a":1}\n'


def test_what_comes_from_files_is_escaped() -> None:
    """No note, item or reason drives the terminal; without a terminal there is no colour."""
    out = io.StringIO()
    lines = PlainLines(out)
    lines.see(NOTE, b"")
    lines.see(Verdict(2.0, "s", "F1\x07", VerdictKind.FAIL, reason="\x1b]0;x\x07"), b"")
    assert "\x1b" not in out.getvalue()
    assert "\x07" not in out.getvalue()
    assert "lid \\x1b[2J open" in out.getvalue()


def test_a_hazard_is_shown_once_and_rings() -> None:
    """`urgent` shows it with a terminal's bell at once; the same record seen later adds nothing."""
    out = Terminal()
    lines = PlainLines(out)
    hazard = Cue(1.0, "s", "RV1", CueKind.HAZARD)
    lines.urgent(hazard)
    lines.see(hazard, b"")
    assert out.getvalue().count("HAZARD") == 1
    assert out.getvalue().endswith("\a\n")


def test_a_pipe_gets_no_bell() -> None:
    """A control character in a file that a program reads rings nowhere."""
    out = io.StringIO()
    PlainLines(out).urgent(Cue(1.0, "s", "RV1", CueKind.HAZARD))
    assert "HAZARD" in out.getvalue()
    assert "\a" not in out.getvalue()


def test_our_own_colours_pass_the_gate() -> None:
    """What `paint` makes in a terminal is what the gate lets through there, for every colour, bold and not."""
    from metercap import gate
    from metercap.plain.style import paint

    for colour in ("red", "green", "yellow", "cyan", None):
        for bold in (True, False):
            text = paint("X", colour, True, bold=bold)
            assert gate.lines(text, own=True) == text
            assert gate.lines(text).count("\\x1b") == text.count("\x1b")
    assert paint("\x1b[2J", "red", True) == "\x1b[31m\\x1b[2J\x1b[0m"


@pytest.mark.parametrize(
    ("kind", "call", "said"),
    [("tune", None, "hands still"), ("tune", CueKind.STOP, "!! RV1: STOP"), ("sweep", CueKind.STOP, "!! RV1: STOP")],
)
def test_a_nudge_is_told_from_voltage(kind: str, call: CueKind | None, said: str) -> None:
    """While a trimmer is turned stop steers the hand; where the hands are called it is voltage in the circuit."""
    out = io.StringIO()
    lines = PlainLines(out)
    lines.look(View(kind=kind, call=call))
    lines.see(Cue(1.0, "s", "RV1", CueKind.STOP), b"")
    assert said in out.getvalue()


def test_a_lift_says_how_long_it_takes() -> None:
    """From the view: so many seconds until go."""
    out = io.StringIO()
    lines = PlainLines(out)
    lines.look(View(tips=Tips(on=True, counts=False, shows=True, armed=False, stay=Stay(2, 3, 1.2))))
    lines.see(Cue(1.0, "s", "F1", CueKind.LIFT), b"")
    assert "stay off 1.2 s until go" in out.getvalue()
