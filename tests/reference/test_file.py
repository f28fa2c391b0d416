"""The file of a reference: read back, refused when newer, hostile or another's."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest

from metercap.errors import FileProblem
from metercap.reference.file import decode, encode, signed_off
from metercap.reference.learning import combine
from metercap.reference.model import SCHEMA
from tests.compare.two_units import good, reads

PLAIN = reads("160.4", "161.0")
MADE = combine([good("A", PLAIN).reference(), good("C", PLAIN, identity="serial 7").reference()])


def changed(**more: Any) -> Any:
    """Return the file's bytes with other keys at its top."""
    return json.dumps({**json.loads(encode(MADE)), **more}).encode()


def test_it_reads_back() -> None:
    """Nothing is lost, and `kind` and `schema` come first, so that anybody can tell what it is."""
    data = encode(MADE)
    assert decode(data, "x") == MADE
    assert list(json.loads(data))[:2] == ["kind", "schema"]
    assert data.startswith(b'{\n  "kind": "reference",\n  "schema": 2,')


def test_newer_is_refused() -> None:
    """A newer schema may mean something else by the same words."""
    with pytest.raises(FileProblem, match=f"schema {SCHEMA + 1}"):
        decode(changed(schema=SCHEMA + 1, items="who knows"), "good.json")


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"[]",
        b"{}",
        b'{"kind":"session"}',
        b"\xff\xfe",
        b"[" * 5000 + b"]" * 5000,
        b'{"kind":"reference","schema":1,"items":' + b"[" * 5000 + b"]" * 5000 + b"}",
        b'{"kind":"reference","schema":1}',
        changed(extra=1),
        changed(units=[]),
        changed(schema="one"),
    ],
)
def test_what_is_none_is_refused(data: Any) -> None:
    """Anything else is refused with its file's name, never with a traceback."""
    with pytest.raises(FileProblem) as error:
        decode(data, "good.json")
    assert error.value.where == "good.json"


@pytest.mark.parametrize(
    ("key", "value"), [("U", -1), ("value", 1e300), ("own_u", -0.1), ("null_dof", -2), ("name", "nobody"), ("U", "x")]
)
def test_numbers_that_cannot_be_are_refused(key: str, value: float | str) -> None:
    """A negative uncertainty, a value beyond all meters, a unit that is not in the file."""
    document = json.loads(encode(MADE))
    document["items"][0]["values"][0][key] = value
    with pytest.raises(FileProblem):
        decode(json.dumps(document).encode(), "good.json")


def test_an_item_without_values_is_refused() -> None:
    """An item that no unit measured says nothing."""
    document = json.loads(encode(MADE))
    document["items"][0]["values"] = []
    with pytest.raises(FileProblem, match="coils/K1 has no value"):
        decode(json.dumps(document).encode(), "good.json")


def test_text_that_is_no_utf8_is_refused() -> None:
    """A head that reads well says nothing of the texts behind it."""
    data = b'{"kind":"reference","schema":1,"program":"\xeb","model":"GC-8","title":"","units":[],"items":[]}'
    with pytest.raises(FileProblem, match="not a reference"):
        decode(data, "bad.json")


SCHEMA_1 = b"""{
  "kind": "reference", "schema": 1, "program": "metercap 0.1.0", "model": "GC-8", "title": "board",
  "units": [{"name": "A", "session": "0a", "start_utc": "2026-03-01T09:00:00.000Z",
             "origin": {"meter": "lcd14", "day": "2026-03-01"}, "known_good": true}],
  "items": [{"step": "coils", "item": "K1", "unit": "ohm", "connected": "", "red": "", "black": "",
             "values": [{"name": "A", "value": 160.4, "U": 1.8, "resolution": 0.1, "quantity": "resistance"}]}],
  "left_out": [{"step": "fuses", "item": "F3", "unit_name": "A", "why": "absent"}]
}
"""


def test_a_file_of_schema_1_opens() -> None:
    """As written before there were sources and signatures: read, learned on from, written anew as today's."""
    old = decode(SCHEMA_1, "old.json")
    assert (old.schema, old.n, old.items[0].values[0].value, old.sources, old.signed) == (1, 1, 160.4, (), None)
    whole = combine([old, good("C", PLAIN).reference()])
    assert (whole.schema, whole.n) == (SCHEMA, 2)
    assert decode(encode(whole), "x") == whole


def counted(**more: Any) -> Any:
    """Return a file's bytes whose K1 is counted, with other keys there."""
    document = json.loads(encode(MADE))
    item = document["items"][0]
    item["values"] = more.pop("values", [])
    item["counted"] = {"counts": {"1604": 40}, "power": -1, "U": 1.8, "resolution": 0.1, **more}
    return json.dumps(document).encode()


def test_counted_values_read_back() -> None:
    """Forty units of 160.4 Ω."""
    item = decode(counted(), "x").items[0]
    assert (item.n, item.widest, item.resolution, item.tally.median()) == (40, 1.8, 0.1, 160.4)


@pytest.mark.parametrize(
    "more",
    [
        {"counts": {}},
        {"counts": {"1604": 0}},
        {"counts": {"1604": 10**13}},
        {"counts": {"160.4": 1}},
        {"counts": {str(n): 1 for n in range(10_001)}},
        {"power": 40},
        {"power": -10_000_000_000},
        {"power": 23},
        {"power": 24, "counts": {"-1": 1}},
        {"U": -1.0},
        {"U": 1e300},
        {"resolution": -0.1},
        {"values": json.loads(encode(MADE))["items"][0]["values"]},
    ],
)
def test_counts_that_cannot_be_are_refused(more: dict[str, Any]) -> None:
    """None, too many, of no whole number, beyond any meter; listed and counted at once."""
    with pytest.raises(FileProblem):
        decode(counted(**more), "good.json")


@pytest.mark.parametrize(
    "more",
    [
        {"sources": [{"file": "a.jsonl", "sha256": "12"}]},
        {"sources": [{"file": "a.jsonl", "sha256": "G" * 64}]},
        {"folded": {"units": -1}},
        {"folded": {"sources": 1, "sha256": "x"}},
        {"more_left_out": -1},
        {"signed": {"by": "Ilse", "utc": "2026-03-01T09:00:00.000Z"}},
    ],
)
def test_sources_that_cannot_be_are_refused(more: dict[str, Any]) -> None:
    """A hash is 64 hexadecimal digits (FIPS 180-4), a number of units none below 0."""
    with pytest.raises(FileProblem, match="not a reference"):
        decode(changed(**more), "good.json")


def test_who_signed_it_off_and_what() -> None:
    """Spaces and the order of keys do not matter; one digit of one value does, and another name a signature takes."""
    signed = signed_off(MADE, "M. Okafor", "2026-03-01T09:00:00.000Z")
    assert decode(encode(signed), "x") == signed
    document = json.loads(encode(signed))
    again = {key: document[key] for key in reversed(document)}
    assert decode(json.dumps(again).encode(), "x") == signed
    document["items"][0]["values"][0]["value"] += 0.1
    with pytest.raises(FileProblem, match=r"changed after 'M\. Okafor' signed it off"):
        decode(json.dumps(document).encode(), "good.json")
    del document["signed"]
    assert decode(json.dumps(document).encode(), "x").signed is None


def test_what_is_signed_by_hand() -> None:
    """SHA-256 of the JSON without `signed`, keys in order, no spaces: by the standard library."""
    document = json.loads(encode(signed_off(MADE, "Ilse", "2026-03-01T09:00:00.000Z")))
    found = document.pop("signed")["sha256"]
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert found == hashlib.sha256(text.encode()).hexdigest()
