"""A bench meter that answers SCPI queries, over LAN, serial or USB.

What was asked for is what was measured, whatever was pressed on the front panel in between: a reading is one query that
does it all, `MEASure:...?`, or, for who states a faster rate than that gives, `READ?` after a set-up, with the function
looked at after each (`asking`). It goes on as the line `QUERY ANSWER` for the scpi decoder, the answer untouched,
over-range and not-a-number included. While no step asks for a quantity the meter's own setting is read (`FUNCtion?`,
its range where the meter tells it, then `READ?`). Whether an answer belongs to its question is `dialogue`'s.

Queries as in SCPI-99, volume 2, chapter 3 (measurement instructions); `*IDN?` as in IEEE 488.2, 10.14; section numbers
from memory.
"""

from __future__ import annotations

import contextlib
import re
import sys
import threading
from typing import Literal

from metercap.clock import SessionClock
from metercap.errors import LinkError
from metercap.link.asking import RANGED, Ask, ask_for, panel, slow
from metercap.link.dialogue import Dialogue, NoAnswer, Strange, one_line
from metercap.link.source import Sink
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.records import LinkState
from metercap.wire.scpi import one_number

MIN_TIMEOUT_S = 2.0
REOPEN_S = 0.5
"""Real seconds before a lost connection is opened again; doubled as long as it gives no answer, up to the next."""
REOPEN_MAX_S = 8.0
REFUSED_S = 1.0
"""Pause after a query that the meter refuses or the profile lacks, in real seconds; the next want may be better."""
READS_PER_S = 10.0
STOP_S = 1.5

_FUNCTION = re.compile(rb"([\"']?)([A-Z]{1,20}(?::[A-Z]{1,20}){0,4})\1", re.IGNORECASE)
_ONE_AT_A_TIME = "it is read at its own speed"


def resource_name(address: str) -> str:
    """Return what to open for `address`: a VISA resource's name, or the name or URL of a port.

    visa:NAME and a bare NAME are VISA's, socket://HOST:PORT is a socket by VISA's name for it, anything else is a port.
    """
    name = address.removeprefix("visa:")
    if socket := re.fullmatch(r"socket://\[?([^/\]]+?)\]?:(\d+)/?", name):
        return f"TCPIP0::{socket[1]}::{socket[2]}::SOCKET"
    if "::" in name or name == address:
        return name
    if sys.platform == "win32" and name.upper().startswith("COM"):
        name = name[3:]
    return f"ASRL{name}::INSTR"


