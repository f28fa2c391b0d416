"""`metercap plan mark` as it is run by hand: how it begins, how it ends, and what it leaves."""

from __future__ import annotations

import json
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.marking.conftest import FUSES, Program
from tests.marking.test_baking import corners
from tests.web.serve import ask

Start = Callable[[Path], Program]


def post(at: Program, path: str, body: bytes = b"") -> tuple[int, dict[str, Any]]:
    answer = ask(at.at, path, method="POST", body=body)
    return answer.status, json.loads(answer.body)


def place(at: Program, rev: int, n: int) -> tuple[int, dict[str, Any]]:
    move = {"rev": rev, "do": "place", "key": f"fuses/F{n}", "tips": [[n / 20, 0.5]]}
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
