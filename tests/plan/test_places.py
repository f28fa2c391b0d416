"""The scanner's lines against texts whose lines are known by construction, and against tomllib."""

import contextlib
import time
import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.plan.places import MAX_DEPTH, TooDeep, find_places
from tests.effort import examples

PLAN = '''\
# a comment with [[step]] in it
[plan]
title = "a # no comment"
cautions = [
    "one",  # after a value
    """two,
    over lines""",
]

[[step]]
id = "fuses"
items = [
    "F1", "F2",
    { name = "F3", max = "1 ohm" },
    { name = "F4",
      max = "2 ohm" },
]
[[ step ]]
"id" = 'second'
items.first = 1
[[step.more]]
x = 1
[[step.more]]
x = 2
'''


def test_known_text() -> None:
    """Each place of a text with every kind of structure is the one counted by hand."""
    # An inline table over two lines is TOML 1.1; the scanner reads it whatever this tomllib does.
    places = find_places(PLAN)
    expected = {
        ("plan",): 2,
        ("plan", "title"): 3,
        ("plan", "cautions"): 4,
        ("plan", "cautions", 0): 5,
        ("plan", "cautions", 1): 6,
        ("step",): 10,
        ("step", 0): 10,
        ("step", 0, "id"): 11,
        ("step", 0, "items"): 12,
        ("step", 0, "items", 0): 13,
        ("step", 0, "items", 1): 13,
        ("step", 0, "items", 2): 14,
        ("step", 0, "items", 2, "name"): 14,
        ("step", 0, "items", 2, "max"): 14,
        ("step", 0, "items", 3): 15,
        ("step", 0, "items", 3, "name"): 15,
        ("step", 0, "items", 3, "max"): 16,
        ("step", 1): 18,
        ("step", 1, "id"): 19,
        ("step", 1, "items"): 20,
        ("step", 1, "items", "first"): 20,
        ("step", 1, "more"): 21,
        ("step", 1, "more", 0): 21,
        ("step", 1, "more", 0, "x"): 22,
        ("step", 1, "more", 1): 23,
        ("step", 1, "more", 1, "x"): 24,
    }
    assert places.lines == expected


def test_nearest_known_place() -> None:
    """A path below what the text holds has the line of its longest known beginning; an unknown one has line 1."""
    places = find_places(PLAN)
    assert places.line(("step", 1, "max")) == 18
    assert places.line(("nothing",)) == 1


def test_keys_with_escapes() -> None:
    """Escapes in a quoted key are resolved, as tomllib resolves them."""
    text = '"a\\u0062\\t" = 1\n\'c\\d\' = 2\n"" = 3\n'
    assert set(find_places(text).lines) == {(key,) for key in tomllib.loads(text)}


def test_strings_that_end_in_quotes() -> None:
    """A multi-line string may end in one or two quotes of its own (TOML 1.0.0, "String")."""
    text = 'a = ["""x""""", \'\'\'y\'\'\'\', "",\n\'\']\nb = 1\n'
    assert tomllib.loads(text)["a"] == ['x""', "y'", "", ""]
    assert find_places(text).lines == {("a",): 1, ("a", 0): 1, ("a", 1): 1, ("a", 2): 1, ("a", 3): 2, ("b",): 3}


