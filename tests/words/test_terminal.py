"""The terminal is given back however the program ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import termios
import time

import pytest

PROGRAM = """
import os, signal, sys, time
from metercap.clock import VirtualClock
from metercap.words import KeyWords
from metercap.live import Inbox, stop_signals

inbox = Inbox()
words = KeyWords(0, show=print)
with stop_signals(inbox):
    words.start(inbox, VirtualClock())
    print("ready", flush=True)
    how = sys.argv[1]
    if how == "exit":
        sys.exit(3)
    if how == "error":
        raise ZeroDivisionError
    while (item := inbox.get(0.05)) is None or how == "twice":
        pass
    words.stop()
"""


@pytest.mark.parametrize("how", ["exit", "error", "once", "twice"])
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_given_back_at_every_end(how: str, number: signal.Signals) -> None:
    """After an exit, an exception, a signal and a second signal the terminal is as it was before."""
    typist, program = os.openpty()
    try:
        before = termios.tcgetattr(program)
        with subprocess.Popen(
            [sys.executable, "-c", PROGRAM, how],
            stdin=program,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        ) as child:
            assert child.stdout.readline() == "ready\n"
            if how in ("once", "twice"):
                taken = termios.tcgetattr(program)
                assert not taken[3] & termios.ICANON
                disabled = bytes([os.fpathconf(program, "PC_VDISABLE")])
                assert taken[6][termios.VSUSP] == disabled, "Ctrl-Z is a key, it would stop the measuring"
                child.send_signal(number)
            if how == "twice":
                time.sleep(0.2)
                child.send_signal(number)
            status = child.wait(5.0)
        assert status == {"exit": 3, "error": 1, "once": 0, "twice": -number}[how]
        assert termios.tcgetattr(program) == before
    finally:
        os.close(typist)
        os.close(program)


BACKGROUND = """
import os, sys, time
from metercap.clock import VirtualClock
from metercap.live import Inbox
from metercap.words import KeyWords
words = KeyWords(0, show=print)
words.start(Inbox(), VirtualClock())
time.sleep(0.3)
words.stop()
os.write(int(sys.argv[1]), b"went on")
"""

SHELL = """
import os, sys, subprocess
out, into = os.pipe()
child = subprocess.Popen([sys.executable, "-c", sys.argv[1], str(into)], pass_fds=[into], process_group=0)
os.close(into)
import select
ready, _, _ = select.select([out], [], [], 6.0)
print(os.read(out, 100) if ready else "stopped", flush=True)
child.kill()
"""


def test_in_the_background_it_goes_on_without_the_terminal() -> None:
    """A program in the background neither sets nor reads the terminal, which would stop it."""
    typist, program = os.openpty()
    try:
        before = termios.tcgetattr(program)
        read = f"import os, fcntl, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0)\n{SHELL}"
        done = subprocess.run(
            [sys.executable, "-c", read, BACKGROUND],
            stdin=program,
            stdout=subprocess.PIPE,
            start_new_session=True,
            text=True,
            timeout=20,
        )
        assert "went on" in done.stdout
        assert termios.tcgetattr(program) == before
    finally:
        os.close(typist)
        os.close(program)
