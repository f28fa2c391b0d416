"""`metercap plan`: exit status, streams, JSON, and plans from options, questions and sessions."""

import io
import json
import sys
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from metercap.cli import main
from metercap.journal import Writer
from metercap.plan import to_builtins
from metercap.plan.load import load_plan
from metercap.planfile import read_plan
from metercap.profiles import find_meter, find_plan
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import SCHEMA, Operator, SessionRecord, Verdict, VerdictKind

GOOD = """[plan]
title = "GC-8"
[[step]]
id = "dead"
kind = "safe"
points = ["C12"]
[[step]]
id = "leads"
kind = "zero"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F3"
max = "2 ohm"
"""


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Any:
    """Run the command line; return status, stdout and stderr."""

    def call(*args: Any) -> Any:
        with pytest.raises(SystemExit) as done:
            main(["plan", *map(str, args)])
        out = capsys.readouterr()
        return done.value.code, out.out, out.err

    return call


@pytest.fixture
def plan_file(tmp_path: Path) -> Any:
    """Write a plan file and return its path."""

    def write(text: Any, name: Any = "gc8.toml") -> Any:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


# --- check


def test_a_good_plan(run: Any, plan_file: Any) -> None:
    """A plan without problems gives 0, one line on stdout and nothing on stderr."""
    path = plan_file(GOOD)
    assert run("check", path) == (0, f"{path}: 3 steps, 6 verdicts to come; it can be run\n", "")


def test_a_plan_of_one_step(run: Any, plan_file: Any) -> None:
    """One step and one verdict are no plurals."""
    path = plan_file('[plan]\ntitle = "one"\n[[step]]\nid = "look"\nkind = "confirm"\nsay = "looks whole"\n')
    assert run("check", path) == (0, f"{path}: 1 step, 1 verdict to come; it can be run\n", "")


def test_a_plan_by_name(run: Any) -> None:
    """A shipped plan is found by its name; warnings go to stderr with file and line and leave the status 0."""
    status, out, err = run("check", "greenhouse-controller", "--meter", "lcd14")
    assert status == 0
    assert "1 warning; it can be run" in out
    path = find_plan("greenhouse-controller")
    line = path.read_text(encoding="utf-8").splitlines().index('target = "reference"') + 1
    assert err.startswith(f'{path}:{line}: warning: step 12 "bridge" target: needs the known-good unit\'s value of RV1')


def test_mistakes_of_the_file(run: Any, plan_file: Any) -> None:
    """Every mistake on stderr with file, line and key; status 2; nothing on stdout."""
    path = plan_file(GOOD.replace("max =", "maxx =").replace('"zero"', '"zer"'))
    status, out, err = run("check", path)
    assert (status, out) == (2, "")
    assert err.splitlines() == [
        f"metercap: {path}: 2 problems in this plan",
        f'  {path}:9: step 2 "leads" kind: \'zer\' is no kind of step; did you mean "zero"?',
        f'  {path}:14: step 3 "fuses" maxx: no such key; did you mean "max"?',
    ]


def test_mistakes_across_steps(run: Any, plan_file: Any) -> None:
    """What spans steps has its line as well, and status 2; `--no-safe` waives missing proof and says so."""
    path = plan_file(GOOD[: GOOD.index("[[step]]")] + GOOD[GOOD.index('[[step]]\nid = "leads"') :])
    status, _, err = run("check", path)
    assert status == 2
    assert f'  {path}:6: step 2 "fuses": resistance of a unit that is not proved dead' in err
    status, out, err = run("check", path, "--no-safe")
    assert status == 0
    assert "warning: step 2" in err
    assert "1 warning" in out


def test_what_the_meter_cannot_decide(run: Any, plan_file: Any) -> None:
    """With a meter, a band narrower than two counts is named with the tightest one."""
    tune = '[[step]]\nid = "t"\nkind = "tune"\nitems = ["RV1"]\ntarget = "2187 ohm"\ntolerance = "0.05 %"\n'
    path = plan_file(GOOD + tune)
    assert run("check", path)[2] == ""
    status, _, err = run("check", path, "--meter", "lcd14")
    assert status == 0
    assert "the tightest band this meter can prove is ±3.082 Ω (0.14 %)" in err


