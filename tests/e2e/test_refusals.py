"""What a wrong command gets: its exit status, what is wrong, where, and what to try; never a traceback."""

from __future__ import annotations

import os
import random
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.e2e.program import ROOT, environment, no_defect, plan_file, run, sweep

FIXTURES = ROOT / "fixtures" / "sessions"
BAD_PLAN = """
[plan]
title = "Bad"
colour = "red"
supply = "none"
[[step]]
id = "a"
kind = "sweeep"
items = "F1..F12"
[[step]]
id = "b"
kind = "sweep"
items = "F1..F12"
max = "2 volt"
itemz = 3
"""


def run_with(
    tmp_path: Path, *more: str, plan: str = "", out: str = "session.jsonl", port: str = "nowhere"
) -> list[str]:
    """Return a run's arguments, of which one is usually wrong."""
    path = plan or str(plan_file(tmp_path, sweep('"F1..F2"')))
    return [
        *("run", path, "--port", str(tmp_path / port), "--meter", "lcd14", "--unit", "B"),
        *("--out", str(tmp_path / out), *more),
    ]


def test_a_missing_port_gives_3(tmp_path: Path) -> None:
    """Status 3, the port is named, and no journal is left behind."""
    ended = run(*run_with(tmp_path))
    assert ended.status == 3
    assert str(tmp_path / "nowhere") in ended.err
    assert "try:" in ended.err
    assert not (tmp_path / "session.jsonl").exists()


@pytest.mark.parametrize("command", ["watch", "record", "identify"])
def test_a_missing_port_gives_3_everywhere(tmp_path: Path, command: str) -> None:
    """Every command that opens a port says the same, with the same status."""
    more = {"watch": ["--meter", "text"], "record": ["--meter", "text", "--out", str(tmp_path / "x.jsonl")]}
    ended = run(command, "--port", str(tmp_path / "nowhere"), *more.get(command, []))
    assert ended.status == 3
    assert "there is no such port" in ended.err
    assert not (tmp_path / "x.jsonl").exists()


def test_an_existing_out_gives_2(tmp_path: Path) -> None:
    """Status 2 before the port is even looked at, and the file is untouched."""
    (tmp_path / "session.jsonl").write_text("mine")
    ended = run(*run_with(tmp_path))
    assert ended.status == 2
    assert "already exists" in ended.err
    assert (tmp_path / "session.jsonl").read_text() == "mine"


def test_a_bad_plan_gives_2_with_every_problem(tmp_path: Path) -> None:
    """Five mistakes, five messages with file, line and path, and the nearest right spelling."""
    path = tmp_path / "bad.toml"
    path.write_text(BAD_PLAN, encoding="utf-8")
    ended = run(*run_with(tmp_path, plan=str(path)))
    assert ended.status == 2
    for named in ("colour", "sweeep", "itemz", "volt"):
        assert named in ended.err, ended.err
    assert f"{path}:" in ended.err
    assert "sweep" in ended.err
    assert "items" in ended.err


def test_a_plan_of_ohms_without_proof_gives_2(tmp_path: Path) -> None:
    """An ohms step with no `safe` before it is refused; --no-safe goes on to the next thing that is wrong, the port."""
    path = tmp_path / "unsafe.toml"
    path.write_text(f'[plan]\ntitle = "Unsafe"\n{sweep(chr(34) + "F1..F2" + chr(34))}', encoding="utf-8")
    refused = run(*run_with(tmp_path, plan=str(path)))
    assert refused.status == 2
    assert "safe" in refused.err
    assert run(*run_with(tmp_path, "--no-safe", plan=str(path))).status == 3


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--meter", "lcd41"], "lcd14"),
        (["--rate", "0"], "0.1"),
        (["--steps", "fuse"], "fuses"),
        (["--against", "nothing.jsonl"], "nothing.jsonl"),
        (["--bogus"], "--bogus"),
        (["--continue", "a.jsonl", "--after", "b.jsonl"], "--after"),
        (["--port", ""], "metercap ports"),
        (["--port", "bogus://x"], "bogus://"),
    ],
)
def test_wrong_options_say_what_to_try(tmp_path: Path, arguments: list[str], says: str) -> None:
    """Status 2 or 3, and stderr holds the word that helps."""
    ended = run(*run_with(tmp_path), *arguments)
    assert ended.status in (2, 3)
    assert says in ended.err
    assert ended.out == b""


def test_a_misspelt_command_is_told_the_right_one() -> None:
    """`metercap verifi` names `verify`."""
    ended = run("verifi")
    assert ended.status == 2
    assert 'Did you mean "verify"?' in ended.err


def test_help_of_every_command() -> None:
    """--help gives status 0, examples, and one line a command; the group's own lists all that exist."""
    listed = run("--help")
    assert listed.status == 0
    text = listed.out.decode()
    names = re.findall(r"^  (\S+)", text.partition("Commands:")[2].partition("Examples:")[0], re.MULTILINE)
    assert {"ports", "identify", "teach", "watch", "record", "run", "replay", "verify"} <= set(names)
    for status, name, out in in_one_process([[name, "--help"] for name in names]):
        assert status == 0, name
        assert "Usage: metercap" in out
        assert "metercap " + name in out.partition("Options:")[2], f"{name} --help has no example"


