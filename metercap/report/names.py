"""What items are called in running text. Pure."""

from __future__ import annotations

from collections.abc import Iterable

from metercap.outcome import Key
from metercap.quantity.names import compressed


def name_of(key: Key) -> str:
    """Return how an item is called outside its step's own lines: a step's only item of its name by that name alone."""
    step, item = key
    return step if step == item else f"{step} {item}"


def listed(keys: Iterable[Key], most: int = 12) -> str:
    """Return items by step, runs drawn together: "fuses F1..F3, F7; clock"; beyond `most` only their number."""
    steps: dict[str, list[str]] = {}
    for step, item in keys:
        steps.setdefault(step, []).append(item)
    parts = [(step, compressed(items)) for step, items in steps.items()]
    texts = [step if names == [step] else f"{step} {', '.join(_some(names, most))}" for step, names in parts]
    return "; ".join(_some(texts, most))


def _some(names: list[str], most: int) -> list[str]:
    return names if len(names) <= most else [*names[:most], f"and {len(names) - most} more"]
