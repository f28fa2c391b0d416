"""`metercap ports`: what is listed, and what is said about a port that cannot be opened."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap import link
from metercap.commands import ports
from metercap.link import Port, hidport

USB = Port("/dev/ttyUSB9", "/dev/serial/by-id/usb-adapter", "USB serial \x1b[2J", "A1", 0xFFFF, 0x0A00)


@pytest.fixture(autouse=True)
def no_cables(monkeypatch: pytest.MonkeyPatch) -> None:
    """No HID devices but those a test plugs in, whatever this computer has."""
    monkeypatch.setattr(hidport, "listed", list)


@pytest.fixture
def two(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two ports, one of them USB."""
    monkeypatch.setattr(link, "list_ports", lambda: [USB, Port("/dev/ttyS9", "", "", "")])
    monkeypatch.setattr(ports, "_trouble", lambda name, owner_pid=0: ("", ""))


def test_stable_names_come_first(metercap: Callable[..., Any], two: None) -> None:
    """The by-id name is the one to give to --port; device, description and USB ids follow, escaped."""
    said = metercap("ports")
    lines = said.out.splitlines()
    assert lines[0] == "/dev/serial/by-id/usb-adapter"
    assert "/dev/ttyUSB9" in lines[1]
    assert "USB ffff:0a00" in lines[1]
    assert "\x1b" not in said.out
    assert lines[2] == "/dev/ttyS9"


def test_json_is_an_array(metercap: Callable[..., Any], two: None) -> None:
    """One object a port, the name for --port in `port`."""
    rows = json.loads(metercap("ports", "--json").out)
    assert [row["port"] for row in rows] == ["/dev/serial/by-id/usb-adapter", "/dev/ttyS9"]
    assert rows[0]["serial_number"] == "A1"


def test_hid_cables_are_listed_by_their_address(
    metercap: Callable[..., Any], two: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After the serial ports, by what --port takes."""
    monkeypatch.setattr(hidport, "listed", lambda: [("hid://ffff:0a01", "cable \x1b[2J", "", 0xFFFF, 0x0A01)])
    rows = metercap("ports").out.splitlines()
    assert rows[-2] == "hid://ffff:0a01"
    assert "USB ffff:0a01" in rows[-1]
    assert "\x1b" not in rows[-1]


def test_none_says_what_to_try(metercap: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """No port: status 0, and what to do."""
    monkeypatch.setattr(link, "list_ports", list)
    said = metercap("ports")
    assert said.status == 0
    assert "try:" in said.out
    assert json.loads(metercap("ports", "--json").out) == []


@pytest.mark.skipif(sys.platform != "linux", reason="needs /proc")
def test_a_port_in_use_names_the_program(tmp_path: Path) -> None:
    """A child has the terminal open: the row says who, and how to go on."""
    import subprocess

    master, slave = os.openpty()
    name = os.ttyname(slave)
    holder = subprocess.Popen(
        [sys.executable, "-c", f"f = open({name!r}); print(flush=True); input()"], stdin=-1, stdout=-1
    )
    try:
        assert holder.stdout is not None
        holder.stdout.readline()
        trouble, mend = ports._trouble(name)
    finally:
        holder.kill()
        holder.communicate()
        os.close(master)
        os.close(slave)
    assert f"process {holder.pid}" in trouble
    assert "close that program" in mend
