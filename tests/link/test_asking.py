"""A SCPI meter's manners: how fast it is asked, its error queue, its front panel, its ranges.

The meter is the outside one of the end-to-end tests, on a loopback socket and on a pseudo-terminal.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from metercap.clock import ScaledClock
from metercap.errors import LinkError, ProfileError
from metercap.link import dialogue, visa
from metercap.link.asking import ask_for, panel
from metercap.link.portlines import PortLines
from metercap.link.source import complaint_of
from metercap.link.visa import VisaSource
from metercap.meter import MeterProfile, Serial
from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.reading import Reading
from metercap.records import LinkState
from metercap.wire import decoder
from tests.e2e.outside_meter import SocketMeter, on_port

pytestmark = pytest.mark.usefixtures("threads_end")

UP, SILENT, LOST = LinkState.UP, LinkState.SILENT, LinkState.LOST
OHMS, VOLTS, AC = Quantity.RESISTANCE, Quantity.VOLTAGE_DC, Quantity.VOLTAGE_AC


@pytest.fixture(autouse=True)
def patience(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(visa, "REFUSED_S", 0.05)
    monkeypatch.setattr(visa, "REOPEN_S", 0.05)


@pytest.fixture
def scpi() -> MeterProfile:
    return find_meter("scpi")


def with_tables(profile: MeterProfile, **tables: Any) -> MeterProfile:
    return msgspec.structs.replace(profile, tables=profile.tables | tables)


def readings(profile: MeterProfile, sink: Any) -> list[Reading]:
    return [one for one in decoder(profile).feed(sink.data, 1.0) if isinstance(one, Reading)]


@pytest.mark.parametrize(
    ("per_s", "quantity", "range_si", "set_up", "query"),
    [
        (2.0, OHMS, 2.0, (), "MEAS:RES? 2"),
        (2.5, OHMS, 2.0, (), "MEAS:RES? 2"),
        (3.0, OHMS, 2.0, ("CONF:RES 2", "RES:NPLC 1"), "READ?"),
        (10.0, OHMS, None, ("CONF:RES", "RES:NPLC 1"), "READ?"),
        (40.0, VOLTS, -5.0, ("CONF:VOLT:DC 5", "VOLT:DC:NPLC 1"), "READ?"),
        (10.0, AC, None, (), "MEAS:VOLT:AC?"),
        (10.0, Quantity.CONTINUITY, None, (), "MEAS:CONT?"),
    ],
)
def test_what_is_sent_for_a_rate(
    scpi: MeterProfile, per_s: float, quantity: Quantity, range_si: float | None, set_up: Any, query: str
) -> None:
    """Up to the rate that the query by itself gives (2.5 a second) it is asked; beyond, set up once and read."""
    ask = ask_for(scpi.at_rate(per_s), quantity, range_si)
    assert ask is not None
    assert (ask.set_up, ask.query) == (set_up, query)
    assert ask.head.startswith("MEAS:")


def test_of_several_speeds_the_slowest_that_will_do(scpi: MeterProfile) -> None:
    """Slow and fast are rows of the profile: 4 a second takes the row of 5, 20 the one of 50."""
    rows = {"MEAS": 2.0, "RES:NPLC 0.02": 50.0, "RES:NPLC 2": 5.0, "RES:NPLC 0.2": 10.0}
    several = with_tables(scpi, speeds=rows)
    chosen = {per_s: ask_for(several.at_rate(per_s), OHMS, None) for per_s in (1.0, 4.0, 5.0, 20.0, 99.0)}
    assert [ask.set_up[1:] if ask else None for ask in chosen.values()] == [
        (), ("RES:NPLC 2",), ("RES:NPLC 2",), ("RES:NPLC 0.02",), ("RES:NPLC 0.02",),
    ]  # fmt: skip


def test_a_fast_meter_is_set_up_once_and_read_at_its_rate(scpi: MeterProfile, sink: Any) -> None:
    """Slow answers take 0.4 s here, fast ones 0.02 s; each line says what was wanted, in its range."""
    with SocketMeter(lambda query: 0.31 if query == "MEAS:RES? 2" else 77.0, rate=2.5, fast=50.0) as meter:
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi.at_rate(10.0))
        source.want(OHMS, 2.0)
        clock = ScaledClock()
        source.start(sink, clock)
        sink.until(lambda s: s.data.count(b"\n") >= 12, "twelve readings")
        took_s = clock.now_s()
        source.stop()
    assert set(sink.data.splitlines()) == {b"MEAS:RES?2 +3.10000000E-01"}
    assert took_s < 12 * 0.4
    assert (meter.asked.count("CONF:RES 2"), meter.asked.count("RES:NPLC 1")) == (1, 1)
    assert sink.states == [UP]


def test_somebody_at_the_front_panel_is_noticed(scpi: MeterProfile, sink: Any) -> None:
    """The function is looked at after each reading: pressed away, it is set up again; no volt becomes an ohm."""
    with SocketMeter(lambda query: 5.0 if "VOLT" in query else 47.0, rate=50.0, fast=50.0) as meter:
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi.at_rate(10.0))
        source.want(OHMS, None)
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.data.count(b"\n") >= 2, "readings")
        meter.function = "VOLT:DC"
        have = len(sink.data)
        sink.until(lambda s: len(s.data) > have + 60, "more readings")
        source.stop()
    assert {(r.quantity, r.value) for r in readings(scpi, sink)} == {(OHMS, 47.0)}
    assert meter.asked.count("CONF:RES") == 2


def test_a_key_pressed_just_before_the_reading(scpi: MeterProfile, sink: Any) -> None:
    """The moment between looking and reading: at the panel's own setting too, no volt becomes an ohm."""
    with SocketMeter(lambda query: 5.0 if "VOLT" in query else 47.0, rate=50.0, fast=50.0) as meter:
        real = meter.reply

        def pressed(line: str) -> str | None:
            if line == "READ?" and meter.asked.count("READ?") in (2, 5):
                meter.function = "VOLT:DC"
            return real(line)

        meter.reply = pressed  # type: ignore[method-assign]
        for want in (OHMS, None):
            source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi.at_rate(10.0))
            source.want(want, None)
            source.start(sink, ScaledClock())
            have = len(readings(scpi, sink))
            sink.until(lambda s, have=have: len(readings(scpi, s)) > have + 6, "readings")
            source.stop()
            meter.asked.clear()
            meter.function = "RES"
    assert {(r.quantity, r.value) for r in readings(scpi, sink)} == {(OHMS, 47.0), (VOLTS, 5.0)}


