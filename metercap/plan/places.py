"""Where things stand in a TOML text: the line of every key, header and array element.

`tomllib` gives values without places, so this scanner reads the text a second time for nothing but places. It is right
for dotted and quoted keys, tables, arrays of tables, inline tables and strings and arrays over several lines. It works
with a list instead of recursion and never backtracks, so no text makes it slow or deep. On text that is no TOML it
stops early; `tomllib` then says what is wrong.

Grammar: TOML 1.0.0 (its names are used below). Pure.
"""

from __future__ import annotations

import re
import tomllib
from typing import TypeAlias

Path: TypeAlias = tuple[str | int, ...]
"""The way to a value: keys, and 0-based places in arrays: ("step", 2, "items", 1, "max")."""

MAX_DEPTH = 16
"""Most levels of arrays, inline tables and dotted keys, each. A plan needs five."""

_SPACE = re.compile(r"[ \t]*+")
_BLANK = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+")
_KEY = re.compile(
    r"""(?P<bare>[A-Za-z0-9_-]++)|"(?P<basic>(?:[^"\\\n]++|\\[^\n])*+)"|'(?P<literal>[^'\n]*+)'""",
)
_STRING = re.compile(
    r'''"""(?:[^"\\]++|\\.|"(?!""))*+"""(?:""?(?!"))?'''  # a multi-line basic string may end in one or two quotes more
    r"""|\'\'\'(?:[^']++|'(?!''))*+\'\'\'(?:''?(?!'))?"""
    r'''|"(?:[^"\\\n]++|\\[^\n])*+"'''
    r"""|'[^'\n]*+'""",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}\n#]*+")


class TooDeep(Exception):
    """The text nests deeper than any plan does."""

    def __init__(self, line: int) -> None:
        super().__init__(line)
        self.line = line


class Places:
    """Lines of a text's keys, headers and array elements, by path; lines count from 1."""

    __slots__ = ("lines",)

    def __init__(self, lines: dict[Path, int]) -> None:
        self.lines = lines

    def line(self, path: Path) -> int:
        """Return the line of the longest known beginning of `path`; 1 for a path nothing is known of."""
        for end in range(len(path), 0, -1):
            if path[:end] in self.lines:
                return self.lines[path[:end]]
        return 1


def find_places(text: str) -> Places:
    """Return the places in a TOML text. Raises `TooDeep` beyond 16 levels, and nothing else whatever the text."""
    scanner = _Scanner(text)
    scanner.run()
    return Places(scanner.lines)


class _Scanner:
    """One pass over a text: `at` is where it stands, `line` which line that is."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.lines: dict[Path, int] = {}
        self._table: Path = ()
        self._counts: dict[Path, int] = {}
        """How many tables each array of tables has so far."""

    def run(self) -> None:
        """Read expressions until the text ends or makes no sense."""
        while self._blank() and (self._header() if self.text[self.at] == "[" else self._pair(self._table)):
            pass

    def _move(self, end: int) -> None:
        self.line += self.text.count("\n", self.at, end)
        self.at = end

    def _blank(self) -> bool:
        """Pass blanks, line ends and comments; False at the end of the text."""
        match = _BLANK.match(self.text, self.at)
        if match is not None:
            self._move(match.end())
        return self.at < len(self.text)

    def _space(self) -> None:
        """Pass spaces and tabs."""
        match = _SPACE.match(self.text, self.at)
        if match is not None:
            self.at = match.end()

    def _sign(self, sign: str) -> bool:
        """Pass spaces and then `sign`; False when something else stands there."""
        self._space()
        if not self.text.startswith(sign, self.at):
            return False
        self.at += len(sign)
        return True

    def _key(self) -> list[str]:
        """Read a key, dotted or not; an empty list when there is none."""
        parts: list[str] = []
        while True:
            self._space()
            match = _KEY.match(self.text, self.at)
            if match is None:
                return []
            parts.append(_unescaped(match))
            self.at = match.end()
            if len(parts) > MAX_DEPTH:
                raise TooDeep(self.line)
            if not self._sign("."):
                return parts

    def _put(self, path: Path) -> None:
        self.lines.setdefault(path, self.line)

    def _header(self) -> bool:
        array = self.text.startswith("[[", self.at)
        self.at += 2 if array else 1
        parts = self._key()
        if not parts or not self._sign("]]" if array else "]"):
            return False
        path: Path = ()
        for part in parts[:-1]:
            path = self._last((*path, part))
        path = (*path, parts[-1])
        self._put(path)
        if array:
            self._counts[path] = self._counts.get(path, 0) + 1
        self._table = self._last(path)
        self._put(self._table)
        return True

    def _last(self, path: Path) -> Path:
        """Return the path itself, or of the newest table where it is an array of tables."""
        self._put(path)
        count = self._counts.get(path)
        return path if count is None else (*path, count - 1)

    def _assigned(self, table: Path) -> Path | None:
        """Read `key =` and return the key's path, or None when it is none."""
        parts = self._key()
        if not parts or not self._sign("="):
            return None
        path = table
        for part in parts:
            path = (*path, part)
            self._put(path)
        return path

    def _pair(self, table: Path) -> bool:
        """Read `key = value`, the value with everything inside it."""
        path = self._assigned(table)
        if path is None:
            return False
        open_: list[tuple[Path, int]] = []
        """What is open around the next value: the path of each, and how many elements an array has; -1 for a table."""
        while True:
            inner = self._value(path, open_)
            if inner is None:
                return False
            if inner == path:  # nothing was opened, or it is empty
                after = self._close(open_)
                if after is None:
                    return not open_
                inner = after
            path = inner

    def _value(self, path: Path, open_: list[tuple[Path, int]]) -> Path | None:
        """Pass a scalar and return `path`; open an array or table and return its first value's path; None: neither."""
        self._space()
        sign = self.text[self.at : self.at + 1]
        if sign in ("[", "{"):
            self.at += 1
            if len(open_) >= MAX_DEPTH:
                raise TooDeep(self.line)
            open_.append((path, 0 if sign == "[" else -1))
            if not self._blank():
                return None
            if self.text[self.at] in "]}":
                return path
            if sign == "{":
                return self._assigned(path)
            first = (*path, 0)
            self._put(first)
            return first
        match = (_STRING if sign in ("'", '"') else _SCALAR).match(self.text, self.at)
        if not sign or match is None or match.end() == self.at:
            return None
        self._move(match.end())
        return path

    def _close(self, open_: list[tuple[Path, int]]) -> Path | None:
        """After a value: close what ends here; return the path of the value after a comma, or None when there is none.

        Leaves `open_` empty when the whole pair has been read.
        """
        while open_:
            if not self._blank():
                return None
            path, count = open_[-1]
            sign = self.text[self.at]
            if sign == ",":
                self.at += 1
                if not self._blank():
                    return None
                if self.text[self.at] in "]}":
                    continue
                if count < 0:
                    return self._assigned(path)
                open_[-1] = (path, count + 1)
                self._put((*path, count + 1))
                return (*path, count + 1)
            if sign != ("}" if count < 0 else "]"):
                return None
            self.at += 1
            open_.pop()
        return None


def _unescaped(match: re.Match[str]) -> str:
    """Return the key that was written, escapes resolved."""
    if match["basic"] is None or "\\" not in match["basic"]:
        return match["bare"] or match["basic"] or match["literal"] or ""
    try:
        return str(tomllib.loads(f'key = "{match["basic"]}"')["key"])
    except ValueError:
        return match["basic"]
