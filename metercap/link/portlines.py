"""Lines over a serial port, or over any of its kinds of URL: SCPI meters on RS-232 need no VISA."""

from __future__ import annotations

import time

from metercap.link.lines import MOST_BYTES
from metercap.link.serialport import open_port
from metercap.meter import MeterProfile


class PortLines:
    """An open port that is spoken to by lines; see `Lines`. LinkError when it cannot be opened."""

    def __init__(self, address: str, profile: MeterProfile) -> None:
        self._port = open_port(address, profile)
        self._keep = bytes(value & ((1 << profile.serial.bits) - 1) for value in range(256))
        self._held = bytearray()

    def write(self, command: str) -> None:
        """Send a command or query and its line end."""
        self._port.write(command.encode("ascii") + b"\n")

    def read_line(self, wait_s: float) -> bytes:
        """Return the next line; see `Lines`. OSError when the port is gone."""
        until_s = time.monotonic() + wait_s
        while (end := self._held.find(b"\n") + 1) == 0 and len(self._held) < MOST_BYTES:
            if time.monotonic() > until_s:
                raise TimeoutError("no line in time")
            self._receive()
        return self._take(end or MOST_BYTES)

    def waiting(self, settle_s: float) -> bytes:
        """Take what has come, or comes within `settle_s`; see `Lines`."""
        time.sleep(settle_s)
        while self._port.in_waiting and len(self._held) < MOST_BYTES:
            self._receive()
        return self._take(MOST_BYTES)

    def close(self) -> None:
        """Close the port."""
        self._port.close()

    def _receive(self) -> None:
        self._held += self._port.read(min(self._port.in_waiting, MOST_BYTES) or 1).translate(self._keep)

    def _take(self, most: int) -> bytes:
        taken = bytes(self._held[:most])
        del self._held[: len(taken)]
        return taken