@pytest.mark.parametrize(("change", "status"), [(("", ""), 0), (("2 ohm", "2 omh"), 2), (('"safe"', '"confirm"'), 2)])
def test_json(run: Any, plan_file: Any, change: Any, status: int) -> None:
    """With --json stdout holds the findings and nothing else does; the status is the same."""
    path = plan_file(GOOD.replace(*change) if change[0] else GOOD)
    code, out, err = run("check", path, "--json")
    data = json.loads(out)
    assert (code, err) == (status, "")
    assert data["ok"] is (status == 0)
    assert data["file"] == str(path)
    for problem in data["problems"]:
        assert set(problem) == {"severity", "line", "path", "where", "what", "hint"}
    if "omh" in change[1]:
        (problem,) = data["problems"]
        assert (problem["line"], problem["path"]) == (14, ["step", 2, "max"])


@pytest.mark.parametrize("args", [("nosuch",), ("nosuch.toml",), ("greenhouse-controller", "--meter", "nosuch")])
def test_nothing_there(run: Any, args: Any) -> None:
    """A plan or meter that is not there is named, without a traceback."""
    status, out, err = run("check", *args)
    assert (status, out) == (2, "")
    assert err.startswith("metercap: ")
    assert "nosuch" in err


# --- show, schema


def test_show(run: Any, plan_file: Any) -> None:
    """A plan is said back step by step."""
    status, out, err = run("show", plan_file(GOOD))
    assert (status, err) == (0, "")
    assert "  3. fuses: sweep\n     3 items: F1..F3\n     max: 2 Ω\n" in out


def test_show_json(run: Any, plan_file: Any) -> None:
    """--json gives the plan as a journal carries it."""
    status, out, _ = run("show", plan_file(GOOD), "--json")
    assert status == 0
    assert json.loads(out) == json.loads(json.dumps(to_builtins(load_plan(GOOD, "x"))))


def test_schema(run: Any) -> None:
    """The schema is printed as JSON."""
    status, out, _ = run("schema")
    assert status == 0
    assert json.loads(out)["title"] == "metercap plan"


def test_an_editor_finds_the_schema_that_a_new_plan_names(run: Any, tmp_path: Path) -> None:
    """The first line names a file beside the plan; once made as the next line says, it judges the plan."""
    path = tmp_path / "pump.toml"
    assert run("new", "--title", "Pump driver", "--fuses", "F1..F6", "--out", path)[0] == 0
    first, second, *_ = path.read_text(encoding="utf-8").splitlines()
    assert first == "#:schema ./plan.schema.json"
    assert "metercap plan schema > plan.schema.json" in second
    schema = path.parent / first.removeprefix("#:schema ")
    schema.write_text(run("schema")[1], encoding="utf-8")
    judge = jsonschema.Draft7Validator(json.loads(schema.read_text(encoding="utf-8")))
    plan = tomllib.loads(path.read_text(encoding="utf-8"))
    judge.validate(plan)
    plan["step"][0]["wait"] = "2 min"
    (error,) = judge.iter_errors(plan)
    assert "'wait'" in error.message


# --- keys


def test_keys(run: Any) -> None:
    """Every key as lines, one kind's alone, the same as JSON; a kind that there is not is answered with the nearest."""
    status, out, _ = run("keys", "sweep")
    assert status == 0
    assert 'patience_s = "20 s"' in out and "presses" not in out
    assert out != run("keys")[1] and "presses = 30" in run("keys")[1]
    rows = json.loads(run("keys", "sweep", "--json")[1])
    assert {row["table"] for row in rows} == {"sweep", "item"}
    (row,) = [row for row in rows if row["key"] == "patience_s"]
    assert row.keys() == {"table", "key", "means", "unit", "required", "default", "example"}
    assert (row["default"], row["example"], row["required"]) == ('"10 s"', '"20 s"', False)
    status, out, err = run("keys", "swep")
    assert (status, out) == (2, "")
    assert 'did you mean "sweep"?' in err


