"""The second screen of the real program: a meter on a pseudo-terminal, pages over real sockets, servers that die."""

from __future__ import annotations

import io
import json
import os
import signal
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from metercap.web.address import Address
from tests.e2e.outside_meter import Meter
from tests.e2e.program import Hands, Program, of_kind, plan_file, program, run, sweep, verdicts
from tests.e2e.second_screen import server, where
from tests.screen.terminal import Terminal
from tests.web.feed import page
from tests.web.serve import ask

pytest.importorskip("uvicorn")
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
PROC = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc to find the server")

CONFIRM = '[[step]]\nid = "seated"\nkind = "confirm"\nsay = "Are all fuses seated?"\n'
BOARD = {"F1": 0.2, "F2": 0.3, "F3": 0.2}


@contextmanager
def session(
    folder: Path, plan: str, *more: str, board: dict[str, float] | None = None
) -> Iterator[tuple[Program, int]]:
    """Run a plan with a second screen on a free port; yield the program and the port. Without a `board` nobody acts."""
    with Meter(folder) as meter:
        hands = Hands(meter, dict(board or {}))
        options = ("--port", str(meter.path), "--meter", meter.family, "--rate", "10", "--unit", "B")
        out = ("--out", str(folder / "b.jsonl"))
        path = str(plan_file(folder, plan))
        with program("run", "--web", ":0", path, *options, *out, *more, see=hands.see if board else None) as metercap:
            hands.program = metercap
            yield metercap, where(metercap).port


def here(glance: Any) -> str:
    """Return the item in turn on the path that a page draws."""
    stones = glance["stones"]
    return "" if stones is None or stones["here"] is None else str(stones["stones"][stones["here"]][0])


@PROC
def test_a_whole_sweep_is_followed_and_nothing_stays_behind(tmp_path: Path, journals: list[Path]) -> None:
    """What the page shows is what was measured: 0.2 and 0.3 Ω of three fuses, each ticked in turn."""
    with session(tmp_path, sweep('"F1..F3"', "count_check = false"), board=BOARD) as (metercap, port):
        child = server(metercap)
        with page(port) as shown:
            hello = shown.until(lambda events: events and events[0], "hello")
            assert (hello.kind, hello.data) == ("hello", {"words": False, "photos": False, "taps": False})
            seen = shown.glances(lambda g: here(g) == "F3", "F3 asked for")["stones"]["stones"]
            assert seen == [["F1", "pass"], ["F2", "pass"], ["F3", "here"]]
            last = shown.glances(lambda g: g["ended"], "the end")
            shown.until(lambda events: events[-1].kind == "over", "the goodbye")
        assert metercap.wait().status == 0
        assert not Path(f"/proc/{child}").exists()
    assert (last["tag"], last["hero"]["text"], last["words"]) == ("B", "DONE", [])
    journals.append(tmp_path / "b.jsonl")


@pytest.mark.slow
@PROC
def test_a_server_that_is_killed_or_hangs_does_not_harm_the_session(tmp_path: Path, journals: list[Path]) -> None:
    """Killed it is begun again at its port, and the page has the whole state; stopped it delays no verdict, no end."""
    with session(tmp_path, sweep('"F1..F3"', "count_check = false") + CONFIRM, board=BOARD) as (metercap, port):
        with page(port) as first:
            first.glances(lambda g: here(g) == "F2", "F2")
            killed = server(metercap)
            os.kill(killed, signal.SIGKILL)
            end_s = time.monotonic() + 10
            while not first.ended:
                assert time.monotonic() < end_s
                time.sleep(0.02)
        metercap.until(lambda seen: len(verdicts(seen)) == 4, "every verdict")
        assert metercap.wait().status == 0
    records = metercap.records
    between = [record["t_s"] for record in of_kind(records, "verdict")]
    assert between == sorted(between)
    journals.append(tmp_path / "b.jsonl")


@PROC
def test_a_killed_server_is_begun_again_where_it_was(tmp_path: Path) -> None:
    """A page that calls again at the same port gets the whole state at once; a stopped one does not hold the end up."""
    with session(tmp_path, sweep('"F1..F3"')) as (metercap, port):
        with page(port) as first:
            first.glances(lambda g: here(g) == "F1", "F1")
        killed = server(metercap)
        os.kill(killed, signal.SIGKILL)
        again = server(metercap, not_one_of=[killed])
        with page(port) as second:
            got = second.glances(lambda g: here(g) == "F1", "F1 again")
            assert got["stones"]["of"] == 3
        os.kill(again, signal.SIGSTOP)
        metercap.say("quit")
        said_s = time.monotonic()
        assert metercap.wait().status == 1
        assert time.monotonic() - said_s < 3.0
        assert not Path(f"/proc/{again}").exists()


def test_words_from_a_page_answer_the_prompt_that_was_shown(tmp_path: Path) -> None:
    """A word for a prompt that is gone is no answer, nor is one that the page was not offered; the right one is."""
    with session(tmp_path, CONFIRM + sweep('"F1..F2"'), "--web-words") as (metercap, port):
        at = Address("127.0.0.1", port)

        def say(word: str, prompt: int) -> int:
            time.sleep(0.25)
            body = json.dumps({"word": word, "prompt": prompt}).encode()
            return ask(at, "/word", method="POST", body=body, headers={"Content-Type": "application/json"}).status

        with page(port) as shown:
            asked = shown.glances(lambda g: "yes" in g["words"], "the question")
            assert say("yes", asked["prompt"] - 1) == 202
            assert say("quit", asked["prompt"]) == 202
            assert say("yes", asked["prompt"] + 1) == 202
            time.sleep(0.3)
            assert of_kind(metercap.records, "operator") == []
            assert say("yes", asked["prompt"]) == 202
            metercap.until(lambda seen: verdicts(seen).get("seated") == "pass", "the answer")
            assert say("yes", asked["prompt"]) == 202  # a second finger, too late
            shown.glances(lambda g: here(g) == "F1" and g["prompt"] > asked["prompt"], "F1")
        said = of_kind(metercap.records, "operator")
        assert [(each["word"], each["source"]) for each in said] == [("yes", "page")]
        metercap.say("quit")
        assert metercap.wait().status == 1


