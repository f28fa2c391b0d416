"""One connection to a SCPI meter: asking, and knowing whether an answer belongs to the question.

*In step.* An answer belongs to the query before it only if the meter says nothing else: one line that is one number, no
byte before the question and none after the answer. Whatever else comes is `Strange`, for the decoder to call garbage,
and the dialogue finds its step again: it asks for the identity and drops all that comes before that.

*The error queue* is read after each step of setting up, before the first query and at the end: what the meter refused
it says there and nowhere else (SCPI-99, volume 2, 21.8, `SYSTem:ERRor?`; the number from memory). A meter that has
none is asked once.
"""

from __future__ import annotations

import contextlib
import re
import time
from typing import Any

from metercap.errors import LinkError
from metercap.link import visalines
from metercap.link.lines import MOST_BYTES, Lines, SocketLines, socket_of
from metercap.link.trouble import PORT_ERRORS, error_number, explain
from metercap.meter import MeterProfile
from metercap.wire.scpi import one_number

SETTLE_S = 0.05
"""How long a second line may take to show, in real seconds, while an answer is not yet known to come alone."""
ERROR_WAIT_S = 1.0
"""How long the error queue's answer may take, in real seconds."""
MOST_LINES = 64
"""How many lines are dropped in search of the identity."""
MOST_ERRORS = 20
"""Complaints read at once (common practice, no source: queues hold so many)."""
SHOWN_ERRORS = 3
NO_IDENTITY = "the meter does not answer *IDN?"
OUT_OF_STEP = "its answers are out of step with the queries"

_ERROR_ANSWER = re.compile(rb'[+-]?\d+\s*,\s*".*"?')


class NoAnswer(Exception):
    """A query got no answer: the reason in words, and whether it is that nothing came in time."""

    def __init__(self, why: str, timed_out: bool) -> None:
        super().__init__(why)
        self.why = why
        self.timed_out = timed_out


class Strange(Exception):
    """Something came that is no answer to what was asked: what the decoder shall see of it."""

    def __init__(self, line: bytes) -> None:
        super().__init__(line)
        self.line = line


