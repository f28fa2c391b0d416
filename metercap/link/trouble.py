"""Says what is wrong with a port, and what to do about it, in place of the operating system's words.

Every error of pyserial, termios and the operating system that opening or using a port can raise ends here.
"""

from __future__ import annotations

import contextlib
import difflib
import errno
import os
import socket
import sys
from collections.abc import Iterator
from pathlib import Path

import msgspec

from metercap.errors import LinkError

if sys.platform == "win32":
    PORT_ERRORS: tuple[type[Exception], ...] = (OSError, ValueError)
else:
    import grp
    import pwd
    import termios

    # `serial.SerialException` is an OSError. A setting the driver refuses is a bare termios.error, which is none, and a
    # file descriptor beyond select's reach a ValueError.
    PORT_ERRORS = (OSError, ValueError, termios.error)
"""What using an open port may raise when the port, not this program, is at fault."""

_BUSY = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK, errno.ETXTBSY}
_DENIED = {errno.EACCES, errno.EPERM}
_GONE = {errno.EIO, errno.ENXIO, errno.ENODEV}
_NO_PORT = {errno.ENOTTY, errno.EISDIR, errno.EINVAL}
_TIMED_OUT = {errno.ETIMEDOUT, errno.EHOSTUNREACH, errno.ENETUNREACH}


class SettingRefused(Exception):
    """The line cannot be set to the meter's data bits, parity or stop bits; its words name the one."""


class Holder(msgspec.Struct, frozen=True):
    """A program that has a port open."""

    pid: int
    program: str

    def __str__(self) -> str:
        return f"{self.program} (process {self.pid})"


def error_number(error: BaseException | None) -> int | None:
    """Return the operating system's number for `error`, looking through what it was raised from; None without one.

    pyserial keeps the number only sometimes, but always raises while handling the original.
    """
    seen = 0
    while error is not None and seen < 8:
        if isinstance(error, OSError) and error.errno is not None:
            return error.errno
        if isinstance(error, PORT_ERRORS) and error.args and isinstance(error.args[0], int):
            return error.args[0]
        error = error.__cause__ or error.__context__
        seen += 1
    return None


def reason(error: BaseException) -> str:
    """Return a few words on why an open link was lost."""
    number = error_number(error)
    if number in _GONE or "returned no data" in str(error) or number == errno.EBADF:
        return "the port is gone: cable pulled or meter's adapter switched off"
    if number in (errno.ECONNRESET, errno.EPIPE) or "disconnected" in str(error):
        return "the other side closed the connection"
    if str(error).startswith(("the other side", "the port is gone")):
        return str(error)
    return f"the port failed: {_words(error)}"


def explain(address: str, error: BaseException) -> LinkError:
    """Return the LinkError that tells the person at the bench what keeps `address` from being opened."""
    if isinstance(error, SettingRefused):
        hint = "set the line at the bridge, and use socket://HOST:PORT"
        return LinkError(f"the bridge does not take the meter's {error}", where=address, hint=hint)
    number = error_number(error)
    if isinstance(error, ValueError) and "protocol" in str(error) and "://" in address:
        return _unknown_kind(address)
    if number in _DENIED and sys.platform == "win32":
        number = errno.EBUSY  # Windows refuses a second opener with "access is denied"
    if number in _BUSY:
        return in_use(address, holders(address))
    if number in _DENIED:
        return _denied(address)
    if number == errno.ENOENT or "no ports found" in str(error):
        return LinkError("there is no such port", where=address, hint=_near_hint(address))
    if number in _GONE:
        return LinkError(
            "the port has a name but nothing answers behind it",
            where=address,
            hint="unplug the cable, plug it in again, then look with: metercap ports",
        )
    if number == errno.ECONNREFUSED:
        return LinkError("nothing listens there", where=address, hint="check host, port number and the bridge's power")
    if isinstance(_root(error), socket.gaierror):
        return LinkError("there is no such host", where=address, hint="check the host's name")
    if number in _TIMED_OUT or isinstance(_root(error), TimeoutError):
        return LinkError("no answer", where=address, hint="check network, address and the bridge's power")
    if number in _NO_PORT and "://" not in address:
        return LinkError("this is not a serial port", where=address, hint=_near_hint(address))
    return LinkError(f"the port cannot be opened: {_words(error)}", where=address, hint="metercap ports")