# --- new


def test_new_from_options(run: Any, tmp_path: Path) -> None:
    """Options make a plan that passes its own check; the file says where to go on."""
    path = tmp_path / "pump.toml"
    options = ["--title", 'Pump "driver"', "--fuses", "F1..F6", "--switch", "S1:nc", "--cell", "BT1"]
    status, out, err = run("new", *options, "--trimmer", "RV1=2.2kohm", "--point", "C7", "--out", path)
    assert (status, out) == (0, "")
    assert str(path) in err
    plan = read_plan(path)
    assert plan.title == 'Pump "driver"'
    assert [step.id for step in plan.steps if step.id in ("fuses", "switch-1", "cells", "trimmer-1")] == [
        "fuses",
        "switch-1",
        "trimmer-1",
        "cells",
    ]
    assert run("check", path)[0] == 0


def test_new_to_stdout(run: Any) -> None:
    """Without --out the plan goes to stdout."""
    status, out, err = run("new", "--title", "x", "--fuses", "F1")
    assert (status, err) == (0, "")
    assert load_plan(out, "x").title == "x"


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (("--fuses", "F1", "--fuse-type", "chip"), "--fuse-type"),
        (("--fuses", "F1", "--fuse-max", "3 ohm", "--fuse-rating", "1 A"), "--fuse-max"),
        (("--fuse-max", "3 ohm"), "--fuse-max"),
        (("--fuse-rating", "1 A"), "--fuse-rating"),
        (("--loose", "--point", "C1"), "--point"),
    ],
)
def test_new_takes_no_option_that_would_do_nothing(run: Any, options: tuple[str, ...], named: str) -> None:
    """What is asked for is in the plan, or the option is refused by its name."""
    status, out, err = run("new", "--title", "T", *options)
    assert (status, out) == (2, "")
    assert f"metercap: {named}: " in err


def test_new_never_overwrites(run: Any, plan_file: Any) -> None:
    """A plan that somebody has worked on stays as it is."""
    path = plan_file(GOOD)
    status, _, err = run("new", "--title", "x", "--out", path)
    assert status == 2
    assert "already exists" in err
    assert path.read_text(encoding="utf-8") == GOOD


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--fuses", "F1"], "a plan needs a title"),
        (["--title", "x", "--fuses", "F3..F1"], "runs down"),
        (["--title", "x", "--fuses", "F1", "--fuse-max", "2 volts"], "is not a unit"),
        (["--title", "x", "--switch", "S1:maybe"], "'maybe' is none of"),
        (["--title", "x", "--trimmer", "RV1=refrence"], 'did you mean "reference"?'),
    ],
)
def test_wrong_options(run: Any, options: Any, says: str, tmp_path: Path) -> None:
    """A wrong wish is named, and no file is left."""
    path = tmp_path / "x.toml"
    status, out, err = run("new", *options, "--out", path)
    assert (status, out) == (2, "")
    assert says in err
    assert not path.exists()


