"""The examples in every command's help do what they say: each is run by a shell as it is written.

Those that need a meter, hands or a sound card are read by the command line's own parser instead, to the last option.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest
from msgspec import structs

from metercap.cli import COMMANDS, group
from metercap.commands._bench import play_scene
from metercap.journal import Writer, read
from metercap.records import Operator, SessionRecord
from tests.e2e.program import METERCAP, ROOT, environment, no_defect

BASH = shutil.which("bash")
pytestmark = pytest.mark.skipif(BASH is None or sys.platform == "win32", reason="needs bash")

LIVE = ("identify", "watch", "record", "run", "sweep", "check", "tune", "exercise", "cell", "practice", "demo")
"""Commands that wait for a meter or hands, or play in real time."""
HEARD = ("metercap sound", "metercap sound --cue hazard")
REHEARSED = ("metercap sound --mute", "metercap sound --volume 0.3 --no-speech")
"""Lines that go through all cues in real time: read quickly, run slowly."""
ASKS = "metercap plan new"
SERVES = "metercap plan mark "
ALSO_ONE = ("compare", "replay", "job", "history")
"""Commands whose status 1 says something of the sessions, not of the command line."""


def examples() -> list[tuple[str, str]]:
    """Every example: the command in whose help it stands, and the line."""
    found: list[tuple[str, str]] = []

    def read(command: click.Command, name: str) -> None:
        lines = (command.epilog or "").partition("Example")[2].partition("\n\n")[0].splitlines()
        found.extend((name, line.strip()) for line in lines if line.startswith("  metercap "))

    read(group, "metercap")
    context = click.Context(group)
    for name in COMMANDS:
        command = group.get_command(context, name)
        if command is not None:
            read(command, name)
            for inner in command.commands.values() if isinstance(command, click.Group) else ():
                read(inner, f"{name} {inner.name}")
    return list(dict.fromkeys(found))


def words(line: str) -> list[str]:
    """The words behind `metercap`, up to the first sign of the shell's own."""
    return shlex.split(re.split(r" [|<>] ", line)[0])[1:]


def live(line: str) -> bool:
    """Whether the line needs more than files."""
    first = words(line)[0]
    return (
        first in LIVE
        or (first == "teach" and "--port" in line)
        or "--cluster" in line
        or line in HEARD
        or line == ASKS
        or line.startswith(SERVES)
    )


RUN = [
    pytest.param(of, line, id=f"{of}: {line}", marks=[pytest.mark.slow] if line in REHEARSED else [])
    for of, line in examples()
    if not live(line)
]
READ = [pytest.param(of, line, id=f"{of}: {line}") for of, line in examples() if live(line) or line in REHEARSED]


JOURNALS = {
    **{name: ("a", name.upper()) for name in "acdeg"},
    "good": ("a", "A"),
    **dict.fromkeys(("b", "b-before", "b-after", "drift", "first-look", "monday", "tuesday"), ("b", "B")),
    "f": ("b", "F"),
    "film": ("b", "B"),
}
"""Which of two practice sessions each journal is told after, and of which unit."""


def retold(of: Path, to: Path, unit: str) -> None:
    """Write a session down again as one of another unit, or of another day: a file by another name is the same one."""
    first, *rest = read(of).records
    assert isinstance(first, SessionRecord)
    session = structs.replace(first, unit=unit, tag=unit, id=f"retold {to.stem}")
    if to.stem == "film":
        session = structs.replace(session, start_utc="2026-03-02T15:04:20Z", zone_offset_s=0)
    with Writer.create(to, session) as writer:
        if to.stem == "film":
            writer.append(Operator(0.0, "clap"))
        for record in rest[:-1]:
            writer.append(record)
        writer.close(rest[-1].t_s, "done")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as it looks after some work: the journals, plans, references and pictures that examples name."""
    folder = tmp_path_factory.mktemp("shop")
    here = environment(XDG_CONFIG_HOME=str(folder / ".config"), HOME=str(folder))

    def do(*args: str) -> None:
        subprocess.run([*METERCAP, *args], cwd=folder, env=here, check=True, capture_output=True, timeout=120)

    do("demo", "--out", "bench", "--speed", "1000", "--plain")  # the job that the first examples go on with
    played = tmp_path_factory.mktemp("played")
    good = play_scene("gc8-a-whole", played, speed=1000.0, quiet=True)
    play_scene("gc8-b-whole", played, speed=1000.0, against=good.journal, quiet=True)
    for name, (of, unit) in JOURNALS.items():
        retold(played / f"{of}.jsonl", folder / f"{name}.jsonl", unit)
    do("plan", "new", "--title", "GC-8", "--fuses", "F1..F6", "--out", "gc8.toml")
    for name in ("my-plan", "stricter"):
        shutil.copy(ROOT / "profiles/plans/greenhouse-controller.toml", folder / f"{name}.toml")
    (folder / "lines.txt").write_text("R=2.187 kohm\nR=OL\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def jobs(shop: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of the jobs that examples go on with or tell of."""
    folder = tmp_path_factory.mktemp("jobs")
    here = environment(XDG_CONFIG_HOME=str(folder / ".config"), HOME=str(folder))
    for name, good, other in (("vent pair", "a", "b"), ("fan-pair", "c", "f")):
        tags = good.upper(), other.upper()
        units = ("--unit", tags[0], "--unit", tags[1], "--known-good", tags[0])
        command = [*METERCAP, "job", "new", name, "--plan", "greenhouse-controller", *units]
        subprocess.run(command, cwd=folder, env=here, check=True, capture_output=True, timeout=60)
        for n, unit in enumerate((good, other), 1):
            shutil.copy(shop / f"{unit}.jsonl", folder / name.replace(" ", "-") / f"00{n}-{unit.upper()}.jsonl")
    return folder


