"""`metercap identify`: each family is named from what it sends; silence and noise are told apart."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.finding.listen import Heard
from metercap.finding.suspects import Finding, groups, last_words, settings_text
from metercap.profiles import find_meter, meter_names
from tests.e2e.outside_meter import Meter, Shown, SocketMeter
from tests.e2e.program import METERCAP, ROOT, environment, no_defect, run

posix = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
BYTES = ROOT / "fixtures" / "bytes"


@posix
@pytest.mark.usefixtures("hastened")
@pytest.mark.parametrize("family", ["lcd14", "digits14", "text", "polled-line"])
def test_each_family_is_named(tmp_path: Path, family: str) -> None:
    """From a meter that is not the package's own, at 20 conversions/s: the family's profile, and sure."""
    with Meter(tmp_path, family, rate=20.0) as meter:
        meter.tips = Shown("2.187", "k")
        some = ["--meter", "text", "--meter", family] if family == "polled-line" else []
        ended = run("identify", "--port", str(meter.path), "--seconds", "0.8", "--json", *some)
    found = json.loads(ended.out)
    assert (ended.status, found["best"], found["how"]) == (0, family, "sure"), found
    assert "listening at" in ended.err
    best = next(row for row in found["tried"] if row["profile"] == family)
    assert best["quantities"] == ["resistance"]
    assert best["readings"] >= 5


@posix
def test_silence_says_what_to_check(tmp_path: Path) -> None:
    """A port that gives nothing: status 1 and the send mode, the optical head, DTR and RTS."""
    with Meter(tmp_path, rate=0.01) as meter:
        ended = run("identify", "--port", str(meter.path), "--seconds", "0.2", "--meter", "lcd14", "--meter", "text")
    assert ended.status == 1
    assert b"port is open, meter is silent" in ended.out
    assert b"DTR" in ended.out


@posix
def test_noise_shows_its_bytes(tmp_path: Path) -> None:
    """Bytes that fit nothing: status 1, the text of the design and a hex sample."""
    with Meter(tmp_path, rate=50.0) as meter:
        meter._draw = lambda shown: b"\x1b[2J\x00\xff"
        ended = run("identify", "--port", str(meter.path), "--seconds", "0.3", "--meter", "lcd14", "--meter", "text")
    assert ended.status == 1
    assert b"bytes arrive but fit no frame" in ended.out
    assert b"1b 5b 32 4a 00 ff" in ended.out
    assert b"\x1b" not in ended.out


@posix
def test_ctrl_c_says_what_was_found_so_far(tmp_path: Path) -> None:
    """SIGINT while listening: status 130, the settings tried are told, no traceback."""
    with Meter(tmp_path, rate=0.01) as meter:
        listener = subprocess.Popen(
            [*METERCAP, "identify", "--port", str(meter.path), "--seconds", "30"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=environment(),
        )
        assert listener.stderr is not None
        assert listener.stderr.read(9) == b"listening"
        listener.send_signal(signal.SIGINT)
        out, err = listener.communicate(timeout=30)
    assert listener.returncode == 130
    no_defect(err.decode())
    assert out == b"no profile could be tried on this port\n"


def test_lines_of_no_profile_lead_to_teach(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Text that no profile reads: teach is named."""
    tape = tmp_path / "tape"
    lines = "".join(f"{0.01 * n:.2f} {b'R1 reads 17 things'.hex()} 0d 0a\n" for n in range(1, 20))
    tape.write_text(f"metercap tape 1\n{lines}", encoding="utf-8")
    said = metercap("identify", "--port", f"tape:{tape}")
    assert said.status == 1
    assert "metercap teach" in said.out


@pytest.mark.parametrize(
    ("recorded", "profile"),
    [("lcd14-two-fuses", "lcd14"), ("digits14-round", "digits14"), ("polled-line-round", "polled-line")],
)
def test_recorded_streams_are_named(metercap: Callable[..., Any], tmp_path: Path, recorded: str, profile: str) -> None:
    """The fixtures' streams as tapes: all profiles are tried at once, and the right one is best."""
    tape = tmp_path / "tape"
    data = (BYTES / f"{recorded}.bin").read_bytes()
    tape.write_text(f"metercap tape 1\n0.01 {data.hex()}\n", encoding="utf-8")
    said = metercap("identify", "--port", f"tape:{tape}", "--json")
    found = json.loads(said.out)
    assert (found["best"], said.status) == (profile, 0), found


