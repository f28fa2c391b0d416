"""Every command with hostile files, names and meters: nothing that drives or hides comes out raw, nor a defect."""

from __future__ import annotations

import csv
import io
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from metercap.cli import COMMANDS
from tests.attacks.hostile import BAD_JOB, BAD_PLAN, EVIL, JOB, PLAN, PROFILE, RAW, journal, spoil_all, spoil_text
from tests.e2e.program import METERCAP, environment

pytestmark = [pytest.mark.attack, pytest.mark.skipif(sys.platform == "win32", reason="names no Windows takes")]

NAME = "x\x1b[2J\u202e\x9b\nmetercap: all is well\udcff"
"""A file name with an escape sequence, a right-to-left override, C1, a line of its own and a byte that is no UTF-8."""


class Files(NamedTuple):
    """The hostile files of one folder, which has a hostile name itself."""

    folder: Path
    text: Path
    other: Path
    all: Path
    torn: Path
    plan: Path
    bad_plan: Path
    profile: Path
    tape: Path
    missing: Path
    job: Path
    bad_job: Path


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Files:
    """Make them from a played demo."""
    from metercap.commands._bench import play_scene

    plain = tmp_path_factory.mktemp("bench")
    good = play_scene("gc8-a-whole", plain, speed=5000, quiet=True)
    play_scene("gc8-b-whole", plain, speed=5000, against=good.journal, quiet=True)
    folder = tmp_path_factory.mktemp("hostile") / NAME
    folder.mkdir()
    text = journal(plain / "b.jsonl", folder / f"{NAME}b.jsonl", spoil_text)
    torn = folder / f"{NAME}torn.jsonl"
    torn.write_bytes(text.read_bytes()[:-700])
    made = Files(
        folder,
        text,
        journal(plain / "a.jsonl", folder / f"{NAME}a.jsonl", spoil_text),
        journal(plain / "b.jsonl", folder / f"{NAME}all.jsonl", spoil_all),
        torn,
        folder / f"{NAME}.toml",
        folder / f"{NAME}bad.toml",
        folder / f"{NAME}profile.toml",
        folder / f"{NAME}.tape",
        folder / f"{NAME}missing",
        plain / f"{NAME[:-1]}job",  # UTF-8: what is none is refused before it is opened
        plain / f"{NAME[:-1]}bad job",
    )
    for place, text_of_it in ((made.job, JOB), (made.bad_job, BAD_JOB)):
        place.mkdir()
        (place / "job.toml").write_text(text_of_it, encoding="utf-8")
        (place / "plan.toml").write_text(PLAN, encoding="utf-8")
        journal(plain / "b.jsonl", place / "001-L.jsonl", spoil_text)
    made.plan.write_text(PLAN, encoding="utf-8")
    made.bad_plan.write_text(BAD_PLAN, encoding="utf-8")
    made.profile.write_text(PROFILE, encoding="utf-8")
    lines = [f"0.2 ohm{EVIL}\n"] * 3 + ["0.2 ohm\n"] * 20
    heard = "".join(f"{0.1 * n:.1f} {line.encode().hex(' ')}\n" for n, line in enumerate(lines))
    made.tape.write_text("metercap tape 1\n" + heard, encoding="utf-8")
    return made


