"""How far something is, on a terminal: one line, now and then, and nothing of it is left."""

from __future__ import annotations

import io

import pytest

from metercap.commands._saying import progress


class Screen(io.StringIO):
    """A stderr that is a terminal, or says it is none."""

    def __init__(self, *, tty: bool = True) -> None:
        super().__init__()
        self._tty = tty

    def isatty(self) -> bool:
        """Return what it says it is."""
        return self._tty

    @property
    def shown(self) -> str:
        """What stands on the line after all that was written."""
        line: list[str] = []
        at = 0
        for letter in self.getvalue():
            if letter == "\r":
                at = 0
                continue
            line[at : at + 1] = [letter]
            at += 1
        return "".join(line)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A clock that goes as a test says."""
    now_s = [0.0]
    monkeypatch.setattr("metercap.commands._saying.time.monotonic", lambda: now_s[0])
    return now_s


def test_it_is_said_now_and_then_and_goes_away(clock: list[float], monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing in the first second, then every half, shorter texts over longer ones; at the end the line is empty."""
    screen = Screen()
    monkeypatch.setattr("sys.stderr", screen)
    with progress("journals") as say:
        say(3, 1)
        assert screen.getvalue() == ""
        clock[0] = 1.1
        say(1000, 1000)
        assert screen.shown == "1000 journals found, 1000 of them read anew"
        clock[0] = 1.4
        say(2000, 1000)
        assert "2000" not in screen.getvalue()
        clock[0] = 1.7
        say(9, 9)
        assert screen.shown.rstrip() == "9 journals found, 9 of them read anew"
    assert screen.shown.strip() == ""


def test_it_goes_away_with_an_error(clock: list[float], monkeypatch: pytest.MonkeyPatch) -> None:
    """What is said of the error then stands on a line of its own."""
    screen = Screen()
    monkeypatch.setattr("sys.stderr", screen)
    with pytest.raises(KeyboardInterrupt), progress("files") as say:
        clock[0] = 2.0
        say(5, 5)
        raise KeyboardInterrupt
    assert screen.shown.strip() == ""


def test_a_pipe_gets_nothing(clock: list[float], monkeypatch: pytest.MonkeyPatch) -> None:
    """No terminal, no line; and one where nothing took long is left alone."""
    for screen, now_s in ((Screen(tty=False), 9.0), (Screen(), 0.5)):
        clock[0] = 0.0
        monkeypatch.setattr("sys.stderr", screen)
        with progress("files") as say:
            clock[0] = now_s
            say(5, 5)
        assert screen.getvalue() == ""
