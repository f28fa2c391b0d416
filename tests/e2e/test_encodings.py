"""The same UTF-8 comes out, and goes in, whatever encoding the environment names; colour comes where it is wanted."""

from __future__ import annotations

import functools
import json
import os
import re
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import pytest

from tests.e2e import outside_meter
from tests.e2e.outside_meter import OPEN, Meter
from tests.e2e.program import (
    CREDITED_S,
    ROOT,
    Ended,
    Hands,
    command,
    environment,
    no_defect,
    of_kind,
    plan_file,
    program,
    run,
    sweep,
)
from tests.thirds import crossed, some_of

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals"),
    pytest.mark.usefixtures("hastened"),
]

ENVIRONMENTS: dict[str, Any] = {
    "cp1252": {"PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0"},
    "ascii, strict": {"PYTHONIOENCODING": "ascii:strict", "PYTHONUTF8": "0"},
    "C, nothing coerced": {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
}
everywhere = pytest.mark.parametrize("env", ENVIRONMENTS.values(), ids=ENVIRONMENTS)

GREEK = "Ω of \u0160t\u011bp\u00e1n"
"""Signs that cp1252 lacks, and some that it would write as other bytes."""


def arguments(folder: Path, meter: Meter, unit: str) -> list[str]:
    """Run one fuse in a folder whose name is not ASCII either."""
    plan = plan_file(folder, sweep('"F1"', "count_check = false"))
    return [
        *("run", str(plan), "--port", str(meter.path), "--meter", "lcd14", "--rate", "10"),
        *("--unit", unit, "--operator", GREEK, "--out", str(folder / "a.jsonl")),
    ]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder whose name is not ASCII, for plan, port and journal."""
    made = tmp_path / "\u0160 \u03a9"
    made.mkdir()
    return made


@everywhere
def test_json_of_a_run(folder: Path, env: Any) -> None:
    """stdout is the journal byte for byte; the names and the note are what was given, in UTF-8."""
    with Meter(folder) as meter:
        hands = Hands(meter, {"F1": 0.2})
        with program(*arguments(folder, meter, GREEK), see=hands.see, cwd=folder, **env) as started:
            hands.program = started
            started.say(f"note {GREEK}")
            ended = started.wait()
    assert (ended.status, ended.err) == (0, "")
    journal = (folder / "a.jsonl").read_bytes()
    assert ended.out == journal
    records = [json.loads(line) for line in journal.decode("utf-8").splitlines()]
    assert (records[0]["unit"], records[0]["operator"]) == (GREEK, GREEK)
    assert [record["text"] for record in of_kind(records, "operator")] == [GREEK]


@everywhere
def test_lines_of_a_run(folder: Path, env: Any) -> None:
    """Lines for people hold Ω, as UTF-8, live and in the closing table; a word on stdin comes out as it was said."""
    with Meter(folder) as meter:
        line = [*command(), *arguments(folder, meter, "B"), "--plain"]
        pipe = subprocess.PIPE
        with subprocess.Popen(line, stdin=pipe, stdout=pipe, stderr=pipe, env=environment(**env)) as started:
            assert started.stdin is not None and started.stdout is not None and started.stderr is not None
            started.stdin.write(f"note {GREEK}\n".encode())
            started.stdin.flush()
            lines: list[str] = []
            touch: threading.Timer | None = None
            for said in started.stdout:
                lines.append(said.decode("utf-8"))
                if "F1" in lines[-1] and meter.tips == OPEN and touch is None:
                    touch = threading.Timer(CREDITED_S / outside_meter.HASTE, setattr, (meter, "tips", 0.2))
                    touch.start()
                elif "0.2 Ω" in lines[-1]:
                    meter.tips = OPEN
            err = started.stderr.read().decode("utf-8")
    no_defect(err)
    assert (started.returncode, err) == (0, "")
    assert [line for line in lines if "F1" in line and "0.2 Ω" in line], lines
    assert [line for line in lines if GREEK in line], lines


PRINTED = {
    "help": (("--help",), "metercap"),
    "help of a command": (("tune", "--help"), "metercap tune"),
    "plan": (("plan", "show", "greenhouse-controller"), "Ω"),
    "plan as json": (("plan", "show", "greenhouse-controller", "--json"), "GC-8"),
    "report": (("report", str(ROOT / "fixtures/sessions/good-sweep.jsonl"), "--text"), "Ω"),
    "page": (("report", str(ROOT / "fixtures/sessions/good-sweep.jsonl"), "--to", "-"), "Ω"),
    "replay": (("replay", str(ROOT / "fixtures/sessions/good-sweep.jsonl"), "--plain"), "Ω"),
    "table": (("export", str(ROOT / "fixtures/sessions/good-sweep.jsonl"), "--to", "-"), "ohm"),
}
"""What is printed, by which arguments, and a sign that is in it."""


@pytest.mark.parametrize(("what", "where"), crossed(PRINTED, ENVIRONMENTS))
def test_what_is_printed_does_not_depend_on_the_environment(what: str, where: str) -> None:
    """Byte for byte what a UTF-8 environment prints."""
    args, sign = PRINTED[what]
    here = run(*args, **ENVIRONMENTS[where])
    assert here == usual(*args)
    assert sign in here.out.decode("utf-8")


@functools.cache
def usual(*args: str) -> Ended:
    """What a UTF-8 environment prints."""
    return run(*args, LC_ALL="C.UTF-8", PYTHONIOENCODING="utf-8")


@everywhere
@pytest.mark.parametrize("name", ["nosuch \u2126", "nosuch \u0160.toml"], ids=["name", "file"])
def test_errors_name_what_was_given(name: str, env: Any) -> None:
    """An argument that is not ASCII stands in the error as it was typed."""
    ended = run("plan", "check", name, **env)
    assert (ended.status, ended.out) == (2, b"")
    assert name in ended.err


@pytest.mark.parametrize("where", some_of(["ascii, strict", "cp1252", "C, nothing coerced"]))
def test_files_of_any_name(tmp_path: Path, where: str) -> None:
    """Plan, journal, report and table lie where they were said to lie, and each command finds what another wrote."""
    env = ENVIRONMENTS[where]
    plan = tmp_path / "\u0160 Ω.toml"
    made = run("plan", "new", "--title", GREEK, "--fuses", "F1", "--loose", "--out", str(plan), **env)
    assert (made.status, plan.exists()) == (0, True), made.err
    assert f'title = "{GREEK}"' in plan.read_text(encoding="utf-8")
    assert run("plan", "check", str(plan), "--json", **env).status == 0
    assert json.loads(run("plan", "check", str(plan), "--json", **env).out)["file"] == str(plan)
    journal, page, table = (tmp_path / f"\u0160 Ω.{end}" for end in ("jsonl", "html", "csv"))
    journal.write_bytes((ROOT / "fixtures/sessions/good-sweep.jsonl").read_bytes())
    for args in (("verify",), ("report", "--to", str(page)), ("export", "--to", str(table))):
        ended = run(args[0], str(journal), *args[1:], **env)
        assert ended.status == 0, ended.err
    assert page.exists() and table.exists()
    assert run("run", str(plan), "--port", str(tmp_path / "Ω"), "--meter", "lcd14", cwd=tmp_path, **env).status == 3


@pytest.mark.parametrize("option", ["--unit", "--operator"])
def test_a_name_that_is_no_text(tmp_path: Path, option: str) -> None:
    """Bytes that are no UTF-8 are refused with the option's name; nothing is opened and nothing is written."""
    args = (*command(), "record", "--port", "nowhere", "--meter", "lcd14", "--out", str(tmp_path / "a.jsonl"), option)
    done = subprocess.run(
        [*map(os.fsencode, args), b"R\xff"], capture_output=True, env=environment(), timeout=60, check=False
    )
    assert done.returncode == 2
    assert option.encode() in done.stderr and b"UTF-8" in done.stderr
    assert not (tmp_path / "a.jsonl").exists()


@everywhere
def test_lines_on_stdin_are_utf8(tmp_path: Path, env: Any) -> None:
    """A form filled in through a pipe means what was written, whatever the environment calls its encoding."""
    out = tmp_path / "mine.toml"
    typed = "resistance 400.0 \u03a9 1.2 % + 2\n".encode()
    ended = run("teach", "--out", str(out), "--accuracy", "lcd14", "--json", stdin=typed, **env)
    assert ended.status == 0, ended.err
    (row,) = json.loads(ended.out)["accuracy"]
    assert (row["quantity"], row["percent"], row["counts"], row["resolution"]) == ("resistance", 1.2, 2, 0.1)


SWEEP = str(ROOT / "fixtures/sessions/good-sweep.jsonl")
COLOURS = re.compile(rb"\x1b\[[0-9;]*m")


@functools.cache
def replayed(**env: Any) -> bytes:
    """What a replay prints into a pipe."""
    ended = run("replay", SWEEP, "--plain", **env)
    assert ended.status == 0, ended.err
    return ended.out


@pytest.mark.parametrize(
    ("env", "coloured"),
    [
        ({}, False),
        ({"FORCE_COLOR": "1"}, True),
        ({"FORCE_COLOR": ""}, False),
        ({"FORCE_COLOR": "1", "NO_COLOR": "1"}, False),
        ({"FORCE_COLOR": "1", "NO_COLOR": ""}, True),
        ({"FORCE_COLOR": "1", "TERM": "dumb"}, True),
        ({"TERM": "dumb"}, False),
    ],
    ids=str,
)
def test_colour_in_a_pipe(env: Any, coloured: bool) -> None:
    """Colour is forced where FORCE_COLOR is set and not empty, unless NO_COLOR is too; nothing else changes.

    Both by their published conventions (no-color.org and force-color.org, from memory). No other control comes out.
    """
    out = replayed(**env)
    lines, table = out.split(b"\nVerdicts")
    assert (bool(COLOURS.search(lines)), bool(COLOURS.search(table))) == (coloured, coloured)
    assert COLOURS.sub(b"", out) == replayed()
    assert not set(COLOURS.sub(b"", out)) & {*range(9), *range(11, 32), 127}


def test_forced_colour_comes_live_too(tmp_path: Path) -> None:
    """A session's own lines, which go through a thread, hold the same colours."""
    with Meter(tmp_path) as meter:
        args = ("watch", "--port", str(meter.path), "--meter", "lcd14", "--count", "3", "--no-save")
        assert not COLOURS.search(run(*args).out)
        assert COLOURS.search(run(*args, FORCE_COLOR="1").out)
