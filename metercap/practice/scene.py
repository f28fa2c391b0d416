"""The TOML description of a practice bench: meter, board, hands, and the truth about every step's items.

    schema = 2
    title = "GC-8, unit B, in for repair"
    unit = "B"
    model = "GC-8"
    seed = 7

    [meter]                 keys of `MeterSpec`
    [hands]                 keys of `Habits`
    [[part]]                one or more names, and what they are
    names = "F1..F4"
    kind = "fuse"
    ohm = 0.12
    [rows]                  steps whose items are walked as a row; the technician keeps a count of their own
    there fuses = "F1..F12"
    [truth.fuses]           a step's id; items or lists of items, and the verdict (or verdicts) that is true
    "F1..F12" = "pass"      single names override lists
    F9 = "fail"

One scene describes one unit. Files of a newer schema are refused with both versions named; unknown keys are
named with their line and the nearest right spelling.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from random import Random
from typing import Any, Literal

import msgspec

from metercap.errors import SceneError, ValueText
from metercap.practice import moving, parts
from metercap.practice.board import Board
from metercap.practice.dials import DIAL
from metercap.practice.frames import FAMILIES
from metercap.practice.habits import Habits
from metercap.practice.meter import MeterSpec
from metercap.quantity import expand_items
from metercap.records import VerdictKind
from metercap.spelling import near

SCHEMA = 2
"""The newest scene schema that this program reads. 2 added what the meter, its line and the hands can do beside 1."""


class _Spec(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="kind"):
    names: str

    def build(self, rng: Random) -> parts.Part:
        raise NotImplementedError


class Fuse(_Spec, frozen=True, tag="fuse"):
    """A fuse of `ohm` cold; `blown` opens it, and `beside_ohm` is the circuit around it, seen when it is
    blown."""

    ohm: float = 0.1
    blown: bool = False
    beside_ohm: float | None = None

    def build(self, rng: Random) -> parts.Part:
        """Return the path that the tips find."""
        beside = parts.OPEN_OHM if self.beside_ohm is None else self.beside_ohm
        if self.blown:
            return parts.Path(beside)
        return parts.Path(1.0 / (1.0 / self.ohm + 1.0 / beside))


class Resistor(_Spec, frozen=True, tag="resistor"):
    """A path of `ohm`; `volt` is a small voltage left along it, as thermal junctions or a second supply
    leave."""

    ohm: float
    volt: float = 0.0

    def build(self, rng: Random) -> parts.Part:
        """Return the path."""
        return parts.Path(self.ohm, self.volt)


class SourceSpec(_Spec, frozen=True, tag="source"):
    """A cell, a live reference source, or a supply rail. `reversed` swaps its poles; `powered` false is a
    dead rail.

    A `rail` is switched with the unit's supply. `dead_ohm` is what a dead rail shows in ohms mode; None is
    open.
    """

    volt: float
    ohm: float = 1.0
    volt_ac: float = 0.0
    reversed: bool = False
    rail: bool = False
    powered: bool = True
    dead_ohm: float | None = None

    def build(self, rng: Random) -> parts.Part:
        """Return the source."""
        volt = -self.volt if self.reversed else self.volt
        dead = parts.OPEN_OHM if self.dead_ohm is None else self.dead_ohm
        source = parts.Supply(volt, self.ohm, volt_ac=self.volt_ac, dead_ohm=dead)
        source.alive, source.rail = self.powered, self.rail
        return source


class Capacitor(_Spec, frozen=True, tag="capacitor"):
    """A capacitor of `farad` at `volt` when the session begins; `bleed_ohm` discharges it."""

    farad: float
    volt: float = 0.0
    esr_ohm: float = 0.5
    bleed_ohm: float | None = None

    def build(self, rng: Random) -> parts.Part:
        """Return the capacitor."""
        return parts.Capacitor(self.farad, self.volt, self.esr_ohm, self.bleed_ohm)


class Trimmer(_Spec, frozen=True, tag="trimmer"):
    """A trimmer of `ohm` at `position` (0 … 1); the other keys are those of `parts.Trimmer`."""

    ohm: float
    position: float
    turns: float = 25.0
    backlash_turns: float = 0.0
    noise_ohm: float = 0.0
    dirty_from: float = 0.0
    dirty_to: float = 0.0
    dirty_ohm: float = 0.0
    dirty_open: float = 0.0
    end_ohm: float = 0.0

    def build(self, rng: Random) -> parts.Part:
        """Return the trimmer."""
        keys = {key: value for key, value in msgspec.structs.asdict(self).items() if key != "names"}
        return parts.Trimmer(rng=rng, **keys)


class Switch(_Spec, frozen=True, tag="switch"):
    """A switch, `form` "no" or "nc"; the other keys are those of `moving.Switch`."""

    form: Literal["no", "nc"] = "no"
    ohm: float = 0.05
    act_at: float = 0.4
    gap_from: float = 0.0
    gap_to: float = 0.0
    wear: float = 0.0
    after_clean: float = 0.1
    cleanings: int = 1
    bounce_s: float = 0.003

    def build(self, rng: Random) -> parts.Part:
        """Return the switch."""
        keys = {key: value for key, value in msgspec.structs.asdict(self).items() if key != "names"}
        return moving.Switch(rng=rng, **keys)


class Connector(_Spec, frozen=True, tag="connector"):
    """A path through a connector that drops out `drops_per_s` times a second, `drop_s` long, while flexed."""

    ohm: float = 0.1
    drops_per_s: float = 0.0
    drop_s: float = 0.05

    def build(self, rng: Random) -> parts.Part:
        """Return the connector."""
        return moving.Connector(self.ohm, rng, drops_per_s=self.drops_per_s, drop_s=self.drop_s)


PartSpec = Fuse | Resistor | SourceSpec | Capacitor | Trimmer | Switch | Connector

Truth = dict[str, dict[str, frozenset[VerdictKind]]]
"""Per step id and item, the verdicts that are true of it."""


class Mishap(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Something that goes wrong with the meter once, as the tip first touches `item`, or at `at_s`.

    hold, rel: somebody presses the key. dial: it stands on `quantity`. low battery, silent (nothing is sent
    for `for_s`).
    """

    kind: Literal["hold", "rel", "dial", "low battery", "silent"]
    item: str = ""
    at_s: float | None = None
    quantity: str = ""
    for_s: float = 8.0


