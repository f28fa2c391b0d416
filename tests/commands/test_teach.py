"""`metercap teach` as it is called: files, ports, questions in a terminal, refusals."""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.profiles import find_meter
from tests.e2e.outside_meter import Meter, Shown
from tests.e2e.program import METERCAP, command, environment, pause, run


def test_a_taught_profile_is_found_and_used(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """The file that is written loads as a meter with the port's settings that were given."""
    out = tmp_path / "ohmmeter.toml"
    said = metercap(
        *("teach", "--out", str(out), "--line", "R=2187.3", "--line", "R=OL", "--quantity", "resistance"),
        *("--baud", "115200", "--bits", "7", "--parity", "even", "--stop", "2", "--no-dtr", "--rts", "--poll", "?"),
        *("--rate", "5"),
    )
    assert said.status == 0
    assert "R=2187.3  ->  2.1873 kΩ  resistance" in said.out
    profile = find_meter(str(out))
    port = profile.serial
    assert (profile.name, profile.family, profile.conversions_per_s) == ("ohmmeter", "text", 5.0)
    assert (port.baud, port.bits, port.parity, port.stop, port.dtr, port.rts) == (115200, 7, "even", 2, False, True)
    assert profile.poll is not None
    assert (profile.poll.send, profile.poll.per_s) == ("?", 5.0)


def test_the_file_says_what_it_was_made_from(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Samples stand in the file as remarks, and every table has one."""
    out = tmp_path / "m.toml"
    metercap("teach", "--out", str(out), "--name", "my meter", "--line", 'say "2.2 ohm"')
    text = out.read_text(encoding="utf-8")
    assert '#   say "2.2 ohm"   ->   2.2 Ω resistance' in text
    assert 'name = "my meter"' in text
    assert text.count("\n# ") >= 7


def test_nothing_is_overwritten(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Status 2 before any question, and the file is as it was; a link that leads nowhere is no free name either."""
    out = tmp_path / "m.toml"
    out.write_text("mine")
    said = metercap("teach", "--out", str(out), "--line", "2.2 ohm")
    assert (said.status, out.read_text()) == (2, "mine")
    assert "already exists" in said.err
    link = tmp_path / "link.toml"
    link.symlink_to(tmp_path / "nothing")
    assert metercap("teach", "--out", str(link), "--line", "2.2 ohm").status == 2
    assert not (tmp_path / "nothing").exists()


def test_a_question_without_a_terminal_names_the_option(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Status 2, the line, the option; nothing is written."""
    said = metercap("teach", "--out", str(tmp_path / "m.toml"), "--line", "R=2187.3")
    assert said.status == 2
    assert "R=2187.3" in said.err
    assert "--quantity" in said.err
    assert not list(tmp_path.iterdir())


def test_lines_from_a_pipe(tmp_path: Path) -> None:
    """`teach < lines.txt`; --ignore leaves lines out; --json prints profile and readings."""
    out = tmp_path / "m.toml"
    ended = run("teach", "--out", str(out), "--ignore", "ready", "--json", stdin=b"meter ready\n2.187 kohm\nOL\n")
    assert ended.status == 0, ended.err
    printed = json.loads(ended.out)
    assert printed["written"] == str(out)
    assert [line for line, _ in printed["lines"]] == ["2.187 kohm", "OL"]
    assert run("teach", "--out", str(tmp_path / "n.toml"), stdin=b"\xff\xfe\n").status == 2
    assert run("teach", "--out", str(tmp_path / "n.toml"), stdin=b"").status == 2


def test_an_unwritable_folder_is_told(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """A folder that does not exist: status 2 and where."""
    said = metercap("teach", "--out", str(tmp_path / "no" / "m.toml"), "--line", "2.2 ohm")
    assert said.status == 2
    assert str(tmp_path / "no") in said.err


@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
def test_from_a_port_to_a_session(tmp_path: Path) -> None:
    """Listens to a meter, one line a shape, and what is written reads that meter."""
    out = tmp_path / "m.toml"
    with Meter(tmp_path, "text", rate=20.0) as meter:
        meter.tips = Shown("2.187", "k")
        ended = run("teach", "--out", str(out), "--port", str(meter.path), "--seconds", "0.7", "--json")
        assert ended.status == 0, ended.err
        assert [line for line, _ in json.loads(ended.out)["lines"]] == ["2.187 kohm"]
        watched = run("watch", "--port", str(meter.path), "--meter", str(out), "--no-save", "--count", "3", "--json")
    readings = [json.loads(line) for line in watched.out.splitlines()]
    assert [r["value"] for r in readings if r["kind"] == "reading"] == [2187.0] * 3


@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
def test_a_silent_port_and_one_that_sends_no_text(tmp_path: Path) -> None:
    """Silence and binary frames are told apart, with what to try; nothing is written."""
    with Meter(tmp_path, "polled-line") as silent:
        ended = run("teach", "--out", str(tmp_path / "m.toml"), "--port", str(silent.path), "--seconds", "0.5")
    assert ended.status == 2
    assert "meter is silent" in ended.err
    with Meter(tmp_path, "lcd14") as binary:
        ended = run("teach", "--out", str(tmp_path / "m.toml"), "--port", str(binary.path), "--seconds", "0.5")
    assert ended.status == 2
    assert "no text" in ended.err
    assert not (tmp_path / "m.toml").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
def test_a_terminal_is_asked(tmp_path: Path) -> None:
    """Which number, of what, what a word means: answered in a terminal, then shown and confirmed."""
    out = tmp_path / "m.toml"
    master, slave = os.openpty()
    process = subprocess.Popen(
        [*METERCAP, "teach", "--out", str(out)], stdin=slave, stdout=slave, stderr=slave, env=environment(TERM="xterm")
    )
    screen = b""

    def until(text: bytes) -> None:
        nonlocal screen
        end_s = time.monotonic() + 30
        while text not in screen:
            assert time.monotonic() < end_s, screen
            if select.select([master], [], [], 0.1)[0]:
                screen += os.read(master, 4096)

    def answer(asked: bytes, text: bytes) -> None:
        until(asked)
        os.write(master, text + b"\n")

    try:
        answer(b"an empty line ends", b"17;2187.3\nOPENED\nready\n")
        answer(b"which is the value", b"2")
        answer(b"what is it", b"")
        answer(b"what does it mean", b"over")
        screen = screen.replace(b"what does it mean", b"")
        answer(b"what does it mean", b"neither")
        answer(b"Is that right?", b"y")
        until(b"written")
        assert process.wait(30) == 0
    finally:
        process.kill()
        process.wait()
        os.close(slave)
        os.close(master)
    profile = find_meter(str(out))
    assert profile.tables["quantities"][""] == "resistance"
    text = out.read_text(encoding="utf-8")
    assert "#   17;2187.3   ->   2.1873 kΩ resistance" in text
    assert "#   OPENED   ->   OL resistance" in text
    assert "ready" not in text


OHM_LINE = "OHM,2.187,kOhm"


def test_a_unit_before_the_number_is_not_taken_for_its_unit(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """A line with two units is refused in a pipe: 2.187 kohm must never become 2.187 ohm. Nothing is written."""
    said = metercap("teach", "--out", str(tmp_path / "m.toml"), "--line", OHM_LINE)
    assert said.status == 2
    assert "--pair" in said.err
    assert not list(tmp_path.iterdir())


def test_pairs_of_line_and_display(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """What was sent and what was shown settle it; what no display showed is named, also as JSON."""
    out = tmp_path / "m.toml"
    pairs = [
        *("--pair", OHM_LINE, "2.187 kohm"),
        *("--pair", "OHM,91.3,Ohm", "91.3 ohm"),
        *("--pair", "VOLT,-1.512,V,DC", "-1.512 V dc"),
        *("--pair", "OHM,OL,MOhm", "OL Mohm"),
    ]
    said = metercap("teach", "--out", str(out), "--json", *pairs)
    assert said.status == 0, said.err
    printed = json.loads(said.out)
    assert "units other than ohm, V" in printed["untold"]
    profile = find_meter(str(out))
    assert [read(profile, line) for line in (OHM_LINE, "OHM,4.7,MOhm", "VOLT,0.5,V,DC")] == [2187.0, 4.7e6, 0.5]
    assert [read(profile, line) for line in ("AMP,2.187,kOhm", "VOLT,0.5,V,AC", "OHM,2.187,V,DC")] == [None] * 3
    assert "Not shown when it was taught" in out.read_text(encoding="utf-8")


def test_pairs_that_do_not_suffice_or_go_together(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Too few: what to show next. A display that is not in its line, or has no unit: refused by name."""
    out = tmp_path / "m.toml"
    said = metercap("teach", "--out", str(out), "--pair", OHM_LINE, "2.187 kohm")
    assert (said.status, "another number" in said.err) == (2, True)
    said = metercap("teach", "--out", str(out), "--pair", OHM_LINE, "2.188 kohm", "--pair", "OHM,1.5,Ohm", "1.5 ohm")
    assert (said.status, "2.188" in said.err) == (2, True)
    said = metercap("teach", "--out", str(out), "--pair", OHM_LINE, "2.187")
    assert (said.status, "unit is missing" in said.err) == (2, True)
    said = metercap("teach", "--out", str(out), "--pair", "hex:1", "2.187 ohm")
    assert (said.status, "not in hex" in said.err) == (2, True)
    said = metercap("teach", "--out", str(out), "--displays")
    assert (said.status, "--port" in said.err) == (2, True)
    assert not out.exists()


def test_a_profile_by_name_is_found_by_name(
    metercap: Callable[..., Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without --out it goes to the user's own meters; without --name it is refused."""
    monkeypatch.setattr("metercap.settings.folder", lambda: tmp_path)
    assert metercap("teach", "--line", "2.2 ohm").status == 2
    assert metercap("teach", "--name", "../x", "--line", "2.2 ohm").status == 2
    said = metercap("teach", "--name", "bench", "--line", "R=2.2 ohm")
    assert (said.status, "--meter bench" in said.out) == (0, True)
    assert (tmp_path / "profiles" / "meters" / "bench.toml").is_file()
    assert find_meter("bench").title == "a home-made meter that sends text lines"
    assert metercap("teach", "--name", "bench", "--line", "R=2.2 ohm").status == 2


def read(profile: Any, line: str) -> float | None:
    """Return the value of a line under a profile, or None."""
    from metercap.reading import Reading
    from metercap.wire import decode_frame

    found = decode_frame(profile, line.encode() + b"\r\n", 0.0)
    return found[0].value if len(found) == 1 and isinstance(found[0], Reading) else None


SCREENS = [
    Shown("2.187", "k"), Shown("41.35", "k"), Shown("970.6", ""), Shown("0.L", "M"), Shown("8.402", "", "V", "dc"),
    Shown("5.793", "", "V", "dc", minus=True), Shown("16.28", "", "V", "ac"), Shown("304.5", "m", "V", "dc"),
    Shown("1.056", "M"), Shown("6.931", "M"), Shown("9.847", "m", "V", "ac"), Shown("3.619", "k"), Shown("7.274", ""),
    Shown("4.580", "", "V", "ac", minus=False), Shown("12.36", "", "A", "dc"), Shown("3.958", "m", "A", "dc"),
    Shown("221.2", "k"), Shown("333.3", ""), Shown("555.5", "k"), Shown("888.8", "M"), Shown("667.7", "", "V", "dc"),
]  # fmt: skip


@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
@pytest.mark.usefixtures("hastened")
def test_displays_are_taught_over_a_port(tmp_path: Path) -> None:
    """The tests' own LCD meter, displays typed into a pipe: asks on, confirms a fresh one, and only then writes."""
    out = tmp_path / "m.toml"
    with Meter(tmp_path, "lcd14", rate=25.0) as meter:
        arguments = ["teach", "--out", str(out), "--port", str(meter.path), "--baud", "2400", "--seconds", "0.6"]
        process = subprocess.Popen(
            [*command(), *arguments, "--displays"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=environment(),
        )
        assert process.stdin is not None
        assert process.stderr is not None
        heard = [process.stderr.readline()]
        for screen in SCREENS:
            meter.tips = screen
            pause(0.3)  # the frame of the last display is out
            number = "OL" if "L" in screen.digits else screen.digits
            typed = f"{'-' if screen.minus else ''}{number} {screen.prefix}{screen.unit} {screen.mode}"
            process.stdin.write(typed.encode() + b"\n")
            process.stdin.flush()
            if not out.exists() and process.poll() is None:
                heard.append(process.stderr.readline())
            if process.poll() is not None or not heard[-1]:
                break
        said, err = process.communicate(timeout=30)
        assert process.returncode == 0, (heard, err)
    assert any(b"next:" in line for line in heard), heard
    assert any(b"listening afresh" in line for line in heard), heard
    assert b"not shown, and not read: " in said
    profile = find_meter(str(out))
    assert profile.family == "lcd14"
    # The map is the design's, from memory of such meters' data sheets: byte 3 bit 8 is segment d of the first digit.
    assert [profile.tables["segments"][key] for key in ("2.8", "8.4", "3.8", "12.4")] == ["minus", "e4", "d1", "ohm"]


def test_accuracy_from_the_manual(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """Rows become the table of a copy of the profile, shown worked out at half the range.

    A wrong row writes nothing.
    """
    out = tmp_path / "bench.toml"
    said = metercap("teach", "--out", str(out), "--accuracy", "lcd14", "--row", "resistance 400 ohm 1.2 % + 2")
    assert (said.status, out.exists()) == (2, False)
    given = ("--row", "resistance 400.0 ohm 1.2 % + 2", "--row", "voltage_dc all 0.5 % + 1")
    said = metercap("teach", "--out", str(out), "--accuracy", "lcd14", *given)
    assert said.status == 0
    assert "199.9 ohm is right within ±2.599 ohm" in said.out  # 0.012 · 199.9 + 0.2, by hand
    profile = find_meter(str(out))
    assert (profile.name, profile.family, profile.tables) == ("bench", "lcd14", find_meter("lcd14").tables)
    table = [(row.quantity.value, row.resolution, row.percent, row.counts) for row in profile.accuracy]
    assert table == [("resistance", 0.1, 1.2, 2.0), ("voltage_dc", None, 0.5, 1.0)]
    said = metercap("teach", "--out", str(tmp_path / "again.toml"), "--accuracy", str(out), *given)
    assert (said.status, "already" in said.err) == (2, True)


def test_accuracy_from_a_pipe(tmp_path: Path) -> None:
    """One row a line, remarks left out; as JSON."""
    out = tmp_path / "m.toml"
    ended = run(
        *("teach", "--out", str(out), "--accuracy", "lcd14", "--json"),
        stdin=b"# from the manual, page 40\nresistance 4.000 kohm 0.9 % + 2\n",
    )
    assert ended.status == 0, ended.err
    assert json.loads(ended.out)["accuracy"] == [
        {"quantity": "resistance", "percent": 0.9, "counts": 2.0, "resolution": 1.0}
    ]
