"""`metercap practice`: sessions by lines on stdin, the meter alone on a port, and what it refuses."""

from __future__ import annotations

import contextlib
import json
import os
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.commands._by_hand import line_reader
from metercap.commands._setting import setting
from metercap.errors import UsageError
from metercap.practice.hand_lines import read_move
from tests.e2e.program import METERCAP, Program, Record, environment, no_defect, of_kind, program, run, verdicts

posix = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

PLAN = """
[plan]
title = "Two fuses of a GC-8"
supply = "none"
[[step]]
id = "leads"
kind = "zero"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F2"
max = "2 ohm"
"""
SCENE = """
schema = 1
title = "two fuses on the mat"
unit = "B"
seed = 4
[meter]
family = "text"
per_s = 5.0
[[part]]
names = "F1..F2"
kind = "fuse"
ohm = 0.1
[truth.leads]
leads = "pass"
[truth.fuses]
F1 = "pass"
F2 = "{truth}"
"""


@pytest.fixture
def mat(tmp_path: Path) -> tuple[Path, Path]:
    """A scene and a plan of loose parts."""
    scene, plan = tmp_path / "mat.toml", tmp_path / "plan.toml"
    scene.write_text(SCENE.format(truth="pass"), encoding="utf-8")
    plan.write_text(PLAN, encoding="utf-8")
    return scene, plan


class Learner:
    """Does what prompts and cues ask, by lines: session and hands are one program's stdin."""

    def __init__(self) -> None:
        self.program: Program | None = None
        self.lifted = True
        self.asks = ""

    def see(self, record: Record) -> None:
        """Take one record."""
        kind = record["kind"]
        if kind == "prompt" and record["do"] in ("probe", "short"):
            self.asks = "short" if record["do"] == "short" else "touch"
            if self.lifted:
                self.say(self.asks)
        elif kind == "prompt" and record["do"] == "answer":
            self.say("yes")
        elif kind == "prompt" and record["do"] == "dial" and record["item"]:
            self.say("dial")
        elif kind == "cue" and record["cue"] in ("pass", "lift", "again"):
            self.lifted = False
            self.say("")
        elif kind == "cue" and record["cue"] == "go":
            self.lifted = True
            self.say(self.asks)

    def say(self, line: str) -> None:
        assert self.program is not None
        self.program.say(line)


@posix
def test_a_session_by_lines(mat: tuple[Path, Path], tmp_path: Path) -> None:
    """Hands and words on one stdin carry a plan through; stdout is the journal, and it is derived again exactly."""
    scene, plan = mat
    out, learner = tmp_path / "out", Learner()
    args = ("practice", str(scene), "--plan", str(plan), "--speed", "10", "--out", str(out))
    with program(*args, see=lambda record: learner.see(record)) as metercap:
        learner.program = metercap
        ended = metercap.wait()
    assert ended.status == 0
    assert verdicts(metercap.records) == {"leads": "pass", "F1": "pass", "F2": "pass"}
    assert ended.out == (out / "b.jsonl").read_bytes()
    assert "tips on F1" in ended.err and "tips together" in ended.err and "tips in the air" in ended.err
    options = metercap.records[0]["options"]
    assert (options["practice"], options["seed"], options["steps"]) == (str(scene), 4, ["leads", "fuses"])
    assert run("replay", str(out / "b.jsonl"), "--check").status == 0


@posix
def test_lines_for_people(mat: tuple[Path, Path], tmp_path: Path) -> None:
    """--plain answers every line, refuses what is neither move nor word, and sets the verdicts against the bench."""
    scene, plan = mat
    scene.write_text(SCENE.format(truth="fail"), encoding="utf-8")
    script = "help\nF9\nnote\ntouch\nturn +1\nstart now\n\nF1 reversed\nF2\n\nnote done\nquit\n"
    said = run("practice", str(scene), "--plan", str(plan), "--plain", "--speed", "20", stdin=script.encode())
    out = said.out.decode()
    assert said.status == 1
    for text in (
        "load OHM          put a load across",
        "'F9' is no point of the board, no move and no word",
        "note needs its TEXT",
        "tips together",
        "there is no trimmer under the tips",
        "start stands alone",
        "tips on F1 reversed",
        "tips on their way to F2",
        "tips in the air",
        '"  note done',
        "end: quit",
        "journal: ",
    ):
        assert text in out, out
    assert said.err == ""


