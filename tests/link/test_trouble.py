"""What is said when a port cannot be opened."""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from metercap.errors import LinkError
from metercap.link import address as address_module
from metercap.link import trouble
from metercap.link.address import open_link
from metercap.link.ports import Port, list_ports, stable_name
from metercap.link.trouble import Holder, holders, locked_by, near
from metercap.profiles import find_meter


def refused(address: str, profile: Any) -> LinkError:
    with pytest.raises(LinkError) as caught:
        open_link(address, profile).stop()
    assert caught.value.exit_status == 3
    assert "Error" not in caught.value.what
    return caught.value


def test_a_missing_port_suggests_near_names(profiles: Any, tmp_path: Path) -> None:
    """A typing slip in a port's name is answered with the name that is there."""
    (tmp_path / "usb-meter-42").touch()
    error = refused(str(tmp_path / "usb-meter-24"), profiles["lcd14"])
    assert error.what == "there is no such port"
    assert error.hint == str(tmp_path / "usb-meter-42")


def test_a_missing_port_with_nothing_near_names_what_is_there(monkeypatch: pytest.MonkeyPatch, profiles: Any) -> None:
    """With no name like it the ports of this computer are listed, or the cable is asked for."""
    monkeypatch.setattr("metercap.link.ports.port_names", lambda: ["/dev/ttyACM3"])
    assert refused("/dev/nothing-like-it", profiles["lcd14"]).hint == "one of /dev/ttyACM3"
    monkeypatch.setattr("metercap.link.ports.port_names", list)
    assert "metercap ports" in refused("/dev/nothing-like-it", profiles["lcd14"]).hint


def test_names_are_near_by_their_last_part() -> None:
    """`ttyUSB0` typed without its directory finds the port."""
    assert near("ttyUSB0", ["/dev/ttyUSB0", "/dev/ttyS0"])[0] == "/dev/ttyUSB0"
    assert near("/dev/ttyUSB7", ["/dev/ttyUSB0", "/dev/console"]) == ["/dev/ttyUSB0"]
    assert near("zzz", ["/dev/ttyUSB0"]) == []


HOLD = """
import fcntl, os, sys
fd = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)
fcntl.flock(fd, fcntl.LOCK_EX)
print("held", flush=True)
sys.stdin.read()
"""


@contextlib.contextmanager
def holding(path: str) -> Iterator[Any]:
    """Another program that has the port open and locked."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as program:
        assert program.stdout.readline() == "held\n"
        yield program
        program.stdin.close()


def test_a_busy_port_names_the_program(pty: Any, profiles: Any) -> None:
    """A port another program has locked is in use by that program, with its process number."""
    with holding(pty.path) as program:
        error = refused(pty.path, profiles["lcd14"])
    assert f"(process {program.pid})" in error.what
    assert "python" in error.what
    assert "close that program" in error.hint


def test_two_of_our_own_links_do_not_share_a_port(pty: Any, profiles: Any) -> None:
    """Two readers would take each other's bytes: the second is refused."""
    first = open_link(pty.path, profiles["lcd14"])
    assert "in use by another program" in refused(pty.path, profiles["lcd14"]).what
    first.stop()
    open_link(pty.path, profiles["lcd14"]).stop()


def test_a_lock_file_of_a_running_program_counts(pty: Any, tmp_path: Path) -> None:
    """The lock file's process is named while it runs; one left behind by a crash is passed over."""
    lock = tmp_path / f"LCK..{Path(pty.path).name}"
    with holding(pty.path) as program:
        lock.write_text(f"{program.pid:>10}\n")
        found = locked_by(pty.path, tmp_path)
        assert found == Holder(pid=program.pid, program=found.program)
        assert found.program.startswith("python")
    assert locked_by(pty.path, tmp_path) is None
    lock.write_text("no number\n")
    assert locked_by(pty.path, tmp_path) is None
    lock.write_text(f"{os.getpid()}\n")
    assert locked_by(pty.path, tmp_path) is None


