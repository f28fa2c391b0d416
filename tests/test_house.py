"""The house, floor by floor: a room imports only rooms on floors before its own, and what is pure stays pure.

The floors are the project's own design; nothing outside it is checked here.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "metercap"

FLOORS = (
    ("gate", "spelling"),
    ("errors",),
    ("quantity",),
    ("reading", "meter", "asks", "rests", "symptom"),
    ("records",),
    ("metrology", "wire", "contact"),
    ("plankeys",),
    ("judging",),
    ("steps",),
    ("reference",),
    ("plan",),
    ("order",),
    ("session",),
    ("outcome", "rejudge"),
    ("evidence",),
    ("history", "faults"),
    ("view",),
    ("settings", "files", "clock"),
    ("pictures",),
    ("journal", "profiles", "planfile", "link", "words", "outlet", "meters"),
    ("live", "job", "finding"),
    ("practice", "plain", "sound", "screen", "export", "compare", "learn"),
    ("archive",),
    ("report", "fleet"),
    ("web",),
    ("marking",),
    ("commands", "cli", "python"),
)
"""Rooms of one floor do not know each other. `__init__` and `__main__` of the package are the front door: above all."""

PURE = (*(room for floor in FLOORS[: FLOORS.index(("view",)) + 1] for room in floor), "meters")
"""No I/O, no clock, no randomness, no threads: everything below the floor of the journal."""

INNOCENT = frozenset(
    {
        "__future__",
        "abc",
        "bisect",
        "codecs",
        "collections",
        "copy",
        "dataclasses",
        "datetime",
        "decimal",
        "difflib",
        "enum",
        "fractions",
        "functools",
        "hashlib",
        "heapq",
        "inspect",
        "itertools",
        "keyword",
        "math",
        "numbers",
        "operator",
        "re",
        "statistics",
        "string",
        "struct",
        "textwrap",
        "tomllib",
        "types",
        "typing",
        "unicodedata",
        "zlib",
        # Not of the standard library: they compute only.
        "msgspec",
        "natsort",
        "re2",
    }
)
"""Modules that neither read, write, wait, guess nor start anything; a pure room imports no other."""

TELLTALE = frozenset({"open", "input", "print", "exec", "eval", "breakpoint", "hash"})
"""Builtins that do I/O, or whose result differs from run to run."""

NOW = frozenset({"now", "today", "utcnow"})
"""What a `datetime` has of a clock."""

WHOLE = {
    "contact/pace.py": "changes are counted",
    "metrology/proportion.py": "ways are counted",
    "metrology/series.py": "values become whole numbers first, so that sums are exact",
    "metrology/tally.py": "whole numbers are added, which is exact",
    "metrology/trend.py": "ranks and ties are counted",
    "wire/identify.py": "bytes are counted",
}
"""Modules whose builtin sums are of whole numbers, which no order of adding changes."""

LONGEST = 400


def modules() -> list[Path]:
    """Return every module of the package."""
    return sorted(PACKAGE.rglob("*.py"))


def name_of(path: Path) -> str:
    """Return a module's path below the package, for messages and test ids."""
    return path.relative_to(PACKAGE).as_posix()


def room_of(path: Path) -> str:
    """Return the room that a module is in: its first directory, or its own name."""
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def floor_of(room: str) -> int:
    """Return a room's floor, from 0."""
    return next(number for number, floor in enumerate(FLOORS) if room in floor)


@cache
def tree_of(path: Path) -> ast.Module:
    """Return a module's syntax tree."""
    return ast.parse(path.read_text("utf-8"), str(path))


