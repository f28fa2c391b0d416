"""The README's table of connections and the addresses that are taken are the same."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from metercap.errors import LinkError
from metercap.link.address import refuse_unnamed

ROOT = Path(__file__).parents[2]


def rows() -> list[list[str]]:
    text = (ROOT / "README.md").read_text(encoding="utf-8").partition("### How is your meter connected?")[2]
    lines = text.partition("\n\nAn extra")[0].strip().splitlines()[2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def test_every_connection_has_a_row() -> None:
    """USB serial, optical head, RS-232, Bluetooth, RFC 2217, TCP, HID, LAN, USBTMC, tape."""
    words = " ".join(row[0] for row in rows())
    for kind in (
        "USB cable",
        "optical head",
        "RS-232",
        "Bluetooth",
        "RFC 2217",
        "bare TCP",
        "HID",
        "USBTMC",
        "recorded",
    ):
        assert kind in words


def test_the_addresses_of_the_table_are_taken() -> None:
    """Each first address, its capitals filled in; a spoilt one of the same kind is not."""
    fill = {"HOST": "192.0.2.7", "PORT": "7000", "VID:PID": "ffff:0a01", "RESOURCE": "GPIB0::22::INSTR"}
    urls = 0
    for row in rows():
        written = re.findall(r"`([^`]+)`", row[1])
        if not written:
            continue
        address = written[0]
        for capitals, value in fill.items():
            address = address.replace(capitals, value)
        refuse_unnamed(address)
        if "://" in address:
            urls += 1
            with pytest.raises(LinkError):
                refuse_unnamed(address.rpartition(":")[0])
    assert urls == 4


def test_the_extras_of_the_table_exist() -> None:
    """What is to be installed can be."""
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    named = {name for row in rows() for name in re.findall(r"extra `(\w+)`", row[2])}
    assert named == {"hid", "scpi"}
    assert named <= set(extras)