def calls(files: Files) -> Iterator[list[str]]:
    """Yield every command line; `{out}` stands for a new file."""
    tape = f"tape:{files.tape}"
    for one in (files.text, files.all, files.torn, files.missing, files.plan, files.folder, files.job):
        file = str(one)
        yield ["replay", file, "--plain"]
        yield ["replay", file, "--json"]
        yield ["replay", file, "--check"]
        yield ["replay", file, "--check", "--json"]
        yield ["verify", file]
        yield ["verify", file, "--json"]
        yield ["report", file, "--text"]
        yield ["report", file, "--json"]
        yield ["report", file, "--text", "--against", str(files.other)]
        yield ["export", file, "--to", "-"]
        yield ["export", file, "--to", "-", "--table", "readings"]
        yield ["export", file, "--to", "{out}.csv", "--json"]
        yield ["compare", str(files.other), file]
        yield ["compare", str(files.other), file, "--json", "--budget", NAME]
        yield ["history", file, "--by", "bench"]
        yield ["history", file, "--json", "--to", "{out}.html"]
        yield ["learn", file, "--force", "--out", "{out}.toml"]
        yield ["learn", file, "--force", "--out", "{out}.toml", "--json"]
        yield ["plan", "new", "--from", file]
        yield ["run", str(files.plan), "--port", tape, "--meter", "text", "--unit", "B", "--against", file, "--plain"]
        yield ["run", str(files.plan), "--port", tape, "--meter", "text", "--unit", "B", "--after", file, "--plain"]
        yield ["run", str(files.plan), "--port", tape, "--meter", "text", "--unit", "B", "--continue", file, "--json"]
    yield ["verify", str(files.torn), "--repair", "{out}.jsonl"]
    for plan in (files.plan, files.bad_plan, files.missing, files.text):
        yield ["plan", "check", str(plan)]
        yield ["plan", "check", str(plan), "--json"]
        yield ["plan", "show", str(plan)]
        yield ["plan", "show", str(plan), "--json"]
        yield ["replay", str(files.text), "--plan", str(plan)]
        yield ["replay", str(files.text), "--plan", str(plan), "--json"]
        yield ["run", str(plan), "--port", tape, "--meter", "text", "--unit", EVIL, "--plain", "--out", "{out}.jsonl"]
        yield ["practice", "gc8-b-whole", "--plan", str(plan), "--plain"]
    yield ["plan", "new", "--title", EVIL, "--model", EVIL, "--fuses", f"F1{EVIL}", "--loose"]
    yield ["plan", "keys", EVIL]
    yield ["plan", EVIL]
    for meter in ("text", str(files.profile), str(files.missing), EVIL):
        yield ["watch", "--port", tape, "--meter", meter, "--count", "3", "--plain"]
        yield ["watch", "--port", tape, "--meter", meter, "--count", "3", "--json"]
        yield ["record", "--port", tape, "--meter", meter, "--unit", EVIL, "--out", "{out}.jsonl", "--plain"]
        yield ["identify", "--port", tape, "--meter", meter, "--seconds", "0.2"]
        yield ["identify", "--port", tape, "--meter", meter, "--seconds", "0.2", "--json"]
    for port in (
        str(files.missing),
        f"socket://{EVIL}",
        EVIL,
        str(files.plan),
        f"tape:{files.missing}",
        f"VISA::{EVIL}",
    ):
        yield ["watch", "--port", port, "--meter", "text", "--count", "1"]
        yield ["identify", "--port", port, "--seconds", "0.2"]
    for step in ("sweep", "check", "tune", "exercise", "cell"):
        yield [step, f"F1{EVIL}", "--loose", "--port", tape, "--meter", "text", "--unit", EVIL, "--plain"]
        yield [step, EVIL, "--to", EVIL, "--max", EVIL, "--port", EVIL, "--meter", EVIL]
    yield ["teach", "--out", "{out}.toml", "--line", f"R={EVIL}2.187 kohm", "--line", f"R={EVIL}OL", "--name", EVIL]
    yield ["teach", "--out", str(files.plan), "--line", EVIL]
    for plan in (files.job / "plan.toml", files.bad_job / "job.toml", files.job / "none", files.plan):
        yield ["job", "new", EVIL, "--plan", str(plan), "--unit", f"L={EVIL}", "--symptom", f"L={EVIL}", "--json"]
        yield ["job", "new", EVIL, "--plan", str(plan), "--unit", f"L={EVIL}", "--folder", f"{{out}}{NAME[:-1]}"]
    yield ["job", "new", EVIL, "--plan", str(files.job / "plan.toml"), "--unit", EVIL]
    yield ["job", "new", "pair", "--plan", EVIL, "--unit", "L", "--serial", f"{EVIL}=1", "--known-good", EVIL]
    for job in (files.job, files.bad_job, files.job / NAME[:-1], files.folder):
        yield ["job", "show", str(job)]
        yield ["job", "show", str(job), "--json"]
        yield ["run", str(job), "--port", tape, "--meter", "text", "--plain"]
    yield ["job", EVIL]
    yield ["ports"]
    yield ["ports", "--json"]
    yield ["practice", "--list"]
    yield ["practice", EVIL]
    yield ["demo", "--out", str(files.folder), "--plain"]
    yield ["demo", "--speed", EVIL]
    yield ["sound", "--cue", EVIL]
    yield ["sound", "--show"]
    yield [EVIL]
    yield ["replay", str(files.text), f"--{EVIL}"]


