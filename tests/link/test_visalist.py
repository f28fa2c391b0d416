"""What VISA sees: a simulated bus (pyvisa-sim), and that the network is left alone unless asked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("pyvisa_sim")

from metercap.link.visalist import list_visa

BENCH = r"""
spec: "1.1"
devices:
  bench:
    eom:
      USB INSTR: {q: "\n", r: "\n"}
      TCPIP INSTR: {q: "\n", r: "\n"}
      ASRL INSTR: {q: "\n", r: "\n"}
    error: {}
    dialogues:
      - {q: "*IDN?", r: "OUR OWN,BENCH,0,1"}
resources:
  USB0::1::2::3::0::INSTR: {device: bench}
  TCPIP0::bench::inst0::INSTR: {device: bench}
  ASRL7::INSTR: {device: bench}
"""


def test_usb_is_listed_and_the_network_only_when_asked(tmp_path: Path) -> None:
    """Serial ports stand in the list of serial ports already."""
    (tmp_path / "bench.yaml").write_text(BENCH)
    library = f"{tmp_path / 'bench.yaml'}@sim"
    assert list_visa(library=library) == (["visa:USB0::1::2::3::0::INSTR"], "")
    listed, _ = list_visa(network=True, library=library)
    assert listed == ["visa:TCPIP0::bench::inst0::INSTR", "visa:USB0::1::2::3::0::INSTR"]


def test_without_a_library_it_says_why() -> None:
    """No exception: serial ports are listed all the same."""
    listed, why = list_visa(library="/nothing/here.so@ivi")
    assert listed == []
    assert "VISA" in why


def test_the_pure_python_library_asks_no_other_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its own listing broadcasts whatever is asked for; the kinds on the network are not called unless wanted."""
    sessions = pytest.importorskip("pyvisa_py.sessions")
    asked: list[str] = []

    def spying(name: str, gives: list[str]) -> Any:
        class Kind:
            @staticmethod
            def list_resources() -> list[str]:
                asked.append(name)
                return gives

        return Kind

    from pyvisa.constants import InterfaceType

    kinds = [
        ((InterfaceType.usb, "INSTR"), spying("usb", ["USB0::1::2::3::0::INSTR"])),
        ((InterfaceType.tcpip, "INSTR"), spying("tcpip", ["TCPIP::192.0.2.7::INSTR"])),
        ((InterfaceType.asrl, "INSTR"), spying("asrl", ["ASRL1::INSTR"])),
    ]
    monkeypatch.setattr(sessions.Session, "iter_valid_session_classes", classmethod(lambda cls: iter(kinds)))
    assert list_visa(library="@py") == (["visa:USB0::1::2::3::0::INSTR"], "")
    assert asked == ["usb"]
    assert list_visa(library="@py", network=True)[0] == ["visa:TCPIP::192.0.2.7::INSTR", "visa:USB0::1::2::3::0::INSTR"]
