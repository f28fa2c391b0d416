"""The file of a reference: read back, refused when newer, hostile or another's."""

from __future__ import annotations

import json
from typing import Any

import pytest

from metercap.errors import FileProblem
from metercap.reference.file import decode, encode
from metercap.reference.gather import combine
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
    assert data.startswith(b'{\n  "kind": "reference",\n  "schema": 1,')


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
