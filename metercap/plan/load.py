"""Plan files: TOML text to a `Plan` in SI, with every mistake named at once. Pure: text in.

What a file may hold is read off the step structs (`fields`), how a value is written off their marks (`values`), and
where it stands off the text (`places`). Nothing is guessed: a value without unit, a key that nobody reads, an item
named twice are errors, each with file, line, path and the nearest right spelling.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from typing import Any

import msgspec
from msgspec import inspect

from metercap.errors import ValueText
from metercap.plan.fields import SHARE, UNIT, Key, hidden_keys, holds_items, keys_of, step_kinds
from metercap.plan.items import fuse_limit, read_items
from metercap.plan.model import TOKEN_WORDS, Plan, Step
from metercap.plan.pictures import read_pictures
from metercap.plan.places import Path, Places, TooDeep, find_places
from metercap.plan.problems import Problem, listed, plan_error, spelled
from metercap.plan.values import EXAMPLES, OWN_UNIT, READERS, plain
from metercap.plankeys import Item, Picture, StepBase, SweepStep, WalkStep
from metercap.plankeys.walk import out_of_order
from metercap.quantity import Quantity
from metercap.quantity.numbers import MAX_TEXT, shown
from metercap.spelling import did_you_mean, near, nearest
from metercap.steps.tokens import STEP_ID

LARGEST = 2**20
"""Most characters of a plan file."""
MOST_STORED = 2**19
"""Most bytes of a plan as JSON: a journal's first record holds it whole, in one line of at most a mebibyte."""
MOST_KEPT = 1000
"""Problems that are kept; beyond, a hostile file would only fill the memory."""
TABLES = ("plan", "step", "picture")
MOST_STEPS = 1000
MOST_ITEMS = 20_000
MOST_TOKENS = 3
RESERVED = ("unplanned", STEP_ID)
"""Step ids that a session gives itself."""
ITEM_LIMITS = ("min", "max", "rating", "type", "both_ways")
"""Keys of an item that only a step with limits of its own heeds."""
ORDERED = (
    ("min", "max"),
    ("warn", "max"),
    ("max", "open_above"),
    ("never_below", "target"),
    ("target", "never_above"),
    ("never_below", "never_above"),
)
"""Pairs of keys of which the first must not be the higher."""


class Examined(msgspec.Struct, frozen=True):
    """What a text holds: the plan, or None and its problems (the first thousand of `count`); where its keys stand."""

    plan: Plan | None
    problems: tuple[Problem, ...]
    places: Places
    count: int


def load_plan(text: str, where: str) -> Plan:
    """Return the plan that TOML `text` holds; `where` names the file in errors.

    Raises PlanError with every problem found, each naming file, line, path and, where there is one, the nearest right
    spelling.
    """
    found = examine(text)
    if found.plan is None:
        raise plan_error(where, found.problems, found.places, found.count)
    return found.plan