class Dialogue:
    """Speaks with one meter, over one connection after the other. `identity` is what it calls itself."""

    def __init__(self, address: str, name: str, profile: MeterProfile, wait_s: float, library: str) -> None:
        self.address = address
        self._name = name
        self._profile = profile
        self._wait_s = wait_s
        # A socket needs no VISA, and VISA's own takes a connection that the meter has closed for a silent one.
        self._host = None if library else socket_of(name)
        self._by_visa = "::" in name and self._host is None
        self._manager: Any = visalines.manager(address, library) if self._by_visa else None
        self._lines: Lines | None = None
        self._alone: set[str] = set()
        """Queries whose last answer came alone; for others a second line is waited for before it is believed."""
        self._has_queue = True
        self.identity = ""

    def open(self, first: str) -> str:
        """Connect, send `first` where it is one, and ask who is there; return what the error queue held.

        LinkError when that fails; the connection may stand then, for who has a last word to send.
        """
        # The libraries below have no error tree of their own; nothing but their calls stands in this block.
        try:
            self._lines = self._connected()
            self._has_queue = True
            self.doubt()
        except LinkError:
            raise
        except Exception as error:
            self.close()
            raise _explain(self.address, self._name, error) from error
        try:
            if first:
                self.write(first)
            self.identity = self.identify("").decode("ascii", "replace")
            return self.complaints()
        except NoAnswer as error:
            raise LinkError(
                NO_IDENTITY if error.timed_out else error.why,
                where=self.address,
                hint="check address, baud rate and that the meter's remote interface is on",
            ) from error

    def _connected(self) -> Lines:
        if self._host is not None:
            return SocketLines(*self._host, visalines.OPEN_TIMEOUT_S)
        if self._by_visa:
            return visalines.VisaLines(self._manager, self._name, self._profile, self._wait_s)
        from metercap.link.portlines import PortLines

        return PortLines(self._name, self._profile)

    def close(self) -> None:
        """Let go of the connection; a dead one may fail in as many ways on closing as on reading, and none matters."""
        lines, self._lines = self._lines, None
        with contextlib.suppress(Exception):
            if lines is not None:
                lines.close()

    @property
    def is_open(self) -> bool:
        """Whether there is a connection, dead or alive."""
        return self._lines is not None

    def doubt(self) -> None:
        """Look twice at the next answers: what is still on its way would be taken for a value of another function."""
        self._alone.clear()

    def write(self, command: str) -> None:
        """Send a command."""
        assert self._lines is not None
        try:
            self._lines.write(command)
        except Exception as error:
            raise no_answer(command, error) from error

    def ask(self, query: str, head: str, wait_s: float | None = None) -> bytes:
        """Return the one line that answers a query. Strange when there is more than that, NoAnswer when none comes."""
        if stale := self._waiting(0.0):
            raise Strange(one_line(head, b"\n" + stale))  # behind a line end, or one number would be a reading
        self.write(query)
        answer = self._line(query, time.monotonic() + (self._wait_s if wait_s is None else wait_s))
        if more := self._waiting(0.0 if query in self._alone else SETTLE_S):
            raise Strange(one_line(head, answer + b"\n" + more))
        self._alone.add(query)
        return answer

    def identify(self, known: str) -> bytes:
        """Return the meter's identity, past whatever else is on its way; until `known` comes, where it is given."""
        self._waiting(SETTLE_S)
        self.write("*IDN?")
        until_s = time.monotonic() + self._wait_s
        for _ in range(MOST_LINES):
            line = self._line("*IDN?", until_s)
            # An echo, or the late answer of a query before, is nobody's name.
            if line and line != b"*IDN?" and not one_number(line) and known in ("", line.decode("ascii", "replace")):
                return line
        raise NoAnswer(OUT_OF_STEP, timed_out=False)

    def complaints(self) -> str:
        """Empty the error queue and return what it held, in the meter's own words; empty when it had none.

        A meter that does not answer this is not asked again.
        """
        told: list[str] = []
        while self._has_queue and len(told) < MOST_ERRORS:
            try:
                complaint = self._complaint(min(ERROR_WAIT_S, self._wait_s))
            except (NoAnswer, Strange) as error:
                if isinstance(error, NoAnswer) and not error.timed_out:
                    raise
                self._has_queue = False
                self.identify(self.identity)  # the answer may still come
                break
            if not complaint:
                break
            told.append(complaint)
        more = f" and {len(told) - SHOWN_ERRORS} more" if len(told) > SHOWN_ERRORS else ""
        return "; ".join(told[:SHOWN_ERRORS]) + more

    def refusal(self) -> str:
        """Return the meter's own words for the query it did not answer; empty when it has no complaint."""
        try:
            return self._complaint(self._wait_s)
        except Strange:
            return ""

    def _complaint(self, wait_s: float) -> str:
        answer = self.ask("SYST:ERR?", "", wait_s)
        if not _ERROR_ANSWER.fullmatch(answer):
            raise Strange(answer)  # the late answer of the query before: out of step
        number, _, words = answer.decode("ascii", "replace").partition(",")
        return "" if int(number) == 0 else f"{number},{words}"

    def _line(self, query: str, until_s: float) -> bytes:
        """Return the next line without the white space around it; NoAnswer when none comes until `until_s`."""
        assert self._lines is not None
        try:
            return self._lines.read_line(until_s - time.monotonic()).strip()
        except Exception as error:
            raise no_answer(query, error) from error

    def _waiting(self, settle_s: float) -> bytes:
        assert self._lines is not None
        try:
            return self._lines.waiting(settle_s).strip()
        except Exception as error:
            raise no_answer("the connection", error) from error


def one_line(head: str, answer: bytes) -> bytes:
    """Return the decoder's line. Line ends inside an answer become bytes that no number holds, so that none is read."""
    return head.encode("ascii") + b" " + answer[:MOST_BYTES].replace(b"\n", b"\r") + b"\n"


def no_answer(query: str, error: Exception) -> NoAnswer:
    """Return, for whatever asking raised, that there is no answer."""
    ours = isinstance(error, PORT_ERRORS)
    if isinstance(error, TimeoutError) or (not ours and visalines.timed_out(error)):
        return NoAnswer(f"no answer to {query}: meter off, busy or in another mode?", timed_out=True)
    words = str(error) if ours else visalines.words(error)
    return NoAnswer(f"{query} failed: {words}", timed_out=False)


def _explain(address: str, name: str, error: Exception) -> LinkError:
    if error_number(error) is not None or (isinstance(error, PORT_ERRORS) and not isinstance(error, ValueError)):
        return explain(name[4:].removesuffix("::INSTR") if name.startswith("ASRL") else address, error)
    what = str(error) if socket_of(name) and isinstance(error, ValueError | OverflowError) else ""
    return LinkError(
        what or visalines.why_not_opened(error),
        where=address,
        hint="for example visa:TCPIP::HOST::5025::SOCKET, or a port's name; and the meter's power",
    )