def test_holders_are_found_through_a_link(pty: Any, tmp_path: Path) -> None:
    """A port opened under another of its names is still the same port; this process does not count."""
    name = tmp_path / "meter"
    name.symlink_to(pty.path)
    assert holders(str(name)) == []
    with holding(pty.path) as program:
        assert [holder.pid for holder in holders(str(name))] == [program.pid]
    assert holders(str(name), proc=tmp_path / "none") == []


@contextlib.contextmanager
def as_nobody() -> Iterator[Any]:
    """Root may open anything: become somebody who may not."""
    if os.geteuid() != 0:
        yield
        return
    groups = os.getgroups()
    os.setgroups([])
    os.setegid(65534)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
        os.setegid(0)
        os.setgroups(groups)


def test_no_permission_names_the_group_and_the_command(pty: Any, profiles: Any) -> None:
    """A port of a group one is not in is answered with the command that joins it."""
    import grp

    group = grp.getgrgid(Path(pty.path).stat().st_gid).gr_name
    Path(pty.path).chmod(0o060 if os.geteuid() == 0 else 0)
    with as_nobody():
        error = refused(pty.path, profiles["lcd14"])
    assert "you may not open this port" in error.what
    if os.geteuid() == 0:
        assert f"it belongs to group {group}" in error.what
        assert f"sudo usermod -aG {group} nobody" in error.hint


def test_no_permission_for_the_group_either(pty: Any, profiles: Any) -> None:
    """Joining a group that may not open the port would not help: another command is named."""
    Path(pty.path).chmod(0)
    with as_nobody():
        error = refused(pty.path, profiles["lcd14"])
    assert error.hint == f"sudo chmod g+rw {pty.path}"


