"""Practice played by tapping the board's picture on the page: the real program, its server and its virtual hands."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from metercap.web.address import Address
from metercap.web.talk import Tap
from tests.commands.test_taps import PLACES, PLAN, SCENE
from tests.e2e.program import Program, Record, of_kind, program, verdicts
from tests.web.feed import address_of
from tests.web.serve import ask
from tests.web.test_second import desk

pytest.importorskip("uvicorn")
posix = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")


def tap(at: Address, picture: Any, x: Any, y: Any, **more: Any) -> int:
    """Post a tap; a tap too early after another is no finger's."""
    time.sleep(0.12)
    body = json.dumps({"picture": picture, "x": x, "y": y, "width": 1600, "height": 1000, **more}).encode()
    return ask(at, "/tap", method="POST", body=body, headers={"Content-Type": "application/json"}).status


def files(folder: Path, items: str) -> tuple[str, str]:
    scene, plan = folder / "scene.toml", folder / "plan.toml"
    scene.write_text(SCENE, encoding="utf-8")
    lines = PLAN.replace("F1..F3", items).splitlines()
    kept = [line for line in lines if items != "F1" or not line.startswith(('"fuses/F2', '"fuses/F3'))]
    plan.write_text("\n".join(kept), encoding="utf-8")
    return str(scene), str(plan)


def page_of(run: Program) -> Address:
    end_s = time.monotonic() + 20.0
    while (found := address_of(run.err)) is None:
        assert time.monotonic() < end_s, run.err
        time.sleep(0.02)
    return found


class Finger:
    """Taps what is asked for, where its picture has it, and beside everything when it has to lift."""

    def __init__(self) -> None:
        self.at: Address | None = None
        self.statuses: list[int] = []
        self._item, self._lifted = "", True

    def see(self, record: Record) -> None:
        """Take one record of the program."""
        cue = record["cue"] if record["kind"] == "cue" else ""
        if record["kind"] == "prompt" and record["do"] == "probe":
            self._item = record["item"]
        asked = record["kind"] == "prompt" and record["do"] == "probe" and self._lifted
        if cue == "go" or asked:
            self._lifted = True
            self._tap(*PLACES[self._item])
        elif cue in ("pass", "fail", "lift", "again") and self._lifted:
            self._lifted = False
            self._tap(0, 0.45, 0.9)

    def _tap(self, *where: float) -> None:
        while self.at is None:
            time.sleep(0.02)
        self.statuses.append(tap(self.at, *where))


@posix
@pytest.mark.parametrize(
    "wanted", [{"F1": "pass"}, pytest.param({"F1": "pass", "F2": "pass", "F3": "fail"}, marks=pytest.mark.slow)]
)
def test_fuses_by_taps(tmp_path: Path, wanted: dict[str, str]) -> None:
    """What is tapped on the page is what the meter reads: two good fuses and 38 ohm, as the scene has them."""
    scene, plan = files(tmp_path, "F1..F3" if len(wanted) == 3 else "F1")
    args = ("practice", scene, "--plan", plan, "--speed", "8", "--web", ":0", "--web-words")
    finger = Finger()
    with program(*args, see=lambda record: finger.see(record)) as run:
        finger.at = page_of(run)
        assert run.wait(40.0).status == (0 if len(wanted) == 1 else 1)
    assert verdicts(run.records) == wanted
    assert not of_kind(run.records, "operator"), "a tap is a move of the hands, and no word"
    assert set(finger.statuses[:-1]) == {202}, "the last one may come after the end"


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{}", b"[]", b"{", b'{"picture":0}', b'{"picture":-1,"x":0,"y":0,"width":1,"height":1}',
        b'{"picture":1e9,"x":0,"y":0,"width":1,"height":1}', b'{"picture":0,"x":NaN,"y":0,"width":1,"height":1}',
        b'{"picture":0,"x":"0","y":0,"width":1,"height":1}', b'{"picture":0,"x":0,"y":0,"width":1,"height":1,"z":1}',
        b'{"is":"word","word":"yes","prompt":3}', b"[" * 5000,
    ],
)  # fmt: skip
def test_what_is_no_tap(monkeypatch: pytest.MonkeyPatch, body: bytes) -> None:
    """Refused, and nothing is passed on."""
    with desk(monkeypatch, taps=True) as at:
        headers = {"Content-Type": "application/json"}
        assert ask(at.at, "/tap", method="POST", body=body, headers=headers).status == 400
        assert not at.said


def test_whose_taps_are_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page's own, where there are virtual hands, no faster than a finger; not those of another site."""
    body = b'{"picture":0,"x":0.5,"y":0.25,"width":4,"height":3}'
    with desk(monkeypatch, taps=False) as at:
        assert tap(at.at, 0, 0.5, 0.25) == 403 and not at.said
    with desk(monkeypatch, taps=True) as at:
        headers = {"Content-Type": "application/json", "Origin": "http://elsewhere.example"}
        assert ask(at.at, "/tap", method="POST", body=body, headers=headers).status == 403 and not at.said
        headers.pop("Origin")
        statuses = [ask(at.at, "/tap", method="POST", body=body, headers=headers).status for _ in range(3)]
        assert statuses[0] == 202 and set(statuses[1:]) <= {202, 429} and len(at.said) == statuses.count(202)
        assert at.said[0] == Tap(0, 0.5, 0.25, 4.0, 3.0)