def test_questions(run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal without options one question follows the other; the plan alone goes to stdout."""

    class Terminal(io.StringIO):
        def isatty(self) -> Any:
            return True

    answers = "Pump driver\nPD-2\nn\nsupply input, C7\nF1..F3\nS1, S2:nc\n\nRV1=2.2kohm\n"
    monkeypatch.setattr(sys, "stdin", Terminal(answers))
    status, out, err = run("new")
    assert status == 0
    assert "What is the plan for?" in err
    plan = load_plan(out, "x")
    assert (plan.title, plan.model) == ("Pump driver", "PD-2")
    by_id = {step.id: step for step in plan.steps}
    assert by_id["dead"].points == ("supply input", "C7")
    assert by_id["switch-2"].form == "nc"
    assert by_id["trimmer-1"].target == 2200.0
    assert "cells" not in by_id


def test_nobody_to_ask(run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without options and without a terminal there is nobody to ask."""
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    status, _, err = run("new")
    assert status == 2
    assert "nobody to ask" in err


def reading(t_s: Any, quantity: Any, value: Any, resolution: Any) -> Any:
    return Reading(t_s, quantity, value, resolution, quantity.unit, State.OK, (), "")


def journal(path: Any, *unplanned: Any) -> Any:
    """A session of a good plan in which items were probed unplanned."""
    record = SessionRecord(
        t_s=0.0,
        schema=SCHEMA,
        id="00",
        start_utc="2026-01-01T00:00:00Z",
        zone_offset_s=0,
        unit="A",
        tag="A",
        operator="",
        known_good=False,
        plan=to_builtins(load_plan(GOOD.replace('"GC-8"', '"First look"\nmodel = "GC-8"'), "x")),
        meter=find_meter("lcd14"),
        identity="",
        reference={},
        options={},
        inherited={},
        program="metercap",
    )
    with Writer.create(path, record) as writer:
        for n, (name, quantity, value, resolution) in enumerate(unplanned):
            t_s = 10.0 * n + 5.0
            writer.append(Operator(t_s, "probe", name))
            writer.append(reading(t_s + 1.0, quantity, value, resolution))
            writer.append(
                Verdict(t_s + 1.0, "unplanned", name, VerdictKind.PASS, value=value, unit=quantity.unit,
                        resolution=resolution, from_s=t_s + 1.0)
            )  # fmt: skip
    return path


def test_new_from_a_session(run: Any, tmp_path: Path) -> None:
    """What was probed unplanned becomes items, by quantity, with what was read beside them; the last value counts."""
    path = journal(
        tmp_path / "a.jsonl",
        ("R5", Quantity.RESISTANCE, 2200.0, 1.0),
        ("TP4", Quantity.VOLTAGE_AC, 5.02, 0.01),
        ("R5", Quantity.RESISTANCE, 2187.0, 1.0),
    )
    status, out, err = run("new", "--from", path)
    assert (status, err) == (0, "")
    plan = load_plan(out, "x")
    by_id = {step.id: step for step in plan.steps}
    assert (plan.title, plan.model) == ("First look", "GC-8")
    assert by_id["dead"].points == ("C12",)
    assert by_id["resistance"].item_names == ("R5",)
    assert by_id["voltage-ac"].quantity is Quantity.VOLTAGE_AC
    assert "# read 2.187 kΩ" in out
    assert run("new", "--from", path, "--title", "GC-8 board")[1].count("GC-8 board") == 1


def test_new_from_a_session_is_the_plan_it_ran(run: Any, tmp_path: Path) -> None:
    """A session's own steps come back with their kinds and keys, whatever was probed unplanned."""
    from metercap.journal import read
    from metercap.plan import from_builtins
    from metercap.plan.load import load_plan

    path = journal(tmp_path / "a.jsonl")
    status, out, _ = run("new", "--from", path)
    assert status == 0
    assert load_plan(out, "written") == from_builtins(read(path).records[0].plan)


def test_new_from_a_session_with_steps_takes_no_others(run: Any) -> None:
    """The session's own steps make the plan; title and model may be another's, and all else is refused by its name."""
    journal = Path(__file__).parents[2] / "fixtures/sessions/good-sweep.jsonl"
    assert 'title = "X"' in run("new", "--from", journal, "--title", "X", "--model", "Y")[1]
    for option in (("--fuses", "F1"), ("--loose",), ("--trimmer", "RV1"), ("--point", "C1")):
        status, out, err = run("new", "--from", journal, *option)
        assert (status, out) == (2, "")
        assert f"metercap: {option[0]}: " in err


def test_new_from_no_session(run: Any, plan_file: Any) -> None:
    """A file that is no journal is refused."""
    status, _, err = run("new", "--from", plan_file(GOOD))
    assert status == 2
    assert err.startswith("metercap: ")