def test_a_refused_set_up_is_shown_and_the_query_asked(scpi: MeterProfile, sink: Any) -> None:
    """The error queue is read after each step: what the meter refused, in its words; then it is asked slowly."""
    with SocketMeter(lambda query: 47.0, rate=50.0, refused=("RES:NPLC",)) as meter:
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi.at_rate(10.0))
        source.want(OHMS, None)
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.data.count(b"\n") >= 3, "readings")
        source.stop()
    assert 'the meter refuses RES:NPLC 1: -113,"Undefined header": it is read at its own speed' in sink.whys
    assert sink.states == [UP, UP]
    assert {r.value for r in readings(scpi, sink)} == {47.0}
    assert "MEAS:RES?" in meter.asked
    assert meter.asked.count("CONF:RES") == 1


def test_a_meter_that_cannot_say_its_function_is_asked_slowly(
    scpi: MeterProfile, sink: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """FUNC? refused: said, and from then on each reading is one query."""
    monkeypatch.setattr(visa, "MIN_TIMEOUT_S", 0.5)
    with SocketMeter(lambda query: 47.0, rate=50.0, refused=("FUNC?",)) as meter:
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi.at_rate(10.0))
        source.want(OHMS, None)
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.data.count(b"\n") >= 3, "readings")
        source.stop()
    assert {r.value for r in readings(scpi, sink)} == {47.0}
    assert LOST not in sink.states


def test_what_the_queue_held_before_is_shown_and_emptied(scpi: MeterProfile, sink: Any) -> None:
    """Somebody else's errors: told with the identity, at most three in words, and none is left for later."""
    with SocketMeter(lambda query: 47.0) as meter:
        meter.errors = [f'-{n},"old"' for n in range(100, 105)]
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi)
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.states, "up")
        source.stop()
    assert sink.whys[0] == (
        'SIMULATED,BENCH METER,0,1.0; its error queue held -100,"old"; -101,"old"; -102,"old" and 2 more'
    )
    assert meter.errors == []


def test_an_answer_with_a_complaint_is_shown(scpi: MeterProfile, sink: Any) -> None:
    """The first answer to a new wish is followed by a look into the queue, once a wish."""
    with SocketMeter(lambda query: 47.0, rate=50.0) as meter:
        real = meter.reply

        def grumbling(line: str) -> str | None:
            if line == "MEAS:RES? 2":
                meter.errors.append('-222,"Data out of range"')
            return real(line)

        meter.reply = grumbling  # type: ignore[method-assign]
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi)
        source.want(OHMS, 2.0)
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.data.count(b"\n") >= 3, "readings")
        source.stop()
    assert sink.whys[1:] == ['after MEAS:RES? 2 the meter complains: -222,"Data out of range"']
    # The readings after the first left theirs, which are read at the end.
    assert complaint_of(source).startswith('-222,"Data out of range"')