IN_ONE = """
import contextlib, io, json, signal, sys
from metercap.cli import main
import metercap.finding.found as found
import metercap.link as link, metercap.link.visalist as visalist
link.list_ports = found.list_ports = lambda: []  # this computer's own ports would be listened to, for seconds
visalist.list_visa = lambda **_: ([], "nothing is asked here")
def late(*_):
    raise TimeoutError("still running")
signal.signal(signal.SIGALRM, late)
for args in json.loads(sys.stdin.read()):
    sys.stdin = io.StringIO("")
    out, err = io.StringIO(), io.StringIO()
    status = "no status"
    signal.alarm(10)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            main(args)
    except SystemExit as end:
        status = end.code
    except BaseException as error:
        status = f"{type(error).__name__}: {error}"
    signal.alarm(0)
    print(json.dumps([status, args[0] if args else "", out.getvalue()]), flush=True)
"""


def in_one_process(commands: list[list[str]], cwd: Path | None = None) -> list[tuple[object, str, str]]:
    """Run many command lines in one process; return each one's status (or exception), first argument and stdout."""
    import json

    done = subprocess.run(
        [sys.executable, "-c", IN_ONE],
        input=json.dumps(commands),
        capture_output=True,
        text=True,
        env=environment(METERCAP_TRACEBACK="1"),
        cwd=cwd,
        check=False,
        timeout=110,
    )
    no_defect(done.stderr)
    found = [tuple(json.loads(line)) for line in done.stdout.splitlines()]
    assert len(found) == len(commands), (commands[len(found)], done.stderr)
    return found


COMMANDS = [
    "compare", "export", "history", "identify", "learn", "plan", "plan check", "plan show", "ports", "record", "replay",
    "report", "run", "teach", "verify", "watch",
]  # fmt: skip
OPTIONS = [
    *("--port", "--meter", "--unit", "--out", "--rate", "--steps", "--against", "--after", "--continue", "--speed"),
    *(
        "--plan",
        "--check",
        "--json",
        "--plain",
        "--repair",
        "--to",
        "--line",
        "--quantity",
        "--count",
        "--seconds",
        "-x",
    ),
]
VALUES = [
    *("", " ", "-", "--", "0", "-1", "1e400", "nan", "text", "lcd14", "\x1b[2J", "tape:", "socket://", "visa:", "ohm"),
    *("socket://127.0.0.1:1", "loose-parts", "\udcff", "x" * 5000, "/dev/null", "\u00e4\u20ac", "fuses", "F1"),
]


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGALRM")
def test_random_bad_arguments_never_end_in_a_traceback(tmp_path: Path) -> None:
    """2000 command lines of random words, files and rubbish: each ends with a status, none with an exception."""
    rng = random.Random(77)
    rubbish = tmp_path / "rubbish.jsonl"
    rubbish.write_bytes(rng.randbytes(3000))
    nested = tmp_path / "nested.toml"
    nested.write_text("a = " + "[" * 5000, encoding="utf-8")
    deep = tmp_path / "deep.jsonl"
    deep.write_text('{"kind":"session","t_s":0.0,"plan":' + "[" * 5000 + "\n", encoding="utf-8")
    (tmp_path / "empty.jsonl").touch()
    files = (
        rubbish,
        nested,
        deep,
        tmp_path,
        tmp_path / "empty.jsonl",
        tmp_path / "missing",
        *(Path(shutil.copy(path, tmp_path)) for path in sorted(FIXTURES.glob("*.jsonl"))),
    )
    values = [*map(str, files), *VALUES, f"tape:{rubbish}"]
    commands = []
    for _ in range(2000):
        args = rng.choice(COMMANDS).split()
        for _ in range(rng.randrange(6)):
            args.append(rng.choice(OPTIONS) if rng.random() < 0.5 else rng.choice(values))
        commands.append(args)
    before = {path: path.stat().st_size for path in tmp_path.iterdir()}
    for args, (status, _, _) in zip(commands, in_one_process(commands, cwd=tmp_path), strict=True):
        assert status in (0, 1, 2, 3), (args, status)
    after = {path: path.stat().st_size for path in tmp_path.iterdir() if path in before}
    assert after == before, "an input was changed"


def test_help_does_not_load_what_it_does_not_need() -> None:
    """--help imports neither serial nor textual nor msgspec; it must come at once."""
    code = (
        "import sys\nfrom metercap.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print(sorted({'serial','textual','msgspec','rich','pandas','pyvisa'} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment(), check=True)
    assert done.stderr.strip() == "[]"


def test_the_module_runs_as_the_script_does(tmp_path: Path) -> None:
    """`python -m metercap --version` names program and version, from any folder."""
    ended = subprocess.run(
        [sys.executable, "-m", "metercap", "--version"],
        capture_output=True,
        cwd=tmp_path,
        env=environment(),
        check=True,
    )
    assert ended.stdout.split()[0] == b"metercap"
    assert os.linesep.encode() in ended.stdout
