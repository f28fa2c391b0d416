"""A meter on a serial port, or on anything pyserial has a URL for: one blocking thread, bytes in, arrival times on.

The thread only moves bytes. It blocks in `read(in_waiting or 1)`, so a byte is handed on as soon as the system has it;
when the port fails it says `lost`, closes, and opens the same name again until that works.
"""

from __future__ import annotations

import contextlib
import sys
import threading
from pathlib import Path
from typing import Any

import serial

from metercap.clock import SessionClock
from metercap.errors import LinkError, MetercapError
from metercap.link.ports import BY_ID, stable_name
from metercap.link.source import Sink
from metercap.link.trouble import PORT_ERRORS, SettingRefused, explain, in_use, locked_by, reason
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.records import LinkState

if sys.platform == "win32":
    _SETTING_REFUSED: tuple[type[Exception], ...] = ()
else:
    import termios

    _SETTING_REFUSED = (termios.error,)

READ_WAIT_S = 0.1
"""Longest blocking read in real seconds; a port without `cancel_read` notices a stop only then."""
POLL_READ_WAIT_S = 0.01
"""The same for a polled meter, where a poll falls due between reads."""
WRITE_WAIT_S = 1.0
REOPEN_S = 0.25
"""Real seconds between attempts to open a lost port again."""
REOPEN_MAX_S = 2.0
"""The same for a port that opens and fails again before it gave a single byte."""
MOST_BYTES = 4096
STOP_S = 1.5

_PARITY = {
    "none": serial.PARITY_NONE,
    "even": serial.PARITY_EVEN,
    "odd": serial.PARITY_ODD,
    "mark": serial.PARITY_MARK,
    "space": serial.PARITY_SPACE,
}


def open_port(address: str, profile: MeterProfile) -> Any:
    """Return the open pyserial port for `address`, set up as `profile` says. LinkError for whatever prevents it.

    Everything, DTR, RTS and timeouts included, is set before opening: on a pseudo-terminal the lines cannot be set
    later, and a changed timeout would configure the port anew, which fails for 7 bits.
    """
    if (holder := locked_by(address)) is not None:
        raise in_use(address, [holder])
    try:
        try:
            return _open(address, profile, plain=False)
        except (*_SETTING_REFUSED, SettingRefused):
            # A pseudo-terminal has no 7 bits and no parity. Eight bits hold them; `SerialSource` drops the top ones.
            return _open(address, profile, plain=True)
    except MetercapError:
        raise
    # Nothing but pyserial's calls stands above, and its kinds of URL raise whatever their parsing happens to raise.
    except Exception as error:
        raise explain(address, error) from error


def _open(address: str, profile: MeterProfile, plain: bool) -> Any:
    settings = profile.serial
    line: dict[str, Any] = {
        "baudrate": settings.baud,
        "bytesize": 8 if plain else settings.bits,
        "parity": serial.PARITY_NONE if plain else _PARITY[settings.parity],
        "stopbits": 1 if plain else settings.stop,
        "timeout": READ_WAIT_S if profile.poll is None else POLL_READ_WAIT_S,
    }
    if address.startswith("rfc2217://"):
        from metercap.link.bridge import BridgePort

        port: Any = BridgePort(WRITE_WAIT_S, **line)
        port.port = address
    elif address.startswith("hid://"):
        from metercap.link.hidport import HidPort

        port = HidPort(address, profile.hid, line["timeout"])
    else:
        # Two readers on one port take each other's bytes.
        port = serial.serial_for_url(address, do_not_open=True, write_timeout=WRITE_WAIT_S, exclusive=True, **line)
    port.dtr = settings.dtr
    port.rts = settings.rts
    port.open()
    return port


class SerialSource:
    """A serial link. Opening happens here and raises LinkError; reading begins with `start`."""

    identity = ""

    def __init__(self, address: str, profile: MeterProfile, by_id: Path = BY_ID) -> None:
        self.address = address
        self._profile = profile
        self._poll = None if profile.poll is None else profile.poll.send.encode("latin-1")
        # Where the driver cannot do 7 bits, the parity bit comes along in bit 7.
        keep = (1 << profile.serial.bits) - 1
        self._mask = None if keep == 0xFF else bytes(value & keep for value in range(256))
        self._port: Any = open_port(address, profile)
        # What is opened again after a loss: the adapter's own name when it has one, since by then the name the user
        # gave may lead to another adapter; else exactly what the user gave, unresolved.
        self._again = stable_name(address, by_id) or address
        self._gave = False  # bytes came since the port was last opened
        self._patience_s = REOPEN_S
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self, sink: Sink, clock: SessionClock) -> None:
        """Begin to read in a thread of its own."""
        self._thread = threading.Thread(target=self._run, args=(sink, clock), name=f"link {self.address}", daemon=True)
        self._thread.start()

    def want(self, quantity: Quantity | None, range_si: float | None) -> None:
        """A handheld meter is set by its dial: nothing to tell it."""

    def stop(self) -> None:
        """End the thread and close the port."""
        self._stop.set()
        if self._thread is None:
            self._close()
            return
        # Only POSIX and Windows ports can be woken, and only while open; the others notice within READ_WAIT_S.
        with contextlib.suppress(Exception):
            self._port.cancel_read()
        self._thread.join(STOP_S)

    def _run(self, sink: Sink, clock: SessionClock) -> None:
        try:
            why = f"{self.address} is open"
            while not self._stop.is_set():
                sink.put_link(LinkState.UP, why, clock.now_s())
                try:
                    self._read(sink, clock)
                except PORT_ERRORS as error:
                    sink.put_link(LinkState.LOST, reason(error), clock.now_s())
                    self._close()
                    self._patience_s = REOPEN_S if self._gave else min(2 * self._patience_s, REOPEN_MAX_S)
                    self._reopen(sink, clock, reason(error))
                    why = "the port is back"
        except Exception as error:
            sink.put_fault(error)
        finally:
            self._close()

    def _read(self, sink: Sink, clock: SessionClock) -> None:
        port, poll, mask = self._port, self._poll, self._mask
        period_s = 0.0 if self._profile.poll is None else 1.0 / self._profile.poll.per_s
        poll_s = clock.now_s()
        stopped = self._stop.is_set
        self._gave = False
        while not stopped():
            if poll is not None and (now_s := clock.now_s()) >= poll_s:
                port.write(poll)
                # A poll that was missed is not made up for: the next one comes a whole period after this.
                poll_s = poll_s + period_s if poll_s + period_s > now_s else now_s + period_s
            data = port.read(min(port.in_waiting, MOST_BYTES) or 1)
            if data:
                self._gave = True
                sink.put_bytes(data if mask is None else data.translate(mask), clock.now_s())

    def _reopen(self, sink: Sink, clock: SessionClock, told: str) -> None:
        """Try until the port is open again or a stop comes; say so when the reason changes."""
        while not self._stop.wait(self._patience_s):
            try:
                self._port = open_port(self._again, self._profile)
                return
            except LinkError as error:
                # Missing is what a pulled cable looks like; anything else is news the person can act on.
                missing = not Path(self._again).exists() and "://" not in self._again
                if not missing and error.what != told:
                    told = error.what
                    sink.put_link(LinkState.LOST, str(error), clock.now_s())

    def _close(self) -> None:
        # A port half gone fails on closing in ways of its own (a None where a descriptor was); none matters any more.
        with contextlib.suppress(Exception):
            self._port.close()