def test_a_port_whose_device_is_gone(new_pty: Any, profiles: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """A name with nothing behind it asks for replugging."""
    port = new_pty()

    def gone(*_: Any, **__: Any) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("metercap.link.serialport.serial.serial_for_url", gone)
    error = refused(port.path, profiles["lcd14"])
    assert "nothing answers behind it" in error.what


@pytest.mark.parametrize("name", ["file", "."])
def test_what_is_no_port(name: str, profiles: Any, tmp_path: Path) -> None:
    """A file or a directory is not a serial port."""
    (tmp_path / "file").write_text("x")
    assert "not a serial port" in refused(str(tmp_path / name), profiles["lcd14"]).what


def test_nothing_listens(profiles: Any) -> None:
    """A refused connection says so, and what to check."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        url = f"socket://127.0.0.1:{listener.getsockname()[1]}"
    error = refused(url, profiles["lcd14"])
    assert (error.what, error.where) == ("nothing listens there", url)


@pytest.mark.parametrize("address", ["socket://", "socket://:x", "socket://127.0.0.1", "socket://h:99999999"])
def test_malformed_addresses(address: str, profiles: Any) -> None:
    """An address that is incomplete is refused with the address and something to try."""
    error = refused(address, profiles["lcd14"])
    assert error.where == address
    assert error.hint


def test_a_host_that_does_not_exist(monkeypatch: pytest.MonkeyPatch, profiles: Any) -> None:
    """A host name that resolves to nothing is told apart from a host that does not answer."""

    def unknown(*_: Any, **__: Any) -> None:
        raise socket.gaierror(-2, "Name or service not known")

    monkeypatch.setattr(socket, "create_connection", unknown)
    assert refused("socket://meter.invalid:1", profiles["lcd14"]).what == "there is no such host"

    def slow(*_: Any, **__: Any) -> None:
        raise TimeoutError("timed out")

    monkeypatch.setattr(socket, "create_connection", slow)
    assert refused("socket://meter.invalid:1", profiles["lcd14"]).what == "no answer"


def test_kinds_of_address_that_are_not_there(profiles: Any) -> None:
    """An unknown kind names the known ones."""
    gopher = refused("gopher://x", profiles["lcd14"])
    assert "no kind of address called gopher://" in gopher.what
    assert "hid://VID:PID" in gopher.hint
    assert refused("hwgrep://no-such-adapter-anywhere", profiles["lcd14"]).what == "there is no such port"


@pytest.mark.parametrize("address", ["", "a\0b"])
def test_no_name_at_all(address: str, profiles: Any) -> None:
    """An empty name, or one with a NUL, never reaches the system."""
    assert "needs a name" in refused(address, profiles["lcd14"]).what


def test_random_addresses_give_nothing_but_link_errors(profiles: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """No text as an address gives anything but a LinkError."""
    import random

    seeded = random.Random(14)
    alphabet = "/:.?&=%[]{}\\ abz019~#@é\n\t*+()^$"
    heads = ["", "/dev/", "tape:", "socket://", "hwgrep://", "spy://", "alt://", "loop://?", "hid://", "rfc2217://"]
    monkeypatch.setattr(socket, "create_connection", lambda *_, **__: (_ for _ in ()).throw(OSError(111, "refused")))
    for n in range(400):
        head = heads[n % len(heads)]
        text = head + "".join(seeded.choice(alphabet) for _ in range(seeded.randrange(12)))
        try:
            address_module.open_link(text, profiles["lcd14"]).stop()
        except LinkError as error:
            assert str(error)


def test_ports_carry_their_stable_names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, pty: Any) -> None:
    """A port is listed with the name that follows its adapter, which is the one to give."""
    from serial.tools import list_ports_common

    (tmp_path / "usb-adapter-1").symlink_to(pty.path)
    usb = list_ports_common.ListPortInfo(pty.path)
    usb.vid, usb.pid, usb.serial_number, usb.description = 1, 2, "007", "adapter"
    plain = list_ports_common.ListPortInfo("/dev/ttyS10")
    other = list_ports_common.ListPortInfo("/dev/ttyS2")
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [plain, other, usb])
    found = list_ports(by_id=tmp_path)
    assert [port.name for port in found] == [pty.path, "/dev/ttyS2", "/dev/ttyS10"]
    assert found[0] == Port(
        name=pty.path,
        stable=str(tmp_path / "usb-adapter-1"),
        description="adapter",
        serial_number="007",
        vid=1,
        pid=2,
    )
    assert found[0].best == str(tmp_path / "usb-adapter-1")
    assert (found[1].best, found[1].description) == ("/dev/ttyS2", "")
    assert stable_name(str(tmp_path / "usb-adapter-1"), tmp_path) == str(tmp_path / "usb-adapter-1")
    assert stable_name("/dev/ttyS2", tmp_path / "none") == ""


def test_a_reason_is_found_through_what_was_raised_from_it() -> None:
    """pyserial drops the number of some errors; it is found in what they were raised from, and loops do not hang."""
    import termios

    import serial

    try:
        try:
            raise termios.error(5, "Input/output error")
        except termios.error as inner:
            raise serial.SerialException(f"Could not configure port: {inner}")  # noqa: B904
    except serial.SerialException as error:
        assert trouble.error_number(error) == 5
    one, two = ValueError("a"), ValueError("b")
    one.__context__, two.__context__ = two, one
    assert trouble.error_number(one) is None
    assert trouble.error_number(None) is None


@pytest.mark.parametrize("family", ["lcd14", "scpi"])
@pytest.mark.parametrize(
    "address",
    [
        "socket://x",
        "socket://",
        "socket://x:",
        "socket://:5025",
        "socket://x:nine",
        "socket://x:0",
        "socket://x:99999",
        "socket://[::1",
        "rfc2217://x",
        "visa:socket://x",
    ],
)
def test_an_address_without_host_or_port_says_what_it_needs(address: str, family: str) -> None:
    """No word of types or handlers: what is missing, and how it is written."""
    with pytest.raises(LinkError) as caught:
        open_link(address, find_meter(family))
    assert "needs a host and a port number" in caught.value.what
    assert "://HOST:PORT" in caught.value.hint
    assert caught.value.exit_status == 3


def test_a_search_without_a_text_finds_nothing() -> None:
    """hwgrep:// alone would take the first port there is."""
    with pytest.raises(LinkError, match="a text to look for"):
        open_link("hwgrep://", find_meter("lcd14"))
