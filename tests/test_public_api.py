"""What `import metercap` gives, what it is typed as, and what it costs."""

from __future__ import annotations

import inspect
import shutil
import subprocess
import sys
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from xml.etree import ElementTree

import pytest

import metercap
from metercap.errors import FileProblem, JournalError, PlanError, UsageError
from metercap.export import Recording
from metercap.export.source import Journal
from metercap.live.readings import LiveReadings

SESSIONS = Path(__file__).parents[1] / "fixtures" / "sessions"


def public(kind: type) -> list[str]:
    """Return the public members of a class, its instances' own fields aside."""
    return sorted(name for name in vars(kind) if not name.startswith("_"))


def test_names() -> None:
    """The public names and their signatures."""
    assert sorted(metercap.__all__) == ["__version__", "check", "compare", "load", "open", "plot", "rejudge"]
    signatures = {name: str(inspect.signature(getattr(metercap, name))) for name in metercap.__all__[1:]}
    assert signatures == {
        "check": "(path: 'str | Path') -> 'Checked'",
        "compare": "(*paths: 'str | Path') -> 'SideBySide'",
        "load": "(path: 'str | Path', *, verified: 'bool' = True) -> 'Recording'",
        "open": "(port: 'str | None' = None, meter: 'str | Path | None' = None, *, rate: 'float | None' = None) "
        "-> 'LiveReadings'",
        "plot": "(readings: 'pd.DataFrame', title: 'str' = '') -> 'Drawing'",
        "rejudge": "(path: 'str | Path', plan: 'str | Path') -> 'Rejudgement'",
    }
    assert metercap.__version__ == version("metercap")
    with pytest.raises(AttributeError, match="no attribute 'unload'"):
        _ = metercap.unload