def test_two_that_fit_alike_are_both_named(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """A copy of a profile reads the same bytes: no claim that it is the one and not the other."""
    copy = tmp_path / "mine.toml"
    text = (ROOT / "profiles" / "meters" / "text.toml").read_text(encoding="utf-8")
    copy.write_text(text.replace('name = "text"', 'name = "mine"'), encoding="utf-8")
    tape = tmp_path / "tape"
    lines = "".join(f"{0.01 * n:.2f} {b'2.187 kohm'.hex()} 0d 0a\n" for n in range(1, 9))
    tape.write_text(f"metercap tape 1\n{lines}", encoding="utf-8")
    said = metercap("identify", "--port", f"tape:{tape}", "--meter", "text", "--meter", str(copy))
    assert said.status == 0
    assert "text or mine" in said.out


def test_a_scpi_meter_gives_its_identity() -> None:
    """Over a loopback socket, by its VISA name: the answer to *IDN? is enough."""
    pytest.importorskip("pyvisa")
    with SocketMeter(lambda query: 1.0) as meter:
        ended = run("identify", "--port", f"visa:TCPIP0::127.0.0.1::{meter.port}::SOCKET")
    assert ended.status == 0, ended.err
    assert b"SIMULATED,BENCH METER" in ended.out
    assert b"scpi: sure" in ended.out


def test_meters_that_stream_are_heard_before_any_is_asked() -> None:
    """Nothing is sent to a meter that speaks by itself; profiles of the same settings are heard together."""
    profiles = [find_meter(name) for name in meter_names()]
    order = groups(profiles, "/dev/ttyUSB0")
    asked = [profile.name for group in order for profile in group if profile.poll or profile.family == "scpi"]
    assert [profile.name for group in order for profile in group][-len(asked) :] == asked == ["polled-line", "scpi"]
    assert [profile.name for profile in next(g for g in order if g[0].serial.bits == 7)] == [
        "digits11", "digits11-6000", "digits14", "digits14-60000",
    ]  # fmt: skip
    assert [[p.name for p in group] for group in groups(profiles, "visa:GPIB0::7::INSTR")] == [["scpi"]]


def test_settings_are_shown_as_people_write_them() -> None:
    """2400 8N1, 19200 7O1, and what is sent."""
    assert settings_text(find_meter("lcd14")) == "2400 8N1"
    assert settings_text(find_meter("digits14")) == "19200 7O1"
    assert settings_text(find_meter("polled-line")) == "600 7N2, asking 'D'"


def test_a_few_readings_are_likely_not_sure() -> None:
    """Two lines that fit, among as much noise: likely, and how to be surer."""
    found = Finding("p").with_group([find_meter("text")], Heard(b"2.187 kohm\r\n2.2 kohm\r\nxxxx xxxx\r\n", 4.0))
    assert found.best is not None
    assert found.best.how == "likely"
    assert any("--seconds" in line for line in last_words(found))


def test_without_a_port_everything_here_is_tried(
    metercap: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Serial ports, then what VISA lists; other machines only with --network; a port that fails stops no other."""
    from metercap.link import Port

    recorded = (BYTES / "lcd14-two-fuses.bin").read_bytes()
    (tmp_path / "tape").write_text(f"metercap tape 1\n0.01 {recorded.hex()}\n", encoding="utf-8")
    tape = f"tape:{tmp_path / 'tape'}"
    asked: list[bool] = []

    def listed(*, network: bool = False, library: str = "") -> tuple[list[str], str]:
        asked.append(network)
        return [tape], ""

    monkeypatch.setattr("metercap.link.list_ports", lambda: [Port("/dev/nothing-here", "", "", "")])
    monkeypatch.setattr("metercap.link.visalist.list_visa", listed)
    said = metercap("identify", "--json", "--seconds", "0.5")
    assert said.status == 0
    assert [one["port"] for one in json.loads(said.out)] == [tape]
    assert "/dev/nothing-here" in said.err
    assert "other machines only with --network" in said.err
    metercap("identify", "--network", "--seconds", "0.5")
    assert asked == [False, True]
    assert metercap("identify", "--network", "--port", tape).status == 2
