"""A bench meter that answers SCPI queries, over LAN, serial or USB.

Each reading is one query, `MEASure:...?`, which sets the function, triggers and answers: what was asked for is what was
measured, whatever was pressed on the front panel in between. It goes on as the line `QUERY ANSWER` for the scpi
decoder, the answer untouched, over-range and not-a-number included. While no step asks for a quantity the meter's own
setting is read (`FUNCtion?`, then `READ?`).

*In step.* An answer belongs to the query before it only if the meter says nothing else: one line that is one number, no
byte before the question and none after the answer. Whatever else comes is handed on for the decoder to call garbage,
and the link finds its step again: it asks for the identity and drops all that comes before that, or else connects anew.

Queries as in SCPI-99, volume 2, chapter 3 (measurement instructions); `*IDN?` as in IEEE 488.2, 10.14; the error queue
as in SCPI-99, volume 2, 21.8 (`SYSTem:ERRor?`); the section numbers from memory. `SYSTem:REMote`, which serial meters
want before anything else, is common practice, no source.
"""

from __future__ import annotations

import contextlib
import re
import sys
import threading
import time
from typing import Any

from metercap.errors import LinkError
from metercap.link import visalines
from metercap.link.lines import MOST_BYTES, Lines, SocketLines, socket_of
from metercap.link.source import Sink, Times
from metercap.link.trouble import PORT_ERRORS, error_number, explain
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.records import LinkState
from metercap.wire.scpi import one_number

FIXED_RANGE = frozenset({Quantity.CONTINUITY, Quantity.DIODE, Quantity.TEMPERATURE})
"""Quantities whose query takes no range."""

MIN_TIMEOUT_S = 2.0
REOPEN_S = 0.5
"""Real seconds before a lost connection is opened again; doubled as long as it gives no answer, up to the next."""
REOPEN_MAX_S = 8.0
REFUSED_S = 1.0
"""Pause after a query that the meter refuses or the profile lacks, in real seconds; the next want may be better."""
SETTLE_S = 0.05
"""How long a second line may take to show, in real seconds, while an answer is not yet known to come alone."""
READS_PER_S = 10.0
MOST_LINES = 64
"""How many lines are dropped in search of the identity."""
STOP_S = 1.5
NO_IDENTITY = "the meter does not answer *IDN?"
OUT_OF_STEP = "its answers are out of step with the queries"

_ERROR_ANSWER = re.compile(rb'[+-]?\d+\s*,\s*".*"?')
_FUNCTION = re.compile(rb"([\"']?)([A-Z]{1,20}(?::[A-Z]{1,20}){0,4})\1", re.IGNORECASE)


class _NoAnswer(Exception):
    """A query got no answer: the reason in words, and whether it is that nothing came in time."""

    def __init__(self, why: str, timed_out: bool) -> None:
        super().__init__(why)
        self.why = why
        self.timed_out = timed_out


class _Strange(Exception):
    """Something came that is no answer to what was asked: what the decoder shall see of it."""

    def __init__(self, line: bytes) -> None:
        super().__init__(line)
        self.line = line


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
    """Return the query to send for a quantity, and what heads the decoder's line: the same, its range without a space.

    It is the quantity's first row in the profile's table `queries`; None when the profile has none.
    """
    for name, measured in profile.tables.get("queries", {}).items():
        if measured == quantity.value:
            if not range_si or quantity in FIXED_RANGE:
                return name, name
            return f"{name} {abs(range_si):.6G}", f"{name}{abs(range_si):.6G}"
    return None