def test_functions_named_like_rooms_stay_functions() -> None:
    """Whatever was loaded: a room of the same name never takes a function's place."""
    code = """
import metercap, metercap.cli, metercap.compare.sources, metercap.rejudge
from metercap.compare import Side
from metercap import compare
print(type(metercap.compare).__name__, type(metercap.rejudge).__name__, type(compare).__name__, Side.__name__)
"""
    run = subprocess.run([sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == ["function", "function", "function", "Side"]


def test_recording() -> None:
    """What `load` returns has these public members and no others."""
    fields = [name for name in vars(Recording(Path(), (Journal(Path(), None, None, ""),))) if not name.startswith("_")]
    assert sorted(fields) == ["journals", "path"]
    assert public(Recording) == [
        "contacts",
        "lost",
        "prompts",
        "readings",
        "records",
        "session",
        "state",
        "verdicts",
        "words",
    ]
    assert str(inspect.signature(Recording.readings)) == "(self, *, raw: 'bool' = False) -> 'pd.DataFrame'"
    assert str(inspect.signature(Recording.records)) == "(self) -> 'Iterator[Record]'"
    for name in ("contacts", "prompts", "words", "verdicts"):
        assert str(inspect.signature(getattr(Recording, name))) == "(self) -> 'pd.DataFrame'"


def test_live_readings() -> None:
    """What `open` returns is an iterator and a context manager with these methods."""
    assert public(LiveReadings) == ["close", "read"]
    assert issubclass(LiveReadings, Iterator)
    assert {"__enter__", "__exit__"} <= set(vars(LiveReadings))


def test_check() -> None:
    """As `replay --check`: counts, and an empty difference; the first difference of a folder names its file."""
    lines = (SESSIONS / "good-sweep.jsonl").read_text("utf-8").splitlines()
    readings = sum(line.startswith('{"kind":"reading"') for line in lines)
    found = metercap.check(SESSIONS / "good-sweep.jsonl")
    assert (found.readings, found.verdicts, found.difference) == (readings, 6, "") and readings > 50
    older = metercap.check(str(SESSIONS / "schema-1"))
    assert older.difference.endswith("not derived again: schema 1")
    assert older.difference.startswith("good-sweep.jsonl, ")
    both = metercap.check(SESSIONS)
    assert both.readings == sum(metercap.check(path).readings for path in SESSIONS.glob("*.jsonl")) > readings
    with pytest.raises(JournalError):
        metercap.check(SESSIONS / "none.jsonl")


STRICT = """
[plan]
title = "Fuses, strictly"
rule = "simple"
supply = "none"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F4"
max = "0.05 ohm"
"""


def test_rejudge(tmp_path: Path) -> None:
    """Other limits on the fuses of a fixture, which read 0.2, 0.1, 0.2 and 0.3 Ω in tenths, by hand.

    One count off the limit of 0.05 Ω decides nothing: 0.1 ± 0.1 Ω is unsure, more is a fail. Only the leads are left.
    """
    plan = tmp_path / "strict.toml"
    plan.write_text(STRICT, "utf-8")
    found = metercap.rejudge(SESSIONS / "good-sweep.jsonl", plan)
    after = {row.item: str(row.after.verdict) for row in found.rows}
    assert after == {"F1": "fail", "F2": "unsure", "F3": "fail", "F4": "fail"}
    assert [str(row.before.verdict) for row in found.changed] == ["pass"] * 4
    assert {left.step for left in found.not_judged} == {"leads", "leads-after"}
    with pytest.raises(PlanError):
        metercap.rejudge(SESSIONS / "good-sweep.jsonl", "no-such-plan")


def test_compare(tmp_path: Path) -> None:
    """A unit beside a good one, the same from a folder of both; what is no journal is refused.

    The fixture's blown and skipped fuses are the two items whose verdicts are others than the good unit's.
    """
    one, other = SESSIONS / "good-sweep.jsonl", SESSIONS / "slip-blown-open.jsonl"
    found = metercap.compare(one, str(other))
    assert (found.differing, [pair.how for pair in found.pairs]) == (2, ["good units"])
    for path in (one, other):
        shutil.copy(path, tmp_path)
    inside = metercap.compare(tmp_path)
    assert [pair.lines for pair in inside.pairs] == [pair.lines for pair in found.pairs]
    (tmp_path / "x.txt").write_text("x")
    with pytest.raises(FileProblem):
        metercap.compare(one, tmp_path / "x.txt")


def test_plot(tmp_path: Path) -> None:
    """One line of a contact's values, in an SVG that any XML parser reads; nothing to draw is said."""
    pytest.importorskip("pandas")
    readings = metercap.load(SESSIONS / "good-sweep.jsonl").readings()
    touched = readings[readings["item"] == "F3"]
    assert len(touched) > 2
    drawing = metercap.plot(touched, "F3 <b>")
    root = ElementTree.fromstring(drawing.svg)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "F3 <b>" in root.attrib["aria-label"]
    lines = [each for each in root.iter("{http://www.w3.org/2000/svg}path") if each.get("class") == "trace"]
    assert len(lines) == 1
    drawing.save(tmp_path / "f3.svg")
    assert (tmp_path / "f3.svg").read_text("utf-8") == drawing.svg
    with pytest.raises(FileProblem, match="exists"):
        drawing.save(tmp_path / "f3.svg")
    for none in (readings[readings["state"] == "over"], readings[:0]):
        with pytest.raises(UsageError):
            metercap.plot(none)


USER = """
import metercap

with metercap.open("/dev/ttyUSB0", meter="lcd14") as meter:
    for reading in meter:
        value: float | None = reading.value
        if value is not None:
            break
    more: metercap_reading | None = meter.read(1.0)

session = metercap.load("b.jsonl")
frame = session.readings()
mean = frame.groupby("item")["value"].mean()
for record in session.records():
    t_s: float = record.t_s
found = metercap.check("b.jsonl")
text: str = found.difference
changed: int = len(metercap.rejudge("b.jsonl", "other.toml").changed)
differing: int = metercap.compare("a.jsonl", "b.jsonl").differing
metercap.plot(frame, "F3").save("f3.svg")
"""


def test_a_user_s_mypy_passes(tmp_path: Path) -> None:
    """A script of a user's own, checked strictly without stubs of pandas; and a wrong use of it is seen."""
    script = tmp_path / "script.py"
    right = USER.replace("metercap_reading", "Reading").replace(
        "import metercap\n", "import metercap\nfrom metercap.reading import Reading\n", 1
    )
    assert checked(script, right) == ""
    wrong = right.replace("text: str = found", "text: int = found").replace("meter.read(1.0)", "meter.reads(1.0)")
    assert checked(script, wrong).count("error:") == 2


def checked(script: Path, code: str) -> str:
    """Return what mypy says of a script, empty when nothing."""
    pytest.importorskip("mypy")
    script.write_text(code, "utf-8")
    command = [
        sys.executable,
        "-m",
        "mypy",
        "--strict",
        "--no-error-summary",
        "--cache-dir",
        str(script.parent / "cache"),
    ]
    run = subprocess.run([*command, script.name], capture_output=True, text=True, cwd=script.parent, check=False)
    assert not run.stderr
    return run.stdout


def test_import_loads_nothing_else() -> None:
    """Importing the package imports no other module of it and nothing from outside the standard library."""
    code = "import sys; import metercap; print(*sorted(sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = run.stdout.split()
    assert "metercap" in loaded
    assert [name for name in loaded if name.startswith("metercap.")] == []
    assert {"pandas", "numpy", "msgspec", "click"}.isdisjoint(loaded)


def test_import_takes_a_few_milliseconds() -> None:
    """The quickest of several imports, by the interpreter's own count, takes under 3 ms."""
    times_us = []
    for _ in range(5):
        command = [sys.executable, "-X", "importtime", "-c", "import metercap"]
        run = subprocess.run(command, capture_output=True, text=True, check=True)
        (line,) = [line for line in run.stderr.splitlines() if line.endswith(" metercap")]
        times_us.append(int(line.split("|")[1]))
    assert min(times_us) < 3000
