"""Words from a pipe and from a terminal's keys."""

from __future__ import annotations

import io
import os
import termios
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.clock import ScaledClock, VirtualClock
from metercap.errors import UsageError
from metercap.words import KeyWords, LineWords, key_table, listen, word_source
from metercap.words.listen import keys_of


class Stopwatch:
    """Real seconds that pass when told; the keys of a test are typed faster than any hand."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        self.now_s += 1.0
        return self.now_s


@pytest.fixture
def pipe() -> Iterator[Any]:
    out, into = os.pipe()
    ends = [out, into]
    yield out, into, ends
    for fd in ends:
        os.close(fd)


def test_lines_become_words(pipe: Any, heard: Any) -> None:
    """Lines, split anywhere and of either line end, are words; refusals are shown and end nothing."""
    out, into, _ = pipe
    words = LineWords(out, complain=heard.show)
    words.start(heard, ScaledClock())
    for piece in (b"ye", b"s\nno", b"\r\n\n  \nhuh\nat F", b"3\n"):
        os.write(into, piece)
        time.sleep(0.01)
    heard.until(lambda h: len(h.words) == 3, "three words")
    words.stop()
    assert heard.words == [("yes", ""), ("no", ""), ("at", "F3")]
    assert heard.sources == ["line"] * 3
    assert len(heard.shown) == 1
    assert "is no word" in heard.shown[0]


def test_lines_may_be_read_by_somebody_else(pipe: Any, heard: Any) -> None:
    """Who reads the lines gets every one, empty ones too; what gives no word is nobody's, and refusals are shown."""
    out, into, _ = pipe
    got: list[str] = []

    def read(line: str) -> tuple[str, str] | None:
        got.append(line)
        if line == "bad":
            raise UsageError("bad line")
        return ("note", line) if line.startswith("say ") else None

    words = LineWords(out, complain=heard.show, read=read)
    words.start(heard, VirtualClock())
    os.write(into, b"F3\n\nbad\nsay hello\n")
    heard.until(lambda h: h.words, "a word")
    words.stop()
    assert got == ["F3", "", "bad", "say hello"]
    assert heard.words == [("note", "say hello")] and heard.shown == ["bad line"]


def test_the_end_of_stdin_is_no_word(pipe: Any, heard: Any) -> None:
    """A closed pipe says nothing; a last line without its newline still counts."""
    out, into, ends = pipe
    words = LineWords(out, complain=heard.show)
    words.start(heard, VirtualClock())
    os.write(into, b"skip\nyes")
    os.close(into)
    ends.remove(into)
    heard.until(lambda h: len(h.words) == 2, "both words")
    words.stop()
    assert heard.words == [("skip", ""), ("yes", "")]
    assert heard.shown == []
    assert heard.faults == []


def test_hostile_lines_are_bounded(pipe: Any, heard: Any) -> None:
    """An endless line is refused once, in bounded memory; bad UTF-8 and NUL do no harm; the next line counts."""
    out, into, _ = pipe
    words = LineWords(out, complain=heard.show)
    words.start(heard, VirtualClock())
    for _ in range(40):
        os.write(into, b"x" * 1024)
    os.write(into, b"\nnote \xff\x00\nyes\n")
    heard.until(lambda h: len(h.words) == 2, "the words after it")
    words.stop()
    assert heard.words == [("note", "�\x00"), ("yes", "")]
    assert heard.shown == ["a line of more than 4096 bytes is no word"]


def test_stopping_ends_a_blocked_read(pipe: Any, heard: Any) -> None:
    """A pipe that stays open and says nothing does not keep the program from ending."""
    before = threading.active_count()
    words = LineWords(pipe[0], complain=heard.show)
    words.start(heard, VirtualClock())
    start = time.monotonic()
    words.stop()
    words.stop()
    assert time.monotonic() - start < 0.5
    assert threading.active_count() == before


def test_words_carry_session_time(pipe: Any, heard: Any) -> None:
    """A word is stamped with the session's time, scaled or not."""
    clock = VirtualClock()
    clock.move_to(12.5)
    words = LineWords(pipe[0], complain=heard.show)
    words.start(heard, clock)
    os.write(pipe[1], b"yes\n")
    heard.until(lambda h: h.words, "word")
    words.stop()
    assert heard.times == [12.5]