class VisaSource:
    """A SCPI meter. Opening asks for its identity; LinkError when that fails."""

    def __init__(self, address: str, profile: MeterProfile, library: str = "") -> None:
        self.address = address
        self._profile = profile
        self._name = resource_name(address)
        self._wait_s = max(MIN_TIMEOUT_S, 4.0 / profile.conversions_per_s)
        # A socket needs no VISA, and VISA's own takes a connection that the meter has closed for a silent one.
        self._host = None if library else socket_of(self._name)
        self._manager: Any = visalines.manager(address, library) if self._host is None else None
        self._wanted: tuple[Quantity | None, float | None] = (None, None)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._lines: Lines | None = None
        self._alone = False
        """The last answer came alone; otherwise a second line is waited for before an answer is believed."""
        self._asked = ""
        self._gave = False
        """An answer came since the connection was opened."""
        self._patience_s = REOPEN_S
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
        # The libraries below have no error tree of their own; nothing but their calls stands in this block.
        try:
            if self._host is not None:
                self._lines = SocketLines(*self._host, visalines.OPEN_TIMEOUT_S)
            else:
                self._lines = visalines.VisaLines(self._manager, self._name, self._profile, self._wait_s)
            self._alone = self._gave = False
        except Exception as error:
            self._close()
            raise _explain(self.address, self._name, error) from error
        try:
            if self._name.startswith("ASRL"):
                self._write("SYST:REM")
            self.identity = self._identify("").decode("ascii", "replace")
        except _NoAnswer as error:
            self._close()
            raise LinkError(
                NO_IDENTITY if error.timed_out else error.why,
                where=self.address,
                hint="check address, baud rate and that the meter's remote interface is on",
            ) from error

    def _write(self, command: str) -> None:
        assert self._lines is not None
        try:
            self._lines.write(command)
        except Exception as error:
            raise _no_answer(command, error) from error

    def _line(self, query: str, until_s: float) -> bytes:
        """Return the next line without the white space around it; _NoAnswer when none comes until `until_s`."""
        assert self._lines is not None
        try:
            return self._lines.read_line(until_s - time.monotonic()).strip()
        except Exception as error:
            raise _no_answer(query, error) from error

    def _waiting(self, settle_s: float) -> bytes:
        assert self._lines is not None
        try:
            return self._lines.waiting(settle_s).strip()
        except Exception as error:
            raise _no_answer("the connection", error) from error

    def _identify(self, known: str) -> bytes:
        """Return the meter's identity, past whatever else is on its way; until `known` comes, where it is given."""
        self._waiting(SETTLE_S)
        self._write("*IDN?")
        until_s = time.monotonic() + self._wait_s
        for _ in range(MOST_LINES):
            line = self._line("*IDN?", until_s)
            # An echo, or the late answer of a query before, is nobody's name.
            if line and line != b"*IDN?" and not one_number(line) and known in ("", line.decode("ascii", "replace")):
                return line
        raise _NoAnswer(OUT_OF_STEP, timed_out=False)

    def _ask(self, query: str, head: str) -> bytes:
        """Return the one line that answers a query. _Strange when there is more than that."""
        if stale := self._waiting(0.0):
            raise _Strange(_one_line(head, b"\n" + stale))  # behind a line end, or one number would be a reading
        if query != self._asked:
            # What is still on its way would be taken for a value of another function: look twice.
            self._asked, self._alone = query, False
        self._write(query)
        answer = self._line(query, time.monotonic() + self._wait_s)
        if more := self._waiting(0.0 if self._alone else SETTLE_S):
            raise _Strange(_one_line(head, answer + b"\n" + more))
        return answer

    def _close(self) -> None:
        # A dead link may fail in as many ways on closing as on reading, and none of them matters any more.
        with contextlib.suppress(Exception):
            if self._lines is not None:
                self._lines.close()

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
                    self._patience_s = REOPEN_S if self._gave else min(2 * self._patience_s, REOPEN_MAX_S)
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
            query, head = asked
            try:
                head = head or self._panel()
                answer = self._ask(query, head)
                if not one_number(answer):
                    raise _Strange(_one_line(head, answer))
            except _Strange as strange:
                sink.put_bytes(strange.line, clock.now_s())
                self._alone = False
                self._identify(self.identity)
                continue
            except _NoAnswer as error:
                if self._stop.is_set() or not error.timed_out or not (refusal := self._refusal()):
                    raise
                sink.put_link(LinkState.SILENT, f"the meter refuses {query}: {refusal}", clock.now_s())
                self._stop.wait(REFUSED_S)
                continue
            self._alone = self._gave = True
            sink.put_bytes(_one_line(head, answer), clock.now_s())

    def _panel(self) -> str:
        """Return the query that asks for the function set at the meter; one the profile lacks makes garbage later."""
        answer = self._ask("FUNC?", "FUNC?")
        function = _FUNCTION.fullmatch(answer)
        if function is None:
            raise _Strange(_one_line("FUNC?", answer))
        return f"MEAS:{function[2].decode('ascii').upper()}?"

    def _refusal(self) -> str:
        """Return the meter's own words for the query it did not answer; empty when it has no complaint."""
        try:
            answer = self._ask("SYST:ERR?", "")
        except _Strange:
            return ""
        if not _ERROR_ANSWER.fullmatch(answer):
            return ""  # the late answer of the query before: out of step
        number, _, words = answer.decode("ascii", "replace").partition(",")
        return "" if int(number) == 0 else f"{number},{words}"

    def _reopen(self, sink: Sink, clock: Times) -> None:
        told = ""
        while not self._stop.wait(self._patience_s):
            try:
                self._open()
                return
            except LinkError as error:
                self._patience_s = min(2 * self._patience_s, REOPEN_MAX_S)
                if error.what != told:
                    told = error.what
                    sink.put_link(LinkState.LOST, str(error), clock.now_s())


def _one_line(head: str, answer: bytes) -> bytes:
    """Return the decoder's line. Line ends inside an answer become bytes that no number holds, so that none is read."""
    return head.encode("ascii") + b" " + answer[:MOST_BYTES].replace(b"\n", b"\r") + b"\n"


def _no_answer(query: str, error: Exception) -> _NoAnswer:
    if isinstance(error, TimeoutError) or (not isinstance(error, OSError) and visalines.timed_out(error)):
        return _NoAnswer(f"no answer to {query}: meter off, busy or in another mode?", timed_out=True)
    words = str(error) if isinstance(error, OSError) else visalines.words(error)
    return _NoAnswer(f"{query} failed: {words}", timed_out=False)


def _explain(address: str, name: str, error: Exception) -> LinkError:
    if error_number(error) is not None or (isinstance(error, PORT_ERRORS) and not isinstance(error, ValueError)):
        return explain(name[4:].removesuffix("::INSTR") if name.startswith("ASRL") else address, error)
    what = str(error) if socket_of(name) and isinstance(error, ValueError | OverflowError) else ""
    return LinkError(
        what or visalines.why_not_opened(error),
        where=address,
        hint="for example visa:TCPIP::HOST::5025::SOCKET, or a port's name; and the meter's power",
    )
