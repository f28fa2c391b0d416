"""Where a page is served: the address as it is written, the socket that listens there, and what a browser may call it.

Unless an address is named it is the loopback one (RFC 1122, 3.2.1.3; RFC 4291, 2.5.3), which no other machine reaches.
On any other a page asks for the secret in its address.
"""

from __future__ import annotations

import errno
import ipaddress
import os
import secrets
import socket

import msgspec

from metercap.errors import UsageError

HOST = "127.0.0.1"
PORT = 8493
"""The usual port, one of those that nobody has registered (IANA's list, from memory)."""
MORE_PORTS = 9
"""So many ports after the usual one are tried where it is taken and none was named."""
SECRET_BYTES = 16
"""128 bits: nobody guesses it over a network."""
SEND_BYTES = 65536
"""What the system may hold back of what a client does not read: a few moments of a session, not minutes."""
EVERYWHERE = ("0.0.0.0", "::")
"""Addresses that stand for all of this machine's."""


class Address(msgspec.Struct, frozen=True):
    """Where a page is served. `secret` is empty on the loopback address; `named`: the port was asked for."""

    host: str = HOST
    port: int = PORT
    secret: str = ""
    named: bool = False

    @property
    def url(self) -> str:
        """What to write into a browser; without the secret, so that it may stand on a screen that is filmed."""
        return f"http://{_bracketed(reachable(self.host))}:{self.port}/"

    @property
    def key_url(self) -> str:
        """The same with the secret: for the QR code, and for whoever cannot scan one."""
        return f"{self.url}?key={self.secret}" if self.secret else self.url

    def knows(self, host: str) -> bool:
        """Whether a request's Host header is one of this page's own names.

        A page of another site can make a browser resolve a name of its own to this machine; it cannot make it send
        another Host (RFC 9110, 7.2). An address as a number needs no resolving, so that any is good off the loopback.
        """
        name, port = _split(host.lower())
        if port != str(self.port) and not (port == "" and self.port == 80):
            return False
        if _is_loopback(self.host):
            return name in ("localhost", "127.0.0.1", "::1", self.host.lower())
        return name in _own_names(self.host) or _number(name) is not None


def parse(text: str) -> Address:
    """Read HOST:PORT, HOST, :PORT, PORT, [IPV6]:PORT or nothing. UsageError for what is none.

    >>> parse("192.168.1.5:8000").port
    8000
    >>> parse("").host
    '127.0.0.1'
    """
    written = text.strip()
    host, port = _split(written)
    if port and not (port.isascii() and port.isdigit() and int(port) < 65536):
        raise _unreadable(written)
    as_number = ":" in host or written.startswith("[")
    as_number = as_number or host.isdigit()  # a system takes 0 for all addresses
    if any(not char.isprintable() or char in " /?#@\\*" for char in host) or (as_number and _number(host) is None):
        raise _unreadable(written)
    host = host or HOST
    secret = "" if _is_loopback(host) else secrets.token_urlsafe(SECRET_BYTES)
    return Address(host, int(port) if port else PORT, secret, bool(port))


def listen(address: Address) -> tuple[socket.socket, Address]:
    """Open the socket that listens there, and return it with the address that it has.

    Where no port was named and the usual one is taken, the next free one is taken. UsageError says what is wrong.
    """
    ports = [address.port] if address.named else [*range(PORT, PORT + 1 + MORE_PORTS), 0]
    for port in ports:
        try:
            sock = _listening(address.host, port)
        except OSError as error:
            if error.errno == errno.EADDRINUSE and port != ports[-1]:
                continue
            raise _refused(address, port, error) from error
        return sock, msgspec.structs.replace(address, port=sock.getsockname()[1])
    raise AssertionError("the last port always ends the search")


def reachable(host: str) -> str:
    """Return a host that another machine can call: for "all addresses" the one that leads out, by the routing table.

    Nothing is sent: connecting a datagram socket only chooses a route. 192.0.2.1 is for documentation (RFC 5737).
    """
    if host not in EVERYWHERE:
        return host
    family, far = (socket.AF_INET, "192.0.2.1") if host == "0.0.0.0" else (socket.AF_INET6, "2001:db8::1")
    with socket.socket(family, socket.SOCK_DGRAM) as sock:
        try:
            sock.connect((far, 9))
            return str(sock.getsockname()[0])
        except OSError:
            return HOST if family == socket.AF_INET else "::1"


def _listening(host: str, port: int) -> socket.socket:
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    family, kind, protocol, _, where = found[0]
    sock = socket.socket(family, kind, protocol)
    try:
        if os.name == "posix":  # elsewhere it lets two programs listen at one port
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BYTES)
        sock.bind(where)
        sock.listen(64)
    except BaseException:
        sock.close()
        raise
    return sock


def _refused(address: Address, port: int, error: OSError) -> UsageError:
    where = f"{_bracketed(address.host)}:{port}"
    if error.errno == errno.EADDRINUSE:
        return UsageError("another program listens there already", where=where, hint="another port, or 0 for any free")
    if isinstance(error, socket.gaierror) or error.errno == errno.EADDRNOTAVAIL:
        return UsageError(
            "this machine has no such address",
            where=where,
            hint="0.0.0.0 for all of its addresses, or no host at all for this machine alone",
        )
    if error.errno == errno.EACCES:
        return UsageError("this port is not for everybody", where=where, hint="a port above 1023")
    return UsageError(f"cannot listen there: {error.strerror or error}", where=where, hint="another address")


def _unreadable(text: str) -> UsageError:
    return UsageError(
        "this is no address", where=text, hint="HOST:PORT as in 192.168.1.5:8000, :8000 for this machine alone"
    )


def _split(text: str) -> tuple[str, str]:
    """Return host and port of an authority (RFC 3986, 3.2); the brackets of an IPv6 address are taken off."""
    if text.startswith("["):
        host, _, rest = text[1:].partition("]")
        return host, rest.removeprefix(":")
    if text.count(":") > 1:  # an IPv6 address without brackets has no port
        return text, ""
    host, colon, port = text.partition(":")
    return ("", host) if host.isdigit() and not colon else (host, port)


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _number(host: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(host)
    except ValueError:
        return None


def _is_loopback(host: str) -> bool:
    number = _number(host)
    return host.lower() == "localhost" if number is None else number.is_loopback


def _own_names(host: str) -> tuple[str, ...]:
    own = socket.gethostname().lower()
    return (host.lower(), own, f"{own.partition('.')[0]}.local")
