"""SCPI meters: simulated by pyvisa-sim, on a loopback socket, on a pseudo-terminal, and broken in every way."""

from __future__ import annotations

import os
import re
import socket
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

pytest.importorskip("pyvisa")
import contextlib

import pyvisa
from pyvisa.constants import StatusCode

from metercap.clock import ScaledClock
from metercap.errors import LinkError
from metercap.link import dialogue, visa
from metercap.link.address import open_link
from metercap.link.asking import query_for
from metercap.link.visa import VisaSource, resource_name
from metercap.meter import MeterProfile, Poll
from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import LinkState
from metercap.wire import decoder

pytestmark = pytest.mark.usefixtures("threads_end")

UP, SILENT, LOST = LinkState.UP, LinkState.SILENT, LinkState.LOST

# The dialogue of a made-up bench meter, in the forms of SCPI-99 and IEEE 488.2.
SIMULATED = r"""
spec: "1.1"
devices:
  bench:
    eom:
      TCPIP SOCKET: {q: "\n", r: "\n"}
      ASRL INSTR: {q: "\n", r: "\n"}
      USB INSTR: {q: "\n", r: "\n"}
    error:
      error_queue:
        - {q: "SYST:ERR?", default: '0,"No error"', command_error: '-113,"Undefined header"', query_error: '-410,"Q"'}
    dialogues:
      - {q: "*IDN?", r: "OUR OWN,BENCH,0,1"}
      - {q: "MEAS:RES?", r: "+1.23400000E+03"}
      - {q: "MEAS:RES? 2", r: "+3.10000000E-01"}
      - {q: "MEAS:CONT?", r: "+9.90000000E+37"}
      - {q: "MEAS:VOLT:DC?", r: "+9.91000000E+37"}
      - {q: "FUNC?", r: '"FRES"'}
      - {q: "READ?", r: "+5.00000000E+00"}
      - {q: "SYST:REM"}
      - {q: "SYST:LOC"}
resources:
  TCPIP0::bench::5025::SOCKET: {device: bench}
  ASRL7::INSTR: {device: bench}
  USB0::0x1111::0x2222::7::INSTR: {device: bench}
"""

ADDRESSES = ["visa:TCPIP0::bench::5025::SOCKET", "ASRL7::INSTR", "USB0::0x1111::0x2222::7::INSTR"]


@pytest.fixture
def scpi() -> MeterProfile:
    return find_meter("scpi")


@pytest.fixture
def library(tmp_path: Path) -> str:
    (tmp_path / "bench.yaml").write_text(SIMULATED)
    return f"{tmp_path / 'bench.yaml'}@sim"


def decoded(profile: MeterProfile, sink: Any) -> list[Reading]:
    return [one for one in decoder(profile).feed(sink.data, 1.0) if isinstance(one, Reading)]


@pytest.mark.parametrize(
    ("address", "name"),
    [
        ("socket://meter.lan:5025", "TCPIP0::meter.lan::5025::SOCKET"),
        ("socket://[::1]:5025/", "TCPIP0::::1::5025::SOCKET"),
        ("visa:GPIB0::22::INSTR", "GPIB0::22::INSTR"),
        ("TCPIP0::10.0.0.9::INSTR", "TCPIP0::10.0.0.9::INSTR"),
        ("visa:/dev/ttyUSB0", "ASRL/dev/ttyUSB0::INSTR"),
        ("/dev/ttyUSB0", "/dev/ttyUSB0"),
        ("rfc2217://192.0.2.7:7000", "rfc2217://192.0.2.7:7000"),
    ],
)
def test_addresses_become_resource_names(address: str, name: str) -> None:
    """A port, a socket and a resource name in any dress lead to the resource."""
    assert resource_name(address) == name


