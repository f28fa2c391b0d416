"""Cables that are USB HID devices, over a stand-in for hidapi's small interface.

No such cable was at hand: what is tested is how the library is spoken to (open, read, write, feature reports,
enumerate), as its own documentation has it, and that the real one refuses what is not there in the way assumed here.
"""

from __future__ import annotations

import queue
import sys
from typing import Any

import pytest

from metercap.errors import LinkError, ProfileError, UsageError
from metercap.link import hidport
from metercap.link.address import open_link
from metercap.meter import Hid, MeterProfile, Poll
from metercap.profiles import load_meter
from metercap.records import LinkState

pytestmark = pytest.mark.usefixtures("threads_end")

UP, LOST = LinkState.UP, LinkState.LOST
URL = "hid://ffff:0a01"


class Device:
    """What hidapi's device does: `read` gives a list of numbers, an empty one when time is up, OSError when gone."""

    def __init__(self, plugged: set[tuple[int, int, str]]) -> None:
        self._plugged = plugged
        self.reports: queue.Queue[list[int] | None] = queue.Queue()
        self.written: list[list[int]] = []
        self.features: list[list[int]] = []
        self.refuses = False
        self.is_open = False

    def open(self, vendor_id: int = 0, product_id: int = 0, serial_number: str | None = None) -> None:
        for vendor, product, number in self._plugged:
            if (vendor, product) == (vendor_id, product_id) and serial_number in (None, number):
                self.is_open = True
                return
        raise OSError("open failed")

    def read(self, max_length: int, timeout_ms: int = 0) -> list[int]:
        if not self.is_open:
            raise ValueError("not open")
        try:
            report = self.reports.get(timeout=timeout_ms / 1000)
        except queue.Empty:
            return []
        if report is None:
            raise OSError("read error")
        assert len(report) <= max_length
        return report

    def write(self, buff: list[int]) -> int:
        self.written.append(buff)
        return -1 if self.refuses else len(buff)

    def send_feature_report(self, buff: list[int]) -> int:
        self.features.append(buff)
        return -1 if self.refuses else len(buff)

    def close(self) -> None:
        self.is_open = False


class Library:
    def __init__(self) -> None:
        self.plugged = {(0xFFFF, 0x0A01, "7")}
        self.made: list[Device] = []
        self.refuses = False

    def device(self) -> Device:
        self.made.append(Device(self.plugged))
        self.made[-1].refuses = self.refuses
        return self.made[-1]

    def enumerate(self) -> list[dict[str, Any]]:
        return [
            {
                "vendor_id": 0xFFFF,
                "product_id": product,
                "serial_number": number,
                "product_string": name,
                "usage_page": page,
            }
            for product, number, name, page in (
                (0x0A01, "7", "cable", 0xFF00),
                (0x0A02, "", None, 0xFFA0),
                (0x0B00, "", "keys", 0x0001),
            )
        ]


@pytest.fixture
def hid(monkeypatch: pytest.MonkeyPatch) -> Library:
    library = Library()
    monkeypatch.setitem(sys.modules, "hid", library)
    return library


def profile(**more: Any) -> MeterProfile:
    return MeterProfile(name="lcd14", family="lcd14", **more)


def test_the_first_byte_of_a_report_counts_the_meters(hid: Library, sink: Any, clock: Any) -> None:
    """By hand: 3 and three bytes; 0xF0 + 2 under the mask 0x0F and two; rest of a report is padding."""
    source = open_link(URL, profile(hid=Hid(count_mask=0x0F)))
    source.start(sink, clock)
    reports = hid.made[0].reports
    reports.put([3, 0x17, 0x27, 0x3D, 0, 0, 0, 0])
    reports.put([0xF0])
    reports.put([0xF2, 0x47, 0x58, 9, 9])
    sink.until(lambda s: len(s.data) == 5, "five bytes")
    source.stop()
    assert sink.data == bytes([0x17, 0x27, 0x3D, 0x47, 0x58])
    assert sink.states == [UP]
    assert not hid.made[0].is_open


def test_a_report_that_counts_more_than_it_has_is_handed_on_whole(hid: Library, sink: Any, clock: Any) -> None:
    """Nothing is dropped in silence: the decoder sees it and calls it garbage."""
    source = open_link(URL, profile())
    source.start(sink, clock)
    hid.made[0].reports.put([9, 1, 2])
    sink.until(lambda s: len(s.data) == 3, "the report")
    source.stop()
    assert sink.data == bytes([9, 1, 2])


def test_what_the_profile_says_is_sent_when_it_opens(hid: Library) -> None:
    """Feature reports in their order, in hex."""
    open_link(URL, profile(hid=Hid(set_up=("41 01", "5000000960")))).stop()
    assert hid.made[0].features == [[0x41, 0x01], [0x50, 0, 0, 9, 0x60]]


