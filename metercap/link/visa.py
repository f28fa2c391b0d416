"""A bench meter that answers SCPI queries, over LAN, serial or USB through VISA.

Each reading is one query, `MEASure:...?`, which sets the function, triggers and answers: what was asked for is what was
measured, whatever was pressed on the front panel in between. It goes on as the line `QUERY ANSWER` for the scpi
decoder, the answer untouched, over-range and not-a-number included. While no step asks for a quantity the meter's own
setting is read (`FUNCtion?`, then `READ?`).

Queries as in SCPI-99, volume 2, chapter 3 (measurement instructions); `*IDN?` as in IEEE 488.2, 10.14; the error queue
as in SCPI-99, volume 2, 21.8 (`SYSTem:ERRor?`); the section numbers from memory. `SYSTem:REMote`, which serial meters
want before anything else, is common practice, no source.
"""

from __future__ import annotations

import contextlib
import re
import sys
import threading
from typing import Any

from metercap.errors import LinkError
from metercap.link.source import Sink, Times
from metercap.link.trouble import PORT_ERRORS, error_number, explain
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.records import LinkState

FIXED_RANGE = frozenset({Quantity.CONTINUITY, Quantity.DIODE, Quantity.TEMPERATURE})
"""Quantities whose query takes no range."""

MIN_TIMEOUT_S = 2.0
OPEN_TIMEOUT_S = 3.0
REOPEN_S = 0.5
REFUSED_S = 1.0
"""Pause after a query that the meter refuses or the profile lacks, in real seconds; the next want may be better."""
READS_PER_S = 10.0
MOST_BYTES = 4096
STOP_S = 1.5
INSTALL = 'python -m pip install "metercap[scpi]"'
NO_IDENTITY = "the meter does not answer *IDN?"

_ERROR_ANSWER = re.compile(rb'[+-]?\d+\s*,\s*".*"?')


class _NoAnswer(Exception):
    """A query got no answer: the reason in words, and the number of the operating system or VISA, if any."""

    def __init__(self, why: str, timed_out: bool) -> None:
        super().__init__(why)
        self.why = why
        self.timed_out = timed_out


def resource_name(address: str) -> str:
    """Return the VISA resource name for `address`: visa:NAME, a bare NAME, socket://HOST:PORT, or a port's name."""
    name = address.removeprefix("visa:")
    if socket := re.fullmatch(r"socket://\[?([^/\]]+?)\]?:(\d+)/?", name):
        return f"TCPIP0::{socket[1]}::{socket[2]}::SOCKET"
    if "::" in name:
        return name
    if sys.platform == "win32" and name.upper().startswith("COM"):
        name = name[3:]
    return f"ASRL{name}::INSTR"


def query_for(profile: MeterProfile, quantity: Quantity, range_si: float | None) -> tuple[str, str] | None:
    """Return the query to send for a quantity, and the name of it that heads the decoder's line: the same, no range.

    It is the quantity's first row in the profile's table `queries`; None when the profile has none.
    """
    for name, measured in profile.tables.get("queries", {}).items():
        if measured == quantity.value:
            return (name if range_si is None or quantity in FIXED_RANGE else f"{name} {range_si:.6G}"), name
    return None


