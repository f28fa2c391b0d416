"""Items as a plan file writes them: "F1..F12", a list of names, of tables, or of both."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from metercap.errors import ValueText
from metercap.plan.places import Path
from metercap.plankeys import Item
from metercap.quantity import expand_items
from metercap.quantity.items import MAX_ITEMS
from metercap.quantity.numbers import MAX_TEXT, shown
from metercap.reference.fuses import limit_ohm

FUSE_TYPES = 'add type = "glass 5x20", "chip", "resettable" or "unknown"'


def read_items(
    raw: object,
    path: Path,
    table: Callable[[dict[str, Any], Path], dict[str, Any]],
    refused: Callable[[Path, ValueText], None],
) -> tuple[Item, ...]:
    """Return the items of a step, in the order written.

    `table` reads one item's table; `refused` takes what is wrong with one element, so that the others are read all the
    same. A range ("F1..F4") is spread out wherever a name stands, in a table too. Raises ValueText for what is wrong
    as a whole.
    """
    if isinstance(raw, str):
        return tuple(Item(name=name) for name in expand_items(raw))
    if not isinstance(raw, list) or not raw:
        what = "no items" if raw == [] else "items are wanted"
        raise ValueText(what, hint='write "F1..F12", or a list of names or of { name = "F1" }')
    items: list[Item] = []
    for place, element in enumerate(raw):
        at = (*path, place)
        try:
            if isinstance(element, str):
                items += [Item(name=name) for name in _names(element)]
            elif isinstance(element, dict):
                values = table(element, at)
                items += [Item(**{**values, "name": name}) for name in _names(values.get("name", "?"))]
            else:
                raise ValueText("an item is a name or a table", hint='write "F1" or { name = "F1" }')
        except ValueText as error:
            refused(at, error)
        if len(items) > MAX_ITEMS:
            raise ValueText(f"more than {MAX_ITEMS} items", hint="split the list over several steps")
    return tuple(items)


def _names(text: str) -> list[str]:
    """Return one name, or those of a range; a comma belongs to the name here, since the list parts them already."""
    if ".." in text or "…" in text:
        return expand_items(text)
    if not text.strip() or not text.isprintable() or len(text) > MAX_TEXT:
        raise ValueText(
            f"{shown(text)} cannot be the name of an item", hint=f"printable, at most {MAX_TEXT} characters"
        )
    return [text.strip()]


def fuse_limit(values: dict[str, Any], *, nulled: bool) -> float | None:
    """Return the limit, in ohms, that an item's `rating` and `type` stand for, or None when they set none.

    Own limits come before it; types without a table, "unknown" among them, take the known-good unit's value. `nulled`
    says whether the leads are taken off by then. Raises ValueText for half a statement, or a rating that no such fuse
    has.
    """
    rating, kind = values.get("rating"), values.get("type")
    if rating is None:
        if kind not in (None, "unknown"):
            raise ValueText("a fuse type without its rating", hint='add rating = "315 mA", or take type = "unknown"')
        return None
    if kind is None:
        raise ValueText("a rating without the fuse's type", hint=FUSE_TYPES)
    if values.get("min") is not None or values.get("max") is not None:
        return None
    return limit_ohm(rating, kind, nulled=nulled)