def typed(
    terminal: Any, heard: Any, keys: list[bytes], *, table: Any = None, monotonic: Any = None, expect: int
) -> None:
    typist, program = terminal
    words = KeyWords(program, show=heard.show, table=table, monotonic=monotonic or Stopwatch())
    words.start(heard, VirtualClock())
    for key in keys:
        os.write(typist, key)
        time.sleep(0.002)
    heard.until(lambda h: len(h.words) + len(h.shown) >= expect, f"{expect} words and lines")
    words.stop()
    assert heard.faults == []


def test_a_key_is_a_word(terminal: Any, heard: Any) -> None:
    """Each key of the table says its word at once, without enter."""
    typed(terminal, heard, [b"y", b"n", b"o", b"s", b"S", b"a", b"b", b"r", b"p", b"f", b"u", b" ", b"Q"], expect=13)
    assert [word for word, _ in heard.words] == [
        *("yes", "no", "open", "skip", "skip step", "absent", "back", "again", "pass", "fail", "undo"),
        *("say", "quit"),
    ]
    assert heard.sources == ["key"] * 13
    assert heard.shown == []


def test_a_held_key_is_one_word(terminal: Any, heard: Any) -> None:
    """A foot left on a pedal repeats the key; only its first counts, until it rests for a while."""
    times = iter([0.0, 0.5, 0.53, 0.56, 0.59, 0.62, 2.0, 2.1])
    typed(terminal, heard, [b"y"] * 7 + [b"n"], monotonic=lambda: next(times), expect=3)
    assert heard.words == [("yes", ""), ("yes", ""), ("no", "")]


def test_a_word_with_an_argument_is_typed_to_its_end(terminal: Any, heard: Any) -> None:
    """`@`, text and enter say `at ITEM`; backspace takes back, what is typed is shown, keys inside are text."""
    typed(terminal, heard, [b"@", b"F", b"y", b"\x7f", b"3", b"\r", b"y"], expect=7)
    assert heard.words == [("at", "F3"), ("yes", "")]
    assert heard.shown == [
        "at ITEM, then enter (escape drops it):",
        *("at F", "at Fy", "at F", "at F3"),
    ]


def test_an_argument_may_be_dropped_or_missing(terminal: Any, heard: Any) -> None:
    """Escape drops the word; enter without text is refused; both leave the keys as they were."""
    typed(terminal, heard, [b"#", b"x", b"\x1b"], expect=3)
    typed(terminal, heard, [b"+", b"\n", b"n"], expect=6)
    assert heard.words == [("no", "")]
    assert "note dropped" in heard.shown
    assert any("needs its NAME" in line for line in heard.shown)


def test_unknown_keys_and_help(terminal: Any, heard: Any) -> None:
    """A key without a word says so and names the help key, which shows the table; arrows are no letters."""
    typed(terminal, heard, [b"z", b"?", b"\x1b[A", b"\x1bOP", b"\xc3\xa9"], expect=5)
    assert heard.words == []
    assert heard.shown[0] == "key z is no word; ? shows the keys"
    assert "skip step" in heard.shown[1]
    assert heard.shown[2] == "key \\x1b[A is no word; ? shows the keys"
    assert heard.shown[3] == "key \\x1bOP is no word; ? shows the keys"
    assert heard.shown[4] == "key é is no word; ? shows the keys"


def test_a_pedals_function_key(terminal: Any, heard: Any) -> None:
    """A pedal that types F12 says the word it was given."""
    typed(terminal, heard, [b"\x1b[24~"], table=key_table({"pass": "\x1b[24~"}), expect=1)
    assert heard.words == [("pass", "")]


def test_the_terminal_is_taken_and_given_back(terminal: Any, heard: Any) -> None:
    """While keys are heard nothing is echoed and Ctrl-C still is a signal; afterwards every setting is as it was."""
    program = terminal[1]
    before = termios.tcgetattr(program)
    words = KeyWords(program, show=heard.show)
    words.start(heard, VirtualClock())
    during = termios.tcgetattr(program)
    words.stop()
    assert not during[3] & (termios.ICANON | termios.ECHO)
    assert during[3] & termios.ISIG
    assert termios.tcgetattr(program) == before