class VisaSource:
    """A SCPI meter. Opening asks for its identity; LinkError when that fails."""

    def __init__(self, address: str, profile: MeterProfile, library: str = "") -> None:
        self.address = address
        self._profile = profile
        self._name = resource_name(address)
        self._manager = _manager(address, library)
        self._wanted: tuple[Quantity | None, float | None] = (None, None)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._meter: Any = None
        self.identity = ""
        self._open()

    def start(self, sink: Sink, clock: Times) -> None:
        """Begin to ask, in a thread of its own."""
        self._thread = threading.Thread(target=self._run, args=(sink, clock), name=f"link {self.address}", daemon=True)
        self._thread.start()

    def want(self, quantity: Quantity | None, range_si: float | None) -> None:
        """Ask for this quantity from the next query on, in the range that holds `range_si` (SI) when it is given."""
        self._wanted = (quantity, range_si)

    def stop(self) -> None:
        """End the thread. A query still under way is left to its own time-out; the thread then closes and ends."""
        self._stop.set()
        if self._thread is None:
            self._close()
        else:
            self._thread.join(STOP_S)

    # How it is opened and asked

    def _open(self) -> None:
        """Open and identify. LinkError for whatever prevents it."""
        try:
            meter = self._manager.open_resource(self._name, open_timeout=int(OPEN_TIMEOUT_S * 1000))
            self._meter = meter
            self._set_up(meter)
        # pyvisa-py raises bare Exception for a failed connection, ValueError for a missing library of its own.
        except Exception as error:
            self._close()
            raise _explain(self.address, self._name, error) from error
        try:
            if self._name.startswith("ASRL"):
                self._write("SYST:REM")
            self.identity = self._ask("*IDN?").decode("ascii", "replace")
        except _NoAnswer as error:
            self._close()
            raise LinkError(
                NO_IDENTITY if error.timed_out else error.why,
                where=self.address,
                hint="check address, baud rate and that the meter's remote interface is on",
            ) from error

    def _set_up(self, meter: Any) -> None:
        profile = self._profile
        meter.write_termination = "\n"
        meter.timeout = 1000 * max(MIN_TIMEOUT_S, 4.0 / profile.conversions_per_s)
        if self._name.startswith("ASRL") or self._name.endswith("SOCKET"):
            # Nothing but a line end says where an answer stops on a socket or a serial line.
            meter.read_termination = "\n"
        if self._name.startswith("ASRL"):
            from pyvisa.constants import Parity, StopBits

            meter.baud_rate = profile.serial.baud
            meter.data_bits = profile.serial.bits
            meter.parity = Parity[profile.serial.parity]
            meter.stop_bits = StopBits.one if profile.serial.stop == 1 else StopBits.two

    def _write(self, command: str) -> None:
        try:
            self._meter.write(command)
        except Exception as error:
            raise _no_answer(command, error) from error

    def _ask(self, query: str) -> bytes:
        """Return the answer without the white space around it; _NoAnswer when there is none."""
        try:
            self._meter.write(query)
            answer = self._meter.read_bytes(MOST_BYTES, break_on_termchar=True)
        # The libraries below have no error tree of their own; nothing but their calls stands in this block.
        except Exception as error:
            raise _no_answer(query, error) from error
        return bytes(answer).strip()

    def _close(self) -> None:
        # A dead link may fail in as many ways on closing as on reading, and none of them matters any more.
        with contextlib.suppress(Exception):
            if self._meter is not None:
                self._meter.close()

    # The thread

    def _run(self, sink: Sink, clock: Times) -> None:
        try:
            why = self.identity
            while not self._stop.is_set():
                sink.put_link(LinkState.UP, why, clock.now_s())
                try:
                    self._read(sink, clock)
                except _NoAnswer as error:
                    # After a time-out an answer may still be on its way and would be taken for that of the next query:
                    # only a new connection is sure to be in step.
                    sink.put_link(LinkState.LOST, error.why, clock.now_s())
                    self._close()
                    self._reopen(sink, clock)
                    why = f"the meter is back: {self.identity}"
            if self._name.startswith("ASRL"):
                with contextlib.suppress(_NoAnswer):
                    self._write("SYST:LOC")
        except Exception as error:
            sink.put_fault(error)
        finally:
            self._close()

    def _read(self, sink: Sink, clock: Times) -> None:
        per_s = READS_PER_S if self._profile.poll is None else self._profile.poll.per_s
        next_s = clock.now_s()
        while not self._stop.wait(clock.wait_s(next_s)):
            next_s = max(next_s + 1.0 / per_s, clock.now_s())
            quantity, range_si = self._wanted
            asked = ("READ?", "") if quantity is None else query_for(self._profile, quantity, range_si)
            if asked is None:
                why = f"profile {self._profile.name} has no query for {quantity}"
                sink.put_link(LinkState.SILENT, why, clock.now_s())
                self._stop.wait(REFUSED_S)
                continue
            query, name = asked
            try:
                name = name or self._panel()
                answer = self._ask(query)
            except _NoAnswer as error:
                if self._stop.is_set() or not error.timed_out or not (refusal := self._refusal()):
                    raise
                sink.put_link(LinkState.SILENT, f"the meter refuses {query}: {refusal}", clock.now_s())
                self._stop.wait(REFUSED_S)
                continue
            sink.put_bytes(name.encode("ascii") + b" " + answer + b"\n", clock.now_s())

    def _panel(self) -> str:
        """Return the query that asks for the function set at the meter; one the profile lacks makes garbage later."""
        function = self._ask("FUNC?").decode("ascii", "replace").strip("\"' ").upper()
        return f"MEAS:{function}?"

    def _refusal(self) -> str:
        """Return the meter's own words for the query it did not answer; empty when it has no complaint."""
        answer = self._ask("SYST:ERR?")
        if not _ERROR_ANSWER.fullmatch(answer):
            return ""  # the late answer of the query before: out of step
        number, _, words = answer.decode("ascii", "replace").partition(",")
        return "" if int(number) == 0 else f"{number},{words}"

    def _reopen(self, sink: Sink, clock: Times) -> None:
        told = ""
        while not self._stop.wait(REOPEN_S):
            try:
                self._open()
                return
            except LinkError as error:
                if error.what != told:
                    told = error.what
                    sink.put_link(LinkState.LOST, str(error), clock.now_s())


def _manager(address: str, library: str) -> Any:
    try:
        import pyvisa
    except ImportError as error:
        raise LinkError("SCPI meters need the pyvisa library", where=address, hint=INSTALL) from error
    try:
        return pyvisa.ResourceManager(library)
    except (ValueError, OSError, pyvisa.errors.Error) as error:
        raise LinkError(f"no VISA library can be loaded: {error}", where=address, hint=INSTALL) from error


def _no_answer(query: str, error: Exception) -> _NoAnswer:
    from pyvisa.constants import StatusCode
    from pyvisa.errors import VisaIOError

    if isinstance(error, VisaIOError):
        if error.error_code == StatusCode.error_timeout:
            return _NoAnswer(f"no answer to {query}: meter off, busy or in another mode?", timed_out=True)
        return _NoAnswer(f"{query} failed: {error.description}", timed_out=False)
    return _NoAnswer(f"{query} failed: {error}", timed_out=False)


def _explain(address: str, name: str, error: Exception) -> LinkError:
    from pyvisa.constants import StatusCode
    from pyvisa.errors import VisaIOError

    if error_number(error) is not None or (isinstance(error, PORT_ERRORS) and not isinstance(error, ValueError)):
        return explain(name[4:].removesuffix("::INSTR") if name.startswith("ASRL") else address, error)
    if isinstance(error, VisaIOError):
        if error.error_code == StatusCode.error_invalid_resource_name:
            what = "this is not the name of a VISA resource"
        elif error.error_code == StatusCode.error_resource_not_found:
            what = "no such meter is connected"
        else:
            what = error.description
        return LinkError(what, where=address, hint="for example visa:TCPIP::HOST::5025::SOCKET, or a port's name")
    return LinkError(str(error) or type(error).__name__, where=address, hint="check the address and the meter's power")