class Scene(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A practice bench. `seed` drives every random choice; `truth` is as written in the file (see
    `verdicts`).

    `rows` names the items of a step in the order the technician walks them; without it the truth's order is
    natural.
    """

    schema: int
    title: str
    unit: str
    part: list[PartSpec]
    model: str = ""
    known_good: bool = False
    seed: int = 1
    plan: str = ""
    meter: MeterSpec = MeterSpec()
    hands: Habits = Habits()
    truth: dict[str, dict[str, VerdictKind | list[VerdictKind]]] = {}
    rows: dict[str, str] = {}
    answers: dict[str, Literal["yes", "no"]] = {}
    alias: dict[str, str] = {}
    mishap: list[Mishap] = []
    starts: float = 1.0
    starts_fixed: float = 1.0
    spare: list[SourceSpec] = []
    """New cells on the bench, under the names of those they replace."""

    def board(self, rng: Random) -> Board:
        """Return a fresh board; every part draws from `rng`."""
        built = {name: spec.build(rng) for spec in self.part for name in expand_items(spec.names)}
        for name, part in self.alias.items():
            built[name] = built[part]
        spares = {name: spec.build(rng) for spec in self.spare for name in expand_items(spec.names)}
        return Board(built, rng, starts=self.starts, starts_fixed=self.starts_fixed, spares=spares)

    def verdicts(self) -> Truth:
        """Return the truth with lists of items expanded; a single name overrides a list."""
        truth: Truth = {}
        for step, told in self.truth.items():
            items = truth[step] = {}
            for names, verdict in sorted(told.items(), key=lambda pair: len(expand_items(pair[0])) == 1):
                kinds = frozenset([verdict] if isinstance(verdict, VerdictKind) else verdict)
                items.update(dict.fromkeys(expand_items(names), kinds))
        return truth


def scene_names() -> list[str]:
    """Names of the scenes that come with the program."""
    return sorted(path.stem for path in _shelf().glob("*.toml"))


def find_scene(name_or_path: str) -> Path:
    """Return the file of a scene: a path that exists, else a scene that comes with the program.

    Raises SceneError, naming the scenes there are.
    """
    path = Path(name_or_path)
    if path.is_file():
        return path
    shelf = _shelf() / f"{name_or_path}.toml"
    if shelf.is_file() and path.name == name_or_path:
        return shelf
    names = scene_names()
    hint = near(name_or_path, names) or f"a path, or one of {', '.join(names)}"
    raise SceneError(f"there is no scene {name_or_path!r}", hint=hint)


def load_scene(name_or_path: str) -> Scene:
    """Read and check a scene. Raises SceneError with file, line and field."""
    path = find_scene(name_or_path)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SceneError(f"the scene cannot be read: {error}", where=str(path)) from error
    return parse_scene(text, where=str(path))


def parse_scene(text: str, where: str = "scene") -> Scene:
    """Return the scene that a TOML text describes. Raises SceneError with line and field."""
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise SceneError(f"not TOML: {error}", where=where) from error
    schema = data.get("schema")
    if not isinstance(schema, int) or isinstance(schema, bool) or schema < 1:
        raise SceneError("the scene says no schema number", where=where, hint=f"write: schema = {SCHEMA}")
    if schema > SCHEMA:
        raise SceneError(
            f"the scene is of schema {schema}, this program reads up to {SCHEMA}",
            where=where,
            hint="use a newer metercap",
        )
    try:
        scene = msgspec.convert(data, Scene)
    except msgspec.ValidationError as error:
        raise _explained(error, text, where) from error
    _check(scene, where)
    return scene


def _shelf() -> Path:
    return Path(__file__).with_name("scenes")


def _explained(error: msgspec.ValidationError, text: str, where: str) -> SceneError:
    message = str(error)
    what, _, field = message.partition(" - at `$")
    field = field.rstrip("`").lstrip(".")
    hint = ""
    if unknown := re.search(r"unknown field `([^`]+)`", message):
        key = unknown[1]
        what = f"unknown key {key!r}"
        line = _line_of(text, key)
        where = f"{where}, line {line}" if line else where
        hint = near(key, _known_keys())
    return SceneError(what, where=f"{where}, {field}" if field else where, hint=hint)


def _line_of(text: str, key: str) -> int | None:
    pattern = re.compile(rf"\s*\[*\s*(?:[\w.-]+\.)?[\"']?{re.escape(key)}[\"']?\s*(=|\])")
    return next((n for n, line in enumerate(text.splitlines(), 1) if pattern.match(line)), None)


def _known_keys() -> list[str]:
    kinds: tuple[Any, ...] = (Scene, MeterSpec, Habits, Mishap, *PartSpec.__args__)
    return sorted({field.name for kind in kinds for field in msgspec.structs.fields(kind)})


def _check(scene: Scene, where: str) -> None:
    meter = scene.meter
    if meter.family not in FAMILIES:
        raise SceneError(
            f"unknown family {meter.family!r}",
            where=f"{where}, meter.family",
            hint=f"one of {', '.join(FAMILIES)}",
        )
    if meter.dial not in DIAL:
        raise SceneError(f"the practice meter has no {meter.dial.value}", where=f"{where}, meter.dial")
    for name, low, value in (
        ("per_s", 0.0, meter.per_s),
        ("repeats", 0.5, meter.repeats),
        ("counts", 999.0, meter.counts),
        ("dwell", 0.5, meter.dwell),
        ("burst", 0.5, meter.burst),
    ):
        if not value > low:
            raise SceneError(f"{name} is {value}", where=f"{where}, meter.{name}", hint=f"above {low:g}")
    if not 0.0 <= meter.smooth < 1.0:
        raise SceneError(f"smooth is {meter.smooth}", where=f"{where}, meter.smooth", hint="from 0 to below 1")
    for name in ("stated_per_s", "jitter_s", "stalls_per_min", "stall_s"):
        if not 0.0 <= getattr(meter, name) < float("inf"):
            raise SceneError(f"{name} is {getattr(meter, name)}", where=f"{where}, meter.{name}", hint="not below 0")
    seen: set[str] = set()
    for n, spec in enumerate(scene.part):
        place = f"{where}, part[{n}].names"
        try:
            names = expand_items(spec.names)
        except ValueText as error:
            raise SceneError(error.what, where=place, hint=error.hint) from error
        if again := seen.intersection(names):
            raise SceneError(f"{sorted(again)[0]!r} is described twice", where=place)
        seen.update(names)
    for name, part in scene.alias.items():
        if part not in seen:
            raise SceneError(f"there is no part {part!r}", where=f"{where}, alias.{name}")
    told = [(f"truth.{step}", items) for step, truth in scene.truth.items() for items in truth]
    for field, items in [*told, *((f"rows.{step}", items) for step, items in scene.rows.items())]:
        try:
            expand_items(items)
        except ValueText as error:
            raise SceneError(error.what, where=f"{where}, {field}", hint=error.hint) from error
