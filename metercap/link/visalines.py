"""Lines through VISA: USB, GPIB, LAN instruments, serial ports. The one module that knows pyvisa."""

from __future__ import annotations

import contextlib
import time
from typing import Any

from metercap.errors import LinkError
from metercap.link.lines import MOST_BYTES
from metercap.meter import MeterProfile

INSTALL = "pip install 'metercap[scpi]'"
OPEN_TIMEOUT_S = 3.0


class VisaLines:
    """An open VISA resource."""

    def __init__(self, manager: Any, name: str, profile: MeterProfile, wait_s: float) -> None:
        self._serial = name.startswith("ASRL")
        # Only a line end says where an answer stops on these, so they are read byte by byte: a read of many would begin
        # its time-out anew with each byte.
        self._bytewise = self._serial or name.endswith("SOCKET")
        self._meter = manager.open_resource(name, open_timeout=int(1000 * OPEN_TIMEOUT_S))
        try:
            self._set_up(profile, wait_s)
        except BaseException:
            self.close()
            raise

    def _set_up(self, profile: MeterProfile, wait_s: float) -> None:
        meter = self._meter
        meter.write_termination = "\n"
        meter.timeout = 1000 * wait_s
        if self._bytewise:
            meter.read_termination = "\n"
        if self._serial:
            from pyvisa.constants import Parity, StopBits

            meter.baud_rate = profile.serial.baud
            meter.data_bits = profile.serial.bits
            meter.parity = Parity[profile.serial.parity]
            meter.stop_bits = StopBits.one if profile.serial.stop == 1 else StopBits.two

    def write(self, command: str) -> None:
        """Send a command or query and its line end."""
        self._meter.write(command)

    def read_line(self, wait_s: float) -> bytes:
        """Return the next line; see `Lines`. Whatever pyvisa raises comes through."""
        if not self._bytewise:
            return bytes(self._meter.read_bytes(MOST_BYTES, break_on_termchar=True))
        until_s = time.monotonic() + wait_s
        line = b""
        while not line.endswith(b"\n") and len(line) < MOST_BYTES:
            if time.monotonic() > until_s:
                raise TimeoutError("no line in time")
            line += bytes(self._meter.read_bytes(1))
        return line

    def waiting(self, settle_s: float) -> bytes:
        """Take what has come, or comes within `settle_s`, where the interface can tell; see `Lines`."""
        if not self._serial:
            return b""  # these send an answer as one message and drop what was not fetched
        taken = b""
        with contextlib.suppress(Exception):  # a library that cannot tell how much there is
            time.sleep(settle_s)
            while (n := self._meter.bytes_in_buffer) and len(taken) < MOST_BYTES:
                taken += bytes(self._meter.read_bytes(min(n, MOST_BYTES - len(taken))))
        return taken

    def close(self) -> None:
        """Close the resource. A dead link may fail in as many ways on closing as on reading; none matters any more."""
        with contextlib.suppress(Exception):
            self._meter.close()


def manager(address: str, library: str) -> Any:
    """Return VISA's resource manager. LinkError, with the command that mends it, when there is none."""
    try:
        import pyvisa
    except ImportError as error:
        raise LinkError("SCPI meters need the pyvisa library", where=address, hint=INSTALL) from error
    try:
        return pyvisa.ResourceManager(library)
    except (ValueError, OSError, pyvisa.errors.Error) as error:
        raise LinkError(f"no VISA library can be loaded: {error}", where=address, hint=INSTALL) from error


def timed_out(error: Exception) -> bool:
    """Whether VISA's error means that nothing came in time."""
    from pyvisa.constants import StatusCode
    from pyvisa.errors import VisaIOError

    return isinstance(error, VisaIOError) and error.error_code == StatusCode.error_timeout


def words(error: Exception) -> str:
    """Return what VISA's error says, for a query that failed."""
    from pyvisa.errors import VisaIOError

    return str(error.description) if isinstance(error, VisaIOError) else str(error)


def why_not_opened(error: Exception) -> str:
    """Return in words what kept a resource from being opened."""
    from pyvisa.constants import StatusCode
    from pyvisa.errors import VisaIOError

    if not isinstance(error, VisaIOError):
        return str(error) or type(error).__name__
    if error.error_code == StatusCode.error_invalid_resource_name:
        return "this is not the name of a VISA resource"
    if error.error_code == StatusCode.error_resource_not_found:
        return "no such meter is connected"
    return str(error.description)