class _Writer:
    """Writes TOML in ways that a strategy draws, and notes the line of every path as it goes."""

    def __init__(self, draw: Any) -> None:
        self.draw = draw
        self.text = ""
        self.lines: dict[Any, Any] = {}
        self.used = 0

    def put(self, piece: Any) -> None:
        self.text += piece

    def mark(self, path: Any) -> None:
        self.lines.setdefault(path, self.text.count("\n") + 1)

    def pick(self, *choices: Any) -> Any:
        return self.draw(st.sampled_from(choices))

    def key(self) -> Any:
        """A new key, the parts as they are meant, and the text of each."""
        self.used += 1
        name = f"k{self.used}" + self.draw(st.sampled_from(["", "-x", " a", "#", "]", '"', "=.", "é"]))
        if name.isascii() and name.replace("-", "").replace("_", "").isalnum():
            return name, self.pick(name, f'"{name}"', f"'{name}'")
        return name, '"' + name.replace('"', '\\"') + '"'

    def gap(self) -> None:
        self.put(self.pick("", " ", "\t"))

    def lines_gap(self) -> None:
        self.put(self.pick("", " ", "\n", ' # ] } , """ \'\n', "\r\n\n"))

    def value(self, path: Any, depth: Any) -> None:
        kind = self.draw(st.integers(0, 4 if depth < 3 else 2))
        if kind == 0:
            self.put(self.pick("1", "-2.5e3", "true", "inf", "1979-05-27T07:32:00Z", "1979-05-27 07:32:00", "0x1F"))
        elif kind == 1:
            self.put(self.pick('"a]#,=\\"["', "'a\\'", '""', "''", '"# [[step]]"'))
        elif kind == 2:
            self.put(self.pick('"""x\n# "" y\\"" """', "'''\n[]\n'''", '"""\\\n  b = 1"""', '"""q"""""', "'''''q'''"))
        elif kind == 3:
            self.put("[")
            count = self.draw(st.integers(0, 3))
            for place in range(count):
                self.lines_gap()
                self.mark((*path, place))
                self.value((*path, place), depth + 1)
                self.lines_gap()
                if place < count - 1 or self.pick(True, False):
                    self.put(",")
            self.lines_gap()
            self.put("]")
        else:
            self.put("{")
            count = self.draw(st.integers(0, 3))
            for place in range(count):
                self.gap()
                self.pair(path, depth + 1)
                self.gap()
                if place < count - 1:
                    self.put(",")
            self.put(self.pick("", " ") + "}")

    def pair(self, table: Any, depth: Any) -> None:
        path = table
        for place in range(self.draw(st.integers(1, 3 if depth < 2 else 1))):
            name, written = self.key()
            self.put((self.pick(".", " . ") if place else "") + written)
            path = (*path, name)
            self.mark(path)
        self.gap()
        self.put("=")
        self.gap()
        self.value(path, depth)

    def document(self) -> Any:
        for _ in range(self.draw(st.integers(0, 2))):
            self.pair((), 0)
            self.put(self.pick("\n", " # x = 1\n", "\r\n"))
        arrays: dict[Any, Any] = {}
        for _ in range(self.draw(st.integers(0, 5))):
            self.lines_gap()
            self.put("\n" if self.text else "")
            kind = self.draw(st.integers(0, 2))
            if kind == 0 or not arrays:
                name, written = self.key()
                self.mark((name,))
                self.put(f"[{written}]\n")
                table = (name,)
                if self.pick(True, False):
                    arrays[name] = (written, 0)
                    self.text = self.text[: -len(f"[{written}]\n")] + f"[[ {written} ]]\n"
                    self.lines[(name, 0)] = self.lines[(name,)]
                    table = (name, 0)  # type: ignore[assignment]
            else:
                name = self.draw(st.sampled_from(sorted(arrays)))
                written, last = arrays[name]
                if kind == 1:
                    arrays[name] = (written, last + 1)
                    table = (name, last + 1)  # type: ignore[assignment]
                    self.mark(table)
                    self.put(f"[[{written}]]\n")
                else:
                    sub, sub_written = self.key()
                    table = (name, last, sub)  # type: ignore[assignment]
                    self.mark(table)
                    self.put(f"[{written}.{sub_written}]\n")
            for _ in range(self.draw(st.integers(0, 3))):
                self.pair(table, 0)
                self.put("\n")
        return self.text


@st.composite
def documents(draw: Any) -> Any:
    writer = _Writer(draw)
    return writer.document(), writer.lines


def paths_of(value: Any, path: Any = ()) -> Any:
    out = {path} if path else set()
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, held in inside:
        out |= paths_of(held, (*path, key))
    return out


@settings(max_examples=examples(150), deadline=None, derandomize=True)
@given(documents())
def test_generated_documents(document: Any) -> None:
    """In generated TOML every path that tomllib finds has the line on which its key was written, and no other has."""
    text, lines = document
    assert paths_of(tomllib.loads(text)) == set(lines)
    assert find_places(text).lines == lines


@settings(max_examples=examples(300), deadline=None, derandomize=True)
@given(st.text(alphabet="ab.\"'[]{}=,#\\ \n\t1é\x00", max_size=60))
def test_any_text(text: Any) -> None:
    """Whatever the text, the scanner ends without an error and names no line that is not there."""
    for line in find_places(text).lines.values():
        assert 1 <= line <= text.count("\n") + 1


@pytest.mark.parametrize("text", ["a = " + "[" * 5000, "\n\na" + ".a" * 5000 + " = 1", "[" + "a." * 99 + "a]"])
def test_depth(text: str) -> None:
    """Nesting beyond the limit is refused where it passes it, by value, key or header."""
    with pytest.raises(TooDeep) as error:
        find_places(text)
    assert error.value.line == text.count("\n") + 1


def test_depth_that_is_allowed() -> None:
    """Nesting up to the limit is read."""
    text = "a = " + "[" * MAX_DEPTH + "]" * MAX_DEPTH
    assert len(find_places(text).lines) == MAX_DEPTH


@pytest.mark.parametrize(
    "piece",
    ['"', "'", '"""', '"\\', "a", "a = 1\n", "[[a]]\n", "#", "\\", 'a = """"', "a = [", "a={b=", "\n", "a = [1,"],
)
def test_a_mebibyte_is_quick(piece: str) -> None:
    """A mebibyte of anything takes linear time (about 1 s at most here; quadratic would take hours)."""
    text = piece * (2**20 // len(piece))
    start = time.process_time()
    with contextlib.suppress(TooDeep):
        find_places(text)
    assert time.process_time() - start < 8.0