def test_without_leave_a_page_only_looks(tmp_path: Path) -> None:
    with session(tmp_path, CONFIRM) as (metercap, port):
        with page(port) as shown:
            asked = shown.glances(lambda g: g["prompt"], "the question")
            assert asked["words"] == []
            body = json.dumps({"word": "yes", "prompt": asked["prompt"]}).encode()
            assert ask(Address("127.0.0.1", port), "/word", method="POST", body=body).status == 403
            assert ask(Address("127.0.0.1", port), "/photo", method="POST", body=b"x").status == 403
        metercap.say("quit")
        assert metercap.wait().status == 1


def test_a_taken_port_is_said_before_anything_begins(tmp_path: Path) -> None:
    path = plan_file(tmp_path, sweep('"F1..F3"'))
    out = tmp_path / "b.jsonl"
    with socket.create_server(("127.0.0.1", 0)) as taken, Meter(tmp_path) as meter:
        port = str(taken.getsockname()[1])
        ended = run("run", str(path), "--port", str(meter.path), "--meter", "lcd14", "--out", str(out), "--web", port)
    assert ended.status == 2
    assert "another program listens there already" in ended.err
    assert not out.exists()


def test_a_replay_and_a_trace_are_seen_too(tmp_path: Path) -> None:
    """The page of `watch` shows what the meter shows; a replay shows the session's own items."""
    with Meter(tmp_path) as meter:
        meter.tips = 47.0
        options = ("--port", str(meter.path), "--meter", meter.family, "--no-save", "--web", ":0")
        with program("watch", *options) as metercap, page(where(metercap).port) as shown:
            got = shown.glances(lambda g: g["hero"]["text"] == "47.0", "the value")
            assert (got["hero"]["unit"], got["film"]["value"]) == ("Ω", "47.0 Ω")
            metercap.say("quit")
            shown.until(lambda events: events[-1].kind == "over", "the goodbye")
            assert metercap.wait().status == 0
    journal = Path(__file__).parents[2] / "fixtures" / "sessions" / "good-sweep.jsonl"
    with program("replay", str(journal), "--speed", "30", "--web", ":0") as metercap:
        with page(where(metercap).port) as shown:
            shown.glances(lambda g: g["board"] is None and g["stones"] and g["stones"]["of"] == 4, "the fuses")
        metercap.kill()


def test_what_is_no_address_is_refused(tmp_path: Path) -> None:
    ended = run("demo", "--web=somewhere:99999", "--out", str(tmp_path / "job"))
    assert (ended.status, "this is no address" in ended.err) == (2, True)
    assert not (tmp_path / "job").exists()
    ended = run("practice", "--web-words")
    assert (ended.status, "add --web" in ended.err) == (2, True)


def test_a_terminal_shows_the_code_first_and_then_only_when_asked(tmp_path: Path) -> None:
    """Off the loopback address the key is to be scanned: it fills the screen until a key, and stands nowhere after."""
    pytest.importorskip("segno")
    arguments = ["-m", "metercap", "practice", "gc8-b", "--web", "0.0.0.0:0", "--out", str(tmp_path / "own")]
    terminal = Terminal(arguments, columns=100, rows=40)
    try:
        terminal.until("second screen")
        terminal.until("?key=")
        assert terminal.text.count("█") > 100
        terminal.keys(b"x")
        terminal.until("tips in the air")
        assert "?key=" not in terminal.text
        terminal.keys(b"B")
        terminal.until("?key=")
        terminal.keys(b"x")
        terminal.until("tips in the air")
        terminal.keys(b"Q")
        terminal.until("y ends the session")
        terminal.keys(b"y")
        terminal.ended()
    finally:
        terminal.close()


def test_a_photograph_from_the_page_stands_in_the_job_and_in_its_report(tmp_path: Path) -> None:
    """Kept in the job's folder, noted in the journal at its moment; the report takes what lies there."""
    image = pytest.importorskip("PIL.Image")
    data = io.BytesIO()
    image.new("RGB", (64, 48), "green").save(data, "JPEG")
    job = tmp_path / "pair"
    made = ("--folder", str(job), "--plan", str(plan_file(tmp_path, CONFIRM)), "--unit", "L")
    assert run("job", "new", "pair", *made).status == 0
    with program("run", str(job), "--web", ":0", "--web-words") as metercap:
        at = where(metercap)
        with page(at.port) as shown:
            hello = shown.until(lambda events: events and events[0], "hello")
            assert (hello.data["words"], hello.data["photos"]) == (True, True)
            shown.glances(lambda g: g["prompt"], "the question")
            assert ask(at, "/photo", method="POST", body=data.getvalue()).status == 200
            note = metercap.until(lambda seen: of_kind(seen, "operator"), "a note")[0]
        (kept,) = job.glob("photo-*.jpg")
        assert (note["word"], note["text"], note["source"]) == ("note", f"photograph {kept.name}", "page")
        metercap.say("yes")
        assert metercap.wait().status == 0
    ended = run("report", str(job), "--to", str(tmp_path / "r.html"))
    assert ended.status == 0
    text = (tmp_path / "r.html").read_text("utf-8")
    assert kept.name in text and "data:image/jpeg;base64," in text
