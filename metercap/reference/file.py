"""The file of a learned reference: one JSON object, indented, with its `kind` first and a schema number. Pure.

    { "kind": "reference", "schema": 1, "program": "…", "model": "GC-8", "title": "…",
      "units": [ {"name": "A", "session": "…", "start_utc": "…Z", "known_good": true,
                  "origin": {"meter": "lcd14", "day": "2026-03-01"}} ],
      "items": [ {"step": "coils", "item": "K1", "unit": "ohm", "connected": "plugs off", "red": "", "black": "",
                  "values": [ {"name": "A", "value": 160.4, "U": 1.8, "resolution": 0.1, "quantity": "resistance",
                               "own_u": 0.1} ]} ],
      "left_out": [ {"step": "fuses", "item": "F3", "unit_name": "A", "why": "…"} ] }

Values are in SI. `own_u` is a value's own scatter, `null_u` that of the lead null taken off it, both as standard
uncertainties; `own_dof` and `null_dof` their degrees of freedom, left out where infinite.
"""

from __future__ import annotations

import msgspec

from metercap.errors import FileProblem
from metercap.reference.model import SCHEMA, Reference

LARGEST = 1 << 24
"""Bytes; nothing longer is read."""
LARGEST_NUMBER = 1e24
"""In SI; no meter's value comes near it."""


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
    return reference


def _check(reference: Reference, where: str) -> None:
    """Refuse what types cannot: values of unknown units, no values, numbers that cannot be."""
    names = {unit.name for unit in reference.units}
    for item in reference.items:
        if not item.values:
            raise _refused(f"{item.step}/{item.item} has no value", where)
        for value in item.values:
            if value.name not in names:
                raise _refused(f"{item.step}/{item.item} has a value of {value.name!r}, which is no unit of it", where)
            spread = (value.expanded, value.own_u, value.null_u, value.own_dof, value.null_dof)
            numbers = [number for number in (abs(value.value), *spread) if number is not None]
            if not all(0.0 <= number < LARGEST_NUMBER for number in numbers):
                raise _refused(f"{item.step}/{item.item} has a number that no meter gives", where)


def _refused(what: str, where: str) -> FileProblem:
    return FileProblem(what, where=where, hint="name a session's journal (.jsonl) or what metercap learn wrote")