def test_at_the_end_the_queue_is_read_once_more(scpi: MeterProfile, sink: Any) -> None:
    """What went wrong in between is not lost; a link without a queue has nothing to say."""
    with SocketMeter(lambda query: 47.0, rate=50.0) as meter:
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi)
        source.want(OHMS, None)
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.data.count(b"\n") >= 2, "readings")
        meter.errors.append('-310,"System error"')
        source.stop()
    assert complaint_of(source) == '-310,"System error"'


def test_a_meter_without_a_queue_is_asked_for_it_once(
    scpi: MeterProfile, sink: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No answer within its time: the meter is read all the same, in step."""
    monkeypatch.setattr(dialogue, "ERROR_WAIT_S", 0.2)
    with SocketMeter(lambda query: 47.0, rate=50.0, refused=("SYST:ERR?",)) as meter:
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi)
        source.want(OHMS, None)
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.data.count(b"\n") >= 3, "readings")
        source.stop()
    assert meter.asked.count("SYST:ERR?") == 1
    assert {r.value for r in readings(scpi, sink)} == {47.0}


def test_what_is_no_entry_of_a_queue_ends_the_asking(scpi: MeterProfile, sink: Any) -> None:
    """A number in place of an error: out of step, or a meter without a queue; it is asked no more, and read in step."""
    with SocketMeter(lambda query: 47.0, rate=50.0) as meter:
        real = meter.reply

        def numbers(line: str) -> str | None:
            answer = real(line)
            return "+1.0E+00" if line == "SYST:ERR?" else answer

        meter.reply = numbers  # type: ignore[method-assign]
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi)
        source.want(OHMS, None)
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.data.count(b"\n") >= 3, "readings")
        source.stop()
    assert meter.asked.count("SYST:ERR?") == 1
    assert {r.value for r in readings(scpi, sink)} == {47.0}


def test_seven_bits_with_parity_over_a_port(scpi: MeterProfile, pty: Any) -> None:
    """A pseudo-terminal hands the parity bit on; it is no part of the answer."""
    seven = msgspec.structs.replace(scpi, serial=Serial(bits=7, parity="even"))
    lines = PortLines(pty.path, seven)
    pty.send(bytes(byte | 0x80 * (byte.bit_count() % 2) for byte in b"+4.7E+01\r\n"))
    assert lines.read_line(2.0) == b"+4.7E+01\r\n"
    lines.close()


@pytest.mark.parametrize(("range_ohm", "resolution"), [("100", 0.01), ("10000", 1.0), ("1000000", 100.0)])
def test_the_panels_range_gives_the_resolution(
    scpi: MeterProfile, sink: Any, range_ohm: str, resolution: float
) -> None:
    """5 ohm in a range fixed at the panel: one count of 19 999 in it (by hand: 10 kohm / 10 000), not of the lowest."""
    with SocketMeter(lambda query: 5.0, rate=50.0) as meter:
        meter.range = range_ohm
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi)
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.data.count(b"\n") >= 2, "readings")
        source.stop()
    assert {(r.value, r.resolution) for r in readings(scpi, sink)} == {(5.0, resolution)}


def test_a_meter_that_does_not_tell_its_range(scpi: MeterProfile, sink: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is asked for it once; the lowest range that holds the value stands in: 0.01 ohm in 100 ohm."""
    monkeypatch.setattr(visa, "MIN_TIMEOUT_S", 0.4)
    with SocketMeter(lambda query: 5.0, rate=50.0, refused=("RES:RANG?",)) as meter:
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi.at_rate(20.0))
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.data.count(b"\n") >= 3, "readings")
        source.stop()
    assert meter.asked.count("RES:RANG?") == 1
    assert {(r.value, r.resolution) for r in readings(scpi, sink)} == {(5.0, 0.01)}


def test_the_panel_is_locked_and_given_back_where_the_profile_says_so(scpi: MeterProfile) -> None:
    """Over a serial port by the shipped profile; over all interfaces, or none, by others."""
    assert panel(scpi, serial=True) == ("SYST:REM", "SYST:LOC")
    assert panel(scpi, serial=False) == ("", "")
    everywhere = with_tables(scpi, panel={"over": "any", "remote": "SYST:RWL", "local": "SYST:LOC"})
    assert panel(everywhere, serial=False) == ("SYST:RWL", "SYST:LOC")
    without = msgspec.structs.replace(scpi, tables={"queries": scpi.tables["queries"]})
    assert panel(without, serial=True) == ("", "")