@posix
def test_what_the_bench_knows_is_told_at_the_end(mat: tuple[Path, Path], tmp_path: Path) -> None:
    """A good fuse called open is named as what it is."""
    scene, plan = mat
    script = "skip step\nopen\nopen\nquit\n"
    said = run("practice", str(scene), "--plan", str(plan), "--plain", stdin=script.encode())
    out = said.out.decode()
    assert said.status == 1
    assert "0 of 3 verdicts are as it is on the bench, but:" in out, out
    assert "fuses F1: said fail, is pass" in out


@posix
def test_interrupted_closes_the_journal(mat: tuple[Path, Path], tmp_path: Path) -> None:
    """Ctrl-C ends with 130, the end record written."""
    scene, plan = mat
    out = tmp_path / "out"
    with program("practice", str(scene), "--plan", str(plan), "--out", str(out)) as metercap:
        metercap.until(lambda records: of_kind(records, "reading"), "reading")
        metercap.signal(signal.SIGINT)
        ended = metercap.wait()
    assert ended.status == 130
    assert metercap.records[-1]["reason"] == "interrupted"
    assert run("verify", str(out / "b.jsonl")).status == 0


@posix
def test_end_of_stdin_is_no_word(mat: tuple[Path, Path]) -> None:
    """Without anybody the session waits; it takes a signal to end it."""
    scene, plan = mat
    with program("practice", str(scene), "--plan", str(plan)) as metercap:
        metercap.close_stdin()
        metercap.until(lambda records: len(of_kind(records, "reading")) > 5, "readings")
        metercap.signal(signal.SIGTERM)
        assert metercap.wait().status == 130


@posix
def test_values_of_a_good_unit_are_measured_first(tmp_path: Path) -> None:
    """A plan that compares gets them from the simulated technician; the session's first record carries them."""
    out = tmp_path / "out"
    args = ("practice", "gc8-b-whole", "--steps", "coils,bridge", "--no-safe", "--out", str(out))
    with program(*args) as metercap:
        metercap.until(lambda records: of_kind(records, "prompt"), "prompt")
        metercap.say("quit")
        ended = metercap.wait()
    assert ended.status == 1
    first = metercap.records[0]
    assert first["reference"]["coils/K1"]["value"] == pytest.approx(1152, abs=2)
    assert first["options"]["no_safe"] is True and first["options"]["steps"] == ["coils", "bridge"]
    assert sorted(path.name for path in out.iterdir()) == ["a.jsonl", "b.jsonl"]


# --- two units


