"""Addresses: how they are written, what a taken port is answered with, and what may stand on a screen."""

from __future__ import annotations

import socket

import pytest

from metercap.errors import UsageError
from metercap.web import address as address_module
from metercap.web.address import Address, listen, parse


@pytest.mark.parametrize(
    ("text", "host", "port", "named"),
    [
        ("", "127.0.0.1", address_module.PORT, False),
        (":8000", "127.0.0.1", 8000, True),
        ("8000", "127.0.0.1", 8000, True),
        ("192.168.1.5:8000", "192.168.1.5", 8000, True),
        ("bench.local", "bench.local", address_module.PORT, False),
        ("[::1]:8000", "::1", 8000, True),
        ("::1", "::1", address_module.PORT, False),
        ("0.0.0.0:0", "0.0.0.0", 0, True),
    ],
)
def test_written_addresses(text: str, host: str, port: int, named: bool) -> None:
    found = parse(text)
    assert (found.host, found.port, found.named) == (host, port, named)


@pytest.mark.parametrize(
    "text", ["a:b", "http://x/", "x:99999", "x y", "x:-1", "[zz]:80", "a@b", "x\x1b", "1:2:3:4", "0:80", "*:80"]
)
def test_what_is_no_address(text: str) -> None:
    with pytest.raises(UsageError, match="no address"):
        parse(text)


@pytest.mark.parametrize(
    ("host", "secret"),
    [
        ("127.0.0.1", False),
        ("127.9.9.9", False),
        ("::1", False),
        ("localhost", False),
        ("192.168.1.5", True),
        ("0.0.0.0", True),
        ("::", True),
        ("bench.local", True),
    ],
)
def test_only_the_loopback_address_needs_no_secret(host: str, secret: bool) -> None:
    """RFC 1122, 3.2.1.3: all of 127/8 stays inside a machine."""
    found = parse(f"[{host}]:1" if ":" in host else f"{host}:1")
    assert bool(found.secret) == secret
    assert found.secret not in found.url or not secret
    assert found.key_url.endswith(found.secret)
    assert len(found.secret) >= 20 or not secret


def test_every_start_has_its_own_secret() -> None:
    assert len({parse("192.168.1.5").secret for _ in range(20)}) == 20


def test_a_taken_port_is_told() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(UsageError) as caught:
            listen(Address(port=port, named=True))
    assert str(caught.value) == (
        f"127.0.0.1:{port}: another program listens there already\n  try: another port, or 0 for any free"
    )


def test_the_usual_port_gives_way_when_it_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        usual = taken.getsockname()[1]
        monkeypatch.setattr(address_module, "PORT", usual)
        sock, found = listen(Address(port=usual))
        with sock:
            assert found.port == sock.getsockname()[1] != usual


def test_an_address_that_is_another_machines() -> None:
    """192.0.2.0/24 is for documentation (RFC 5737): no machine has it."""
    with pytest.raises(UsageError, match="no such address"):
        listen(Address("192.0.2.1", 0, "x", True))


def test_an_address_for_all_is_shown_as_one_that_can_be_called() -> None:
    found = Address("0.0.0.0", 8000, "x")
    assert "0.0.0.0" not in found.url
    assert Address("::1", 8000).url == "http://[::1]:8000/"