def test_the_terminal_is_taken_again_after_a_shell_had_it(
    terminal: Any, heard: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Suspended and brought back, the program finds the terminal in line mode and takes it again."""
    monkeypatch.setattr("metercap.words.terminal.WAKE_S", 0.02)
    typist, program = terminal
    before = termios.tcgetattr(program)
    words = KeyWords(program, show=heard.show)
    words.start(heard, VirtualClock())
    termios.tcsetattr(program, termios.TCSANOW, before)
    time.sleep(0.1)
    os.write(typist, b"y")
    heard.until(lambda h: h.words, "word")
    words.stop()
    assert termios.tcgetattr(program) == before


def test_a_terminal_that_goes_away_ends_listening(heard: Any) -> None:
    """A closed terminal is the end of the words and nothing else."""
    typist, program = os.openpty()
    words = KeyWords(program, show=heard.show)
    words.start(heard, VirtualClock())
    os.close(typist)
    time.sleep(0.05)
    words.stop()
    os.close(program)
    assert heard.faults == []


def test_a_defect_while_listening_is_a_fault(pipe: Any, heard: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """What nobody foresaw reaches the loop."""
    monkeypatch.setattr(listen, "parse_line", lambda text: 1 / 0)
    words = LineWords(pipe[0], complain=heard.show)
    words.start(heard, VirtualClock())
    os.write(pipe[1], b"yes\n")
    heard.until(lambda h: h.faults, "fault")
    words.stop()
    assert isinstance(heard.faults[0], ZeroDivisionError)


def test_what_listens_is_chosen_by_what_stdin_is(terminal: Any, pipe: Any, heard: Any) -> None:
    """A terminal gives keys, unless lines are asked for; a pipe gives lines; no stdin gives nothing."""
    with open(terminal[1], closefd=False) as tty, open(pipe[0], closefd=False) as lines:
        assert isinstance(word_source(tty, as_lines=False, show=heard.show), KeyWords)
        assert isinstance(word_source(tty, as_lines=True, show=heard.show), LineWords)
        assert isinstance(word_source(lines, as_lines=False, show=heard.show), LineWords)
    assert word_source(None, as_lines=False, show=heard.show) is None
    assert word_source(io.StringIO(), as_lines=False, show=heard.show) is None


@given(st.lists(st.binary(max_size=12), max_size=12))
def test_no_bytes_upset_the_keys(chunks: list[bytes]) -> None:
    """Any bytes become keys of at most 16 characters, never empty ones."""
    for key in keys_of(iter(chunks)):
        assert 1 <= len(key) <= 16


def test_a_sequence_too_long_for_a_key_is_passed_over_to_its_end() -> None:
    """What a terminal reports of itself does not spill into words."""
    assert list(keys_of(iter([b"\x1b[" + b"1;" * 30 + b"yn"]))) == ["n"]
    assert list(keys_of(iter([b"\x1b", b"[", b"A", b"y"]))) == ["\x1b[A", "y"]
    assert list(keys_of(iter([b"\x1b", b"", b"[", b"A"]))) == ["\x1b", "[", "A"]


@pytest.mark.parametrize(
    ("sent", "keys"),
    [
        (b"\x1b]11;rgb:ffff/y\x07s", ["s"]),
        (b"\x1b]0;y\x1b\\s", ["s"]),
        (b"\x1bP1$ryo\x1b\\s", ["s"]),
        (b"\x1b]0;y\x1b[As", ["\x1b[A", "s"]),
        (b"\x1b[200~yes\x1b[Aopen\x1b[201~s", ["s"]),
        (b"\x1b[48;;;;ts", ["\x1b[48;;;;t", "s"]),
        (b"\x1b[Mynos", ["\x1b[Myno", "s"]),
        (b"\x1b[[As", ["\x1b[[A", "s"]),
        (b"\x1b\x1b[As", ["\x1b", "\x1b[A", "s"]),
        (b"\x1b[12\x1b[As", ["\x1b[A", "s"]),
        (b"\x1b]0;y\x03s", ["\x03", "s"]),
        (b"\x1bOPs", ["\x1bOP", "s"]),
        (b"\x1bys", ["\x1by", "s"]),
    ],
)
def test_what_a_terminal_tells_of_itself_is_no_word(sent: bytes, keys: list[str]) -> None:
    """Answers, reports and pastes are passed over to their end (ECMA-48, 5.4 and 5.6), byte by byte or at once."""
    assert list(keys_of(iter([sent]))) == keys
    assert list(keys_of(iter([bytes([byte]) for byte in sent]))) == keys


def test_a_string_that_does_not_end_is_given_up_when_it_is_quiet() -> None:
    """A broken report costs itself and no word after it."""
    for begun in (b"\x1b]0;y", b"\x1b[200~y", b"\x1b[" + b"1" * 40):
        assert list(keys_of(iter([begun, b"", b"s"]))) == ["s"]
