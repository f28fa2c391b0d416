"""The file of a learned reference: one JSON object, indented, with its `kind` first and a schema number. Pure.

    { "kind": "reference", "schema": 2, "program": "…", "model": "GC-8", "title": "…",
      "units": [ {"name": "A", "session": "…", "start_utc": "…Z", "known_good": true,
                  "origin": {"meter": "lcd14", "day": "2026-03-01"}} ],
      "items": [ {"step": "coils", "item": "K1", "unit": "ohm", "connected": "plugs off", "red": "", "black": "",
                  "values": [ {"name": "A", "value": 160.4, "U": 1.8, "resolution": 0.1, "quantity": "resistance",
                               "own_u": 0.1} ]} ],
      "left_out": [ {"step": "fuses", "item": "F3", "unit_name": "A", "why": "…"} ],
      "sources": [ {"file": "a.jsonl", "sha256": "…", "signed": ""} ],
      "signed": {"by": "…", "utc": "…Z", "sha256": "…"},
      "more_left_out": 0, "folded": {"units": 0, "unmarked": 0, "sources": 0, "sha256": ""} }

Values are in SI. `own_u` is a value's own scatter, `null_u` that of the lead null taken off it, both as standard
uncertainties; `own_dof` and `null_dof` their degrees of freedom, left out where infinite. Of more than 30 units an item
has, in place of `values`, `counted`: {"counts": {"1604": 31}, "power": -1, "U": 1.8, "resolution": 0.1}.
"""

from __future__ import annotations

import hashlib

import msgspec

from metercap.errors import FileProblem
from metercap.metrology.tally import MOST
from metercap.reference.model import SCHEMA, Counted, GoodItem, Reference, Signature

LARGEST = 1 << 24
"""Bytes; nothing longer is read."""
LARGEST_NUMBER = 1e24
"""In SI; no meter's value comes near it."""
FINEST = 30
"""Powers of ten beyond which no meter displays anything."""


class _Head(msgspec.Struct):
    kind: str = ""
    schema: int = 0


def encode(reference: Reference) -> bytes:
    """Return the file's bytes."""
    return msgspec.json.format(msgspec.json.encode(reference), indent=2) + b"\n"


def decode(data: bytes, where: str) -> Reference:
    """Return the reference that a file's bytes hold; FileProblem naming `where` for any other, or a newer schema."""
    try:
        head = msgspec.json.decode(data, type=_Head)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise _refused(f"neither a journal nor a reference: {error}", where) from error
    if head.kind != "reference":
        raise _refused("neither a journal nor a reference", where)
    if head.schema > SCHEMA:
        hint = "use the version of metercap that wrote it, or a newer one"
        raise FileProblem(
            f"a reference of schema {head.schema}; this version reads up to {SCHEMA}", where=where, hint=hint
        )
    try:
        reference = msgspec.json.decode(data, type=Reference)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise _refused(f"not a reference: {error}", where) from error
    _check(reference, where)
    if reference.signed is not None and reference.signed.sha256 != _digest(data):
        hint = "take the file as it was signed, or learn again from its sources"
        raise FileProblem(f"was changed after {reference.signed.by!r} signed it off", where=where, hint=hint)
    return reference


def signed_off(reference: Reference, by: str, utc: str) -> Reference:
    """Return a reference that `by` vouches for since `utc` (RFC 3339): no change of it goes unseen."""
    return msgspec.structs.replace(reference, signed=Signature(by, utc, _digest(msgspec.json.encode(reference))))


def _digest(data: bytes) -> str:
    """Return the SHA-256 (FIPS 180-4) of what a file says besides its signature, however it is spaced and ordered."""
    said = msgspec.json.decode(data)
    said.pop("signed", None)
    return hashlib.sha256(msgspec.json.encode(said, order="sorted")).hexdigest()


def _check(reference: Reference, where: str) -> None:
    """Refuse what types cannot: values of unknown units, no values, numbers that cannot be."""
    names = {unit.name for unit in reference.units}
    for item in reference.items:
        if item.counted is not None:
            _check_counted(item, item.counted, where)
            continue
        if not item.values:
            raise _refused(f"{item.step}/{item.item} has no value", where)
        for value in item.values:
            if value.name not in names:
                raise _refused(f"{item.step}/{item.item} has a value of {value.name!r}, which is no unit of it", where)
            spread = (value.expanded, value.own_u, value.null_u, value.own_dof, value.null_dof)
            numbers = [number for number in (abs(value.value), *spread) if number is not None]
            if not all(0.0 <= number < LARGEST_NUMBER for number in numbers):
                raise _refused(f"{item.step}/{item.item} has a number that no meter gives", where)


def _check_counted(item: GoodItem, counted: Counted, where: str) -> None:
    """Refuse counts that no tally has: none, too many, numbers that cannot be."""
    fits = not item.values and 0 < len(counted.counts) <= MOST and abs(counted.power) <= FINEST
    if fits:
        largest, power = max(abs(number) for number in counted.counts), counted.power
        fits = largest * 10 ** max(power, 0) < int(LARGEST_NUMBER) * 10 ** max(-power, 0)
    if not (fits and all(0.0 <= number < LARGEST_NUMBER for number in (counted.expanded, counted.resolution or 0.0))):
        raise _refused(f"{item.step}/{item.item} has counts that cannot be", where)


def _refused(what: str, where: str) -> FileProblem:
    return FileProblem(what, where=where, hint="name a session's journal (.jsonl) or what metercap learn wrote")