def said(arguments: list[str], folder: Path) -> tuple[int, bytes, bytes]:
    """Run a command line; words on its stdin are hostile, then the end."""
    done = subprocess.run(
        [*METERCAP, *arguments],
        input=f"{EVIL}\nnote {EVIL}\nskip\nquit\n".encode(),
        capture_output=True,
        env=environment(XDG_CONFIG_HOME=str(folder), XDG_DATA_HOME=str(folder), HOME=str(folder)),
        cwd=folder,
        timeout=60,
        check=False,
    )
    return done.returncode, done.stdout, done.stderr


def judge(arguments: list[str], out: bytes, err: bytes) -> list[str]:
    """Return what is wrong with what a command wrote."""
    wrong = []
    crlf = arguments[0] == "export" and "-" in arguments
    for name, data in (("stdout", out.replace(b"\r\n", b"\n") if crlf else out), ("stderr", err)):
        if found := RAW.search(data):
            wrong.append(f"{name}: {data[max(0, found.start() - 60) : found.end() + 20]!r}")
        if name == "stderr" and (b"a defect of this program" in data or b"Traceback" in data):
            wrong.append(f"{name}: {data[-300:]!r}")
        if re.search(rb"^metercap: all is well", data, re.M):
            wrong.append(f"{name}: a file's name looks like a message")
    return wrong


@pytest.mark.parametrize(
    "whole", [False, pytest.param(True, marks=[pytest.mark.slow, pytest.mark.timeout(900)])], ids=["quick", "whole"]
)
def test_no_command_lets_hostile_text_out(
    files: Files, tmp_path: Path, attack: Callable[[str], Any], whole: bool
) -> None:
    """The raw bytes of stdout and stderr of each command line, hundreds in all; every command is among them.

    The quick one takes of each command the line with the hostile journal or plan.
    """
    from concurrent.futures import ThreadPoolExecutor

    lines = list(calls(files))
    if not whole:
        first: dict[tuple[str, ...], list[str]] = {}
        for line in lines:
            form = (line[0], *(part for part in line if part.startswith("--")))
            first.setdefault(form if line[0] in ("replay", "report", "export", "verify", "plan") else form[:1], line)
        lines = list(first.values())
    assert {line[0] for line in lines} >= set(COMMANDS)
    trials = attack("hostile text through every command")

    def one(numbered: tuple[int, list[str]]) -> list[str]:
        number, line = numbered
        folder = tmp_path / str(number)
        folder.mkdir()
        arguments = [part.replace("{out}", str(folder / "out")) for part in line]
        status, out, err = said(arguments, folder)
        wrong = judge(arguments, out, err)
        if status not in (0, 1, 2, 3, 130):
            wrong.append(f"status {status}")
        return [f"{line}: {what}" for what in wrong]

    with ThreadPoolExecutor(3) as pool:
        found = list(pool.map(one, enumerate(lines)))
    trials.count(len(lines), sum(not wrong for wrong in found))
    everything = [what for wrong in found for what in wrong]
    assert not everything, "\n".join(everything)


@pytest.mark.parametrize("table", ["verdicts", "readings"])
def test_csv_of_a_hostile_journal_holds_no_formula(files: Files, table: str, tmp_path: Path) -> None:
    """No cell begins with a formula's sign, even behind spaces, or split at semicolons or bars (OWASP, from memory)."""
    status, out, err = said(["export", str(files.all), "--to", "-", "--table", table], tmp_path)
    if status == 2:
        pytest.skip(f"refused as a whole: {err.decode()}")
    rows = list(csv.reader(io.StringIO(out.decode())))
    assert len(rows) > 3
    for row in rows[1:]:
        for cell in row:
            for part in re.split("[,;|]", cell):
                part = part.strip()
                assert part[:1] not in tuple("=@+-") or re.fullmatch(r"[+-]?[\d.]+(e[+-]?\d+)?", part), cell


def test_a_hostile_meter_in_a_terminal(files: Files, tmp_path: Path) -> None:
    """On a terminal our own colours and erasing pass, and nothing of the meter's or the file's."""
    import pty
    import select

    master, slave = pty.openpty()
    command = [*METERCAP, "replay", str(files.text), "--plain"]
    process = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=slave, stderr=slave, env=environment(TERM="xterm")
    )
    os.close(slave)
    seen = b""
    while select.select([master], [], [], 20)[0]:
        try:
            data = os.read(master, 65536)
        except OSError:
            break
        seen += data
    process.wait(20)
    os.close(master)
    assert b"\\x1b]0;owned" in seen
    ours = re.sub(rb"\x1b\[(0|1|3[1-6])m|\a", b"", seen.replace(b"\r\n", b"\n"))
    assert RAW.search(ours) is None
