"""A simulated meter that shares no code with the package: its own frame drawing, its own threads, its own hands.

`Meter` sits behind a real pseudo-terminal, `SocketMeter` behind a loopback socket. Both show what their `tips`
touch. Frames are drawn from the segment, digit and line tables as the wire formats are described, written down here
a second time on purpose: a mistake in the package's tables cannot hide behind the same mistake here.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

OPEN = float("inf")
"""What the tips touch in air, in ohms."""
HASTE = 1.0
"""How many seconds of a session pass in one: for tests that do not judge real time (see `hastened`, a fixture)."""


class Shown(NamedTuple):
    """What a display of four digits shows: `digits` with its point ("0.2", "2.187", "0.L"), prefix and unit."""

    digits: str
    prefix: str = ""
    unit: str = "ohm"
    mode: str = ""
    """dc, ac, beep or nothing."""
    hold: bool = False
    auto: bool = True
    minus: bool = False


def auto_ohms(ohm: float) -> Shown:
    """Return what a 4000-count auto-ranging ohmmeter shows: 400.0, 4.000 k, 40.00 k, 400.0 k, 4.000 M, 40.00 M."""
    for limit, prefix, weight, decimals in (
        (400.0, "", 1.0, 1),
        (4e3, "k", 1e3, 3),
        (4e4, "k", 1e3, 2),
        (4e5, "k", 1e3, 1),
        (4e6, "M", 1e6, 3),
        (4e7, "M", 1e6, 2),
    ):
        if ohm < limit - limit / 8000:
            return Shown(f"{ohm / weight:.{decimals}f}", prefix)
    return Shown("0.L", "M")


def volts(volt: float, mode: str = "dc") -> Shown:
    """Return what a voltmeter shows in its range of 4.000 or 40.00 V."""
    decimals = 3 if abs(volt) < 3.9995 else 2
    return Shown(f"{abs(volt):.{decimals}f}", "", "V", mode, minus=round(volt, decimals) < 0)


# Segments of a digit, a at the top, clockwise to f, g in the middle: drawn, not looked up.
_STROKES = {
    "0": "abcdef",
    "1": "bc",
    "2": "abged",
    "3": "abgcd",
    "4": "fgbc",
    "5": "afgcd",
    "6": "afgedc",
    "7": "abc",
    "8": "abcdefg",
    "9": "abcdfg",
    "L": "def",
    " ": "",
}


def lcd14(shown: Shown) -> bytes:
    """Draw a frame of LCD segments: fourteen bytes whose high nibbles count, low nibbles are what is lit."""
    places = shown.digits.replace(".", "").rjust(4, "0" if "L" not in shown.digits else " ")
    after = len(shown.digits.partition(".")[2]) if "." in shown.digits else 0
    point = 4 - after  # stands after this digit; 4 is none
    nibbles = [0] * 15
    nibbles[1] = {"ac": 8, "dc": 4}.get(shown.mode, 0) | 2 * shown.auto | 1
    for n, digit in enumerate(places, 1):
        lit = _STROKES[digit]
        high = 4 * ("e" in lit) | 2 * ("f" in lit) | ("a" in lit)
        low = 8 * ("d" in lit) | 4 * ("c" in lit) | 2 * ("g" in lit) | ("b" in lit)
        mark = shown.minus if n == 1 else point == n - 1
        nibbles[2 * n] = high | 8 * mark
        nibbles[2 * n + 1] = low
    nibbles[10] = {"u": 8, "n": 4, "k": 2}.get(shown.prefix, 0)
    nibbles[11] = {"m": 8, "M": 2}.get(shown.prefix, 0) | (shown.mode == "beep")
    nibbles[12] = 4 * (shown.unit == "ohm") | int(shown.hold)
    nibbles[13] = 4 * (shown.unit == "V")
    return bytes(n << 4 | nibbles[n] for n in range(1, 15))


def text(shown: Shown) -> bytes:
    """Draw a line of a home-made meter: "0.2 ohm", "2.187 kohm", "OL ohm", "-1.52 V DC"."""
    if "L" in shown.digits:
        return f"OL {shown.unit}\r\n".encode()
    words = f"{'-' * shown.minus}{shown.digits} {shown.prefix}{shown.unit}"
    return f"{words}{' ' + shown.mode.upper() if shown.mode in ('dc', 'ac') else ''}\r\n".encode()


def digits14(shown: Shown) -> bytes:
    """Draw a frame of range code, five digits, function code, status bytes, CR LF, with even parity left to the port.

    Ohm ranges weigh a digit 0.01, 0.1, 1, 10, 100, 1k, 10k ohm; volt ranges 0.1, 1, 10 mV.
    """
    over = "L" in shown.digits
    decimals = len(shown.digits.partition(".")[2])
    factor = {"": 0, "k": 3, "M": 6}[shown.prefix]
    if shown.unit == "V":
        code, function, weight = {4: "0", 3: "1", 2: "2"}[decimals], ";", decimals
    else:
        exponent = factor - decimals
        code, function, weight = "6" if over else str(exponent + 2), "3", decimals
    digits = "00000" if over else f"{round(float(shown.digits) * 10**weight):05d}"
    status = 0x30 + 4 * shown.minus + over
    mode = 0x30 + 8 * (shown.mode == "dc") + 4 * (shown.mode == "ac") + 2 * shown.auto
    tail = bytes([status, 0x30, 0x30, mode, 0x30 + 2 * shown.hold])
    return code.encode() + digits.encode() + function.encode() + tail + b"\r\n"


def polled_line(shown: Shown) -> bytes:
    """Draw a line of mode (2), sign (1), value (6), unit (4), CR."""
    mode = {"dc": "DC", "ac": "AC"}.get(shown.mode, "OH")
    unit = f"{shown.prefix}{'Ohm' if shown.unit == 'ohm' else shown.unit}"
    value = " O.L  " if "L" in shown.digits else shown.digits.rjust(6)
    return f"{mode}{'-' if shown.minus else ' '}{value}{unit:>4}\r".encode()


DRAW = {"lcd14": lcd14, "text": text, "digits14": digits14, "polled-line": polled_line}


class Meter:
    """A meter behind a pseudo-terminal that a stable name (`path`, a symbolic link) leads to.

    It sends `rate` conversions a second, each `repeats` times; a polled one answers each `D` instead. `tips` is what
    they touch, ohms or `Shown`. `hold()` freezes the display, flagged or not. Without `auto` the range is fixed.
    """

    def __init__(
        self, folder: Path, family: str = "lcd14", rate: float = 10.0, repeats: int = 1, auto: bool = True
    ) -> None:
        self.path = folder / "meter"
        self.family = family
        self.tips: float | Shown = OPEN
        self.sent: list[tuple[float, bytes]] = []
        """Monotonic time and bytes of every frame that went out."""
        self._draw = DRAW[family]
        self._polled = family == "polled-line"
        self._period_s = 1.0 / (rate * HASTE)
        self._repeats = repeats
        self._auto = auto
        self._frozen: Shown | None = None
        self._master = -1
        self._slave = -1
        self._stop = threading.Event()
        self.plug()
        self._thread = threading.Thread(target=self._run, name="outside meter", daemon=True)
        self._thread.start()

    def __enter__(self) -> Meter:
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()
        self.unplug()

    def plug(self) -> None:
        """Plug the cable in: a pseudo-terminal, perhaps another one than before, behind the same name."""
        master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(master, False)
        self.path.unlink(missing_ok=True)
        self.path.symlink_to(os.ttyname(self._slave))
        self._master = master

    def unplug(self) -> None:
        """Pull the cable: the name leads nowhere, whoever has the port open gets an error."""
        master, slave, self._master, self._slave = self._master, self._slave, -1, -1
        self.path.unlink(missing_ok=True)
        for fd in (slave, master):
            if fd >= 0:
                os.close(fd)

    def hold(self, flagged: bool = True) -> None:
        """Freeze what the display shows now."""
        self._frozen = self._shown()._replace(hold=flagged)

    def release(self) -> None:
        """End HOLD."""
        self._frozen = None

    def send(self, data: bytes) -> None:
        """Send bytes as they are."""
        with contextlib.suppress(OSError):
            os.write(self._master, data)

    def _shown(self) -> Shown:
        if self._frozen is not None:
            return self._frozen
        if isinstance(self.tips, Shown):
            return self.tips
        if self._auto:
            return auto_ohms(self.tips)
        return (auto_ohms(self.tips) if self.tips < 400.0 else Shown("0.L"))._replace(auto=False)

    def _run(self) -> None:
        due_s = time.monotonic()
        while not self._stop.is_set():
            due_s += self._period_s
            frame = self._draw(self._shown())
            if self._polled:
                self._answer(frame, due_s)
                continue
            for n in range(self._repeats):
                self._stop.wait(max(0.0, due_s - self._period_s * (1 - (n + 1) / self._repeats) - time.monotonic()))
                self.sent.append((time.monotonic(), frame))
                self.send(frame)

    def _answer(self, frame: bytes, until_s: float) -> None:
        while (left_s := until_s - time.monotonic()) > 0 and not self._stop.is_set():
            master = self._master
            if master < 0:
                self._stop.wait(left_s)
                continue
            with contextlib.suppress(OSError, ValueError):
                if select.select([master], [], [], min(left_s, 0.05))[0]:
                    for _ in range(os.read(master, 64).count(b"D")):
                        self.sent.append((time.monotonic(), frame))
                        self.send(frame)


class SocketMeter:
    """A SCPI meter on a loopback socket. `measure(query)` gives the value, in SI, or infinity for over-range.

    Measuring, configuring, the error queue and the two states of the front panel as in SCPI-99 and IEEE 488.2, from
    memory. Answers come no faster than `rate` a second, or `fast` once an integration time of one mains period was set.
    `asked` holds every line in order. What is in `refused` is refused with -113, and so is what it does not know.
    """

    def __init__(
        self, measure: Callable[[str], float], rate: float = 10.0, fast: float = 10.0, refused: tuple[str, ...] = ()
    ) -> None:
        self.asked: list[str] = []
        self.errors: list[str] = []
        self.remote = False
        self.function, self.range, self.integrating = "RES", "", 10.0
        self._measure = measure
        self._rate, self._fast = rate, fast
        self._refused = refused
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(0.1)
        self.port = self._server.getsockname()[1]
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="outside scpi meter", daemon=True)
        self._thread.start()

    def __enter__(self) -> SocketMeter:
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()
        self._server.close()

    def _run(self) -> None:
        while not self._stop.is_set():
            with contextlib.suppress(TimeoutError):
                connection, _ = self._server.accept()
                with connection, contextlib.suppress(ConnectionError):
                    self._serve(connection)

    def _serve(self, connection: socket.socket) -> None:
        connection.settimeout(0.1)
        held = b""
        while not self._stop.is_set():
            try:
                data = connection.recv(4096)
            except TimeoutError:
                continue
            if not data:
                return
            *lines, held = (held + data).split(b"\n")
            for line in lines:
                reply = self.reply(line.decode().strip())
                if reply is not None:
                    connection.sendall(reply.encode() + b"\n")

    def reply(self, line: str) -> str | None:
        """Do what a line says; return the answer, or None where there is none."""
        self.asked.append(line)
        head, _, parameter = line.partition(" ")
        if line in self._refused or head in self._refused:
            self.errors.append('-113,"Undefined header"')
        elif line == "*IDN?":
            return "SIMULATED,BENCH METER,0,1.0"
        elif line == "SYST:ERR?":
            return self.errors.pop(0) if self.errors else '0,"No error"'
        elif line in ("SYST:REM", "SYST:LOC"):
            self.remote = line == "SYST:REM"
        elif head.startswith("MEAS:") and head.endswith("?"):
            self._configure(head.removeprefix("MEAS:").removesuffix("?"), parameter)
            return self._value()
        elif head.startswith("CONF:"):
            self._configure(head.removeprefix("CONF:"), parameter)
        elif head in ("RES:NPLC", "FRES:NPLC", "VOLT:DC:NPLC", "CURR:DC:NPLC"):
            self.integrating = float(parameter)
        elif line == "READ?":
            return self._value()
        elif line == "FUNC?":
            return f'"{self.function}"'
        elif line == f"{self.function}:RANG?":
            return f"{float(self.range or 1000.0):+.8E}"
        else:
            self.errors.append('-113,"Undefined header"')
        return None

    def _configure(self, function: str, range_: str) -> None:
        self.function, self.range, self.integrating = function, range_, 10.0  # it sets everything else to defaults

    def _value(self) -> str:
        self._stop.wait(1.0 / (self._fast if self.integrating <= 1.0 else self._rate))
        value = self._measure(f"MEAS:{self.function}? {self.range}".strip())
        return "+9.90000000E+37" if value == OPEN else f"{value:+.8E}"


@contextlib.contextmanager
def on_port(meter: SocketMeter, folder: Path) -> Iterator[Path]:
    """Let a SCPI meter be spoken to over a pseudo-terminal as well; yields the name that leads to it."""
    master, slave = os.openpty()
    tty.setraw(slave)
    path = folder / "scpi-port"
    path.symlink_to(os.ttyname(slave))
    over = threading.Event()

    def run() -> None:
        held = b""
        while not over.is_set():
            with contextlib.suppress(OSError):
                if select.select([master], [], [], 0.05)[0]:
                    held += os.read(master, 1024)
            *lines, held = held.split(b"\n")
            for line in lines:
                reply = meter.reply(line.decode())
                if reply is not None:
                    os.write(master, reply.encode() + b"\r\n")

    thread = threading.Thread(target=run, name="outside scpi port", daemon=True)
    thread.start()
    try:
        yield path
    finally:
        over.set()
        thread.join()
        path.unlink()
        os.close(slave)
        os.close(master)
