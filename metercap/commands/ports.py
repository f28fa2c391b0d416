"""`metercap ports`: list the ports a meter may be on."""

from __future__ import annotations

import errno
import os
import sys
from typing import TYPE_CHECKING

import click
import msgspec

from metercap.plain.style import paint, safe, use_colour

if TYPE_CHECKING:
    from metercap.link import Port

EPILOG = """\b
Examples:
  metercap ports
  metercap ports --json
  metercap identify --port /dev/ttyUSB0

The name in front is the one to give to --port: where the system has one, it follows the adapter to any socket it is
plugged into. Ports are listed, not opened.

\b
A port may also be
  socket://HOST:PORT, rfc2217://HOST:PORT   a serial bridge on the network
  hid://VID:PID, hid://VID:PID/SERIAL       a cable that is a HID device (extra: pip install 'metercap[hid]')
  hwgrep://TEXT                             the adapter of that description
  visa:RESOURCE                             a SCPI meter by its VISA name
  tape:FILE                                 recorded bytes"""

NONE = """no serial ports here
  try: plug the meter's cable in and list again; a network meter has an address instead (metercap ports --help)"""


class Row(msgspec.Struct, frozen=True):
    """One port as it is printed. `trouble` says why it cannot be opened now, `mend` what to do about it."""

    port: str
    device: str
    description: str
    serial_number: str
    usb: str
    trouble: str
    mend: str


@click.command(epilog=EPILOG)
@click.option("--json", "as_json", is_flag=True, help="Print a JSON array.")
def command(as_json: bool) -> int:
    """List the serial ports of this computer, USB adapters first."""
    from metercap.link import list_ports
    from metercap.link.hidport import listed

    rows = [_row(port) for port in list_ports()]
    rows += [
        Row(name, name, about, number, f"USB {vid:04x}:{pid:04x}", "", "") for name, about, number, vid, pid in listed()
    ]
    if as_json:
        from metercap.plain import json_text

        click.echo(json_text(rows))
        return 0
    if not rows:
        click.echo(NONE)
        return 0
    colour = use_colour(sys.stdout)
    for row in rows:
        click.echo(paint(safe(row.port), None, colour, bold=True))
        about = [row.device if row.device != row.port else "", row.description, row.usb]
        if any(about):
            click.echo("  " + safe(", ".join(part for part in about if part)))
        if row.trouble:
            click.echo(paint(f"  {safe(row.trouble)}", "yellow", colour))
            click.echo(f"  try: {safe(row.mend)}")
    return 0


def _row(port: Port) -> Row:
    trouble, mend = _trouble(port.name, port.owner_pid)
    usb = f"USB {port.vid:04x}:{port.pid:04x}" if port.vid is not None and port.pid is not None else ""
    return Row(port.best, port.name, port.description, port.serial_number, usb, trouble, mend)


def _trouble(name: str, owner_pid: int = 0) -> tuple[str, str]:
    """Return what stands in the way of opening the port, as far as can be seen without opening it."""
    from metercap.link.trouble import explain, holders, in_use, locked_by

    held = [holder for holder in [locked_by(name)] if holder is not None] or holders(name)
    held = [holder for holder in held if holder.pid != owner_pid]  # a practice meter's own end
    if held:
        error = in_use(name, held)
    elif sys.platform != "win32" and not os.access(name, os.R_OK | os.W_OK):
        error = explain(name, PermissionError(errno.EACCES, os.strerror(errno.EACCES), name))
    else:
        return "", ""
    return error.what, error.hint
