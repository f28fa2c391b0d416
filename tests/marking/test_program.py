"""`metercap plan mark` as it is run by hand: how it begins, how it ends, and what it leaves."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from metercap.web.address import Address
from tests.marking.conftest import FUSES, Program
from tests.marking.test_baking import corners
from tests.web.serve import ask

Start = Callable[[Path], Program]


def post(at: Program, path: str, body: bytes = b"") -> tuple[int, dict[str, Any]]:
    answer = ask(at.at, path, method="POST", body=body)
    return answer.status, json.loads(answer.body)


def test_another_site_and_a_real_photograph(plan: Path, program: Start) -> None:
    """What stands in front of the page in the program as it is run: the door, and room for a photograph."""
    at = program(plan)
    rev = begun(at)["rev"]
    foreign = ask(at.at, f"/photo?rev={rev}", method="POST", body=corners(), headers={"Origin": "http://evil.example"})
    assert foreign.status == 403
    data = corners(3000, 2000, kind="PNG", compress_level=0)
    assert len(data) > 10_000_000
    status, state = post(at, f"/photo?rev={rev}&side=back", data)
    assert status == 200 and (state["pictures"][0]["width"], state["pictures"][0]["height"]) == (2400, 1600)
    assert at.end(signal.SIGTERM)[0] == 130


def place(at: Program, rev: int, n: int, y: float = 0.5) -> tuple[int, dict[str, Any]]:
    move = {"rev": rev, "do": "place", "key": f"fuses/F{n}", "tips": [[n / 20, y]]}
    return post(at, "/move", json.dumps(move).encode())


def begun(at: Program) -> dict[str, Any]:
    state: dict[str, Any] = json.loads(ask(at.at, "/state").body)
    return state


@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent otherwise there")
def test_ctrl_c_in_the_middle_keeps_what_was_marked(plan: Path, program: Start) -> None:
    first = program(plan)
    _, state = post(first, f"/photo?rev={begun(first)['rev']}&side=back", corners())
    assert place(first, state["rev"], 1)[0] == 200
    second = subprocess.run(
        [sys.executable, "-m", "metercap", "plan", "mark", str(plan), "--no-open"], capture_output=True, timeout=60
    )
    assert second.returncode == 2 and b"another program is marking this plan" in second.stderr
    status, said = first.end(signal.SIGINT)
    assert status == 130 and "goes on" in said and "Traceback" not in said
    assert plan.read_text(encoding="utf-8") == FUSES
    again = program(plan)
    state = begun(again)
    assert state["pictures"][0]["at"] == {"fuses/F1": [[0.05, 0.5]]}
    assert post(again, f"/save?rev={state['rev']}")[0] == 200
    assert post(again, "/done")[0] == 200
    status, said = again.end(0)
    assert (status, "written" in said) == (0, True)
    assert sorted(path.name for path in plan.parent.iterdir()) == ["gc8-back.jpg", "gc8.toml"]


@pytest.mark.skipif(sys.platform == "win32", reason="no such terminals there")
def test_another_machine_needs_the_key_that_the_terminal_shows(plan: Path) -> None:
    """On any address but the loopback one; in a terminal the address comes as a code to scan, too."""
    import pty

    mine, theirs = pty.openpty()
    command = [*Program.command(plan)[:-1], "0.0.0.0:0"]
    running = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=subprocess.DEVNULL)
    try:
        os.close(theirs)
        said = b""
        while b"?key=" not in said or not said.endswith(b"\n"):
            said += os.read(mine, 4096)
        found = re.search(r"http://([\w.]+):(\d+)(/\?key=\S+)", said.decode())
        assert found is not None
        at, key = Address(host=found[1], port=int(found[2])), found[3]
        assert ask(at, "/state").status == 403 and ask(at, key[:-1]).status == 403
        entered = ask(at, key)
        cookie = entered.header("set-cookie").partition(";")[0]
        assert (entered.status, entered.header("location")) == (303, "/")
        assert ask(at, "/state", headers={"Cookie": cookie}).status == 200
        assert len([line for line in said.decode().splitlines() if "█" in line]) > 12
        running.send_signal(signal.SIGINT)
        assert running.wait(20) == 130
    finally:
        running.kill()
        running.wait()
        os.close(mine)


@pytest.mark.slow
@pytest.mark.attack
@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent otherwise there")
def test_ended_at_any_moment(plan: Path, program: Start, attack: Any) -> None:
    """Killed or interrupted while taps and photographs come in: what was answered is there, and nothing is torn."""
    trials = attack("the marking ended at any moment")
    large = corners(4000, 3000, kind="PNG")
    known: dict[str, Any] = {}
    sent: dict[str, Any] = {}
    for n in range(10):
        with trials.trial():
            at = program(plan)
            state = begun(at)
            there = state["pictures"][0]["at"] if state["pictures"] else {}
            assert there in (known, known | sent), "all that was answered, and at most the one that was on its way"
            known = there
            if not state["pictures"]:
                state = post(at, f"/photo?rev={state['rev']}&side=back", corners())[1]
            rev = state["rev"]
            hit = threading.Timer(0.02 * n, at.end, [signal.SIGKILL if n % 2 else signal.SIGINT])
            hit.start()
            try:
                for k in range(1, 500):
                    item, y = 1 + k % 12, (k + n) % 20 / 20
                    sent = {f"fuses/F{item}": [[item / 20, y]]}
                    status, answer = place(at, rev, item, y)
                    state = answer if status == 200 else answer["state"]
                    rev, known = state["rev"], state["pictures"][0]["at"]
                    if k == n:
                        post(at, f"/photo?rev={rev}&side=front", large)
                pytest.fail("it never ended")
            except (OSError, ValueError, IndexError):
                pass  # it has
            hit.join()
            assert plan.read_text(encoding="utf-8") == FUSES


@pytest.mark.attack
@pytest.mark.skipif(shutil.which("unshare") is None, reason="no namespaces here")
def test_a_disk_that_fills_up(plan: Path, attack: Any) -> None:
    """A real file system of 128 kB: taps go on being answered, with what is wrong, and the plan is as it was."""
    bench = plan.parent
    inside = f'mount -t tmpfs -o size=128k none "{bench}" && cp /dev/stdin "{plan}" && exec "$@"'
    command = ["unshare", "-rm", "sh", "-c", inside, "sh", *Program.command(plan)]
    trials = attack("a small disk under the marking page")
    with trials.trial():
        try:
            at = Program(plan, command=command, said=FUSES)
        except AssertionError as error:
            if "unshare" in str(error) or "mount" in str(error):
                pytest.skip(f"no namespaces here: {error}")
            raise
        try:
            real = Path(f"/proc/{at.pid}/root{bench}")
            state = post(at, f"/photo?rev={begun(at)['rev']}&side=back", corners())[1]
            state = place(at, state["rev"], 1)[1]
            filler = real / "filler"
            with filler.open("wb", buffering=0) as file:
                try:
                    while True:
                        file.write(b"x" * 4096)
                except OSError:
                    pass
            for path in (f"/save?rev={state['rev']}", f"/photo?rev={state['rev']}&side=front"):
                status, answer = post(at, path, corners(900, 900) if "photo" in path else b"")
                assert status == 422 and "No space left" in answer["error"][0], answer
            assert place(at, state["rev"], 2)[0] == 422
            assert (real / plan.name).read_text(encoding="utf-8") == FUSES
            assert begun(at) == state
            filler.unlink()
            assert place(at, state["rev"], 2)[0] == 200
            assert post(at, f"/save?rev={begun(at)['rev']}")[0] == 200
            assert '"fuses/F2" = [0.1, 0.5]' in (real / plan.name).read_text(encoding="utf-8")
        finally:
            at.end(signal.SIGKILL)


def test_a_plan_that_belongs_to_everybody_is_not_marked() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "metercap", "plan", "mark", "greenhouse-controller", "--no-open"],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 2 and "not yours" in done.stderr and "cp " in done.stderr


@pytest.mark.parametrize("missing", ["starlette", "uvicorn"])
def test_without_the_extra_it_says_what_to_install(plan: Path, missing: str) -> None:
    code = f"import sys; sys.modules[{missing!r}] = None; from metercap.cli import main; main(sys.argv[1:])"
    command = [sys.executable, "-c", code, "plan", "mark", str(plan), "--no-open", "--host", "127.0.0.1:0"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2 and "pip install 'metercap[web]'" in done.stderr
    assert [path.name for path in plan.parent.iterdir()] == [plan.name]
