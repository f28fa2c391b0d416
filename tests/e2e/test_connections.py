"""Several meters on one machine, and one whole plan over every kind of connection of a SCPI meter.

Over a plain socket it is played by `test_sessions`.
"""

from __future__ import annotations

import json
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.e2e import program as programs
from tests.e2e.bridge import Bridge
from tests.e2e.outside_meter import OPEN, Meter, SocketMeter, on_port
from tests.e2e.program import Ended, Hands, Program, Record, of_kind, plan_file, program, run, sweep, verdicts
from tests.e2e.whole_plan import WHOLE, BenchTips, ScpiHands

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

BOARD = {"leads": "tips", "leads-after": "tips", "F1": "F1", "F2": "F2", "K1": "K1"}


def test_two_meters_at_once(tmp_path: Path, journals: list[Path]) -> None:
    """Two programs, two ports, one machine: each ticks its own fuses at the same time, and touches not the other's."""
    folders = [tmp_path / name for name in ("left", "right")]
    for folder in folders:
        folder.mkdir()
    with Meter(folders[0], "lcd14") as left, Meter(folders[1], "digits14") as right:
        meters, boards = (left, right), ({"F1": 0.2, "F2": 0.4}, {"F1": 0.6, "F2": 0.8})
        programs_: list[Program] = []
        outs = [folder / "out.jsonl" for folder in folders]
        for meter, board, folder, out in zip(meters, boards, folders, outs, strict=True):
            hands = Hands(meter, board)  # type: ignore[arg-type]
            plan = plan_file(folder, sweep('"F1..F2"', "count_check = false"))
            args = ["run", str(plan), "--port", str(meter.path), "--meter", meter.family, "--unit", folder.name]
            one = Program(*args, "--rate", "10", "--out", str(out), see=hands.see)
            hands.program = one
            programs_.append(one)
        try:
            programs_[0].until(lambda records: of_kind(records, "reading"), "a reading")
            third = run("watch", "--port", str(left.path), "--meter", "lcd14", "--no-save")
            for one in programs_:
                one.until(lambda records: of_kind(records, "end"), "end")  # which tells what it hangs on
            ended = [one.wait() for one in programs_]
        finally:
            for one in programs_:
                one.kill()
    assert [one.status for one in ended] == [0, 0], [one.err for one in ended]
    assert (third.status, "in use by" in third.err) == (3, True), third.err
    spans = []
    for one, board in zip(programs_, boards, strict=True):
        assert verdicts(one.records) == {"F1": "pass", "F2": "pass"}
        values = {r["item"]: r["value"] for r in of_kind(one.records, "verdict")}
        assert values == pytest.approx(board)
        assert {r["value"] for r in of_kind(one.records, "reading")} <= {None, *board.values()}
        start = datetime.fromisoformat(one.records[0]["start_utc"]).timestamp()
        spans.append([start + r["t_s"] for r in of_kind(one.records, "reading")])
    assert spans[0][0] < spans[1][-1] and spans[1][0] < spans[0][-1]  # at the same time, not one after the other
    journals += outs


def test_what_a_meter_complains_of_at_the_end_is_said() -> None:
    """An entry that came into its error queue on the way, after the first answer: on stderr, in its own words."""
    with SocketMeter(lambda query: 47.0, rate=50.0) as meter:
        real = meter.reply

        def failing(line: str) -> str | None:
            if meter.asked.count("READ?") == 3 and not meter.errors:
                meter.errors.append('-310,"System error"')
            return real(line)

        meter.reply = failing  # type: ignore[method-assign]
        port = f"socket://127.0.0.1:{meter.port}"
        done = run("watch", "--port", port, "--meter", "scpi", "--count", "5", "--no-save")
    assert done.status == 0
    assert 'at the end the meter complains: -310,"System error"' in done.err


def whole(ended: Ended, records: list[Record]) -> None:
    """Hold a session of the whole plan against the bench."""
    assert ended.status == 0, (ended.err, records[-8:])
    found = verdicts(records)
    assert found["supply input"] == found["dead"] == "pass"
    assert (found["F1"], found["F2"], found["K1"]) == ("pass", "pass", "pass")
    assert not [r for r in of_kind(records, "prompt") if r["do"] == "dial" and "turn" in r["say"]]
    assert not of_kind(records, "garbage")
    coil = next(r for r in of_kind(records, "verdict") if r["item"] == "K1")
    assert coil["value"] == pytest.approx(361.12, abs=0.02)  # 361.2 ohm shown, less the leads' 0.08 ohm