def examine(text: str) -> Examined:
    """Return the plan that TOML `text` holds, or every problem that keeps it from being one."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    if len(text) > LARGEST:
        return _unread(1, f"more than {LARGEST} characters", "is it a plan?")
    try:
        places = find_places(text)
        data = tomllib.loads(text)
    except TooDeep as error:
        return _unread(error.line, "nested too deeply", "a plan needs no more than five levels")
    except RecursionError:
        return _unread(1, "nested too deeply", "a plan needs no more than five levels")
    except ValueError as error:
        return _unread(*_toml_error(str(error), text), "mend the TOML there")
    reader = _Reader()
    plan = reader.plan(data)
    return Examined(plan, tuple(reader.problems), places, reader.count)


def _unread(line: int, what: str, hint: str) -> Examined:
    return Examined(None, (Problem("error", ("",), "", what, hint),), Places({("",): line}), 1)


def _toml_error(message: str, text: str) -> tuple[int, str]:
    """Return line and words of an error of tomllib, which puts the place behind the words."""
    match = re.fullmatch(r"(?s)(.*) \(at (?:line ([0-9]+), column [0-9]+|end of document)\)", message)
    if match is None:
        return 1, f"not TOML: {shown(message)[1:-1]}"
    line = int(match[2]) if match[2] else text.rstrip("\n").count("\n") + 1
    what = match[1] if match[1].isprintable() else shown(match[1])[1:-1]
    return line, f"not TOML: {what[:1].lower()}{what[1:]}"


class _Reader:
    """Reads the parsed data once and gathers `problems`."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []
        self.count = 0
        """How many problems there are, those not kept included."""
        self._ids: dict[int, str] = {}
        self._units: list[tuple[Path, str]] = []
        """Units written in the step being read, with their places."""
        self._judges_items = False
        """True while a kind is read whose items may have limits of their own."""
        self._nulled = False
        self._room = MOST_ITEMS

    def error(self, path: Path, what: str, hint: str = "") -> None:
        """Remember a problem."""
        self.count += 1
        if self.count <= MOST_KEPT:
            self.problems.append(Problem("error", path, spelled(path, self._ids), what, hint))

    def refused(self, path: Path, error: ValueText) -> None:
        """Remember what a reader of values refused."""
        self.error(path, error.what, error.hint)

    # --- the whole file

    def plan(self, data: dict[str, Any]) -> Plan | None:
        """Return the plan, or None when there are problems."""
        meant = {key: nearest(key, TABLES) for key in data if key not in TABLES}
        for key, name in meant.items():
            self.error((key,), "no such table", did_you_mean(name) or "a plan holds [plan], [[step]] and [[picture]]")
        head = data.get("plan")
        if not isinstance(head, dict):
            what = "missing" if head is None else "a table is wanted"
            self.error(("plan",), what, 'write [plan] with a title = "…" under it')
            head = {"title": ""}
        values = self._table(Plan, head, ("plan",))
        self._tokens(values.get("tokens", {}))
        raw = data.get("step")
        if not isinstance(raw, list) or not raw:
            if "step" not in meant.values():
                self.error(("step",), "no steps", "write [[step]], one for each step")
            raw = []
        if len(raw) > MOST_STEPS:
            self.error(("step",), f"more than {MOST_STEPS} steps", "make several plans")
            raw = raw[:MOST_STEPS]
        for n, step in enumerate(raw):
            if isinstance(step, dict) and isinstance(step.get("id"), str):
                self._ids[n] = step["id"][:MAX_TEXT]
        steps = [self._step(step, n) for n, step in enumerate(raw)]
        self._unique_ids(raw)
        pictures = self._pictures(data.get("picture", []), [step for step in steps if step is not None])
        if self.problems:
            return None
        plan = Plan(steps=tuple(step for step in steps if step is not None), pictures=pictures, **values)
        size = len(msgspec.json.encode(plan))
        if size > MOST_STORED:
            what = f"{size} bytes as a journal stores it, and at most {MOST_STORED} fit its first record"
            self.error(("plan",), what, "make several plans")
            return None
        return plan

    def _unique_ids(self, raw: list[Any]) -> None:
        seen: dict[str, int] = {}
        for n, name in self._ids.items():
            path: Path = ("step", n, "id")
            if not isinstance(raw[n], dict):
                continue
            if not name or not all(c.isalnum() or c in "-_." for c in name) or len(raw[n]["id"]) >= MAX_TEXT:
                self.error(path, f"{shown(name)} is no id", "letters, digits, - _ and . only, at most 63 of them")
            elif name in RESERVED:
                self.error(path, f"{shown(name)} is a word of metercap's own", "take another id")
            elif name.casefold() in seen:
                self.error(path, f"{shown(name)} is also the id of step {seen[name.casefold()] + 1}", "take another id")
            seen.setdefault(name.casefold(), n)

    def _pictures(self, raw: object, steps: list[Step]) -> tuple[Picture, ...]:
        whole = len(steps) == len(self._ids)  # else an item may well stand in a step with a mistake of its own
        return read_pictures(raw, steps if whole else None, self._table, self.error)

    def _tokens(self, tokens: dict[str, float]) -> None:
        if len(tokens) > MOST_TOKENS:
            self.error(("plan", "tokens"), f"{len(tokens)} tokens, and at most {MOST_TOKENS} can be told apart")
        for word in tokens:
            if word not in TOKEN_WORDS:
                hint = near(word, TOKEN_WORDS) or f"one of {listed(TOKEN_WORDS)}"
                self.error(("plan", "tokens", word), f"{shown(word)} is no word", hint)

    # --- one step

    def _step(self, raw: object, n: int) -> Step | None:
        path: Path = ("step", n)
        if not isinstance(raw, dict):
            self.error(path, "a table is wanted", "write [[step]] and its keys under it")
            return None
        before = self.count
        kind, struct = self._kind(raw, path)
        if struct is None:
            return None
        self._units = []
        limits = keys_of(struct)
        self._judges_items = "max" in limits and limits["max"].mark == "limit"
        values = self._table(struct, {key: value for key, value in raw.items() if key != "kind"}, path)
        self._settle_unit(struct, values, path)
        self._in_order(struct, values, path)
        self._nulled = self._nulled or kind == "zero"
        if self.count > before:
            return None
        step: Step = struct(**values)  # type: ignore[assignment]
        self._unique_names(step, path)
        self._named(step, path)
        return step

    def _kind(self, raw: dict[str, Any], path: Path) -> tuple[str, type[StepBase] | None]:
        """Return the step's kind; of a misspelt one what it was meant to be, so that its keys are checked as well."""
        kinds, kind = step_kinds(), raw.get("kind")
        if isinstance(kind, str) and kind in kinds:
            return kind, kinds[kind]
        what = "missing" if kind is None else f"{shown(str(kind))} is no kind of step"
        meant = nearest(str(kind), kinds)
        self.error((*path, "kind"), what, did_you_mean(meant) or f"one of {listed(kinds)}")
        return meant, kinds.get(meant)

    def _settle_unit(self, struct: type[StepBase], values: dict[str, Any], path: Path) -> None:
        """All limits of a step share a unit, which fits its quantity; the step remembers it."""
        if UNIT not in hidden_keys(struct):
            return
        quantity: Quantity | None = values.get("quantity")
        if quantity is not None:
            wanted, why = quantity.unit, f"quantity {quantity}"
        elif self._units:
            wanted = self._units[0][1]
            why = f"{spelled(self._units[0][0][2:], {})} is in {wanted}"
        else:
            return
        for place, unit in self._units:
            if unit != wanted:
                self.error(place, f"in {unit}, but {why}", f"all limits of a step are in one unit, here {wanted}")
        values[UNIT] = wanted

    def _in_order(self, struct: type[msgspec.Struct], values: dict[str, Any], path: Path) -> None:
        """Pairs of limits must not be the wrong way round; one of them may be the default."""
        keys = keys_of(struct)
        for low, high in ORDERED:
            if (low in values or high in values) and low in keys and high in keys:
                one, other = values.get(low, keys[low].default), values.get(high, keys[high].default)
                if isinstance(one, float) and isinstance(other, float) and one > other:
                    what = (
                        f"above {high}" if high in values else f"above {high}, which is {other:g} unless you write it"
                    )
                    place, what = (low, what) if low in values else (high, f"below {low}, which is {one:g}")
                    self.error((*path, place), what, "are they the wrong way round?")

    def _unique_names(self, step: StepBase, path: Path) -> None:
        """The names that end with verdicts: each once, and fit to be said, shown and typed."""
        key = next((name for name in ("items", "points") if hasattr(step, name)), "id")
        seen: set[str] = set()
        for name in step.item_names:
            if name.casefold() in seen:
                what = "is the step's own id, too" if name == step.id else "is given twice"
                self.error((*path, key), f"the item {shown(name)} {what}", "name each once")
            if name != step.id and (not name.strip() or not name.isprintable() or len(name) > MAX_TEXT):
                what = f"{shown(name)} cannot be the name of an item"
                self.error((*path, key), what, f"printable, at most {MAX_TEXT} characters")
            seen.add(name.casefold())

    def _named(self, step: StepBase, path: Path) -> None:
        """The order and the groups of items: of this step, each item once, groups of neighbours in that order."""
        if isinstance(step, WalkStep):
            self._of_step(step, step.order, (*path, "order"))
        if not isinstance(step, SweepStep) or not step.clusters:
            return
        place = (*path, "clusters")
        self._of_step(step, [name for group in step.clusters for name in group], place)
        apart = out_of_order(step.items, step.clusters, step.order)
        if apart:
            what = f"the group of {shown(apart)} is no run of items in {'the order' if step.order else 'natural order'}"
            self.error(place, what, "items are probed in natural order, F1, F2, F10, or as the key order says")

    def _of_step(self, step: WalkStep, named: Sequence[str], place: Path) -> None:
        names = [item.name for item in step.items]
        seen: set[str] = set()
        for name in named:
            if name not in names:
                self.error(place, f"no item {shown(name)} in this step", near(name, names))
            elif name in seen:
                self.error(place, f"the item {shown(name)} is given twice", "name each once")
            seen.add(name)

    # --- one table

    def _table(self, struct: type[msgspec.Struct], raw: dict[str, Any], path: Path) -> dict[str, Any]:
        """Return the stored values of a table's keys, as far as they are right."""
        keys, hidden = keys_of(struct), hidden_keys(struct)
        values: dict[str, Any] = {}
        for name, value in raw.items():
            key = keys.get(name)
            if key is None:
                self._unknown(name, keys, hidden, path)
                continue
            try:
                values |= self._value(key, value, (*path, name))
            except ValueText as error:
                self.refused((*path, name), error)
        for key in keys.values():
            if key.required and key.name not in raw:
                example = EXAMPLES.get(key.mark)
                self.error((*path, key.name), "missing", f"write {key.name} = {example}" if example else "")
        return values

    def _unknown(self, name: str, keys: dict[str, Key], hidden: frozenset[str], path: Path) -> None:
        if name in hidden and name not in ("steps", "pictures"):
            hint = "it follows from the limits" if name == UNIT else f"write {name.removesuffix(SHARE)}"
            self.error((*path, name), "not written in a plan", hint)
        else:
            hint = near(name, keys) or f"the keys here are {', '.join(keys)}"
            self.error((*path, name), "no such key", hint)

    def _value(self, key: Key, raw: object, path: Path) -> dict[str, Any]:
        """Return what one key stores, by name. Raises ValueText for a value that is wrong as a whole."""
        if holds_items(key):
            items = read_items(raw, path, self._item, self.refused)
            self._room -= len(items)
            if self._room < 0:
                raise ValueText(f"more than {MOST_ITEMS} items in the plan", hint="make several plans")
            return {key.name: items}
        if isinstance(key.type, inspect.DictType) and not key.mark:
            return {key.name: self._named_values(key.type, raw, path)}
        if not key.mark:
            return {key.name: plain(key.type, raw)}
        written = READERS[key.mark](raw)
        if written.unit and key.mark not in OWN_UNIT:
            self._units.append((path, written.unit))
        return {key.name + (SHARE if written.share else ""): written.value}

    def _item(self, raw: dict[str, Any], path: Path) -> dict[str, Any]:
        """Return the stored values of one item's table, the limit of a fuse filled in."""
        before = self.count
        if not self._judges_items:
            for name in ITEM_LIMITS:
                if name in raw:
                    self.error((*path, name), "no item of this kind of step has it", "it belongs to sweep and check")
        values = self._table(Item, raw, path)
        self._in_order(Item, values, path)
        if self.count > before:
            return values
        limit = fuse_limit(values, nulled=self._nulled)
        if limit is not None:
            self._units.append(((*path, "rating"), "ohm"))
            values["max"] = limit
        return values

    def _named_values(self, kind: inspect.DictType, raw: object, path: Path) -> dict[str, Any]:
        if not isinstance(raw, dict):
            raise ValueText("a table is wanted", hint="write { NAME = … }")
        mark = kind.value_type.extra["as"] if isinstance(kind.value_type, inspect.Metadata) else ""  # type: ignore[index]
        out = {}
        for name, value in raw.items():
            try:
                out[name] = READERS[mark](value).value
            except ValueText as error:
                self.refused((*path, name), error)
        return out
