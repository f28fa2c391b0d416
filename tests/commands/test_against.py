"""Good units and suspects through the real program: two practice scenes, --against, learn and compare."""

from __future__ import annotations

import json
from typing import Any

import msgspec
import pytest

from metercap.cli import main
from metercap.commands._reference import read_reference, require_references, tell_missing
from metercap.errors import UsageError
from metercap.journal import iterate
from metercap.plan import Plan, from_builtins
from metercap.plankeys import CheckStep, Item, SweepStep, TuneStep
from metercap.reference.file import decode, encode, signed_off
from metercap.reference.model import Folded
from metercap.rejudge import rejudge
from metercap.session import check, opening

TUNE = TuneStep(id="bridge", items=(Item("RV1"),), target="reference", tolerance_share=0.005, unit="ohm")
FUSES = SweepStep(id="fuses", items=(Item("F1", type="chip"), Item("F2", max=2.0), Item("F3")), unit="ohm")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], bench: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Run the command line in the bench's folder; return status, stdout and stderr."""
    monkeypatch.chdir(bench)

    def call(*args: Any) -> Any:
        with pytest.raises(SystemExit) as done:
            main(list(args))
        out = capsys.readouterr()
        return done.value.code, out.out, out.err

    return call


def test_coils_without_limits_are_held_against_the_good_unit(bench: Any) -> None:
    """The scene's K3 has a shorted winding: no limit says so, the good unit does; K1 and K2 are like it."""
    with iterate(bench / "b.jsonl") as records:
        found = {record.item: record for record in records if getattr(record, "rule", "") == "reference"}
    assert {item: str(record.verdict) for item, record in found.items()} == {"K1": "pass", "K2": "pass", "K3": "unsure"}
    assert found["K3"].reason.startswith("differs from the known-good unit A (E_n -")
    assert found["K3"].max < 1200.0


def test_replay_derives_and_rejudges_the_same(bench: Any) -> None:
    """The journal alone replays to the same verdicts, and its own plan judges every value as it was judged live."""
    with iterate(bench / "b.jsonl") as records:
        assert check(records).difference == ""
    with iterate(bench / "b.jsonl") as records:
        first = opening(records)
        found = rejudge(first, records, from_builtins(first.plan))
    again = {(row.step, row.item): row.after for row in found.rows if row.before.rule == "reference"}
    before = {(row.step, row.item): row.before for row in found.rows if row.before.rule == "reference"}
    assert len(again) == 3
    assert again == before


def test_compare_ranks_what_the_scene_broke(run: Any) -> None:
    """What the scene broke comes first: the open fuse, the one beside a coil, the spent cell, the shorted winding."""
    status, out, err = run("compare", "a.jsonl", "b.jsonl", "--json")
    report = json.loads(out)
    assert (status, err) == (1, "")
    (pair,) = report["pairs"]
    assert [odd["item"] for odd in pair["odd"]] == ["F11"]
    assert [line["item"] for line in pair["lines"]][:3] == ["F7", "BT1", "K3"]
    assert [abs(line["e_n"]) for line in pair["lines"]] == sorted(
        (abs(line["e_n"]) for line in pair["lines"]), reverse=True
    )
    assert not any(line["differs"] for line in pair["lines"] if line["item"] in ("F1", "F2", "F12", "K1", "K2", "TP1"))
    counts = {(row["unit_name"], row["item"]): row for row in report["counted"]}
    cover = counts["B", "S1"]
    assert cover["before_k"] < cover["before_runs"] and cover["k"] == cover["runs"]
    assert cover["changed"] is (cover["p"] <= 0.05)
    assert counts["A", "S1"]["p"] is None
    assert [row["item"] for row in report["adjusted"]] == ["RV1", "RV1"]


def test_compare_for_people(run: Any) -> None:
    """Plain lines: values with U, and how many flags chance alone would give."""
    _, out, _ = run("compare", "a.jsonl", "b.jsonl")
    assert "Unit B (b.jsonl) beside unit A, most suspicious first" in out
    assert "how far good units lie apart is not known from one" in out
    assert "As found and as left" in out


def test_every_component_on_request(run: Any) -> None:
    """--budget shows both values' components and those of their difference."""
    status, out, _ = run("compare", "a.jsonl", "b.jsonl", "--budget", "K3")
    assert status == 1
    assert out.count("resolution") == 3
    assert "scatter of the first" in out


def test_learn_then_compare(run: Any, bench: Any) -> None:
    """What was learned from A stands for A; compared with B it says the same as A's own session."""
    status, out, _ = run("learn", "a.jsonl", "--out", "good.json")
    assert status == 0
    assert "from 1: U alone" in out
    by_session = json.loads(run("compare", "a.jsonl", "b.jsonl", "--json")[1])["pairs"][0]["lines"]
    by_reference = json.loads(run("compare", "good.json", "b.jsonl", "--json")[1])["pairs"][0]["lines"]
    assert by_session == by_reference
    status, _, err = run("learn", "a.jsonl", "--out", "good.json")
    assert (status, "already exists" in err) == (2, True)
    assert read_reference(bench / "good.json", "B", _plan(bench))["bridge/RV1"]["value"] == 2187.0


