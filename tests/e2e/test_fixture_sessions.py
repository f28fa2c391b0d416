"""The recorded sessions in fixtures/sessions: what each must give, and how they are made anew.

    METERCAP_REMAKE=1 pytest -m slow tests/e2e/test_fixture_sessions.py

records them again with the program as it is now, against the outside meter at 2 conversions/s; it takes about two
minutes. Without the switch nothing is written.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from pathlib import Path

import pytest

from tests.e2e.outside_meter import OPEN, Meter
from tests.e2e.program import ROOT, Hands, Record, of_kind, program, run, verdicts

FOLDER = ROOT / "fixtures" / "sessions"
PLAN = """
[plan]
title = "Fuses of the main board, taken out"
model = "GC-8"
supply = "none"
[[step]]
id = "leads"
kind = "zero"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F4"
max = "2 ohm"
[[step]]
id = "leads-after"
kind = "zero"
"""
GOOD = {"leads": 0.1, "leads-after": 0.1, "F1": 0.3, "F2": 0.2, "F3": 0.3, "F4": 0.4}
STATES = {"good-sweep": "closed", "slip-blown-open": "closed", "torn": "torn"}
CUT_AT = 0.7
"""Where the torn one is cut off, as a share of the whole."""


@pytest.mark.parametrize("name", sorted(STATES))
def test_each_opens_and_verifies_as_stated(name: str) -> None:
    """Closed ones give status 0, the torn one 1; all derive again exactly."""
    path = FOLDER / f"{name}.jsonl"
    verified = run("verify", str(path), "--json")
    assert json.loads(verified.out)["state"] == STATES[name]
    assert verified.status == (0 if STATES[name] == "closed" else 1)
    checked = run("replay", str(path), "--check")
    assert checked.status == 0, checked.out
    assert path.stat().st_size < 60_000


OLD = {"good-sweep": 0, "slip-blown-open": 0, "torn": 1}
"""The files of schema 1, kept as the first version wrote them, with the status that verify gives."""


@pytest.mark.parametrize("name", ["good-sweep", "torn", pytest.param("slip-blown-open", marks=pytest.mark.slow)])
def test_files_of_the_first_schema_stay_readable(name: str, tmp_path: Path) -> None:
    """They open, verify, report and export as before; their outcomes are not derived again, and that is said."""
    path = FOLDER / "schema-1" / f"{name}.jsonl"
    assert run("verify", str(path)).status == OLD[name]
    checked = run("replay", str(path), "--check")
    assert (checked.status, checked.out.strip()) == (1, f"{path}: not derived again: schema 1".encode())
    played = run("replay", str(path), "--plain")
    assert b"as recorded: schema 1, not derived again" in played.out
    old = [record for record in read(path) if record["kind"] == "verdict"]
    lines = run("replay", str(path), "--json").out.splitlines()
    shown = [json.loads(line) for line in lines]
    assert [(each["item"], each["verdict"]) for each in shown if each["kind"] == "verdict"] == [
        (each["item"], each["verdict"]) for each in old
    ]
    assert old, "the file has verdicts"
    judged = run("replay", str(path), "--plan", str(plan_of(tmp_path)), "--json")
    rows = json.loads(judged.out)["rows"]
    assert {row["item"] for row in rows}
    assert not any(row["changed"] for row in rows)
    reported = run("report", str(path), "--text")
    assert reported.status in (0, 1), reported.err
    assert b"F1" in reported.out
    exported = run("export", str(path), "--to", str(tmp_path / "old.csv"))
    assert exported.status == 0, exported.err  # what is whole was written; what the torn one lacks is told beside it
    assert ("cut off" in exported.err) == (OLD[name] == 1)


def plan_of(folder: Path) -> Path:
    """Write the plan that the fixtures were recorded with."""
    plan = folder / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    return plan


def test_there_are_no_others_and_each_is_described() -> None:
    """Every file has its line in fixtures/README.md."""
    described = (ROOT / "fixtures" / "README.md").read_text(encoding="utf-8")
    found = sorted(path.stem for path in FOLDER.glob("*.jsonl"))
    assert found == sorted(STATES)
    assert all(f"{name}.jsonl" in described for name in found)


def test_the_good_one_passes_every_fuse() -> None:
    """Four passes with the lead null of 0.1 ohm taken off, one word, no slip."""
    records = read(FOLDER / "good-sweep.jsonl")
    assert {item: verdicts(records)[item] for item in ("F1", "F2", "F3", "F4")} == dict.fromkeys(
        ["F1", "F2", "F3", "F4"], "pass"
    )
    values = {tick["item"]: tick["value"] for tick in of_kind(records, "verdict")}
    assert values["F1"] == pytest.approx(0.3 - 0.1)
    assert [word["word"] for word in of_kind(records, "operator")] == ["yes"]
    assert not [contact for contact in of_kind(records, "contact") if contact["same"]]
    assert records[0]["known_good"] is True


def test_the_other_one_has_a_slip_a_blown_and_an_open_fuse() -> None:
    """F1's slip is on F1; F2 fails with its parallel path's value; F3 fails by the word `open`."""
    records = read(FOLDER / "slip-blown-open.jsonl")
    found = verdicts(records)
    assert (found["F1"], found["F2"], found["F3"], found["F4"]) == ("pass", "fail", "fail", "pass")
    slips = [contact for contact in of_kind(records, "contact") if contact["same"]]
    assert "F1" in {slip["item"] for slip in slips}
    blown = next(tick for tick in of_kind(records, "verdict") if tick["item"] == "F2")
    assert blown["value"] == pytest.approx(1200.0, abs=1.0)
    assert [word["word"] for word in of_kind(records, "operator")] == ["open", "yes"]


def test_the_torn_one_is_the_good_one_cut_off() -> None:
    """What is left begins as the good one does, and lacks its end."""
    good, torn = ((FOLDER / f"{name}.jsonl").read_bytes() for name in ("good-sweep", "torn"))
    assert good.startswith(torn)
    assert not torn.endswith(b"\n")


def read(path: Path) -> list[Record]:
    """Return a file's records."""
    return [json.loads(line) for line in path.read_bytes().splitlines(keepends=True) if line.endswith(b"\n")]


