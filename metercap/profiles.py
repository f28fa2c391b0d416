"""Finds meter profiles and plan files, and loads profiles.

A name is looked up in four places, first found first: a path that exists; the user's own `profiles/` in the folder
for settings, so that a meter's accuracy can be added under its name; the checkout's own `profiles/` beside the package
(an editable install reads the files as they are edited); the copy that an installed wheel carries in
`metercap/_profiles`.
"""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from typing import Any, get_type_hints

import msgspec

from metercap import settings
from metercap.errors import FileProblem, PlanError, ProfileError
from metercap.files import open_file
from metercap.gate import storable
from metercap.meter import Accuracy, Hid, MeterProfile, Poll, Serial, impossible
from metercap.spelling import aside
from metercap.wire import decoder, look_up_families, unknown_family
from metercap.wire.own import Build

SCHEMA = 1
"""Version of the profile files this program reads; newer ones are refused."""
LARGEST_BYTES = 1_000_000
DECODERS = "metercap.decoders"
"""Group of entry points in which other packages name decoders that no table can express (`wire.own`)."""
_PACKAGE = Path(__file__).resolve().parent


def folders() -> list[Path]:
    """Return the folders that profiles are looked up in, in order: the user's, the checkout's, then the wheel's."""
    checkout = _PACKAGE.parent
    found = [settings.folder() / "profiles"]
    if (checkout / "pyproject.toml").is_file():
        found.append(checkout / "profiles")
    found.append(_PACKAGE / "_profiles")
    return [folder for folder in found if folder.is_dir()]


def meter_names() -> list[str]:
    """Return the names of all meter profiles at hand, sorted."""
    return _names("meters")


def plan_names() -> list[str]:
    """Return the names of all plans at hand, sorted."""
    return _names("plans")


def find_plan(name_or_path: str) -> Path:
    """Return the plan file of a name or path. Raises PlanError when there is none."""
    return _find(name_or_path, "plans", "plan", PlanError)


def find_meter(name_or_path: str) -> MeterProfile:
    """Return the checked profile of a name or path. Raises ProfileError: not found, unreadable, or all its problems."""
    return load_meter(meter_path(name_or_path))


def meter_path(name_or_path: str) -> Path:
    """Return the profile file of a name or path. Raises ProfileError when there is none."""
    return _find(name_or_path, "meters", "meter profile", ProfileError)


def load_meter(path: Path) -> MeterProfile:
    """Read and check one profile file. Raises ProfileError naming file and key of every problem found."""
    where = str(path)
    data = _read(path)
    schema = data.get("schema", SCHEMA)
    if isinstance(schema, int) and schema > SCHEMA:
        raise ProfileError(
            f"schema {schema} is newer than this program reads ({SCHEMA})", where=where, hint="update metercap"
        )
    problems: list[str] = []
    if isinstance(data.get("like"), str):
        data = _on_top_of(data, where)
    values = _section(MeterProfile, data, "", problems)
    if isinstance(data.get("family"), str) and (what := unknown_family(data["family"])):
        problems.append(what)
    if problems:
        raise ProfileError("; ".join(problems), where=where, hint=_HINT)
    profile = MeterProfile(**values)
    problems += impossible(profile)
    problems += _texts(profile)
    if profile.schema != SCHEMA:
        problems.append(f"schema: must be {SCHEMA}")
    if problems:
        raise ProfileError("; ".join(problems), where=where, hint=_HINT)
    try:
        decoder(profile)
    except ProfileError as error:
        raise ProfileError(error.what, where=where, hint=error.hint) from error
    return profile


def _on_top_of(data: dict[str, Any], where: str) -> dict[str, Any]:
    """Return a relative's keys on top of those of the profile it is like; tables are merged row by row.

    Accuracy is not inherited: it belongs to one meter.
    """
    base = _read(meter_path(data["like"]))
    if "like" in base:
        raise ProfileError(f"like: {data['like']!r} is itself like another", where=where, hint="name the first one")
    merged = {key: value for key, value in base.items() if key not in ("accuracy", "title")} | data
    for key in ("tables", "serial", "hid", "conversions_per_s_by"):
        if isinstance(base.get(key), dict) and isinstance(data.get(key), dict):
            merged[key] = base[key] | data[key]
    for name, rows in base.get("tables", {}).items():
        own = data.get("tables")
        if isinstance(own, dict) and isinstance(own.get(name), dict) and isinstance(rows, dict):
            merged["tables"][name] = rows | own[name]
    return merged


def _from_other_packages(family: str) -> Build | None:
    """Return the decoder that an installed package brings for a family; None when none does."""
    from importlib.metadata import entry_points

    for point in entry_points(group=DECODERS, name=family):
        try:
            build: Build = point.load()
        except Exception as error:  # whatever the other package does when it is imported
            raise ProfileError(
                f"the decoder of family {family!r} cannot be loaded: {error!r}", hint=f"it comes from {point.value}"
            ) from error
        return build
    return None


