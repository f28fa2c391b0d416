"""A unit that is not proved dead, in the real program: no yes goes on in ohms, a new part voids the proof."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.e2e.outside_meter import Meter
from tests.e2e.program import CREDITED_S, Program, Record, of_kind, pause, plan_file, program, run, sweep, verdicts

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals"),
    pytest.mark.usefixtures("hastened"),
]

DEAD = '[[step]]\nid = "dead"\nkind = "safe"\nsource = "a cell"\npoints = ["C12"]\n'


def asked(metercap: Program, asks: str, n: int, what: str) -> Record:
    """Wait until something was asked for the n-th time, and return the prompt."""

    def seen(records: list[Record]) -> Record | None:
        found = [prompt for prompt in of_kind(records, "prompt") if prompt.get("asks") == asks]
        return found[n - 1] if len(found) >= n else None

    prompt: Record = metercap.until(seen, what)
    return prompt


def step_at(records: list[Record]) -> str:
    """Return the step that was prompted for last."""
    return str(of_kind(records, "prompt")[-1]["step"])


def test_no_yes_waives_the_proof_and_a_new_part_voids_the_waiver(tmp_path: Path, journals: list[Path]) -> None:
    """Yes leads back to the proof; `waive` with a reason goes on, and stands in the report; `replaced` asks again."""
    path = plan_file(tmp_path, DEAD + sweep('"F1..F2"', "count_check = false"))
    path.write_text(path.read_text("utf-8").replace('supply = "none"\n', ""), encoding="utf-8")
    out = tmp_path / "b.jsonl"
    with Meter(tmp_path) as meter:
        options = ("--port", str(meter.path), "--meter", meter.family, "--rate", "10", "--unit", "B", "--out", str(out))
        with program("run", str(path), *options) as metercap:
            metercap.until(lambda seen: of_kind(seen, "reading"), "readings")
            metercap.say("skip step")
            asked(metercap, "prove", 1, "the question for the proof")
            metercap.say("yes")
            metercap.until(lambda seen: step_at(seen) == "dead", "the proof")
            metercap.say("skip step")
            asked(metercap, "prove", 2, "the question again")
            metercap.say("waive it lay open for a week")
            metercap.until(lambda seen: of_kind(seen, "prompt")[-1]["do"] == "probe", "F1")
            metercap.until(lambda seen: any(cue["cue"] == "go" for cue in of_kind(seen, "cue")), "go")
            pause(CREDITED_S)
            meter.tips = 0.3
            metercap.until(lambda seen: verdicts(seen).get("F1") == "pass", "F1 good")
            metercap.say("replaced F1")
            assert asked(metercap, "prove", 3, "the question once more")["item"] == "F1"
            metercap.say("quit")
            assert metercap.wait().status == 1
    journals.append(out)
    told = " ".join(run("report", str(out), "--text").out.decode().split())
    assert "without proof that the unit is dead, by the operator's word: it lay open for a week." in told
