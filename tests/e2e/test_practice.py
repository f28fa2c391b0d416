"""A real session in one process against the practice meter served by another, the hands moved by lines on its stdin."""

from __future__ import annotations

import json
import shlex
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.e2e import outside_meter
from tests.e2e.outside_meter import OPEN
from tests.e2e.program import Ended, Hands, Program, Record, of_kind, plan_file, program, run, sweep, verdicts

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

SCENE = """
schema = 1
title = "two fuses of a GC-8 on the mat"
unit = "B"
seed = 11
[meter]
dial = "voltage_dc"
[[part]]
names = "F1"
kind = "fuse"
ohm = 0.1
[[part]]
names = "F2"
kind = "resistor"
ohm = 38.0
"""
WIRES = {"lcd14": "8", "polled-line": "3"}
"""Family and rate: 8 frames a second are what 2400 baud carry with room to spare, 3 what 600 baud do."""


class Probes:
    """Stands where the end-to-end hands expect a meter: what the tips touch is typed into the practice bench."""

    def __init__(self, bench: Program) -> None:
        self._bench = bench
        self._tips: object = OPEN

    @property
    def tips(self) -> object:
        """The point, or open."""
        return self._tips

    @tips.setter
    def tips(self, point: object) -> None:
        self._tips = point
        self._bench.say("" if point == OPEN else str(point))


class Played(NamedTuple):
    """A session that has ended, and the bench it was played on."""

    ended: Ended
    out: Path
    told: list[str]
    bench: Ended


def play(folder: Path, family: str) -> Played:
    """Serve the meter, run exactly the line that is printed, and let hands answer it on the bench's stdin."""
    scene = folder / "scene.toml"
    scene.write_text(SCENE, encoding="utf-8")
    plan = plan_file(folder, '[[step]]\nid = "leads"\nkind = "zero"\n' + sweep('"F1..F2"'))
    wire = ("--family", family, "--rate", WIRES[family])
    with program("practice", str(scene), "--plan", str(plan), "--port", *wire) as bench:
        (first,) = bench.until(lambda records: records[:1], "port")
        points = {"leads": "short", "F1": "F1", "F2": "F2"}
        hands = Hands(Probes(bench), points)  # type: ignore[arg-type]

        def see(record: Record) -> None:
            if record["kind"] == "prompt" and record["do"] == "dial":
                bench.say("dial ohms")
                bench.say("range low")  # a walk through six ranges at every touch would cost most of the time
            hands.see(record)

        name, *args = shlex.split(first["run"])
        assert name == "metercap"
        with program(*args, see=see, cwd=folder) as session:
            hands.program = session
            ended = session.wait()
        told = [record["text"] for record in of_kind(bench.records, "hands")]
        bench.say("quit")
        return Played(ended, folder / "b.jsonl", told, bench.wait())


@pytest.fixture(scope="module", params=["lcd14", pytest.param("polled-line", marks=pytest.mark.slow)])
def played(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, journals: list[Path]
) -> tuple[str, Played]:
    """The wire's family, and one session over it."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(outside_meter, "HASTE", 4.0)  # bench, session and hands alike: nothing is said of real time
        one = play(tmp_path_factory.mktemp(request.param), request.param)
    journals.append(one.out)
    return request.param, one


def test_a_session_over_the_printed_port(played: tuple[str, Played]) -> None:
    """The verdicts are what the scene's parts are: a good fuse, and 38 ohm; the dial was turned by hand."""
    family, one = played
    records = [json.loads(line) for line in one.out.read_bytes().splitlines()]
    assert verdicts(records) == {"leads": "pass", "F1": "pass", "F2": "fail"}
    value = next(record["value"] for record in records if record["kind"] == "verdict" and record["item"] == "F2")
    assert value == pytest.approx(38.0, abs=0.3)
    assert one.ended.status == 1 and records[-1]["reason"] == "done"
    assert records[0]["meter"]["family"] == family and records[0]["options"]["rate"] == float(WIRES[family])
    assert one.told[0] == "tips in the air: the dial is on ohms, auto range"
    assert {"tips together", "tips on F1", "tips on F2", "tips in the air"} <= set(one.told)
    assert (one.bench.status, one.bench.err) == (0, "")


def test_the_frames_were_those_of_the_wire(played: tuple[str, Played]) -> None:
    """Every raw frame is as long as the family's are, and is decoded again to the same reading."""
    family, one = played
    records = [json.loads(line) for line in one.out.read_bytes().splitlines()]
    raws = [bytes.fromhex(record["raw"]) for record in of_kind(records, "reading")]
    assert len(raws) > 20 and {len(raw) for raw in raws} == {14}
    shape = {"lcd14": lambda raw: [byte >> 4 for byte in raw] == list(range(1, 15)), "polled-line": _is_line}[family]
    assert all(shape(raw) for raw in raws)
    assert run("replay", str(one.out), "--check").status == 0


def _is_line(raw: bytes) -> bool:
    return raw[:2] in (b"OH", b"DC") and raw.endswith(b"\r")
