"""Written values to what is stored: one reader for each `as` mark of a plan's keys, and for plain TOML types.

Every reader takes what TOML gave and raises `ValueText`, whose words the loader puts behind the place.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

from msgspec import inspect

from metercap.errors import ValueText
from metercap.metrology.domain import round6
from metercap.plan.problems import listed
from metercap.plankeys.base import MOST_LEVELS, QUANTITY_OF_UNIT
from metercap.plankeys.picture import BOTH_TIPS, Point
from metercap.quantity import expand_items, parse_duration_s, parse_tolerance, parse_value
from metercap.quantity.numbers import shown
from metercap.spelling import near

TARGET_WORDS = ("reference", "as found")
_HUGE = 10**18
MOST_NAME = 200
"""Characters of a file's name: with what a temporary file adds, no system takes more than 255."""
PICTURES = (".jpg", ".jpeg", ".png")
DEVICES = ("con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10)))
"""Names that one system opens as devices, whatever their ending (its own documentation, from memory)."""
MOST_COUNT = 100_000
"""Highest count (presses, runs, contacts) that a plan may ask for."""

MOST_MINUTES = 10_000.0
"""A week on the bench: no single step takes longer."""

EXAMPLES = {
    "limit": '"2 ohm"',
    "ohm": '"0.5 ohm"',
    "V": '"3 V"',
    "A": '"315 mA"',
    "s": '"10 s"',
    "share": "0.95",
    "tolerance": '"0.5 %"',
    "edge": '"1.2 kohm" or "95 %"',
    "target": '"2.187 kohm", "reference" or "as found"',
    "names": '["F7", "F1..F6"]',
    "groups": '["F1..F4", "F5..F8"]',
    "minutes": "2.5",
    "teardown": '["lid-off"], or a level: 1',
    "chances": '{ "does not start" = 0.3 }',
    "points": "[0.21, 0.4] or [[0.21, 0.4], [0.25, 0.4]]",
    "file": '"front.png"',
    "sha256": "the 64 digits that metercap plan check says",
}


class Written(NamedTuple):
    """A value in SI; `unit` where it picks or must fit the step's; `share` marks a relative tolerance."""

    value: float | str | tuple[str, ...] | tuple[tuple[str, ...], ...] | tuple[Point, ...] | dict[str, float]
    unit: str = ""
    share: bool = False


def _text(raw: object, mark: str) -> str:
    if isinstance(raw, str):
        return raw
    what = f"{_named(raw)} has no unit" if _number(raw) is not None else f"a value is wanted, not {_named(raw)}"
    raise ValueText(what, hint=f"write it as {EXAMPLES[mark]}")


def _with_unit(raw: object, mark: str, unit: str | None) -> Written:
    text = _text(raw, mark)
    value = parse_value(text)
    if value.unit == "":
        raise ValueText(f"{shown(text)} has no unit", hint=f"write it as {EXAMPLES[mark]}")
    if unit is not None:
        value = parse_value(text, unit=unit)
    if value.value < 0 and value.unit in ("ohm", "A", "F", "Hz"):
        raise ValueText(f"{shown(text)} is negative", hint="write it from 0 up")
    return Written(value.value, value.unit)


def _limit(raw: object) -> Written:
    limit = _with_unit(raw, "limit", None)
    if limit.unit not in QUANTITY_OF_UNIT:
        raise ValueText(f"{shown(str(raw))} is in {limit.unit}, which no step measures")
    return limit


def _edge(raw: object) -> Written:
    """A limit, or a share of what is aimed at."""
    text = _text(raw, "edge")
    if not text.rstrip().endswith("%"):
        return _limit(raw)
    share = parse_value(text, unit="%").value / 100.0
    if not 0.0 < share < math.inf or share == 1.0:
        raise ValueText(f"{shown(text)} is no share of the value aimed at", hint=f"write it as {EXAMPLES['edge']}")
    return Written(round6(share), share=True)


def _target(raw: object) -> Written:
    if isinstance(raw, str) and raw in TARGET_WORDS:
        return Written(raw)
    try:
        return _limit(raw)
    except ValueText as error:
        hint = near(raw, TARGET_WORDS) if isinstance(raw, str) else ""
        raise ValueText(error.what, hint=hint or f"write {EXAMPLES['target']}") from error


def _seconds(raw: object) -> Written:
    number = _number(raw)
    if number is None:
        return Written(parse_duration_s(_text(raw, "s")))
    if not 0.0 <= number < math.inf:
        raise ValueText(f"{_named(raw)} is not a time from 0 s up", hint=f"write it as {EXAMPLES['s']}")
    return Written(number)


def _share(raw: object) -> Written:
    share = parse_value(raw, unit="%").value / 100.0 if isinstance(raw, str) else _number(raw)
    if share is None:
        raise ValueText(f"a share is wanted, not {_named(raw)}", hint=f"write it as {EXAMPLES['share']}")
    if not 0.0 < share < 1.0:
        raise ValueText(f"{shown(str(raw))} is not between 0 and 1", hint=f"write it as {EXAMPLES['share']}")
    return Written(share)


def _tolerance(raw: object) -> Written:
    tolerance = parse_tolerance(_text(raw, "tolerance"))
    if tolerance.relative is not None:
        return Written(tolerance.relative, share=True)
    return Written(tolerance.around(0.0), tolerance.unit)


def _groups(raw: object) -> Written:
    if not isinstance(raw, list) or not raw:
        raise ValueText("groups of items are wanted", hint=f"write {EXAMPLES['groups']}")
    return Written(tuple(_spread(group, "a group is a range or a list of item names", "groups") for group in raw))


def _names(raw: object) -> Written:
    return Written(_spread(raw, "item names are wanted", "names"))


def _spread(raw: object, wanted: str, mark: str) -> tuple[str, ...]:
    texts = [raw] if isinstance(raw, str) else raw
    if not isinstance(texts, list) or not texts or not all(isinstance(text, str) for text in texts):
        raise ValueText(wanted, hint=f"write {EXAMPLES[mark]}")
    return tuple(name for text in texts for name in expand_items(text))


def _minutes(raw: object) -> Written:
    number = _number(raw)
    if number is None or not 0.0 < number <= MOST_MINUTES:
        raise ValueText(
            f"{_named(raw)} is no time in minutes", hint=f"write it as {EXAMPLES['minutes']}, up to {MOST_MINUTES:g}"
        )
    return Written(number)


def _teardown(raw: object) -> Written:
    if isinstance(raw, int) and not isinstance(raw, bool):
        if not 1 <= raw <= MOST_LEVELS:
            raise ValueText(f"{_named(raw)} is not a level of teardown from 1 to {MOST_LEVELS}")
        return Written(raw)
    ids = [raw] if isinstance(raw, str) else raw
    if not isinstance(ids, list) or not ids or not all(isinstance(each, str) for each in ids):
        raise ValueText(f"ids of steps or a level are wanted, not {_named(raw)}", hint=f"write {EXAMPLES['teardown']}")
    return Written(tuple(dict.fromkeys(ids)))


def _chances(raw: object) -> Written:
    """A table: by symptom a share."""
    if not isinstance(raw, dict):
        raise ValueText("a table of symptoms is wanted", hint=f"write {EXAMPLES['chances']}")
    chances: dict[str, float] = {}
    for symptom, value in raw.items():
        try:
            share = _share(value).value
        except ValueText as error:
            raise ValueText(f"{shown(symptom)}: {error.what}", hint=error.hint) from error
        assert isinstance(share, float)
        chances[symptom] = share
    return Written(chances)


def _points(raw: object) -> Written:
    """One place on a picture, or one for each tip; both coordinates are fractions of the picture."""
    pairs = raw if isinstance(raw, list) and raw and isinstance(raw[0], list) else [raw]
    if not 1 <= len(pairs) <= BOTH_TIPS:
        raise ValueText(f"{len(pairs)} places, and there are two tips", hint=f"write {EXAMPLES['points']}")
    return Written(tuple(_point(pair) for pair in pairs))


def _point(raw: object) -> Point:
    numbers = [_number(part) for part in raw] if isinstance(raw, list) else []
    if len(numbers) != 2 or None in numbers:
        raise ValueText("a place is x and y in fractions of the picture", hint=f"write {EXAMPLES['points']}")
    x, y = (float(number) for number in numbers if number is not None)
    for name, share in (("x", x), ("y", y)):
        if not 0.0 <= share <= 1.0:
            hint = "fractions from 0 to 1: x of its width from the left, y of its height from the top"
            raise ValueText(f"{name} = {share:g} lies outside the picture", hint=hint)
    return x, y


def _file(raw: object) -> Written:
    """The name of a file that lies beside the plan, and nowhere else."""
    text = _text(raw, "file")
    base = text.partition(".")[0].casefold()
    if not text.strip() or not text.isprintable() or len(text) > MOST_NAME or text.startswith("."):
        raise ValueText(f"{shown(text)} is no name of a picture", hint=f"write it as {EXAMPLES['file']}")
    if not text.casefold().endswith(PICTURES):
        raise ValueText(f"{shown(text)} is no name of a picture", hint=f"it ends in {', '.join(PICTURES)}")
    if any(sign in text for sign in "/\\:") or base in DEVICES:
        raise ValueText(f"{shown(text)} leads away from the plan", hint="a picture lies beside its plan: its name only")
    return Written(text)


def _sha256(raw: object) -> Written:
    text = _text(raw, "sha256").casefold()
    if len(text) != 64 or not all(sign in "0123456789abcdef" for sign in text):
        raise ValueText(f"{shown(text)} is no SHA-256", hint=f"write {EXAMPLES['sha256']}")
    return Written(text)


READERS: dict[str, Callable[[object], Written]] = {
    "limit": _limit,
    "target": _target,
    "edge": _edge,
    "tolerance": _tolerance,
    "s": _seconds,
    "share": _share,
    "groups": _groups,
    "names": _names,
    "minutes": _minutes,
    "teardown": _teardown,
    "chances": _chances,
    "points": _points,
    "file": _file,
    "sha256": _sha256,
    "ohm": lambda raw: _with_unit(raw, "ohm", "ohm"),
    "V": lambda raw: _with_unit(raw, "V", "V"),
    "A": lambda raw: _with_unit(raw, "A", "A"),
}
"""By mark: the reader of a key whose struct field carries it."""
OWN_UNIT = ("ohm", "V", "A")
"""Marks whose unit is fixed, whatever the step measures."""


def plain(kind: inspect.Type, raw: object) -> Any:
    """Return a value of a plain TOML type, checked: text, yes or no, a number, one of a few words, a list of texts."""
    if isinstance(kind, inspect.LiteralType | inspect.EnumType):
        known = choices(kind)
        if not isinstance(raw, str) or raw not in known:
            what = shown(raw) if isinstance(raw, str) else _named(raw)
            raise ValueText(f"{what} is none of {listed(known)}", hint=near(str(raw), known))
        return raw if isinstance(kind, inspect.LiteralType) else kind.cls(raw)
    if isinstance(kind, inspect.StrType):
        return _is(raw, str, 'text in quotes, such as "F1"')
    if isinstance(kind, inspect.BoolType):
        return _is(raw, bool, "true or false")
    if isinstance(kind, inspect.IntType):
        return _count(raw)
    number = _number(raw)
    if isinstance(kind, inspect.FloatType) and number is not None and math.isfinite(number):
        return number
    if isinstance(kind, inspect.VarTupleType) and isinstance(kind.item_type, inspect.StrType):
        if not isinstance(raw, list) or not all(isinstance(text, str) for text in raw):
            wrong = raw if not isinstance(raw, list) else next(text for text in raw if not isinstance(text, str))
            raise ValueText(f"a list of texts is wanted, and this is {_named(wrong)}", hint='write ["…", "…"]')
        return tuple(raw)
    raise ValueText(f"{_named(raw)} does not belong here")


def choices(kind: inspect.LiteralType | inspect.EnumType) -> tuple[str, ...]:
    """Return the words that a key may take, in the order of its type."""
    if isinstance(kind, inspect.EnumType):
        return tuple(member.value for member in kind.cls)
    return tuple(str(value) for value in kind.values)


def _is(raw: object, kind: type, what: str) -> object:
    if not isinstance(raw, kind):
        raise ValueText(f"{what} is wanted, not {_named(raw)}")
    return raw


def _count(raw: object) -> int:
    if not isinstance(raw, int) or isinstance(raw, bool):
        raise ValueText(f"a whole number is wanted, not {_named(raw)}")
    if not 1 <= raw <= MOST_COUNT:
        raise ValueText(f"{_named(raw)} is not a count from 1 to {MOST_COUNT}")
    return raw


def _number(raw: object) -> float | None:
    """Return a TOML number as a float, one beyond the floats as an infinity; None for anything else."""
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        return None
    if isinstance(raw, int) and abs(raw) >= _HUGE:
        return math.inf if raw > 0 else -math.inf
    return float(raw)


def _named(raw: object) -> str:
    """Return what TOML calls such a value, with the value itself where it is short."""
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, int | float):
        return f"the number {raw!r}" if isinstance(raw, float) or abs(raw) < _HUGE else "so large a number"
    if isinstance(raw, str):
        return f"the text {shown(raw)}"
    return "a list" if isinstance(raw, list) else "a table" if isinstance(raw, dict) else "a date or time"
