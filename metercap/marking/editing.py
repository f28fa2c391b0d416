"""Writes marks into a plan's text: keys are put, replaced or taken out line by line, and no other byte changes.

A library that parses and prints TOML again was tried and left: it does not give back a text whose `[[picture]]` tables
stand apart, and it puts a new key below the comments that belong to the next table. Here the lines of keys come from
`plan.places` and where a value ends from the parser itself; what was written is read back before it is returned.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Iterable, Sequence
from typing import Any

from metercap.errors import PlanError
from metercap.marking.model import DIGITS, Marks, Shot, Tips
from metercap.plan.new import quoted
from metercap.plan.places import Path, Places, TooDeep, find_places
from metercap.quantity.names import compressed

MOST_LINES = 2000
"""So many lines has a value at most that is replaced here."""
_COMMENT_OR_STRING = re.compile(r""""(?:[^"\\\n]|\\.)*"|'[^'\n]*'|(#[^\n]*)""")
_INLINE_AT = re.compile(r"""\s*(?:at|"at"|'at')\s*=""")


def marked(text: str, marks: Marks, where: str = "the plan") -> str:
    """Return the plan's text with `marks` in it. PlanError where the text gives keys no lines of their own.

    `text` must be TOML; line ends, a byte order mark and everything that is no mark stay as they are.
    """
    before = _data(text, where)
    lines = _Lines(text, where)
    for step, order in marks.orders.items():
        lines.set_of_step(before, step, "order", _names(order))
    for step, groups in marks.clusters.items():
        lines.set_of_step(before, step, "clusters", _groups(groups))
    old = before.get("picture", [])
    for n, shot in enumerate(marks.shots):
        if n < len(old):
            lines.set_shot(n, old[n], shot)
        else:
            lines.new_shot(shot)
    out = lines.text()
    if _bare(_data(out, where)) != _bare(_wanted(before, marks)):
        raise _unwritable(where, "pictures or steps")
    return out


def _data(text: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text.removeprefix("\ufeff").replace("\r\n", "\n"))
    except (ValueError, RecursionError) as error:
        raise PlanError("not TOML any more", where=where, hint="mend the file, then save again") from error


def _bare(data: dict[str, Any]) -> dict[str, Any]:
    """Return it without tables of places that hold none, which say what no table says."""
    for picture in data.get("picture", []):
        if not picture.get("at", True):
            del picture["at"]
    return data


def _wanted(before: dict[str, Any], marks: Marks) -> dict[str, Any]:
    """Return the data that the text must read as."""
    data = copy.deepcopy(before)
    for key, given in (("order", marks.orders), ("clusters", marks.clusters)):
        for step in data.get("step", []):
            if step.get("id") in given:
                step.pop(key, None)
                written = tomllib.loads(f"x = {text}")["x"] if (text := _of(key, given[step["id"]])) else None
                if written is not None:
                    step[key] = written
    pictures = data.setdefault("picture", []) if marks.shots else []
    for n, shot in enumerate(marks.shots):
        if n >= len(pictures):
            pictures.append({})
        picture = pictures[n]
        picture |= {name: value for name, value in _texts(shot) if value}
        picture["at"] = {key: _list(tips) for key, tips in shot.at.items()}
    return data


def _of(key: str, value: Any) -> str:
    return _names(value) if key == "order" else _groups(value)


def _texts(shot: Shot) -> Iterable[tuple[str, str]]:
    return (("file", shot.file), ("side", shot.side), ("title", shot.title), ("sha256", shot.sha256))


def _names(names: Sequence[str]) -> str:
    return f"[{', '.join(quoted(name) for name in compressed(names))}]" if names else ""


def _groups(groups: Sequence[Sequence[str]]) -> str:
    return f"[{', '.join(_names(group) for group in groups)}]" if groups else ""