@pytest.mark.slow
def test_a_whole_plan_over_a_bridge(tmp_path: Path, journals: list[Path]) -> None:
    """A SCPI meter on a serial line behind RFC 2217, with no VISA; the panel is locked, and free again at the end."""
    tips, out = BenchTips(), tmp_path / "session.jsonl"
    (tmp_path / "plan.toml").write_text(WHOLE, encoding="utf-8")
    with SocketMeter(tips.measure) as meter, on_port(meter, tmp_path) as path, Bridge(path) as bridge:
        hands = ScpiHands(tips, BOARD)  # type: ignore[arg-type]
        args = ["run", str(tmp_path / "plan.toml"), "--port", bridge.url, "--meter", "scpi", "--rate", "10"]
        with program(*args, "--unit", "controller B", "--out", str(out), see=hands.see) as metercap:
            hands.program = metercap
            ended = metercap.wait(90.0)
        line = bridge.line
    whole(ended, metercap.records)
    assert (line["baudrate"], line["bytesize"], line["parity"]) == (9600, 8, "N")
    assert (meter.asked[0], meter.asked[-1], meter.remote) == ("SYST:REM", "SYST:LOC", False)
    journals.append(out)


DEVICES = r"""
spec: "1.1"
devices:
  bench:
    eom:
      USB INSTR: {q: "\n", r: "\n"}
    error:
      error_queue:
        - {q: "SYST:ERR?", default: '0,"No error"', command_error: '-113,"Undefined header"', query_error: '-410,"Q"'}
    dialogues:
      - {q: "*IDN?", r: "SIMULATED,BENCH METER,0,1.0"}
      - {q: "FUNC?", r: '"RES"'}
      - {q: "READ?", r: "+9.90000000E+37"}
      - {q: "RES:RANG?", r: "+1.00000000E+03"}
resources:
  USB0::0x1111::0x2222::7::INSTR: {device: bench}
"""


class SimulatedTips(BenchTips):
    """Writes what each query is answered with, whenever the tips touch something else."""

    def __init__(self, answers: Path) -> None:
        self._answers = answers
        super().__init__()

    def __setattr__(self, name: str, value: Any) -> None:
        object.__setattr__(self, name, value)
        if name != "tips":
            return
        rows: dict[str, str] = {}
        for function in ("RES", "VOLT:DC", "VOLT:AC"):
            measured = self.measure(f"MEAS:{function}?")
            answer = "+9.90000000E+37" if measured == OPEN else f"{measured:+.8E}"
            rows |= {f"MEAS:{function}?{range_}": answer for range_ in RANGES}
        new = self._answers.with_suffix(".new")
        new.write_text(json.dumps(rows), encoding="utf-8")
        new.replace(self._answers)


RANGES = ("", " 1", " 2", " 3", " 30", " 60", " 300", " 400", " 1000")
"""What the plan's limits may have asked for."""


@pytest.mark.slow
def test_a_whole_plan_over_a_simulated_usb(
    tmp_path: Path, journals: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A SCPI meter on USB, by pyvisa-sim: the program finds it through VISA and plays the same plan."""
    pytest.importorskip("pyvisa_sim")
    (tmp_path / "devices.yaml").write_text(DEVICES, encoding="utf-8")
    (tmp_path / "plan.toml").write_text(WHOLE, encoding="utf-8")
    tips, out = SimulatedTips(tmp_path / "answers.json"), tmp_path / "session.jsonl"
    script = [sys.executable, str(Path(__file__).with_name("simulated.py"))]
    monkeypatch.setattr(programs, "METERCAP", [*script, str(tmp_path / "devices.yaml"), str(tmp_path / "answers.json")])
    hands = ScpiHands(tips, BOARD)  # type: ignore[arg-type]
    args = ["run", str(tmp_path / "plan.toml"), "--port", "visa:USB0::0x1111::0x2222::7::INSTR", "--meter", "scpi"]
    with program(*args, "--unit", "controller B", "--out", str(out), see=hands.see) as metercap:
        hands.program = metercap
        ended = metercap.wait(110.0)
    whole(ended, metercap.records)
    assert metercap.records[0]["identity"] == "SIMULATED,BENCH METER,0,1.0"
    journals.append(out)