@pytest.mark.parametrize(
    ("quantity", "range_si", "asked"),
    [
        (Quantity.RESISTANCE, None, ("MEAS:RES?", "MEAS:RES?")),
        (Quantity.RESISTANCE, 2.0, ("MEAS:RES? 2", "MEAS:RES?2")),
        (Quantity.RESISTANCE, 1_200_000.0, ("MEAS:RES? 1.2E+06", "MEAS:RES?1.2E+06")),
        (Quantity.CONTINUITY, 2.0, ("MEAS:CONT?", "MEAS:CONT?")),
        (Quantity.VOLTAGE_AC, 30.0, ("MEAS:VOLT:AC? 30", "MEAS:VOLT:AC?30")),
        (Quantity.VOLTAGE_DC, -5.0, ("MEAS:VOLT:DC? 5", "MEAS:VOLT:DC?5")),
        (Quantity.VOLTAGE_DC, 0.0, ("MEAS:VOLT:DC?", "MEAS:VOLT:DC?")),
        (Quantity.DUTY, None, None),
    ],
)
def test_queries_come_from_the_profile(scpi: Any, quantity: Any, range_si: float | None, asked: Any) -> None:
    """A quantity's first query is asked, with the range where it takes one; it heads the line too."""
    assert query_for(scpi, quantity, range_si) == asked


@pytest.mark.parametrize("address", ADDRESSES)
def test_over_every_interface(address: Any, scpi: Any, library: Any, sink: Any) -> None:
    """LAN, serial and USB: identity first, then what is wanted, in its range, through the decoder unchanged."""
    source = VisaSource(address, scpi, library)
    assert source.identity == "OUR OWN,BENCH,0,1"
    source.want(Quantity.RESISTANCE, 2.0)
    source.start(sink, ScaledClock(speed=20.0))
    sink.until(lambda s: s.data.count(b"\n") >= 3, "three answers")
    source.stop()
    assert sink.items[0][:3] == ("link", UP, "OUR OWN,BENCH,0,1")
    assert set(sink.data.splitlines()) == {b"MEAS:RES?2 +3.10000000E-01"}
    assert {(r.quantity, r.value, r.state) for r in decoded(scpi, sink)} == {(Quantity.RESISTANCE, 0.31, State.OK)}


def test_what_is_wanted_changes_what_is_asked(scpi: Any, library: Any, sink: Any) -> None:
    """Each want is asked for from the next query on; over-range and not-a-number are states, never values."""
    source = VisaSource(ADDRESSES[0], scpi, library)
    source.start(sink, ScaledClock(speed=20.0))
    sink.until(lambda s: s.data, "the panel's own function")
    for quantity, head in (
        (Quantity.RESISTANCE, b"MEAS:RES?"),
        (Quantity.CONTINUITY, b"MEAS:CONT?"),
        (Quantity.VOLTAGE_DC, b"MEAS:VOLT:DC?"),
    ):
        source.want(quantity, None)
        sink.until(lambda s, head=head: head in s.data, head.decode())
    source.stop()
    seen = dict.fromkeys((r.quantity, r.value, r.state) for r in decoded(scpi, sink))
    assert list(seen) == [
        (Quantity.RESISTANCE, 5.0, State.OK),
        (Quantity.RESISTANCE, 1234.0, State.OK),
        (Quantity.CONTINUITY, None, State.OVER),
        (Quantity.VOLTAGE_DC, None, State.BLANK),
    ]
    assert sink.data.startswith(b"MEAS:FRES? +5.00000000E+00\n")