class SlippingHands(Hands):
    """Hands that slip off F1 right after its tick, for longer than one conversion, so that the meter can see it."""

    def see(self, record: Record) -> None:
        """Slip once."""
        if (record["kind"], record.get("cue"), record.get("item")) == ("cue", "pass", "F1"):
            self._meter.tips = OPEN
            for wait_s, tips in ((0.7, GOOD["F1"]), (2.2, OPEN)):
                threading.Timer(wait_s, setattr, [self._meter, "tips", tips]).start()
            return
        super().see(record)


@pytest.mark.slow
@pytest.mark.skipif(not os.environ.get("METERCAP_REMAKE"), reason="METERCAP_REMAKE=1 records the fixtures anew")
@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
@pytest.mark.timeout(600)
def test_remake(tmp_path: Path) -> None:
    """Record the sessions anew."""
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    blown = {**GOOD, "F2": 1200.0}
    del blown["F3"]
    for name, kind, board, unit in (
        ("good-sweep", Hands, GOOD, ["controller A", "--known-good"]),
        ("slip-blown-open", SlippingHands, blown, ["controller B"]),
    ):
        out = FOLDER / f"{name}.jsonl"
        out.unlink(missing_ok=True)
        with Meter(tmp_path, rate=2.0) as meter:
            hands = kind(meter, board)  # type: ignore[arg-type]
            args = ["run", str(plan), "--port", meter.path.name, "--meter", "lcd14", "--out", str(out), "--unit", *unit]
            with program(*args, see=hands.see, cwd=tmp_path) as metercap:
                hands.program = metercap
                if name != "good-sweep":
                    metercap.until(
                        lambda records: [
                            r for r in of_kind(records, "cue") if (r["item"], r["cue"]) == ("F3", "waiting")
                        ],
                        "waiting at F3",
                    )
                    metercap.say("open")
                assert metercap.wait().status == (0 if name == "good-sweep" else 1)
    whole = (FOLDER / "good-sweep.jsonl").read_bytes()
    cut = int(len(whole) * CUT_AT)
    cut -= whole[cut - 1 : cut] == b"\n"
    (FOLDER / "torn.jsonl").write_bytes(whole[:cut])
