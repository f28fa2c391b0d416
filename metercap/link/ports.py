"""Which serial ports this computer has, and the name of each that survives replugging."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

import msgspec

from metercap import settings

BY_ID = Path("/dev/serial/by-id")
"""Linux keeps a link here for each USB port, named for the adapter itself, not for the order of plugging in."""


class Port(msgspec.Struct, frozen=True):
    """A serial port, or a practice meter's.

    `stable` is the name that follows the adapter wherever it is plugged in, when there is one.
    """

    name: str
    stable: str
    description: str
    serial_number: str
    vid: int | None = None
    pid: int | None = None
    owner_pid: int = 0
    """The process that makes a practice meter's port; 0 for a real one."""

    @property
    def best(self) -> str:
        """The name to give to `--port`."""
        return self.stable or self.name


def list_ports(by_id: Path = BY_ID) -> list[Port]:
    """Return this computer's serial ports, USB ones first, each group in natural order; empty when there are none."""
    from natsort import natsorted
    from serial.tools.list_ports import comports

    found = [
        Port(
            name=info.device,
            stable=stable_name(info.device, by_id),
            description="" if info.description in (None, "n/a") else info.description,
            serial_number=info.serial_number or "",
            vid=info.vid,
            pid=info.pid,
        )
        for info in comports()
    ]
    return [*natsorted(found, key=lambda port: (port.vid is None, port.name)), *practice_ports()]


def practice_ports() -> list[Port]:
    """Return the ports of practice meters that run on this computer now; notes of ended ones are cleared away."""
    found = []
    for note in sorted(_practice_folder().glob("*.json")):
        try:
            port = msgspec.json.decode(note.read_bytes(), type=Port)
            alive = port.owner_pid > 0 and os.path.exists(port.name) and _runs(port.owner_pid)  # noqa: PTH110
        except (OSError, msgspec.MsgspecError, UnicodeDecodeError):
            alive = False
        if alive:
            found.append(port)
        else:
            with contextlib.suppress(OSError):
                note.unlink()
    return found


@contextlib.contextmanager
def announced(path: str, title: str) -> Iterator[None]:
    """Let other programs of this user find a practice meter's port while the block lasts."""
    folder = _practice_folder()
    note = folder / f"{os.getpid()}.json"
    port = Port(path, "", f"practice meter: {title}", "", owner_pid=os.getpid())
    with contextlib.suppress(OSError):  # a home that cannot be written to: it must be named then
        folder.mkdir(parents=True, exist_ok=True)
        note.write_bytes(msgspec.json.encode(port))
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            note.unlink()


def _practice_folder() -> Path:
    return settings.folder() / "practice"


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except PermissionError:
        return True
    except OSError:
        return False
    return True


def port_names() -> list[str]:
    """Return every name under which a port can be opened, stable ones first."""
    found = list_ports()
    return [port.stable for port in found if port.stable] + [port.name for port in found]


def stable_name(address: str, by_id: Path = BY_ID) -> str:
    """Return the by-id name of the device that `address` leads to now; empty when it has none.

    A name the user gave that already lies in `by_id` is returned as it is.
    """
    try:
        if Path(address).parent == by_id:
            return address
        device = os.path.realpath(address)
        for link in sorted(by_id.iterdir()):
            if os.path.realpath(link) == device:
                return str(link)
    except OSError:  # no such directory: not Linux, or no USB port plugged in
        pass
    return ""