def test_over_a_socket_the_panel_is_left_as_it_was(scpi: MeterProfile, sink: Any) -> None:
    """Nothing of it is sent, at the beginning or at the end."""
    with SocketMeter(lambda query: 1.0, rate=50.0) as meter:
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi)
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.data, "a reading")
        source.stop()
    assert not [line for line in meter.asked if line.startswith(("SYST:REM", "SYST:LOC"))]


@pytest.fixture
def serial_meter() -> Iterator[SocketMeter]:
    """The same meter, to be put behind a pseudo-terminal."""
    with SocketMeter(lambda query: -0.001, rate=50.0) as meter:
        yield meter


@pytest.fixture
def port(serial_meter: SocketMeter, tmp_path: Path) -> Iterator[str]:
    with on_port(serial_meter, tmp_path) as path:
        yield str(path)


def wait_local(meter: SocketMeter) -> None:
    end_s = time.monotonic() + 5.0
    while meter.asked[-1:] != ["SYST:LOC"]:
        assert time.monotonic() < end_s, meter.asked[-5:]
        time.sleep(0.01)
    assert not meter.remote


def test_asking_who_is_there_leaves_the_panel_unlocked(
    scpi: MeterProfile, port: str, serial_meter: SocketMeter
) -> None:
    """`identify` only opens and closes: the panel is given back all the same. No VISA is needed for a serial port."""
    source = VisaSource(port, scpi)
    assert serial_meter.remote
    assert source.identity == "SIMULATED,BENCH METER,0,1.0"
    source.stop()
    wait_local(serial_meter)


def test_a_serial_session_ends_with_the_panel_unlocked(
    scpi: MeterProfile, port: str, serial_meter: SocketMeter, sink: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """First the lock, last the key; in between, readings; and all of it without a VISA library."""
    import sys

    monkeypatch.setitem(sys.modules, "pyvisa", None)
    source = VisaSource(port, scpi)
    source.want(OHMS, None)
    source.start(sink, ScaledClock())
    sink.until(lambda s: s.data.count(b"\n") >= 2, "readings")
    source.stop()
    wait_local(serial_meter)
    assert serial_meter.asked[0] == "SYST:REM"
    assert {r.value for r in readings(scpi, sink)} == {-0.001}


def test_a_meter_that_says_no_name_is_unlocked_too(
    scpi: MeterProfile, port: str, serial_meter: SocketMeter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opening failed after the lock: the key is sent before the port is let go."""
    monkeypatch.setattr(visa, "MIN_TIMEOUT_S", 0.3)
    serial_meter._refused = ("*IDN?",)
    with pytest.raises(LinkError):
        VisaSource(port, scpi.at_rate(20.0))
    wait_local(serial_meter)


@pytest.mark.parametrize(
    ("tables", "what"),
    [
        ({"speeds": {"RES:NPLC 1": "fast"}}, "speeds.RES:NPLC 1: 'fast' must be conversions a second"),
        ({"speeds": {"RES:NPLC 1": 0.0}}, "speeds.RES:NPLC 1: 0.0 must be conversions a second"),
        ({"speeds": {"RES:NPLC?": 5.0}}, "speeds.RES:NPLC?: must be MEAS or one command"),
        ({"speeds": {"*RST;RES:NPLC 1": 5.0}}, "must be MEAS or one command"),
        ({"panel": {"remote": "SYST:REM\n*RST"}}, "panel.remote: 'SYST:REM\\n*RST' must be one command"),
        ({"panel": {"over": "lan"}}, "panel.over: 'lan' must be one of serial, any"),
        ({"panel": {"lokal": "SYST:LOC"}}, 'panel.lokal: no such key, did you mean "local"?'),
        ({"speed": {}}, 'no such table in the scpi family, did you mean "speeds"?'),
    ],
)
def test_tables_that_make_no_sense(scpi: MeterProfile, tables: Any, what: str) -> None:
    """Named by their key; nothing of them is ever sent."""
    with pytest.raises(ProfileError) as wrong:
        decoder(with_tables(scpi, **tables))
    assert what in wrong.value.what


def test_infinity_is_no_range(scpi: MeterProfile, sink: Any) -> None:
    """A panel whose range is no range a meter has is read as one that does not tell it."""
    with SocketMeter(lambda query: 5.0, rate=50.0) as meter:
        meter.range = "9.9E37"
        source = VisaSource(f"socket://127.0.0.1:{meter.port}", scpi)
        source.start(sink, ScaledClock())
        sink.until(lambda s: s.data.count(b"\n") >= 2, "readings")
        source.stop()
    assert {r.resolution for r in readings(scpi, sink)} == {0.01}