look_up_families(_from_other_packages)

_HINT = "compare with a shipped profile of the same family"


def is_plan(name_or_path: str) -> bool:
    """Return whether a name or path is that of a plan, be it one that can be used or not."""
    try:
        find_plan(name_or_path)
    except FileProblem:
        return False
    return True


def _names(kind: str) -> list[str]:
    found = {path.stem: None for folder in folders() for path in sorted((folder / kind).glob("*.toml"))}
    return sorted(found)


def _find(name_or_path: str, kind: str, noun: str, error: type[FileProblem]) -> Path:
    if "\0" in name_or_path or not name_or_path.strip():
        raise error(f"{name_or_path!r} names no {noun}", hint=_known(kind))
    path = Path(name_or_path)
    try:
        if path.is_file():
            return path
        looks_like_path = path.suffix == ".toml" or os.sep in name_or_path or "/" in name_or_path
        if looks_like_path or path.is_dir():
            raise error(f"there is no {noun} file here", where=name_or_path, hint=_known(kind))
        for folder in folders():
            inside = folder / kind / f"{name_or_path}.toml"
            if inside.is_file():
                return inside
    except OSError as trouble:
        raise error(f"cannot be looked up: {trouble.strerror}", where=name_or_path[:200]) from trouble
    near = aside(name_or_path, _names(kind))
    raise error(f"there is no {noun} {storable(name_or_path)!r}{near}", hint=_known(kind))


def _known(kind: str) -> str:
    names = _names(kind)
    return f"one of {', '.join(names)}, or the path of a file" if names else "the path of a file"


def _read(path: Path) -> dict[str, Any]:
    where = str(path)
    try:
        with open_file(path) as file:
            raw = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise ProfileError(f"cannot be read: {error.strerror}", where=where) from error
    if len(raw) > LARGEST_BYTES:
        raise ProfileError(f"is larger than {LARGEST_BYTES} bytes", where=where, hint="is it a profile?")
    try:
        return tomllib.loads(raw.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise ProfileError(f"is not UTF-8 (byte {error.start})", where=where, hint="save it as UTF-8") from error
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise ProfileError(f"is not TOML: {error}", where=where, hint="mend the line it names") from error


_NESTED: dict[str, type[msgspec.Struct]] = {"serial": Serial, "poll": Poll, "hid": Hid}


def _section(model: type[msgspec.Struct], data: dict[str, Any], at: str, problems: list[str]) -> dict[str, Any]:
    """Return the values of one table, converted key by key so that every problem is found and named."""
    hints = get_type_hints(model)
    required = [field.name for field in msgspec.structs.fields(model) if field.required]
    values: dict[str, Any] = {}
    problems += [f"{at}{name}: is missing" for name in required if name not in data]
    for key, value in data.items():
        nested = _NESTED.get(key) if model is MeterProfile else None
        if key not in hints:
            problems.append(f"{at}{key}: no such key{aside(key, hints)}")
        elif nested is not None and isinstance(value, dict):
            inside: list[str] = []
            part = _section(nested, value, f"{key}.", inside)
            problems += inside
            if not inside:
                values[key] = nested(**part)
        elif key == "accuracy" and isinstance(value, list) and all(isinstance(row, dict) for row in value):
            rows = []
            for n, row in enumerate(value, 1):
                inside = []
                part = _section(Accuracy, row, f"accuracy, row {n}: ", inside)
                problems += inside
                rows += [] if inside else [Accuracy(**part)]
            values[key] = tuple(rows)
        else:
            try:
                values[key] = msgspec.convert(value, hints[key])
            except msgspec.ValidationError as error:
                problems.append(f"{at}{key}{_plain(str(error))}")
    return values


def _plain(text: str) -> str:
    """Return msgspec's message as "[key]: what", without its path notation."""
    what, _, path = text.partition(" - at `")
    inner = path.rstrip("`").removeprefix("$").replace("[...]", "")
    return f"{inner}: {what[:1].lower()}{what[1:]}"


def _texts(profile: MeterProfile) -> list[str]:
    """Return what is wrong with texts."""
    problems = []
    if profile.poll is not None and not (profile.poll.send.isascii() and profile.poll.send):
        problems.append("poll.send: must be ASCII text, and not empty")
    problems += [f"hid.set_up: {one!r} is no report in hex" for one in profile.hid.set_up if not _is_hex(one)]
    if not profile.name.strip() or not profile.name.isprintable():
        problems.append("name: must be printable, and not empty")
    return problems


def _is_hex(text: str) -> bool:
    try:
        return bool(bytes.fromhex(text))
    except ValueError:
        return False
