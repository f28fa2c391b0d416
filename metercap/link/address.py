"""Chooses the link for an address.

tape:FILE                       recorded bytes with their times
visa:RESOURCE                   a VISA resource name, such as visa:TCPIP::meter.lan::5025::SOCKET
anything, with an scpi profile  a VISA resource, a port's name, or socket://HOST:PORT, reached through VISA
anything else                   pyserial: a port's name or one of its URLs
"""

from __future__ import annotations

from pathlib import Path

from metercap.errors import LinkError
from metercap.link.source import Source
from metercap.meter import MeterProfile


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
    """Raise LinkError for an address that can be none: empty, or with a NUL in it."""
    if not address or "\0" in address:
        raise LinkError("a port needs a name", where=repr(address), hint="metercap ports")
