"""Chooses the link for an address.

tape:FILE                       recorded bytes with their times
visa:RESOURCE                   a VISA resource name, such as visa:TCPIP::meter.lan::5025::SOCKET
anything, with an scpi profile  socket://HOST:PORT, a VISA resource or a port's name, asked by lines
hid://VID:PID[/SERIAL]          a cable that is a USB HID device
anything else                   pyserial: a port's name or one of its URLs
"""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlsplit

from metercap.errors import LinkError
from metercap.link.source import Source
from metercap.meter import MeterProfile

HOST_AND_PORT = ("socket", "rfc2217")
"""Kinds of URL that name a bridge on the network."""


def _check_url(address: str) -> None:
    """Refuse a URL that lacks what its kind needs, in words; pyserial's own speak of types."""
    kind, mark, rest = address.partition("://")
    if not mark:
        return
    if kind in HOST_AND_PORT:
        try:
            parts = urlsplit(address)
            whole = bool(parts.hostname) and parts.port is not None and parts.port > 0
        except ValueError:  # a port that is no number, or beyond 65535; a bracket left open
            whole = False
        if not whole:
            hint = f"{kind}://HOST:PORT, for example {kind}://192.0.2.7:5025"
            raise LinkError("this address needs a host and a port number from 1 to 65535", where=address, hint=hint)
    elif kind == "hid":
        from metercap.link.hidport import parse

        parse(address)
    elif kind == "hwgrep" and not rest.strip():
        hint = "hwgrep://TEXT with some of the adapter's description, as metercap ports shows it"
        raise LinkError("this address needs a text to look for", where=address, hint=hint)


def open_link(address: str, profile: MeterProfile) -> Source:
    """Open the link that `address` names and return it, not yet started.

    LinkError (exit status 3) when it cannot be opened: what is wrong, and what to try. The libraries behind each kind
    of link are loaded only when that kind is asked for.
    """
    refuse_unnamed(address)
    if address.startswith("tape:"):
        from metercap.link.tape import TapeSource

        return TapeSource(Path(address.removeprefix("tape:")))
    if profile.family == "scpi" or address.startswith("visa:"):
        from metercap.link.visa import VisaSource

        return VisaSource(address, profile)
    from metercap.link.serialport import SerialSource

    return SerialSource(address, profile)


def refuse_unnamed(address: str) -> None:
    """Raise LinkError for an address that can be none: empty, with a NUL in it, or a URL that lacks something."""
    if not address or "\0" in address:
        raise LinkError("a port needs a name", where=repr(address), hint="metercap ports")
    _check_url(address.removeprefix("visa:"))
