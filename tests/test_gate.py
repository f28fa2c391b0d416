"""The gate for text: nothing that drives or hides passes, JSON stays the same JSON.

Control characters: ECMA-48, 5.2 and 8.2 (C0 is 0x00 to 0x1f, C1 0x80 to 0x9f); bidirectional controls: Unicode
Standard Annex 9, table 1 and 2 (both lists from memory); JSON escapes: RFC 8259, 7.
"""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap import gate
from metercap.errors import MetercapError, PlanError
from metercap.records import Note, decode, encode
from tests.effort import examples

C0 = [chr(n) for n in range(0x20)]
C1 = [chr(n) for n in range(0x7F, 0xA0)]
BIDI = list("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
OTHERS = ["\u2028", "\u2029", "\u200b", "\ufeff", "\U000e0041", "\udcff", "\ue000"]


@pytest.mark.parametrize("char", C0 + C1 + BIDI + OTHERS)
def test_what_drives_or_hides_is_escaped(char: str) -> None:
    """In text for people every such character is a visible escape; line feed and tab pass only as our own layout."""
    assert gate.visible(f"a{char}b").isprintable()
    assert char not in gate.visible(f"a{char}b")
    assert gate.visible(f"a{char}b").startswith("a\\")
    assert (char in gate.lines(f"a{char}b")) == (char in "\n\t")


@pytest.mark.parametrize("text", ["2 Ω ± 0.1 Ω", "Lüfter 3 µF", "検査", "\\x1b", "a b", "1\u202f000", "\u00a0"])
def test_what_shows_as_itself_passes(text: str) -> None:
    """Letters of any script, signs of the trade and spaces of other widths."""
    assert gate.visible(text) == text
    assert gate.lines(text) == text


def test_names_that_came_as_bytes_are_shown_as_the_text_they_are() -> None:
    """PEP 383: bytes that the environment's encoding lacks; UTF-8 among them is shown, all others stay escaped."""
    bytes_of = "Ω\u202e".encode().decode("ascii", "surrogateescape")
    assert gate.visible(f"/dev/{bytes_of}") == "/dev/Ω\\u202e"
    assert gate.storable(f"/dev/{bytes_of}") == "/dev/Ω\u202e"
    assert gate.visible("a\udcff\udcce\udca9") == "a\\udcff\\udcce\\udca9"
    assert gate.storable("a\udcff") == "a\\udcff"
    assert gate.storable("\ud800") == "\\ud800"


def test_only_our_own_controls_pass_to_a_terminal() -> None:
    """Colour, bold, erase and bell pass where the stream is a terminal; a title, a move or a hidden text never."""
    ours = "\x1b[31m\x1b[1mX\x1b[0m\a\r\x1b[Kx"
    assert gate.lines(ours, own=True) == ours
    assert "\x1b" not in gate.lines(ours)
    for hostile in ("\x1b]0;x\a", "\x1b[2J", "\x1b[8m", "\x1b[31;8m", "\r", "\x9b2J", "\x1bc"):
        assert "\x1b" not in gate.lines(hostile, own=True).replace("\a", "")
        assert "\r" not in gate.lines(hostile, own=True)


@given(st.text(st.characters(exclude_categories=["Cs"])))
@settings(max_examples=examples(300), derandomize=True, deadline=None)
def test_json_stays_the_same_value(text: str) -> None:
    """Whatever the text: the same value comes out by Python's own reader, and the raw bytes hold no control."""
    data = json.dumps({"say": text}, ensure_ascii=False).encode()
    gated = gate.json_bytes(data)
    assert json.loads(gated) == {"say": text}
    assert not any(char in gated.decode() for char in C0 + C1 + BIDI)
    assert json.loads(gate.lines(data.decode())) == {"say": text}, "printed as text it is still that JSON"


def test_a_journals_line_is_harmless_and_the_same_record() -> None:
    """A record's line can be looked at raw, and gives the record back."""
    note = Note(1.0, "".join(C0 + C1 + BIDI) + "Ω\U000e0041")
    line = encode(note)
    assert decode(line) == note
    assert not any(char in line.decode() for char in C0 + C1 + BIDI)
    assert "Ω" in line.decode()


def test_an_error_keeps_its_lines() -> None:
    """What a file is called cannot look like another message."""
    error = MetercapError("is \x1b[2J bad", where="a\nmetercap: all is well", hint="b\nc")
    assert str(error).splitlines() == ["a\\nmetercap: all is well: is \\x1b[2J bad", "  try: b\\nc"]
    assert str(PlanError("x", problems=["p\nq"])).splitlines()[1:] == ["  p\\nq"]