def imported(path: Path) -> Iterator[tuple[str, int]]:
    """Yield the full name and line of each module that one imports, at any depth, also for types only."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)}:{node.lineno}: relative import"
            assert node.module is not None
            yield node.module, node.lineno
            if node.module == "metercap":
                yield from ((f"metercap.{alias.name}", node.lineno) for alias in node.names)


def rooms_imported(path: Path) -> Iterator[tuple[str, int]]:
    """Yield each room of the package that a module imports."""
    for name, line in imported(path):
        parts = name.split(".")
        if parts[0] == "metercap" and len(parts) > 1:
            yield parts[1], line


FRONT = ("__init__.py", "__main__.py")
INSIDE = [path for path in modules() if name_of(path) not in FRONT]
IN_PURE = [path for path in INSIDE if room_of(path) in PURE]


def test_every_room_has_a_floor() -> None:
    """A new room is put on a floor here and in the design before it is imported anywhere."""
    rooms = {room_of(path) for path in INSIDE if path.parent.name != "_profiles"}
    assert rooms <= {room for floor in FLOORS for room in floor}


def test_imports_go_downwards() -> None:
    """A room imports only rooms on floors before its own; its own modules it may import."""
    wrong = [
        f"{name_of(path)}:{line} imports {other}"
        for path in INSIDE
        for other, line in rooms_imported(path)
        if other != room_of(path) and floor_of(other) >= floor_of(room_of(path))
    ]
    assert not wrong


DRAW = ("screen", "sound", "plain")
"""Rooms that only draw the view."""
DRAWN = ("asks", "gate", "errors", "quantity", "reading", "records", "view", "session.facts", "steps.facts")
"""Of the pure rooms, all that they may know: what a view is made of."""


def test_outputs_work_nothing_out() -> None:
    """No output reads a plan, judges, folds verdicts or asks a machine: what it shows is said once, in the view."""
    pure = set(PURE) - set(DRAWN)
    wrong = []
    for path in modules():
        if room_of(path) not in DRAW:
            continue
        for name, line in imported(path):
            known = name.removeprefix("metercap.")
            drawn = any(known == each or known.startswith(f"{each}.") for each in DRAWN)
            if name.startswith("metercap.") and known.split(".")[0] in pure and not drawn:
                wrong.append(f"{name_of(path)}:{line}: {name}")
    assert wrong == []


def test_pure_rooms_import_nothing_that_acts() -> None:
    """Pure rooms import no I/O, time, random or threading modules: only what is known to compute."""
    wrong = [
        f"{name_of(path)}:{line} imports {name}"
        for path in IN_PURE
        for name, line in imported(path)
        if name.split(".")[0] not in INNOCENT | {"metercap"}
    ]
    assert not wrong


def called(node: ast.AST) -> str:
    """Return the name of a plainly called function, or an empty string."""
    return node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""


def is_set(node: ast.AST) -> bool:
    """Return whether an expression is a set by its looks."""
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.BitOr | ast.BitAnd | ast.Sub | ast.BitXor):
        return is_set(node.left) or is_set(node.right)
    return isinstance(node, ast.Set | ast.SetComp) or called(node) in ("set", "frozenset")


ORDERLESS = ("set", "frozenset", "sorted", "any", "all", "len", "min", "max")
ORDERED = ("list", "tuple", "enumerate", "iter", "zip", "map", "filter", "dict", "next", "reversed")


def walked_over(node: ast.AST) -> Iterator[ast.AST]:
    """Yield what a node goes through in order."""
    if isinstance(node, ast.For | ast.comprehension):
        yield node.iter
    elif isinstance(node, ast.Call):
        method = node.func.attr if isinstance(node.func, ast.Attribute) else ""
        if called(node) in ORDERED or method in ("join", "fromkeys"):
            yield from node.args
    elif isinstance(node, ast.Starred):
        yield node.value


def unordered(tree: ast.Module) -> Iterator[int]:
    """Yield the lines that go through a set in whatever order it has: written there, or held by a name or attribute."""
    held: dict[str, None] = {}
    for node in ast.walk(tree):
        targets: list[ast.expr] = []
        if isinstance(node, ast.Assign) and is_set(node.value):
            targets = node.targets
        elif isinstance(node, ast.AnnAssign) and (
            (node.value is not None and is_set(node.value))
            or ast.unparse(node.annotation).startswith(("set[", "frozenset"))
        ):
            targets = [node.target]
        held.update(dict.fromkeys(ast.unparse(target) for target in targets))
    harmless: list[ast.AST] = []
    for node in ast.walk(tree):
        # What makes a set, or one answer, of a set loses no order; sorted() gives it one.
        if isinstance(node, ast.SetComp):
            harmless += node.generators
        elif called(node) in ORDERLESS and isinstance(node, ast.Call):
            harmless += [each for arg in node.args if isinstance(arg, ast.GeneratorExp) for each in arg.generators]
    for node in ast.walk(tree):
        for source in walked_over(node) if node not in harmless else ():
            if is_set(source) or ast.unparse(source) in held:
                yield getattr(source, "lineno", 0)


def test_pure_rooms_go_through_no_set() -> None:
    """The order of a set of strings differs from run to run, so no pure room goes through one unsorted."""
    assert not [f"{name_of(path)}:{line}" for path in IN_PURE for line in unordered(tree_of(path))]


def sums(tree: ast.Module) -> Iterator[int]:
    """Yield the lines of builtin `sum(`, but for counting (`sum(condition for …)`, `sum(1 for …)`) and lengths."""
    for node in ast.walk(tree):
        if called(node) != "sum" or not isinstance(node, ast.Call):
            continue
        first = node.args[0]
        if isinstance(first, ast.GeneratorExp):
            element = first.elt
            whole = isinstance(element, ast.Compare | ast.BoolOp | ast.UnaryOp) or called(element) in (
                "len",
                "isinstance",
                "int",
                "bool",
            )
            method = (
                isinstance(element, ast.Call)
                and isinstance(element.func, ast.Attribute)
                and element.func.attr.startswith(("is", "count", "startswith", "endswith"))
            )
            one = isinstance(element, ast.Constant) and isinstance(element.value, int)
            if whole or method or one:
                continue
        yield node.lineno


def test_pure_rooms_sum_with_fsum() -> None:
    """Floats are summed by math.fsum, which is exact, so that verdicts are the same bit for bit everywhere."""
    found = {name_of(path): list(sums(tree_of(path))) for path in IN_PURE}
    assert [name for name, lines in found.items() if bool(lines) != (name in WHOLE)] == []


def test_pure_rooms_call_no_telltale() -> None:
    """No builtin that reads, writes, or gives another answer in another process."""
    wrong = [
        f"{name_of(path)}:{node.lineno} calls {called(node)}"  # type: ignore[attr-defined]
        for path in IN_PURE
        for node in ast.walk(tree_of(path))
        if called(node) in TELLTALE or (isinstance(node, ast.Attribute) and node.attr in NOW)
    ]
    assert not wrong


def test_no_module_is_longer_than_one_purpose() -> None:
    """One purpose a module: at most 400 lines."""
    lengths = {name_of(path): len(path.read_text("utf-8").splitlines()) for path in modules()}
    assert {name: lines for name, lines in lengths.items() if lines > LONGEST} == {}


# --- the checks above can fail


@pytest.mark.parametrize(
    "code",
    [
        "for x in {1, 2}: pass",
        "for x in set(y): pass",
        "y = [x for x in frozenset(z)]",
        "y = list({1})",
        "y = ','.join({'a'})",
        "y = {1}\nfor x in y: pass",
        "class A:\n    def f(self):\n        self.s: set[int] = set()\n        return [x for x in self.s]",
        "for x in set(a) | b: pass",
        "y = [*{1, 2}]",
        "y = dict.fromkeys({1})",
    ],
)
def test_walk_over_a_set_is_found(code: str) -> None:
    """What the set check is for, it finds."""
    assert list(unordered(ast.parse(code)))


@pytest.mark.parametrize(
    "code", ["for x in sorted({1, 2}): pass", "y = 1 in {1}", "y = {x for x in {1}}", "s: set[int] = set()\ns.add(1)"]
)
def test_harmless_sets_pass(code: str) -> None:
    """Membership, sorting and sets of sets are no walk in order."""
    assert not list(unordered(ast.parse(code)))


@pytest.mark.parametrize(
    ("code", "found"),
    [
        ("y = sum(values)", True),
        ("y = sum(x * x for x in values)", True),
        ("y = sum(x > 0 for x in values)", False),
        ("y = sum(1 for x in values)", False),
        ("y = sum(len(x) for x in values)", False),
        ("y = math.fsum(values)", False),
    ],
)
def test_builtin_sum_is_found(code: str, found: bool) -> None:
    """Sums of floats are found, counting is not."""
    assert bool(list(sums(ast.parse(code)))) == found


def test_imports_of_types_and_inside_functions_are_seen() -> None:
    """An import counts wherever it stands."""
    tops = {name for path in modules() for name, _ in imported(path)}
    assert "metercap.session" in tops
    assert "msgspec" in tops