def test_a_quantity_without_a_query_is_said(
    scpi: Any, library: Any, sink: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the profile cannot ask for makes the link silent with the reason; the next want goes on."""
    monkeypatch.setattr(visa, "REFUSED_S", 0.01)
    source = VisaSource(ADDRESSES[0], scpi, library)
    source.want(Quantity.DUTY, None)
    source.start(sink, ScaledClock())
    sink.until(lambda s: SILENT in s.states, "silent")
    assert "no query for duty" in sink.whys[-1]
    source.want(Quantity.RESISTANCE, None)
    sink.until(lambda s: s.data, "answer")
    source.stop()


class Bench:
    """A bench meter on a loopback socket; `answers` may be changed while it runs. None: no answer at all."""

    def __init__(self) -> None:
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"socket://127.0.0.1:{self.listener.getsockname()[1]}"
        self.answers: dict[bytes, bytes | None] = {
            b"*IDN?": b"OUR OWN,LAN,0,1\r\n",
            b"MEAS:RES?": b"+1.00000000E+01\r\n",
            b"SYST:ERR?": b'+0,"No error"\n',
        }
        self.asked: list[bytes] = []
        self.clients: list[socket.socket] = []
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self) -> None:
        while True:
            try:
                client, _ = self.listener.accept()
            except OSError:
                return
            self.clients.append(client)
            threading.Thread(target=self._talk, args=(client,), daemon=True).start()

    def _talk(self, client: socket.socket) -> None:
        try:
            with client, client.makefile("rb") as lines:
                for line in lines:
                    query = line.strip()
                    self.asked.append(query)
                    if (answer := self.answers.get(query)) is not None:
                        client.sendall(answer)
        except OSError:
            pass

    def hang_up(self) -> None:
        for client in self.clients:
            with_shutdown = client
            with contextlib.suppress(OSError):
                with_shutdown.shutdown(socket.SHUT_RDWR)
        self.clients.clear()

    def close(self) -> None:
        self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()
        self.hang_up()
        self.thread.join(2.0)


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    monkeypatch.setattr(visa, "MIN_TIMEOUT_S", 0.3)
    monkeypatch.setattr(visa, "REOPEN_S", 0.05)
    monkeypatch.setattr(visa, "REFUSED_S", 0.05)
    bench = Bench()
    yield bench
    bench.close()


@pytest.fixture
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no time-out is meant: a busy machine may take its time."""
    monkeypatch.setattr(visa, "MIN_TIMEOUT_S", 6.0)
    monkeypatch.setattr(dialogue, "SETTLE_S", 0.1)


@pytest.fixture
def quick(scpi: Any) -> MeterProfile:
    """A profile fast enough that a time-out is short, and without speeds: one query a reading."""
    tables = {name: rows for name, rows in scpi.tables.items() if name != "speeds"}
    return msgspec.structs.replace(scpi.at_rate(20.0), tables=tables)  # type: ignore[no-any-return]


def test_a_loopback_socket(patient: Any, bench: Any, quick: Any, sink: Any) -> None:
    """socket://HOST:PORT with an scpi profile goes through VISA; CR LF is no part of the answer."""
    source = open_link(bench.address, quick)
    assert source.identity == "OUR OWN,LAN,0,1"
    source.want(Quantity.RESISTANCE, None)
    source.start(sink, ScaledClock(speed=10.0))
    sink.until(lambda s: s.data.count(b"\n") >= 5, "answers")
    source.stop()
    assert set(sink.data.splitlines()) == {b"MEAS:RES? +1.00000000E+01"}


def test_is_asked_no_faster_than_the_profile_says(bench: Any, quick: Any, sink: Any) -> None:
    """With a poll rate of 20 a second, half a second holds about ten queries."""
    source = VisaSource(bench.address, MeterProfile(**{**as_dict(quick), "poll": Poll(send="", per_s=20.0)}))
    source.want(Quantity.RESISTANCE, None)
    clock = ScaledClock()
    source.start(sink, clock)
    until(lambda: bench.asked.count(b"MEAS:RES?") >= 8, "eight queries")
    took_s = clock.now_s()
    source.stop()
    assert took_s >= 7 * 0.05 - 0.02


def as_dict(profile: MeterProfile) -> dict[str, Any]:
    return {name: getattr(profile, name) for name in profile.__struct_fields__}


def test_a_refused_query_is_told_in_the_meters_words(bench: Any, quick: Any, sink: Any) -> None:
    """A query without answer and an entry in the error queue: silent, with that entry; then the next want goes on."""
    bench.answers[b"SYST:ERR?"] = b'-113,"Undefined header"\n'
    source = VisaSource(bench.address, quick)
    source.want(Quantity.CAPACITANCE, None)
    source.start(sink, ScaledClock())
    sink.until(lambda s: SILENT in s.states, "silent")
    assert 'the meter refuses MEAS:CAP?: -113,"Undefined header"' in sink.whys
    source.want(Quantity.RESISTANCE, None)
    sink.until(lambda s: s.data, "answer")
    source.stop()
    assert LOST not in sink.states


@pytest.mark.parametrize("error", [b'+0,"No error"\n', None, b"+1.00000000E+01\n", b"\n"])
def test_a_time_out_without_a_reason_opens_a_new_connection(
    error: bytes | None, bench: Any, quick: Any, sink: Any
) -> None:
    """No answer, and no error that explains it (or a late answer in its place): lost, opened anew, in step."""
    source = VisaSource(bench.address, quick)
    source.want(Quantity.RESISTANCE, None)
    source.start(sink, ScaledClock())
    sink.until(lambda s: s.data, "answer")
    bench.answers[b"MEAS:RES?"] = None
    bench.answers[b"SYST:ERR?"] = error
    sink.until(lambda s: s.states[:2] == [UP, LOST], "lost")
    bench.answers[b"MEAS:RES?"] = b"+2.00000000E+01\n"
    sink.until(lambda s: b"+2.0" in s.data, "new answer")
    source.stop()
    assert [item for item in sink.items if item[0] == "fault"] == []
    assert set(sink.data.splitlines()) == {b"MEAS:RES? +1.00000000E+01", b"MEAS:RES? +2.00000000E+01"}


def test_a_dropped_connection_is_lost_and_opened_again(bench: Any, quick: Any, sink: Any) -> None:
    """The meter is switched off and on: lost, then up, then answers."""
    source = VisaSource(bench.address, quick)
    source.want(Quantity.RESISTANCE, None)
    source.start(sink, ScaledClock())
    sink.until(lambda s: s.data, "answer")
    bench.hang_up()
    sink.until(lambda s: s.states == [UP, LOST, UP], "lost and up")
    have = len(sink.data)
    sink.until(lambda s: len(s.data) > have, "more answers")
    source.stop()


def test_hostile_answers_stay_bounded(bench: Any, quick: Any, sink: Any) -> None:
    """An answer without an end is cut at its limit and makes garbage; bytes that are no text pass as they are."""
    bench.answers[b"MEAS:RES?"] = b"\xff\x00\x1b[2J" * 2000 + b"\n"
    source = VisaSource(bench.address, quick)
    source.want(Quantity.RESISTANCE, None)
    source.start(sink, ScaledClock())
    sink.until(lambda s: s.data, "answer")
    source.stop()
    assert len(sink.items[1][1]) <= dialogue.MOST_BYTES + 20  # type: ignore[attr-defined]
    assert decoded(quick, sink) == []


def until(true: Any, what: str) -> None:
    """Wait until `true()` holds."""
    end_s = time.monotonic() + 8.0
    while not true():
        assert time.monotonic() < end_s, f"no {what}"
        time.sleep(0.01)


def test_a_serial_meter_on_a_pseudo_terminal(pty: Any, patient: Any, quick: Any, sink: Any) -> None:
    """A port's name with an scpi profile is a serial SCPI meter: set remote, identified, asked, set local again."""
    asked: list[bytes] = []

    def meter() -> None:
        answers = {b"*IDN?": b"OUR OWN,SERIAL,0,1\n", b"MEAS:RES?": b"-1.0E-03\n"}
        rest = b""
        try:
            while True:
                rest += os.read(pty.master, 1024)
                *lines, rest = rest.split(b"\n")
                for line in lines:
                    asked.append(line)
                    if line in answers:
                        os.write(pty.master, answers[line])
        except OSError:
            pass

    thread = threading.Thread(target=meter, daemon=True)
    thread.start()
    source = open_link(pty.path, quick)
    assert source.identity == "OUR OWN,SERIAL,0,1"
    source.want(Quantity.RESISTANCE, None)
    source.start(sink, ScaledClock())
    sink.until(lambda s: s.data.count(b"\n") >= 2, "answers")
    source.stop()
    until(lambda: asked[-1] == b"SYST:LOC", "SYST:LOC")
    assert (asked[0], asked[1]) == (b"SYST:REM", b"*IDN?")
    assert decoded(quick, sink)[0].value == -0.001
    os.close(pty._slave)
    pty._slave = -1
    thread.join(2.0)


def refused(address: str, profile: MeterProfile, library: str = "") -> LinkError:
    with pytest.raises(LinkError) as caught:
        VisaSource(address, profile, library)
    assert caught.value.exit_status == 3
    assert caught.value.where == address
    assert caught.value.hint
    return caught.value


def test_what_cannot_be_opened_says_why(bench: Any, quick: Any, tmp_path: Path) -> None:
    """No such port, nothing there, a name that is none, a meter that is silent: each has its words."""
    assert refused(str(tmp_path / "none"), quick).what == "there is no such port"
    assert "name of a VISA resource" in refused("visa:what::ever", quick).what
    bench.answers[b"*IDN?"] = None
    assert refused(bench.address, quick).what == dialogue.NO_IDENTITY
    with socket.create_server(("127.0.0.1", 0)) as listener:
        address = f"socket://127.0.0.1:{listener.getsockname()[1]}"
    assert refused(address, quick).what == "nothing listens there"
    assert refused("socket://127.0.0.1:99999", quick).what
    assert refused("socket://x..y:5025", quick).what


def test_a_missing_library_names_the_command(monkeypatch: pytest.MonkeyPatch, quick: Any) -> None:
    """Without pyvisa, or without any VISA behind it, the command that installs them is named."""
    with monkeypatch.context() as patch:
        patch.setitem(sys.modules, "pyvisa", None)
        assert refused("visa:x::INSTR", quick).hint == "pip install 'metercap[scpi]'"
    assert refused("visa:x::INSTR", quick, "@nothing").hint == "pip install 'metercap[scpi]'"


def every_error() -> list[Exception]:
    """One of every error that pyvisa, the system and pyvisa-py's bare exceptions can raise."""
    import termios

    from pyvisa import errors

    made = {
        "VisaIOError": errors.VisaIOError(StatusCode.error_connection_lost),
        "UnknownHandler": errors.UnknownHandler(1, 2, 3),  # type: ignore[arg-type]
        "OSNotSupported": errors.OSNotSupported("x"),
        "VisaTypeError": errors.VisaTypeError("x"),
        "InvalidBinaryFormat": errors.InvalidBinaryFormat("x"),
        "LibraryError": errors.LibraryError("x"),
    }
    kinds = [errors.Error]
    for kind in kinds:
        kinds += [child for child in kind.__subclasses__() if child not in kinds]
    all_ = [made.get(kind.__name__) or kind() for kind in kinds]
    assert set(made) <= {type(error).__name__ for error in all_}
    all_ += [OSError(5, "x"), OSError("x"), termios.error(5, "x"), ValueError("x"), Exception("could not connect: x")]  # type: ignore[list-item]
    return all_  # type: ignore[return-value]


class Meter:
    """An open resource that answers thrice (identity, error queue, a reading), then fails."""

    def __init__(self, error: Exception) -> None:
        self.error, self.left = error, 3

    def write(self, text: str) -> None:
        self.left -= 1
        self.answer = {"*IDN?": b"OUR OWN,USB,0,1", "SYST:ERR?": b'0,"No error"'}.get(text, b"+1.0E+00")

    def read_bytes(self, count: int, break_on_termchar: bool) -> bytes:
        if self.left < 0:
            raise self.error
        return self.answer

    def close(self) -> None:
        raise self.error


@pytest.mark.parametrize("error", every_error(), ids=lambda error: re.sub(r"\W+", " ", repr(error))[:60])
def test_every_error_is_mapped(error: Any, monkeypatch: pytest.MonkeyPatch, scpi: Any, sink: Any, clock: Any) -> None:
    """Whatever the libraries raise is a LinkError on opening and a lost link later; stopping does not mind."""
    monkeypatch.setattr(visa, "REOPEN_S", 0.001)

    class Manager:
        def open_resource(self, name: str, open_timeout: int) -> Any:
            if refusing:
                raise error
            return Meter(error)

    refusing = True
    monkeypatch.setattr(pyvisa, "ResourceManager", lambda library: Manager())
    refused("visa:USB0::1::2::3::INSTR", scpi)
    refusing = False
    source = VisaSource("visa:USB0::1::2::3::INSTR", scpi)
    source.want(Quantity.RESISTANCE, None)
    source.start(sink, ScaledClock(speed=100.0))
    sink.until(lambda s: s.states[:3] == [UP, LOST, UP], "lost and up")
    source.stop()
    assert "fault" not in {item[0] for item in sink.items}


def test_every_status_has_words(scpi: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each of the VISA library's error codes is a LinkError on opening, and words for a person later."""
    for code in StatusCode:
        if code.value >= 0:
            continue
        error = pyvisa.errors.VisaIOError(code)

        class Manager:
            def open_resource(self, name: str, open_timeout: int, error: Any = error) -> None:
                raise error

        monkeypatch.setattr(pyvisa, "ResourceManager", lambda library, manager=Manager: manager())
        assert refused("visa:USB0::1::2::3::INSTR", scpi).what
        assert dialogue.no_answer("READ?", error).why.startswith(("no answer to READ?", "READ? failed: "))


@pytest.mark.parametrize("error", every_error()[:6], ids=lambda error: type(error).__name__)
def test_no_library_works(error: Any, monkeypatch: pytest.MonkeyPatch, scpi: Any) -> None:
    """Whatever loading a VISA library raises names the command that installs one."""

    def fail(library: str) -> None:
        raise error

    monkeypatch.setattr(pyvisa, "ResourceManager", fail)
    refused("visa:USB0::1::2::3::INSTR", scpi)


STRANGE = {
    # Each ends in a number that nobody measured.
    "second field": b"+1.5E+3, +2.0E-1\n",
    "status": b"RNG 3 OVLD 1\n",
    "unit and range": b"OHM 1.5E3 RANGE 0\n",
    "message": b"Error 113\n",
    "unit": b"+1.0E+01 OHM\n",
    "three lines": b"+1.0E+01\n+2.0E+01\n+3.0E+01\n",
    "two lines, CR": b"+1.0E+01\r\n+2.0E+01\r\n",
    "nothing": b"\n",
    "a prompt behind it": b"+1.0E+01\n> ",
}


@pytest.mark.parametrize("answer", STRANGE.values(), ids=STRANGE.keys())
def test_an_answer_that_says_more_is_no_reading(answer: Any, patient: Any, bench: Any, quick: Any, sink: Any) -> None:
    """What is not the one number asked for is garbage, and the first honest answer after it is a reading again."""
    bench.answers[b"MEAS:RES?"] = answer
    source = VisaSource(bench.address, quick)
    source.want(Quantity.RESISTANCE, None)
    source.start(sink, ScaledClock())
    sink.until(lambda s: s.data.count(b"\n") >= 2, "strange answers")
    assert decoded(quick, sink) == []
    bench.answers[b"MEAS:RES?"] = b"+4.7E+01\n"
    sink.until(lambda s: decoded(quick, s), "reading")
    source.stop()
    assert {reading.value for reading in decoded(quick, sink)} == {47.0}
    assert LOST not in sink.states


def test_a_meter_that_echoes_is_out_of_step(patient: Any, bench: Any, quick: Any, sink: Any) -> None:
    """The question comes back before each answer: the plan's own limit, 2 ohm, never becomes a reading."""
    bench.answers[b"MEAS:RES? 2"] = b"MEAS:RES? 2\n+3.0E+02\n"
    bench.answers[b"*IDN?"] = b"*IDN?\nOUR OWN,LAN,0,1\n"
    source = VisaSource(bench.address, quick)
    assert source.identity == "OUR OWN,LAN,0,1"
    source.want(Quantity.RESISTANCE, 2.0)
    source.start(sink, ScaledClock())
    sink.until(lambda s: s.data.count(b"\n") >= 3, "echoes")
    source.stop()
    assert decoded(quick, sink) == []


def test_a_late_answer_is_not_that_of_the_next_query(patient: Any, bench: Any, quick: Any, sink: Any) -> None:
    """5 V that come after the wish has changed to ohms are no 5 ohm: what stands there before asking is garbage."""
    bench.answers[b"MEAS:VOLT:DC?"] = b"+5.0E+00\n"
    source = VisaSource(bench.address, quick)
    source.want(Quantity.VOLTAGE_DC, None)
    source.start(sink, ScaledClock())
    sink.until(lambda s: len(decoded(quick, s)) >= 2, "volts")
    bench.clients[-1].sendall(b"+5.0E+00\n")
    source.want(Quantity.RESISTANCE, None)
    sink.until(lambda s: any(r.quantity == "resistance" for r in decoded(quick, s)), "ohms")
    source.stop()
    assert {(r.quantity, r.value) for r in decoded(quick, sink)} == {("voltage_dc", 5.0), ("resistance", 10.0)}


def test_after_a_change_of_wish_a_second_line_is_waited_for_again(
    bench: Any, quick: Any, sink: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A query that was answered alone so far: after other wishes its first answer may be a late one of theirs."""
    monkeypatch.setattr(visa, "MIN_TIMEOUT_S", 6.0)
    monkeypatch.setattr(dialogue, "SETTLE_S", 0.2)
    late: list[bool] = []

    def talk(client: socket.socket) -> None:
        with client, contextlib.suppress(OSError), client.makefile("rb") as lines:
            for line in lines:
                if line == b"MEAS:RES?\n" and late:
                    late.clear()
                    client.sendall(b"+5.0E+00\n")
                    time.sleep(0.02)
                answer = bench.answers.get(line.strip())
                if answer is not None:
                    client.sendall(answer)

    bench._talk = talk
    bench.answers[b"MEAS:VOLT:DC?"] = b"+5.0E+00\n"
    source = VisaSource(bench.address, quick)
    source.want(Quantity.RESISTANCE, None)
    source.start(sink, ScaledClock())
    for quantity in (Quantity.RESISTANCE, Quantity.VOLTAGE_DC, Quantity.RESISTANCE):
        source.want(quantity, None)
        have = len(decoded(quick, sink))
        sink.until(
            lambda s, q=quantity, n=have: [r for r in decoded(quick, s)[n:] if r.quantity == q][1:], quantity.value
        )
        if quantity is Quantity.VOLTAGE_DC:
            late.append(True)
    source.stop()
    assert not late
    assert {(r.quantity, r.value) for r in decoded(quick, sink)} == {("voltage_dc", 5.0), ("resistance", 10.0)}


def test_a_function_that_is_none_is_asked_again(patient: Any, bench: Any, quick: Any, sink: Any) -> None:
    """A front panel whose answer is no function name makes garbage, not a query made of its words."""
    bench.answers |= {b"FUNC?": b'"RES" 1 2\n', b"READ?": b"+5.0E+00\n"}
    source = VisaSource(bench.address, quick)
    source.start(sink, ScaledClock())
    sink.until(lambda s: s.data.count(b"\n") >= 2, "strange functions")
    assert decoded(quick, sink) == []
    bench.answers[b"FUNC?"] = b'"RES"\n'
    sink.until(lambda s: decoded(quick, s), "reading")
    source.stop()


def test_a_meter_that_hangs_up_inside_its_answer(
    bench: Any, quick: Any, sink: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It costs no processor time and is called again ever more slowly; it once more, when it answers, at once."""
    monkeypatch.setattr(visa, "REOPEN_S", 0.02)
    bench.answers[b"MEAS:RES?"] = b"+1.0"
    real, dialled = bench._talk, []

    def talk(client: socket.socket) -> None:
        dialled.append(time.monotonic())
        with client, contextlib.suppress(OSError):
            held = b""
            while b"MEAS:RES?" not in held and (data := client.recv(100)):
                held += data
                if held.endswith(b"*IDN?\n"):
                    client.sendall(b"OUR OWN,LAN,0,1\n")
            client.sendall(b"+1.0")

    bench._talk = talk
    waited: list[float] = []

    class Counting(VisaSource):
        def _reopen(self, sink: Any, clock: Any) -> None:
            waited.append(self._patience_s)
            super()._reopen(sink, clock)

    source = Counting(bench.address, quick)
    source.want(Quantity.RESISTANCE, None)
    busy_s = time.process_time()
    source.start(sink, ScaledClock())
    until(lambda: len(dialled) >= 5, "five calls")
    busy_s = time.process_time() - busy_s
    bench._talk = real
    bench.answers[b"MEAS:RES?"] = b"+1.0E+01\n"
    sink.until(lambda s: s.data, "answer")
    source.stop()
    # By doubling from 0.02 s, while nothing is answered between.
    assert waited[:4] == [0.04, 0.08, 0.16, 0.32]
    assert busy_s < 0.5 * (dialled[4] - dialled[0])
    assert "closed the connection" in next(why for why in sink.whys if "failed" in why)
    assert decoded(quick, sink)[0].value == 10.0


def test_an_identity_dripped_byte_by_byte(bench: Any, quick: Any) -> None:
    """The whole question has one time limit, however steadily single bytes come."""

    def drip(client: socket.socket) -> None:
        with client, contextlib.suppress(OSError):
            while True:
                client.sendall(b"x")
                time.sleep(0.05)

    bench._talk = drip
    start_s = time.monotonic()
    assert refused(bench.address, quick).what == dialogue.NO_IDENTITY
    assert time.monotonic() - start_s < 2.0  # the limit is 0.3 s here


def test_an_identity_dripped_over_a_port(pty: Any, quick: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same over a serial port."""
    monkeypatch.setattr(visa, "MIN_TIMEOUT_S", 0.3)
    over = threading.Event()

    def drip() -> None:
        while not over.wait(0.05):
            os.write(pty.master, b"x")

    thread = threading.Thread(target=drip)
    thread.start()
    try:
        start_s = time.monotonic()
        assert refused(pty.path, quick).what == dialogue.NO_IDENTITY
        assert time.monotonic() - start_s < 2.5
    finally:
        over.set()
        thread.join()


def test_a_flood_without_end_is_no_hang(bench: Any, quick: Any, sink: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """A meter that never stops sending is lost, called back, and let go at once."""
    flooding = threading.Event()

    def talk(client: socket.socket) -> None:
        with client, contextlib.suppress(OSError):
            client.recv(100)
            client.sendall(b"OUR OWN,LAN,0,1\n")
            client.recv(100)
            client.sendall(b'+0,"No error"\n')
            client.recv(100)
            while not flooding.is_set():
                client.sendall(b"+1.0E+01\n" * 500)

    bench._talk = talk
    source = VisaSource(bench.address, quick)
    source.want(Quantity.RESISTANCE, None)
    source.start(sink, ScaledClock())
    sink.until(lambda s: s.states[:2] == [UP, LOST], "lost")
    start_s = time.monotonic()
    source.stop()
    flooding.set()
    assert time.monotonic() - start_s < 2.0
    assert decoded(quick, sink) == []


def test_a_socket_needs_no_visa(
    patient: Any, bench: Any, quick: Any, sink: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A meter on the network answers although no VISA library is installed."""
    monkeypatch.setitem(sys.modules, "pyvisa", None)
    source = VisaSource(bench.address, quick)
    source.want(Quantity.RESISTANCE, None)
    source.start(sink, ScaledClock())
    sink.until(lambda s: s.data, "answer")
    source.stop()
    assert source.identity == "OUR OWN,LAN,0,1"


def test_stop_never_hangs(bench: Any, quick: Any, sink: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopping returns within two seconds although an answer is awaited for longer; the thread ends by itself."""
    monkeypatch.setattr(visa, "MIN_TIMEOUT_S", 1.2)
    monkeypatch.setattr(visa, "STOP_S", 0.2)
    bench.answers[b"MEAS:RES?"] = None
    source = VisaSource(bench.address, quick)
    source.want(Quantity.RESISTANCE, None)
    source.start(sink, ScaledClock())
    while b"MEAS:RES?" not in bench.asked:
        time.sleep(0.01)
    start = time.monotonic()
    source.stop()
    assert time.monotonic() - start < 0.5


def test_the_serial_link_does_not_load_visa() -> None:
    """Opening a port for a handheld meter costs no VISA."""
    import subprocess

    code = (
        "import sys, metercap.link.address as a\nfrom metercap.meter import MeterProfile\n"
        "try: a.open_link('/dev/none', MeterProfile(name='x', family='lcd14'))\nexcept Exception: pass\n"
        "assert 'serial' in sys.modules and 'pyvisa' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=Path(__file__).parents[2])


def test_what_stands_there_before_the_question_is_no_answer(bench: Any, patient: Any, quick: Any) -> None:
    """One number that nobody asked for is handed on as what the decoder calls garbage, and nothing is asked then."""
    source = VisaSource(bench.address, quick)
    asked = len(bench.asked)
    source._meter._alone.add("MEAS:RES?")
    bench.clients[-1].sendall(b"+5.0E+00\n")
    time.sleep(0.1)
    with pytest.raises(dialogue.Strange) as strange:
        source._meter.ask("MEAS:RES?", "MEAS:RES?")
    source.stop()
    assert not [one for one in decoder(quick).feed(strange.value.line, 1.0) if isinstance(one, Reading)]
    assert len(bench.asked) == asked