def test_a_refused_report_is_said(hid: Library) -> None:
    """A set-up that the cable does not take is no opened port."""
    hid.refuses = True
    with pytest.raises(LinkError) as refused:
        open_link(URL, profile(hid=Hid(set_up=("41 01",))))
    assert "refuses the report 41 01" in refused.value.what
    assert not hid.made[0].is_open


@pytest.mark.parametrize(("numbered", "head"), [(True, []), (False, [0])])
def test_a_polled_meter_is_asked_by_reports(
    numbered: bool, head: list[int], hid: Library, sink: Any, clock: Any
) -> None:
    """`D` goes out as 1 and its code; before it a 0 where reports have no number (hidapi's own rule)."""
    source = open_link(URL, profile(poll=Poll(send="D", per_s=20.0), hid=Hid(numbered=numbered)))
    source.start(sink, clock)
    hid.made[0].reports.put([1, 65])
    sink.until(lambda s: s.data == b"A", "an answer")
    source.stop()
    assert hid.made[0].written[0] == [*head, 1, ord("D")]


def test_long_requests_are_cut_to_what_a_report_holds(hid: Library) -> None:
    """130 bytes under the mask 0x3F: 63, 63 and 4."""
    port = hidport.HidPort(URL, Hid(), 0.01)
    port.open()
    port.write(bytes(130))
    assert [row[0] for row in hid.made[0].written] == [63, 63, 4]
    assert [len(row) for row in hid.made[0].written] == [64, 64, 5]


def test_unplugged_and_back(hid: Library, sink: Any, clock: Any) -> None:
    """Lost, with its reason; opened again by the same ids."""
    source = open_link(URL + "/7", profile())
    source.start(sink, clock)
    hid.plugged.clear()
    hid.made[0].reports.put(None)
    sink.until(lambda s: LOST in s.states, "lost")
    assert sink.whys[1] == "the port is gone: cable pulled or meter's adapter switched off"
    hid.plugged.add((0xFFFF, 0x0A01, "7"))
    sink.until(lambda s: s.states[-1] is UP and len(s.states) > 2, "up again")
    hid.made[-1].reports.put([1, 66])
    sink.until(lambda s: s.data == b"B", "a byte")
    source.stop()


@pytest.mark.parametrize("url", ["hid://ffff:0a02", "hid://ffff:0a01/8"])
def test_another_device_is_not_taken_for_it(url: str, hid: Library) -> None:
    """Ids and, where given, the serial number must be the same."""
    with pytest.raises(LinkError) as refused:
        open_link(url, profile())
    assert (refused.value.where, "metercap ports" in refused.value.hint) == (url, True)


@pytest.mark.parametrize("url", ["hid://", "hid://1:2", "hid://ffff", "hid://ffff:0a01/7/8", "hid://fff\u0661:0a01"])
def test_what_is_no_address(url: str) -> None:
    """Said with the form it must have, whether or not the library is there."""
    with pytest.raises(LinkError) as refused:
        open_link(url, profile())
    assert "hid://VID:PID" in refused.value.hint


def test_without_the_library_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """A usage error with the command that mends it; the list of ports is just shorter."""
    monkeypatch.setitem(sys.modules, "hid", None)
    with pytest.raises(UsageError) as refused:
        open_link(URL, profile())
    assert refused.value.hint == "pip install 'metercap[hid]'"
    assert hidport.listed() == []


def test_only_what_may_be_a_cable_is_listed(hid: Library) -> None:
    """A vendor's own usage page, FF00 and up; a keyboard (page 1) is none."""
    assert [row[:3] for row in hidport.listed()] == [("hid://ffff:0a01/7", "cable", "7"), ("hid://ffff:0a02", "", "")]
    assert [hidport.parse(row[0])[:2] for row in hidport.listed()] == [(0xFFFF, 0x0A01), (0xFFFF, 0x0A02)]


def test_the_real_library_refuses_what_is_not_there() -> None:
    """The stand-in's words are the library's: open raises OSError, a closed device ValueError."""
    real = pytest.importorskip("hid")
    assert {"open", "read", "write", "send_feature_report", "close"} <= set(dir(real.device))
    with pytest.raises(LinkError):
        open_link("hid://ffff:0a01/no-such-cable", profile())
    with pytest.raises(ValueError, match="not open"):
        real.device().read(64, 1)


def test_a_profile_says_how_its_cable_is_set_up(tmp_path: Any) -> None:
    """Read from TOML; what is no hex, or counts nothing, is named by its key."""
    path = tmp_path / "mine.toml"
    text = 'name = "mine"\nlike = "lcd14"\n[hid]\nset_up = ["41 01"]\ncount_mask = 15\nnumbered = false\n'
    path.write_text(text)
    assert load_meter(path).hid == Hid(("41 01",), 15, False)
    path.write_text(text.replace("41 01", "4x").replace("15", "0"))
    with pytest.raises(ProfileError) as wrong:
        load_meter(path)
    assert "hid.set_up: '4x' is no report in hex" in str(wrong.value)
    assert "hid.count_mask: must be from 1 to 255" in str(wrong.value)
