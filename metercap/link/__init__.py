"""Links to a meter: a serial port or any pyserial URL, a VISA resource, a tape of recorded bytes.

`open_link(address, profile)` chooses by address and gives a `Source`; `LinkWatch` says from what arrives how the link
is.
"""

from metercap.link.address import open_link
from metercap.link.ports import Port, list_ports, port_names
from metercap.link.source import Sink, Source
from metercap.link.watch import LinkWatch

__all__ = ["LinkWatch", "Port", "Sink", "Source", "list_ports", "open_link", "port_names"]