def _list(tips: Tips) -> list[Any]:
    spots = [[round(x, DIGITS), round(y, DIGITS)] for x, y in tips]
    return spots[0] if len(spots) == 1 else spots


def _at(at: dict[str, Tips]) -> str:
    return "{ " + ", ".join(f"{quoted(key)} = {_list(tips)}" for key, tips in at.items()) + " }" if at else "{}"


def _unwritable(where: str, what: str) -> PlanError:
    return PlanError(
        f"{what} stand in this plan so that nothing can be put there line by line",
        where=where,
        hint="give [[step]], [[picture]] and [picture.at] headers and lines of their own, then save again",
    )


class _Lines:
    """A plan's text as lines without their ends, and the ends apart."""

    def __init__(self, text: str, where: str) -> None:
        self._where = where
        self._mark = "\ufeff" if text.startswith("\ufeff") else ""
        pieces = text.removeprefix("\ufeff").split("\n")
        self._lines = [piece.removesuffix("\r") for piece in pieces]
        self._ends = ["\r\n" if piece.endswith("\r") else "\n" for piece in pieces]
        self._ends[-1] = "\r" if pieces[-1].endswith("\r") else ""
        counted = sum(1 for end in self._ends if end == "\r\n")
        self._end = "\r\n" if counted * 2 > len(pieces) - 1 else "\n"
        self._places: Places | None = None

    def text(self) -> str:
        """Return the whole text."""
        return self._mark + "".join(line + end for line, end in zip(self._lines, self._ends, strict=True))

    # --- what is set

    def set_of_step(self, data: dict[str, Any], step: str, key: str, value: str) -> None:
        """Write a key of a step below its items, replace it, or take it out where the value is empty."""
        n = next((n for n, each in enumerate(data.get("step", [])) if each.get("id") == step), None)
        if n is None:
            raise PlanError(f"no step {step!r} any more", where=self._where, hint="start marking again")
        self._set(("step", n), key, value, ("order", "items") if key == "clusters" else ("items",))

    def set_shot(self, n: int, old: dict[str, Any], shot: Shot) -> None:
        """Bring a picture that the plan has up to what it is now."""
        table: Path = ("picture", n)
        for name, value in _texts(shot):
            if value and old.get(name) != value:
                self._set(table, name, quoted(value), ("title", "side", "file"))
        was, at = old.get("at", {}), {key: _list(tips) for key, tips in shot.at.items()}
        if was == at:
            return
        place = (*table, "at")
        if self._line(place) is not None and _INLINE_AT.match(self._lines[self._line(place) or 0]):
            self._set(table, "at", _at(shot.at), ())
            return
        for key in was:
            if key not in at:
                self._take_out((*place, key))
        for key, spots in at.items():
            if key in was:
                if was[key] != spots:
                    self._replace((*place, key), str(spots))
            else:
                self._add_place(table, key, str(spots))

    def new_shot(self, shot: Shot) -> None:
        """Put a picture at the end of the text."""
        lines = ["", "[[picture]]", *(f"{name} = {quoted(value)}" for name, value in _texts(shot) if value)]
        if shot.at:
            lines += ["", "[picture.at]", *(f"{quoted(key)} = {_list(tips)}" for key, tips in shot.at.items())]
        if self._lines[-1] or self._ends[-1]:
            self._ends[-1] = self._end
        else:
            del self._lines[-1], self._ends[-1]
        self._insert(len(self._lines), lines)

    # --- how

    def _set(self, table: Path, key: str, value: str, below: Sequence[str]) -> None:
        if self._line((*table, key)) is not None:
            self._replace((*table, key), value) if value else self._take_out((*table, key))
        elif value:
            beside = next((name for name in below if self._line((*table, name)) is not None), None)
            if beside is None:
                raise _unwritable(self._where, key)
            start, end = self._span((*table, beside))
            self._insert(end, [f"{_indent(self._lines[start])}{key} = {value}"])

    def _add_place(self, table: Path, key: str, value: str) -> None:
        at = (*table, "at")
        line = f"{quoted(key)} = {value}"
        if self._line(at) is None:
            own = [path for path in self._found().lines if path[:-1] == table]
            if not own:
                raise _unwritable(self._where, "pictures")
            end = max(self._span(path)[1] for path in own)
            self._insert(end, ["", "[picture.at]", line])
            return
        keys = [path for path in self._found().lines if path[:-1] == at]
        if not keys:
            self._insert((self._line(at) or 0) + 1, [line])
            return
        last = max(keys, key=lambda path: self._line(path) or 0)
        start, end = self._span(last)
        dotted = re.match(r"\s*at\s*\.", self._lines[start])
        self._insert(end, [f"{_indent(self._lines[start])}{'at.' if dotted else ''}{line}"])

    def _replace(self, path: Path, value: str) -> None:
        """Write another value for a key and keep the comments of the old one."""
        start, end = self._span(path)
        old = "\n".join(self._lines[start:end])
        data = tomllib.loads(old)
        # The key ends at the first "=" before which a key stands that can take another value.
        cut = next(n for n, sign in enumerate(old) if sign == "=" and _same_key(old[:n], data))
        comments = [found for found in _COMMENT_OR_STRING.findall(old[cut:]) if found]
        own = comments.pop() if comments and self._lines[end - 1].endswith(comments[-1]) else ""
        indent = _indent(self._lines[start])
        line = f"{old[:cut]}= {value}" + (f"  {own}" if own else "")
        if own and end - start == 1:  # on one line even the blanks before a comment stay
            head = self._lines[start].removesuffix(own)
            line = f"{old[:cut]}= {value}{head[len(head.rstrip()) :]}{own}"
        self._lines[start:end] = [*(indent + comment for comment in comments), line]
        self._ends[start:end] = [*([self._end] * len(comments)), self._ends[end - 1]]
        self._places = None

    def _take_out(self, path: Path) -> None:
        start, end = self._span(path)
        del self._lines[start:end], self._ends[start:end]
        if not self._lines:
            self._lines, self._ends = [""], [""]
        self._places = None

    def _insert(self, at: int, lines: Sequence[str]) -> None:
        if at and not self._ends[at - 1]:
            self._ends[at - 1] = self._end
        self._lines[at:at] = lines
        self._ends[at:at] = [self._end] * len(lines)
        self._places = None

    def _found(self) -> Places:
        if self._places is None:
            try:
                self._places = find_places("\n".join(self._lines))
            except TooDeep as error:
                raise _unwritable(self._where, "tables") from error
        return self._places

    def _line(self, path: Path) -> int | None:
        """Return the place of a key's or header's line, from 0."""
        line = self._found().lines.get(path)
        return None if line is None else line - 1

    def _span(self, path: Path) -> tuple[int, int]:
        """Return the first line of `key = value` and the one after its last."""
        start = self._line(path)
        for end in range((start or 0) + 1, min(len(self._lines), (start or 0) + MOST_LINES) + 1):
            try:
                data = tomllib.loads("\n".join(self._lines[start:end]))
            except ValueError:
                continue
            keys = list(data)
            while len(keys) == 1 and isinstance(data[keys[0]], dict) and keys[0] != path[-1]:
                data = data[keys[0]]
                keys = list(data)
            if keys == [path[-1]]:
                return start or 0, end
            break
        raise _unwritable(self._where, str(path[-1]))


def _same_key(head: str, data: dict[str, Any]) -> bool:
    """Return whether the text before an equals sign is a key by which the data goes."""
    try:
        other = tomllib.loads(f"{head} = 0")
    except ValueError:
        return False
    while isinstance(other, dict):
        if list(other) != list(data):
            return False
        key = next(iter(other))
        other, data = other[key], data[key]
    return True


def _indent(line: str) -> str:
    return line[: len(line) - len(line.lstrip())]