def holders(address: str, proc: Path = Path("/proc")) -> list[Holder]:
    """Return the other programs that have the port open, as far as this system and this user can see (Linux only)."""
    found: list[Holder] = []
    with contextlib.suppress(OSError):
        port = os.path.realpath(address)
        for entry in sorted(proc.iterdir()):
            if not entry.name.isdigit() or int(entry.name) == os.getpid():
                continue
            if any(target == port for target in _open_files(entry)):
                with contextlib.suppress(OSError):
                    name = (entry / "comm").read_text(errors="replace").strip()
                    found.append(Holder(pid=int(entry.name), program=name))
    return found


def locked_by(address: str, lock_dir: Path = Path("/var/lock")) -> Holder | None:
    """Return the program that has locked the port by the file that serial programs leave there, if it still runs.

    Filesystem Hierarchy Standard 3.0, section 5.9: `LCK..NAME` holds the process number in ASCII decimal.
    """
    with contextlib.suppress(OSError, ValueError):
        pid = int((lock_dir / f"LCK..{Path(os.path.realpath(address)).name}").read_text(encoding="ascii"))
        if pid > 0 and pid != os.getpid():
            os.kill(pid, 0)  # raises when there is no such process; a lock file outlives a crash
            with contextlib.suppress(OSError):
                name = Path(f"/proc/{pid}/comm").read_text(errors="replace").strip()
                return Holder(pid=pid, program=name)
            return Holder(pid=pid, program="another program")
    return None


def in_use(address: str, who: list[Holder]) -> LinkError:
    """Return the LinkError for a port that `who` (possibly nobody we can name) has open."""
    return LinkError(
        f"the port is in use by {', '.join(map(str, who)) or 'another program'}",
        where=address,
        hint="close that program, then try again",
    )


def near(address: str, names: list[str]) -> list[str]:
    """Return up to three of `names` that `address` may have meant, the likeliest first."""
    stems = {name.rsplit("/", 1)[-1]: name for name in names}
    wanted = address.rsplit("/", 1)[-1]
    return [stems[stem] for stem in difflib.get_close_matches(wanted, stems, n=3, cutoff=0.6)]


def _open_files(process: Path) -> Iterator[str]:
    with contextlib.suppress(OSError):  # another user's process, or one that has just ended
        for link in (process / "fd").iterdir():
            with contextlib.suppress(OSError):
                yield str(link.readlink())


def _near_hint(address: str) -> str:
    from metercap.link.ports import port_names

    names = port_names()
    with contextlib.suppress(OSError):
        beside = Path(address).parent
        if beside != Path("/dev"):  # /dev holds hundreds of things that are no ports
            names += [str(path) for path in sorted(beside.iterdir())]
    if close := near(address, names):
        return " or ".join(close)
    if names := port_names():
        return "one of " + ", ".join(names[:6])
    return "plug the meter's cable in, then look with: metercap ports"


def _denied(address: str) -> LinkError:
    what = "you may not open this port"
    if sys.platform == "win32":
        raise AssertionError("Windows has no such refusal")
    try:
        status = Path(address).stat()
        group = grp.getgrgid(status.st_gid)
        me = pwd.getpwuid(os.geteuid()).pw_name
    except (OSError, KeyError):
        return LinkError(what, where=address, hint="ask whoever looks after this computer for access to serial ports")
    if status.st_mode & 0o060 != 0o060:
        return LinkError(
            f"{what}: its group {group.gr_name} has no access either",
            where=address,
            hint=f"sudo chmod g+rw {address}",
        )
    if me in group.gr_mem and group.gr_gid not in os.getgroups():
        return LinkError(
            f"{what}: you joined group {group.gr_name} after this login began",
            where=address,
            hint="log out and in again",
        )
    return LinkError(
        f"{what}: it belongs to group {group.gr_name}, and {me} is not in it",
        where=address,
        hint=f"sudo usermod -aG {group.gr_name} {me}, then log out and in again",
    )


def _unknown_kind(address: str) -> LinkError:
    kind = address.split("://", 1)[0]
    return LinkError(
        f"there is no kind of address called {kind}://",
        where=address,
        hint="a port's name, socket://HOST:PORT, rfc2217://HOST:PORT, hid://VID:PID, hwgrep://TEXT, tape:FILE or "
        "visa:RESOURCE",
    )


def _root(error: BaseException) -> BaseException:
    while (before := error.__cause__ or error.__context__) is not None:
        error = before
    return error


def _words(error: BaseException) -> str:
    number = error_number(error)
    text = os.strerror(number) if number is not None and number > 0 else str(error)
    return text.strip() or type(error).__name__