@pytest.mark.parametrize(("of", "line"), RUN)
def test_it_runs_as_it_is_written(shop: Path, jobs: Path, tmp_path: Path, of: str, line: str) -> None:
    """By a shell, in a folder that holds what it names; what needs an extra that is not here is passed over."""
    folder = tmp_path / "work"
    shutil.copytree(shop, folder)
    prepare(folder, line, jobs)
    program = tmp_path / "bin" / "metercap"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\nexec {shlex.join(METERCAP)} "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    env = environment(PATH=f"{program.parent}:{os.environ['PATH']}", HOME=str(folder), XDG_CONFIG_HOME=str(folder))
    command = [str(BASH), "--norc", "-o", "pipefail", "-c", line]
    done = subprocess.run(command, cwd=folder, env=env, capture_output=True, text=True, timeout=60, check=False)
    no_defect(done.stderr)
    if "pip install 'metercap[" in done.stderr:
        pytest.skip(f"needs an extra: {done.stderr.strip().splitlines()[-1]}")
    assert done.returncode in ((0, 1) if words(line)[0] in ALSO_ONE else (0,)), (done.stdout[-500:], done.stderr)


def prepare(folder: Path, line: str, jobs: Path) -> None:
    """Make what is there before the line: a job, a reference, a picture; and nothing where the line writes."""

    def do(*args: str) -> None:
        here = environment(HOME=str(folder), XDG_CONFIG_HOME=str(folder))
        subprocess.run([*METERCAP, *args], cwd=folder, env=here, check=True, capture_output=True, timeout=60)

    if ("vent" in line or "fan-pair" in line) and words(line)[:2] != ["job", "new"]:
        shutil.copytree(jobs, folder, dirs_exist_ok=True)
    if "gc8-good.json" in words(line) and "--out" not in words(line)[: words(line).index("gc8-good.json")]:
        do("learn", "a.jsonl", "--out", "gc8-good.json")
    if words(line)[0] == "history" and "fleet/" in line:
        pytest.importorskip("pyarrow")
        do("export", "bench", "--to", "fleet/")
    if "board.jpg" in line:
        image = pytest.importorskip("PIL.Image")
        image.new("RGB", (40, 30)).save(folder / "board.jpg")
    if "--out gc8.toml" in line:
        (folder / "gc8.toml").unlink()


@pytest.mark.parametrize(("of", "line"), READ)
def test_it_is_understood(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, of: str, line: str) -> None:
    """Command, options and their values are ones that there are."""
    monkeypatch.chdir(tmp_path)
    command: click.Command = group
    context = click.Context(group)
    rest = words(line)
    while isinstance(command, click.Group):
        inner = command.get_command(context, rest[0])
        assert inner is not None, rest[0]
        command, rest = inner, rest[1:]
    command.make_context(line, rest)


def test_the_first_lines_of_all_run_in_a_fresh_folder(tmp_path: Path) -> None:
    """What `metercap --help` begins with needs nothing but an empty folder; only the demo is told to be quick here."""
    lines = [line for of, line in examples() if of == "metercap"][:3]
    assert words(lines[0])[0] == "demo"
    for line, more, status in zip(lines, (["--speed", "1000", "--plain"], [], []), (0, 1, 0), strict=True):
        done = subprocess.run(
            [*METERCAP, *words(line), *more],
            cwd=tmp_path, env=environment(HOME=str(tmp_path)), capture_output=True, text=True, timeout=120, check=False,
        )  # fmt: skip
        no_defect(done.stderr)
        assert done.returncode == status, (line, done.stdout[-500:], done.stderr)


@pytest.mark.slow
def test_the_very_first_line_runs_to_the_letter(tmp_path: Path) -> None:
    """At its own speed, in a pipe."""
    line = next(line for of, line in examples() if of == "metercap")
    done = subprocess.run(
        [*METERCAP, *words(line)], cwd=tmp_path, env=environment(HOME=str(tmp_path)), capture_output=True, timeout=600
    )
    assert done.returncode == 0, done.stderr


def test_every_command_has_an_example_that_comes_first_with_its_own_name() -> None:
    """Each help has one, and begins with the command it explains; a group's may be one of those below it."""
    of = dict(reversed(examples()))
    assert set(of) >= set(COMMANDS)
    for name, line in of.items():
        if name != "metercap":
            assert " ".join(words(line)).startswith(name), (name, line)