def test_learn_says_what_it_refuses(run: Any, bench: Any) -> None:
    """Unit B was in for repair: refused by name, taken by force with a note; the same unit twice is refused."""
    status, _, err = run("learn", "a.jsonl", "b.jsonl", "--out", "no.json")
    assert (status, "not marked known good: B" in err) == (2, True)
    status, _, err = run("learn", "a.jsonl", "a.jsonl", "--out", "no.json")
    assert (status, "unit A is there twice" in err) == (2, True)
    assert not (bench / "no.json").exists()
    status, out, _ = run("learn", "a.jsonl", "b.jsonl", "--force", "--out", "both.json")
    assert (status, "unit B is not marked known good" in out) == (0, True)
    status, out, _ = run("learn", "a.jsonl", "--out", "json.json", "--json")
    assert {row["n"] for row in json.loads(out)["items"]} == {1}


def test_what_is_no_source_is_refused(run: Any, bench: Any) -> None:
    """A file that is neither a journal nor a reference, or that is not there, exits 2 and says which."""
    (bench / "notes.txt").write_text("F7 is blown\n")
    for name in ("notes.txt", "missing.jsonl"):
        status, _, err = run("compare", name)
        assert (status, name in err) == (2, True)


def _plan(folder: Any) -> Plan:
    with iterate(folder / "b.jsonl") as records:
        return from_builtins(opening(records).plan)


def test_the_same_unit_is_refused(bench: Any) -> None:
    """A unit is not compared with itself, however its name is written."""
    with pytest.raises(UsageError, match="holds unit a itself"):
        read_reference(bench / "a.jsonl", "a", _plan(bench))


def test_another_model_is_refused(bench: Any) -> None:
    """Good values of another model say nothing."""
    with pytest.raises(UsageError, match="of another kind"):
        read_reference(bench / "a.jsonl", "B", Plan(title="x", steps=(), model="GC-9"))


def test_an_unmarked_unit_is_taken_with_a_warning(bench: Any, capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody marked B known good: its values are taken, and stderr says so."""
    rows = read_reference(bench / "b.jsonl", "C", _plan(bench))
    assert rows["fuses/F1"]["known_good"] is False
    assert "unit B is not marked known good" in capsys.readouterr().err


def row(value: Any, **more: Any) -> Any:
    """Return a reference row in ohms."""
    return {"value": value, "U": 0.1, "unit": "ohm", "fuse_max": 0.5, **more}


@pytest.mark.parametrize(
    ("reference", "missing"),
    [
        ({}, "bridge/RV1, fuses/F1"),
        ({"bridge/RV1": row(1500.0)}, "fuses/F1"),
        ({"bridge/RV1": row(1500.0, connected="plugs on"), "fuses/F1": row(0.2)}, "not comparable: connected"),
    ],
)
def test_what_is_missing_is_named_before_the_session(reference: Any, missing: str) -> None:
    """A trimmer's target and the limit of a fuse without a table come from a good unit; F2 and F3 need none."""
    plan = Plan(title="x", steps=(TUNE, FUSES))
    with pytest.raises(UsageError) as error:
        require_references(plan, reference, (), known_good=False)
    assert missing in error.value.what


def test_a_reference_may_be_born_in_the_middle(capsys: pytest.CaptureFixture[str]) -> None:
    """A session starts without, and says so; a value that was measured otherwise is still refused."""
    plan = Plan(title="x", steps=(TUNE, FUSES))
    tell_missing(plan, {"bridge/RV1": row(1500.0)}, (), known_good=False)
    assert "no reference value yet for fuses/F1:" in capsys.readouterr().err
    tell_missing(plan, {}, (), known_good=True)
    assert capsys.readouterr().err == ""
    with pytest.raises(UsageError, match="not comparable: connected"):
        tell_missing(plan, {"bridge/RV1": row(1500.0, connected="plugs on")}, (), known_good=False)


def test_nothing_is_missing() -> None:
    """With both values, in a known-good unit, or in steps that are not run, nothing is asked for."""
    plan = Plan(title="x", steps=(TUNE, FUSES, CheckStep(id="coils", items=(Item("K1"),))))
    require_references(plan, {"bridge/RV1": row(1500.0), "fuses/F1": row(0.2)}, (), known_good=False)
    require_references(plan, {}, (), known_good=True)
    require_references(plan, {}, ("coils",), known_good=False)


def test_what_is_said_of_a_reference_of_many(capsys: pytest.CaptureFixture[str], tmp_path: Any, bench: Any) -> None:
    """Who signed it, how many nobody called good, and how many are no longer named, B perhaps among them."""
    first = decode(_learned(bench, tmp_path), "x")
    many = tuple(msgspec.structs.replace(first.units[0], name=f"G{n}", known_good=n > 24) for n in range(30))
    folded = Folded(500, 3, 0, "")
    whole = msgspec.structs.replace(first, units=(*first.units, *many), folded=folded)
    path = tmp_path / "many.json"
    path.write_bytes(encode(signed_off(whole, "Ilse", "2026-03-01T09:00:00.000Z")))
    read_reference(path, "B", _plan(bench))
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 20 + 3
    assert f"{path}: unit G19 is not marked known good" in said[19]
    assert said[20].endswith("8 units more are not marked known good")
    assert said[21].endswith("500 of its units are no longer named: B may be one of them")
    assert said[22].endswith("signed off by Ilse, 2026-03-01T09:00:00.000Z")


def _learned(bench: Any, folder: Any) -> bytes:
    with pytest.raises(SystemExit):
        main(["learn", str(bench / "a.jsonl"), "--out", str(folder / "one.json")])
    data: bytes = (folder / "one.json").read_bytes()
    return data