class VisaSource:
    """A SCPI meter. Opening asks for its identity; LinkError when that fails."""

    def __init__(self, address: str, profile: MeterProfile, library: str = "") -> None:
        self.address = address
        self._profile = profile
        name = resource_name(address)
        self._first, self._last = panel(profile, serial=name.startswith("ASRL") or "::" not in name)
        wait_s = max(MIN_TIMEOUT_S, 4.0 / profile.conversions_per_s)
        self._meter = Dialogue(address, name, profile, wait_s, library)
        self._wanted: tuple[Quantity | None, float | None] = (None, None)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._set: Ask | Literal["panel"] | None = None
        """What the meter is set up for, or was last asked; None after opening."""
        self._only_slow: set[Quantity] = set()
        """Quantities whose set-up this meter refuses."""
        self._tells_range = True
        self._gave = False
        """An answer came since the connection was opened."""
        self._patience_s = REOPEN_S
        self._found = ""
        """What the error queue held when the connection was opened."""
        self.complaint = ""
        """What it held at the end; see `source.complaint_of`."""
        self.identity = ""
        self._open()

    def start(self, sink: Sink, clock: SessionClock) -> None:
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
            self._leave()
        else:
            self._thread.join(STOP_S)

    def _open(self) -> None:
        self._set, self._gave = None, False
        try:
            self._found = self._meter.open(self._first)
        except LinkError:
            self._leave()
            raise
        self.identity = self._meter.identity

    def _leave(self) -> None:
        """Read the error queue a last time, give the panel back, and close."""
        if self._meter.is_open and self._set is not None:
            with contextlib.suppress(NoAnswer):
                self.complaint = self._meter.complaints()
        if self._meter.is_open and self._last:
            with contextlib.suppress(NoAnswer):
                self._meter.write(self._last)
        self._meter.close()

    # The thread

    def _run(self, sink: Sink, clock: SessionClock) -> None:
        try:
            why = self.identity
            while not self._stop.is_set():
                held = f"; its error queue held {self._found}" if self._found else ""
                sink.put_link(LinkState.UP, why + held, clock.now_s())
                try:
                    self._read(sink, clock)
                except NoAnswer as error:
                    # After a time-out an answer may still be on its way and would be taken for that of the next query:
                    # only a new connection is sure to be in step.
                    sink.put_link(LinkState.LOST, error.why, clock.now_s())
                    self._meter.close()
                    self._patience_s = REOPEN_S if self._gave else min(2 * self._patience_s, REOPEN_MAX_S)
                    self._reopen(sink, clock)
                    why = f"the meter is back: {self.identity}"
        except Exception as error:
            sink.put_fault(error)
        finally:
            self._leave()

    def _read(self, sink: Sink, clock: SessionClock) -> None:
        per_s = READS_PER_S if self._profile.poll is None else self._profile.poll.per_s
        next_s = clock.now_s()
        while not self._stop.wait(clock.wait_s(next_s)):
            next_s = max(next_s + 1.0 / per_s, clock.now_s())
            quantity, range_si = self._wanted
            ask = None if quantity is None else self._ask_for(quantity, range_si)
            if quantity is not None and ask is None:
                why = f"profile {self._profile.name} has no query for {quantity}"
                sink.put_link(LinkState.SILENT, why, clock.now_s())
                self._stop.wait(REFUSED_S)
                continue
            new = (ask or "panel") != self._set
            if new:
                self._meter.doubt()
            try:
                line = self._panel() if ask is None else self._measured(ask)
            except _Refused as refused:
                sink.put_link(LinkState.UP, f"{refused}: {_ONE_AT_A_TIME}", clock.now_s())
                self._only_slow.add(refused.quantity)
                continue
            except Strange as strange:
                sink.put_bytes(strange.line, clock.now_s())
                self._meter.doubt()
                self._meter.identify(self.identity)
                continue
            except NoAnswer as error:
                if error.timed_out and ask is not None and ask.set_up:
                    self._only_slow.add(ask.quantity)
                if self._stop.is_set() or not error.timed_out or not (refusal := self._meter.refusal()):
                    raise
                query = "READ?" if ask is None else ask.query
                sink.put_link(LinkState.SILENT, f"the meter refuses {query}: {refusal}", clock.now_s())
                self._stop.wait(REFUSED_S)
                continue
            self._gave = True
            sink.put_bytes(line, clock.now_s())
            if new:
                self._set = ask or "panel"
                if told := self._meter.complaints():
                    what = "reading" if ask is None else ask.query
                    sink.put_link(LinkState.UP, f"after {what} the meter complains: {told}", clock.now_s())

    def _ask_for(self, quantity: Quantity, range_si: float | None) -> Ask | None:
        choose = slow if quantity in self._only_slow else ask_for
        return choose(self._profile, quantity, range_si)

    def _measured(self, ask: Ask) -> bytes:
        """Return the decoder's line of one reading, after setting the meter up where that is new or undone."""
        if not ask.set_up:
            return self._number(ask.query, ask.head)
        new = ask != self._set
        if new:
            for command in ask.set_up:
                self._meter.write(command)
                if told := self._meter.complaints():
                    raise _Refused(ask.quantity, f"the meter refuses {command}: {told}")
        line = self._number(ask.query, ask.head)
        # Looked at after the reading: before it, somebody could still press a key in between.
        if self._quantity(self._function()) is not ask.quantity:
            if new:
                raise _Refused(ask.quantity, f"the meter does not stay in {ask.quantity}")
            self._set = None
            raise Strange(one_line(ask.query, line.partition(b" ")[2].strip()))
        return line

    def _number(self, query: str, head: str) -> bytes:
        answer = self._meter.ask(query, head)
        if not one_number(answer):
            raise Strange(one_line(head, answer))
        return one_line(head, answer)

    def _panel(self) -> bytes:
        """Return the line of a reading as it is set at the meter; a function the profile lacks makes garbage later."""
        function = self._function()
        head = f"MEAS:{function}?"
        if self._tells_range and self._quantity(function) in RANGED:
            query, self._tells_range = f"{function}:RANG?", False
            try:
                answer = self._meter.ask(query, query)
            except NoAnswer as error:
                if not error.timed_out or not self._meter.refusal():
                    raise
                answer = b""
            self._tells_range = one_number(answer)
            if self._tells_range and 0.0 < float(answer) < 1e12:
                head += f"{float(answer):.6G}"
        line = self._number("READ?", head)
        if self._function() != function:
            raise Strange(one_line("READ?", line.partition(b" ")[2].strip()))
        return line

    def _function(self) -> str:
        answer = self._meter.ask("FUNC?", "FUNC?")
        function = _FUNCTION.fullmatch(answer)
        if function is None:
            raise Strange(one_line("FUNC?", answer))
        return function[2].decode("ascii").upper()

    def _quantity(self, function: str) -> Quantity | None:
        name = self._profile.tables.get("queries", {}).get(f"MEAS:{function}?")
        return Quantity(name) if name in tuple(Quantity) else None

    def _reopen(self, sink: Sink, clock: SessionClock) -> None:
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


class _Refused(Exception):
    """A step of the set-up that the meter refuses, in its own words."""

    def __init__(self, quantity: Quantity, words: str) -> None:
        super().__init__(words)
        self.quantity = quantity