class GoesBetween(Learner):
    """Does what is asked of B, fetches A where a value of the good unit is missing, and ends once B is back."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []

    def see(self, record: Record) -> None:
        """Take one record."""
        if record["kind"] == "session":
            self.tags.append(record["tag"])
            self.lifted = True
        elif record.get("asks") == "target":
            self.say("take A")  # with both tips on B's trimmer: they come off with the board
        elif record.get("asks") == "next unit":
            self.say("take B")
        elif record["kind"] == "prompt" and len(self.tags) == 3:
            self.say("nowhere")
            self.say("quit")
        else:
            super().see(record)


@posix
def test_two_units_of_a_job_by_hand(tmp_path: Path) -> None:
    """`take A` puts the good unit on the mat, whose trimmer the same hands find; B's value is then set against it.

    The scenes' trimmers: 5 kohm at 0.4374 is 2187 ohm on A. The journals are those of a job.
    """
    out, hands = tmp_path / "pair", GoesBetween()
    args = ("practice", "gc8-pair", "--no-safe", "--steps", "leads,bridge", "--speed", "20", "--out", str(out))
    with program(*args, see=lambda record: hands.see(record)) as metercap:
        hands.program = metercap
        ended = metercap.wait()
    assert ended.status == 1 and hands.tags == ["B", "A", "B"]
    assert sorted(path.name for path in out.glob("*.jsonl")) == ["001-B.jsonl", "002-A.jsonl", "003-B.jsonl"]
    (good,) = [one for one in of_kind(metercap.records, "verdict") if one["item"] == "RV1"]
    assert good["verdict"] == "pass" and good["value"] == pytest.approx(2187, abs=10)
    begun = of_kind(metercap.records, "session")[-1]
    assert begun["reference"]["bridge/RV1"]["value"] == good["value"], "what A measured serves B at once"
    assert "'nowhere' is no point of the board" in ended.err and "tips on RV1" in ended.err
    assert run("verify", str(out)).status == 0


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--port",), "--port"),
        (("--rate", "5", "--family", "text"), "--family, --rate"),
        (("--plan", "loose-parts"), "--plan"),
    ],
)
def test_what_a_jobs_scenes_say_themselves(metercap: Callable[..., Any], more: tuple[str, ...], said: str) -> None:
    """Options of a single unit are named and refused."""
    out = metercap("practice", "gc8-pair", *more)
    assert out.status == 2 and said in out.err and "scenes say this themselves" in out.err and out.out == ""


# --- the meter alone


@posix
def test_a_port_is_served_until_quit_or_ctrl_c(mat: tuple[Path, Path]) -> None:
    """The port and the run line come first; lines move the probes and are answered; quit is 0, Ctrl-C 130."""
    scene, plan = mat
    for how, status in (("quit", 0), ("signal", 130)):
        with program("practice", str(scene), "--plan", str(plan), "--port") as served:
            (first,) = served.until(lambda records: records[:1], "port")
            assert Path(first["port"]).exists() and first["points"] == ["F1", "F2"]
            words = shlex.split(first["run"])
            assert words[:3] == ["metercap", "run", str(plan)]
            assert words[3:] == [
                *("--port", first["port"], "--meter", "text", "--unit", "B"),
                *("--rate", "5", "--out", "b.jsonl"),
            ]
            for line in ("F2", "f3", "", "open"):
                served.say(line)
            served.until(lambda records: len(of_kind(records, "hands")) == 2, "answers")
            if how == "quit":
                served.say("quit")
            else:
                served.signal(signal.SIGINT)
            ended = served.wait()
        assert ended.status == status
        assert [record["text"] for record in of_kind(served.records, "hands")] == ["tips on F2", "tips in the air"]
        assert "'f3' is no point of the board and no move\n  try: F" in ended.err
        assert "'open' is a word of the session" in ended.err


@posix
def test_a_served_port_outlives_its_stdin_and_its_readers() -> None:
    """End of stdin ends nothing, and programs may open and close the port as they like."""
    serial = pytest.importorskip("serial")
    with program("practice", "--port", "--family", "text", "--rate", "10") as served:
        (first,) = served.until(lambda records: records[:1], "port")
        served.say("F1")
        served.until(lambda records: of_kind(records, "hands"), "answer")
        served.close_stdin()
        for _ in range(2):
            with serial.Serial(first["port"], 9600, timeout=5.0) as port:
                port.reset_input_buffer()
                port.read_until(b"\r\n")
                lines = [port.read_until(b"\r\n") for _ in range(3)]
            assert all(b"ohm" in line for line in lines)
        assert lines[-1].startswith(b"0.")
        served.signal(signal.SIGTERM)
        assert served.wait().status == 130


@posix
def test_a_served_port_ends_when_nobody_reads_what_it_says() -> None:
    """A closed pipe on stdout is no reason for a traceback."""
    out, into = os.pipe()
    with subprocess.Popen(
        [*METERCAP, "practice", "--port"],
        bufsize=0, stdin=subprocess.PIPE, stdout=into, stderr=subprocess.PIPE, env=environment(),
    ) as served:  # fmt: skip
        os.close(into)
        assert b"simulated meter on" in os.read(out, 4096)
        os.close(out)
        assert served.stdin is not None and served.stderr is not None
        with contextlib.suppress(BrokenPipeError):
            for _ in range(3):
                served.stdin.write(b"F1\n")
                time.sleep(0.1)
        assert served.wait(20.0) == 0
        no_defect(served.stderr.read().decode())


# --- lists, help, refusals


def test_list(metercap: Callable[..., Any]) -> None:
    """Every scene by name and title, for people and for programs."""
    said = metercap("practice", "--list")
    assert said.status == 0 and "gc8-b-whole  GC-8 climate controller" in said.out
    rows = json.loads(metercap("practice", "--list", "--json").out)
    assert [row["name"] for row in rows] == ["gc8-a", "gc8-a-whole", "gc8-b", "gc8-b-pair", "gc8-b-whole"]
    assert rows[0]["known_good"] is True and rows[2]["steps"] == ["dead", "leads", "fuses"]


def test_help_has_examples(metercap: Callable[..., Any]) -> None:
    """How to use it, how it ends."""
    said = metercap("practice", "--help")
    for text in ("metercap practice --port", "--family polled-line", "Exit status", "130"):
        assert text in said.out


@pytest.mark.parametrize(
    ("args", "text"),
    [
        (("gc8-c",), "there is no scene 'gc8-c'"),
        (("gc8-b", "--plan", "nope"), "nope"),
        (("gc8-b", "--steps", "fusses"), 'did you mean "fuses"'),
        (("gc8-b", "--steps", "fuses"), "not proved dead"),
        (("--port", "--speed", "2"), "real time"),
        (("--port", "--out", "x"), "its own journal"),
        (("--speed", "50"), "range"),
        (("--family", "scpi"), "not one of"),
        (("--port", "--rate", "40"), "do not fit on the wire of lcd14"),
        (("--against", "missing.jsonl"), "missing.jsonl"),
        (("gc8-a", "--against", __file__), "neither"),
    ],
)
def test_refusals(metercap: Callable[..., Any], args: tuple[str, ...], text: str, tmp_path: Path) -> None:
    """Status 2, what and where on stderr, nothing on stdout, nothing written."""
    said = metercap("practice", *args)
    assert said.status == 2 and text in said.err, said.err
    assert said.out == ""


def test_an_existing_folder_is_never_written_into(metercap: Callable[..., Any], tmp_path: Path) -> None:
    """--out must be new."""
    said = metercap("practice", "--out", str(tmp_path))
    assert said.status == 2 and "already exists" in said.err


def test_a_scene_without_a_plan_asks_for_one(metercap: Callable[..., Any], mat: tuple[Path, Path]) -> None:
    """The scene is fine, the command line is not."""
    said = metercap("practice", str(mat[0]))
    assert said.status == 2 and "names no plan" in said.err and "--plan PLAN" in said.err


def test_a_scene_that_compares_needs_a_good_one(tmp_path: Path) -> None:
    """Without a known-good scene of the same model and plan the missing values are named."""
    text = SCENE.format(truth="pass").replace('unit = "B"', 'unit = "B"\nmodel = "GC-9"')
    scene, plan = tmp_path / "mat.toml", tmp_path / "plan.toml"
    scene.write_text(text, encoding="utf-8")
    tune = '[[step]]\nid = "bridge"\nkind = "tune"\nitems = ["RV1"]\ntarget = "reference"\ntolerance = "1 %"\n'
    plan.write_text(PLAN + tune, encoding="utf-8")
    with pytest.raises(UsageError, match="bridge/RV1"):
        setting(str(scene), folder=lambda: tmp_path, plan=str(plan))


@pytest.mark.parametrize(("family", "counts"), [("digits14", 22_000), ("polled-line", 4000), (None, 4000)])
def test_another_wire(family: str | None, counts: int, tmp_path: Path) -> None:
    """The family brings its own display and profile; the rate is the meter's and the session's."""
    chosen = setting("gc8-a", folder=lambda: tmp_path, family=family, rate=3.0)
    assert (chosen.scene.meter.counts, chosen.scene.meter.per_s) == (counts, 3.0)
    assert (chosen.profile.family, chosen.profile.conversions_per_s) == (family or "lcd14", 3.0)


class Still:
    """A grip that holds nothing."""

    points = ("F1", "open")
    status = "tips in the air"

    def __init__(self) -> None:
        self.done: list[str] = []

    def do(self, line: str) -> str:
        self.done.append(line)
        return "felt" if line == "press" else ""


def test_a_line_is_a_word_before_it_is_a_point() -> None:
    """A point called like a word is touched by `touch`; the bare name stays the word."""
    grip, told = Still(), list[str]()
    read = line_reader(grip, told.append)  # type: ignore[arg-type]
    assert read("open") == ("open", "")
    assert read("touch open") is None and read("F1") is None and read("") is None and read("press") is None
    assert grip.done == ["touch open", "F1", "", "press"]
    assert told == ["tips in the air"] * 3 + ["tips in the air: felt"]
    assert read_move("touch open", grip.points) is not None
    with pytest.raises(UsageError, match="no word"):
        read("opne")
