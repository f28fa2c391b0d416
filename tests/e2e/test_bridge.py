"""A meter behind a serial bridge on the network: watched, run, lost and found again, with the program in a process.

The bridge is another program (`bridge`, RFC 2217 by pyserial's server half) in front of the outside meter's
pseudo-terminal.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.e2e.bridge import Bridge
from tests.e2e.outside_meter import Meter, Shown
from tests.e2e.program import Hands, of_kind, plan_file, program, run, sweep, verdicts

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

GOOD = 0.2


@pytest.fixture
def meter(tmp_path: Path) -> Iterator[Meter]:
    with Meter(tmp_path) as meter:
        meter.tips = GOOD
        yield meter


def test_watch_over_a_bridge_sets_its_line(meter: Meter, tmp_path: Path) -> None:
    """Readings come through byte for byte, and the bridge was told what the profile says: 2400 8N1, its lines."""
    with Bridge(meter.path) as bridge:
        done = run("watch", "--port", bridge.url, "--meter", "lcd14", "--count", "5", "--json", "--no-save")
        line = bridge.line
    assert done.status == 0, done.err
    records = [json.loads(row) for row in done.out.splitlines()]
    readings = of_kind(records, "reading")
    assert [r["value"] for r in readings] == [GOOD] * len(readings)
    assert len(readings) >= 5
    assert (line["baudrate"], line["bytesize"], line["parity"], line["stopbits"]) == (2400, 8, "N", 1)
    assert (line["xonxoff"], line["rtscts"]) == (False, False)
    assert (line["dtr"], line["rts"]) == (True, False)


def test_a_bridge_without_seven_bits_is_used_with_eight(tmp_path: Path) -> None:
    """7O1 and 8N1 are ten bits a byte alike: where seven are refused, eight carry them, the parity bit dropped."""
    with Meter(tmp_path, "digits14") as meter, Bridge(meter.path, "bytesize=7") as bridge:
        meter.tips = Shown("2.187", "k")
        real = meter._draw
        # Odd parity in the top bit, as a line of eight bits hands it on.
        meter._draw = lambda shown: bytes(b | 0x80 * (1 - b.bit_count() % 2) for b in real(shown))
        done = run("watch", "--port", bridge.url, "--meter", "digits14", "--count", "3", "--json", "--no-save")
        line = bridge.line
    assert done.status == 0, done.err
    assert {r["value"] for r in of_kind([json.loads(row) for row in done.out.splitlines()], "reading")} == {2187.0}
    assert (line["baudrate"], line["bytesize"], line["parity"], line["stopbits"]) == (19200, 8, "N", 1)


def test_a_polled_meter_is_asked_through_the_bridge(tmp_path: Path) -> None:
    """Writing works too: the meter answers each `D`."""
    with Meter(tmp_path, "polled-line") as meter, Bridge(meter.path) as bridge:
        meter.tips = GOOD
        done = run("watch", "--port", bridge.url, "--meter", "polled-line", "--count", "3", "--json", "--no-save")
    assert done.status == 0, done.err
    assert {r["value"] for r in of_kind([json.loads(row) for row in done.out.splitlines()], "reading")} == {GOOD}


def test_identify_tries_each_setting_at_a_bridge(meter: Meter) -> None:
    """Behind a bridge settings count as on a cable: each family is heard at its own."""
    with Bridge(meter.path) as bridge:
        done = run("identify", "--port", bridge.url, "--meter", "lcd14", "--meter", "digits14", "--json")
        lines = [one["line"].get("baudrate") for one in bridge.said if "line" in one]
    found = json.loads(done.out)
    assert (done.status, found["best"]) == (0, "lcd14"), found
    assert 2400 in lines
    assert {row["settings"] for row in found["tried"]} <= {"2400 8N1", "19200 7O1"}
    assert "listening at 2400 8N1: lcd14 ..." in done.err or "listening at 19200 7O1: digits14 ..." in done.err


@pytest.mark.usefixtures("hastened")
def test_a_bridge_that_dies_is_waited_for_and_the_sweep_goes_on(tmp_path: Path, journals: list[Path]) -> None:
    """Three fuses, the bridge killed after the first: lost is said with the reason; back again, the rest is ticked."""
    out = tmp_path / "out.jsonl"
    plan = plan_file(tmp_path, sweep('"F1..F3"', "count_check = false"))
    with Meter(tmp_path) as meter, Bridge(meter.path) as bridge:
        hands = Hands(meter, {"F1": GOOD, "F2": GOOD, "F3": GOOD})
        args = ["run", str(plan), "--port", bridge.url, "--meter", "lcd14", "--unit", "B", "--rate", "10"]
        with program(*args, "--out", str(out), see=hands.see) as metercap:
            hands.program = metercap
            metercap.until(lambda records: "F1" in verdicts(records), "tick of F1")
            bridge.kill()
            lost = metercap.until(lambda records: [r for r in of_kind(records, "link") if r["state"] == "lost"], "lost")
            time.sleep(1.0)
            bridge.again()
            metercap.until(lambda records: of_kind(records, "end"), "end")
            ended = metercap.wait()
    assert ended.status == 0, ended.err
    assert verdicts(metercap.records) == {"F1": "pass", "F2": "pass", "F3": "pass"}
    assert lost[0]["why"] == "the other side closed the connection"
    states = [r["state"] for r in of_kind(metercap.records, "link")]
    assert states[0] == "up"
    assert states[-1] == "up"
    whys = [r["why"] for r in of_kind(metercap.records, "link")]
    assert any("nothing listens there" in why for why in whys), whys
    journals.append(out)


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("rfc2217://127.0.0.1", b"needs a host and a port number"),
        ("rfc2217://127.0.0.1:1?no_such=1", b"no such option"),
    ],
)
def test_addresses_that_cannot_be(url: str, said: bytes) -> None:
    """They are refused in words, with an example, before anything is opened."""
    done = run("watch", "--port", url, "--meter", "lcd14", "--no-save")
    assert done.status == 3
    assert said.decode() in done.err
    assert "try: " in done.err


def test_nobody_there() -> None:
    """A bridge that is off: what is wrong and what to look at, status 3."""
    done = run("watch", "--port", "rfc2217://127.0.0.1:9", "--meter", "lcd14", "--no-save")
    assert (done.status, "nothing listens there" in done.err, "try: " in done.err) == (3, True, True), done.err
