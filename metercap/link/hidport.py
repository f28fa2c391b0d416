"""A meter's cable that is a USB HID device and no serial port: hid://VID:PID or hid://VID:PID/SERIAL, ids in hex.

Such a cable carries the meter's bytes in reports (USB HID 1.11, 8): the first byte of each says how many of the meter's
follow (common practice, no source). What else differs from one cable to the next is data, in the profile's table `hid`.
What does not look like that is handed on as it came, for the decoder to call garbage. The library is hidapi, the extra
`hid`.

Never run on a cable: all that was tried is its way of speaking to that library.
"""

from __future__ import annotations

import contextlib
import re
from typing import Any

from metercap.errors import LinkError, UsageError
from metercap.meter import Hid

INSTALL = "pip install 'metercap[hid]'"
REPORT_BYTES = 64
"""The longest report of a full-speed device, its number included (USB 2.0, 5.7.3; from memory)."""
GONE = "the port is gone: cable pulled or meter's adapter switched off"
_ADDRESS = re.compile(r"hid://([0-9a-fA-F]{4}):([0-9a-fA-F]{4})(?:/([^/]+))?/?")


def parse(address: str) -> tuple[int, int, str]:
    """Return vendor id, product id and serial number (empty: any) of an address. LinkError when it is none."""
    found = _ADDRESS.fullmatch(address)
    if found is None:
        hint = "hid://VID:PID or hid://VID:PID/SERIAL, both ids as four hex digits; metercap ports shows those here"
        raise LinkError("this is no address of a HID cable", where=address, hint=hint)
    return int(found[1], 16), int(found[2], 16), found[3] or ""


def library() -> Any:
    """Return the module hidapi brings. UsageError, naming the extra, when it is not installed."""
    try:
        import hid
    except ImportError as error:
        raise UsageError("HID cables need the library hidapi", hint=INSTALL) from error
    return hid


class HidPort:
    """What `SerialSource` needs of a port, over reports: bytes in, bytes out, an OSError when it is gone."""

    def __init__(self, address: str, settings: Hid, wait_s: float) -> None:
        self._address = address
        self._settings = settings
        self._wait_ms = max(1, round(1000 * wait_s))
        self._held = bytearray()
        self._device: Any = None
        # A cable like this has no such lines; whoever sets them needs no case of its own.
        self.dtr = self.rts = True

    def open(self) -> None:
        """Open the cable and send what the profile says it must be told. LinkError or UsageError when it cannot be."""
        vendor, product, serial_number = parse(self._address)
        device = library().device()
        try:
            device.open(vendor, product, serial_number or None)
        except (OSError, ValueError) as error:
            hint = "is it plugged in, and may you open it (on Linux by a udev rule)? metercap ports shows those here"
            raise LinkError("this HID cable cannot be opened", where=self._address, hint=hint) from error
        self._device = device
        for report in self._settings.set_up:
            if device.send_feature_report(list(bytes.fromhex(report))) < 0:
                self.close()
                hint = "compare hid.set_up in the profile with the cable's own document"
                raise LinkError(f"the cable refuses the report {report}", where=self._address, hint=hint)

    @property
    def in_waiting(self) -> int:
        """How many bytes are there already."""
        return len(self._held)

    def read(self, size: int = 1) -> bytes:
        """Return up to `size` bytes: what there is, or what the first report brings that comes in time."""
        if not self._held:
            try:
                report = bytes(self._device.read(REPORT_BYTES, self._wait_ms))
            except (OSError, ValueError) as error:
                raise OSError(GONE) from error
            self._held += self._payload(report)
        taken = bytes(self._held[:size])
        del self._held[:size]
        return taken

    def write(self, data: bytes) -> int:
        """Send bytes, as many a report as it holds. OSError when it does not take them."""
        head = [] if self._settings.numbered else [0]  # a report without a number is written with the number 0
        most = min(self._settings.count_mask, REPORT_BYTES - 1)
        for start in range(0, len(data), most):
            part = data[start : start + most]
            if self._device.write([*head, len(part), *part]) < 0:
                raise OSError(GONE)
        return len(data)

    def close(self) -> None:
        """Let go of the cable."""
        device, self._device = self._device, None
        if device is not None:
            with contextlib.suppress(OSError, ValueError):
                device.close()

    def _payload(self, report: bytes) -> bytes:
        if not report:
            return b""
        count = report[0] & self._settings.count_mask
        return report[1 : 1 + count] if count < len(report) else report


def listed() -> list[tuple[str, str, str, int, int]]:
    """Return address, description, serial number, vendor id and product id of each HID device that may be a cable.

    Only those of a usage page that vendors may use as they like (HID Usage Tables 1.12, page FF00 and up): a keyboard
    is no cable. Nothing is opened. Empty without the library.
    """
    try:
        there = library().enumerate()
    except UsageError:
        return []
    found = []
    for one in there:
        if one["usage_page"] >= 0xFF00:
            serial_number = one["serial_number"] or ""
            name = f"hid://{one['vendor_id']:04x}:{one['product_id']:04x}" + (
                f"/{serial_number}" if serial_number else ""
            )
            found.append((name, one["product_string"] or "", serial_number, one["vendor_id"], one["product_id"]))
    return list(dict.fromkeys(found))
