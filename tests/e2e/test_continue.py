"""Going on with a session, and taking a unit up later: the real program, ended in every kind of step, three ways."""

from __future__ import annotations

import json
import signal
import sys
from pathlib import Path

import pytest

from tests.e2e import outside_meter
from tests.e2e.outside_meter import OPEN, Meter
from tests.e2e.program import Ended, Hands, Program, Record, of_kind, plan_file, program, run, sweep, verdicts

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals"),
    pytest.mark.usefixtures("hastened"),
]

FIRST = '[[step]]\nid = "first"\nkind = "confirm"\nsay = "parts laid out?"\n' + sweep('"F1..F3"')
KINDS = {
    "confirm": 'say = "cell out?"',
    "safe": 'points = ["C12"]',
    "zero": "",
    "check": 'items = ["R1", "R2"]\nmin = "90 ohm"\nmax = "110 ohm"',
    "sweep": 'items = ["F7", "F8"]\nmax = "2 ohm"',
    "exercise": 'items = ["S1"]\npresses = 5\nmax = "2 ohm"',
    "wiggle": 'items = ["J3"]\nmax = "2 ohm"\nwatch_s = "5 s"',
    "cell": 'items = ["BT1"]',
    "tune": 'items = ["RV1"]\ntarget = "1.5 kohm"\ntolerance = "1 %"',
    "trials": "runs = 3",
}
ENDS = {"quit": 1, "SIGINT": 130, "kill -9": -signal.SIGKILL}
FUSES = {"F1": 0.2, "F2": 0.3, "F3": 0.2}


def arguments(folder: Path, meter: Meter, plan: Path | str, out: str, *more: str) -> list[str]:
    """Return the arguments of a run."""
    return [
        *("run", str(plan), "--port", str(meter.path), "--meter", meter.family, "--rate", "10"),
        *("--unit", "controller B", "--out", str(folder / out), *more),
    ]


def stop(metercap: Program, how: str) -> None:
    """End a program."""
    if how == "quit":
        metercap.say("quit")
    elif how == "SIGINT":
        metercap.signal(signal.SIGINT)
    else:
        metercap.kill()
        return
    assert metercap.wait().status == ENDS[how]


def records(path: Path) -> list[Record]:
    """Return a file's whole records."""
    return [json.loads(line) for line in path.read_bytes().split(b"\n")[:-1]]


def asked(of: list[Record]) -> list[str]:
    """Return what was asked for, as "probe F1"."""
    return [f"{prompt['do']} {prompt['item']}" for prompt in of_kind(of, "prompt")]


QUICK = [("kill -9", kind) for kind in KINDS] + [("quit", "sweep"), ("SIGINT", "trials")]
SLOW = [pytest.param(how, kind, marks=pytest.mark.slow) for how in ENDS for kind in KINDS if (how, kind) not in QUICK]


@pytest.mark.parametrize(("how", "kind"), [*QUICK, *SLOW])
def test_it_goes_on_in_every_kind_of_step(tmp_path: Path, journals: list[Path], how: str, kind: str) -> None:
    """What was decided stands and is not asked again; the step that was open is asked for first."""
    step = f'[[step]]\nid = "second"\nkind = "{kind}"\n{KINDS[kind]}\n'
    plan = plan_file(tmp_path, FIRST + step)
    hands_free = ["yes", "absent", "absent", "absent"]
    with Meter(tmp_path) as meter:
        with program(*arguments(tmp_path, meter, plan, "one.jsonl")) as metercap:
            metercap.until(lambda seen: of_kind(seen, "reading"), "reading")
            for word in hands_free:
                metercap.say(word)
            metercap.until(lambda seen: [p for p in of_kind(seen, "prompt") if p["step"] == "second"], "second step")
            stop(metercap, how)
        with program(
            *arguments(tmp_path, meter, plan, "two.jsonl", "--continue", str(tmp_path / "one.jsonl"))
        ) as again:
            again.until(lambda seen: of_kind(seen, "prompt"), "prompt")
            again.say("quit")
            ended = again.wait()
    assert ended.status == 1, ended.err
    two = records(tmp_path / "two.jsonl")
    assert {prompt["step"] for prompt in of_kind(two, "prompt")} == {"second"}
    assert verdicts(two) == {"first": "pass", "F1": "absent", "F2": "absent", "F3": "absent"}
    assert two[0]["inherited"]["session"] == records(tmp_path / "one.jsonl")[0]["id"]
    journals += [tmp_path / "one.jsonl", tmp_path / "two.jsonl"]


def sweep_until(tmp_path: Path, meter: Meter, what: str, answers: dict[str, str]) -> tuple[Program, Hands]:
    """Tick F1 to F3 and stop where `what` is asked."""
    hands = Hands(meter, dict(FUSES), answers)
    plan = plan_file(tmp_path, sweep('"F1..F3"'))
    metercap = Program(*arguments(tmp_path, meter, plan, "one.jsonl"), see=hands.see)
    hands.program = metercap
    metercap.until(lambda seen: what in asked(seen), what)
    return metercap, hands


@pytest.mark.parametrize("how", ["kill -9", pytest.param("quit", marks=pytest.mark.slow)])
@pytest.mark.parametrize(("answer", "status", "verdict"), [("yes", 0, "pass"), ("no", 1, "unsure")])
def test_an_unanswered_count_check_is_asked_first(
    tmp_path: Path, journals: list[Path], how: str, answer: str, status: int, verdict: str
) -> None:
    """It ends with 0 only after a `yes`; after a `no` everything that it was about is unsure."""
    with Meter(tmp_path) as meter:
        metercap, hands = sweep_until(tmp_path, meter, "answer F3", {"F3": "say"})
        stop(metercap, how)
        hands.rest()
        one = tmp_path / "one.jsonl"
        with program(*arguments(tmp_path, meter, tmp_path / "plan.toml", "two.jsonl", "--continue", str(one))) as again:
            again.until(lambda seen: asked(seen) == ["answer F3"], "the question")
            again.say(answer)
            if answer == "no":
                again.until(lambda seen: "answer fuses" in asked(seen), "the offer")
                again.say("no")
            ended = again.wait()
    assert ended.status == status, ended.err
    assert verdicts(records(tmp_path / "two.jsonl")) == dict.fromkeys(FUSES, verdict)
    journals += [one, tmp_path / "two.jsonl"]


def test_ticks_before_a_kill_are_counted_before_more_are_made(tmp_path: Path, journals: list[Path]) -> None:
    """Killed in the middle of a sweep: whether the last tick was right is asked before the next fuse."""
    with Meter(tmp_path) as meter:
        metercap, before = sweep_until(tmp_path, meter, "probe F3", {})
        metercap.kill()
        before.rest()
        hands = Hands(meter, dict(FUSES))
        one = tmp_path / "one.jsonl"
        args = arguments(tmp_path, meter, tmp_path / "plan.toml", "two.jsonl", "--continue", str(one))
        with program(*args, see=hands.see) as again:
            hands.program = again
            ended = again.wait()
    assert ended.status == 0, ended.err
    two = records(tmp_path / "two.jsonl")
    assert [one for one in asked(two) if not one.startswith("dial")] == [
        *("answer F2", "probe F3", "lift F3", "answer F3"),
    ]
    journals += [one, tmp_path / "two.jsonl"]


def test_as_found_is_never_read_twice(tmp_path: Path, journals: list[Path]) -> None:
    """Found at 1.700 kΩ, turned to 1.600, killed: gone on with, and later taken up, it was found at 1.700 kΩ."""
    step = f'[[step]]\nid = "bridge"\nkind = "tune"\n{KINDS["tune"]}\n'
    plan = plan_file(tmp_path, step)

    def turned(out: str, *more: str, ohm: float, until: str) -> Ended | None:
        with program(*arguments(tmp_path, meter, plan, out, *more)) as metercap:
            metercap.until(lambda seen: of_kind(seen, "prompt"), "prompt")
            meter.tips = OPEN
            metercap.until(lambda seen: len(of_kind(seen, "reading")) > 15, "readings in air")
            meter.tips = ohm
            if until == "turn":
                metercap.until(lambda seen: "turn RV1" in asked(seen), "turn")
                meter.tips = 1600.0
                metercap.until(lambda seen: any(r["value"] == 1600.0 for r in of_kind(seen, "reading")), "1.600 kΩ")
                metercap.kill()
                return None
            metercap.until(lambda seen: any(r["value"] == ohm for r in of_kind(seen, "reading")), "the value now")
            metercap.say("quit")
            return metercap.wait()

    with Meter(tmp_path) as meter:
        turned("one.jsonl", ohm=1700.0, until="turn")
        for how in ("--continue", "--after"):
            turned(f"two{how}.jsonl", how, str(tmp_path / "one.jsonl"), ohm=1500.0, until="quit")
            two = records(tmp_path / f"two{how}.jsonl")
            assert two[0]["inherited"]["as_found"]["bridge/RV1"]["value"] == 1700.0
            assert not any("as found" in prompt["say"] for prompt in of_kind(two, "prompt"))
            journals.append(tmp_path / f"two{how}.jsonl")


def test_a_shipped_plan_is_gone_on_with(tmp_path: Path, journals: list[Path]) -> None:
    """The controller's own plan, interrupted at its proof: what was confirmed stands; operator and good unit too."""
    with Meter(tmp_path) as meter:
        plan = "greenhouse-controller"
        args = arguments(tmp_path, meter, plan, "one.jsonl", "--known-good", "--operator", "Ilse")
        with program(*args) as metercap:
            metercap.until(lambda seen: of_kind(seen, "prompt"), "prompt")
            metercap.say("yes")
            metercap.say("yes")
            metercap.until(lambda seen: [p for p in of_kind(seen, "prompt") if p["step"] == "disconnect"], "disconnect")
            metercap.kill()
        one = tmp_path / "one.jsonl"
        with program(*arguments(tmp_path, meter, plan, "two.jsonl", "--continue", str(one))) as again:
            again.until(lambda seen: of_kind(seen, "prompt"), "prompt")
            again.say("quit")
            ended = again.wait()
    assert ended.status == 1, ended.err
    two = records(tmp_path / "two.jsonl")
    assert of_kind(two, "prompt")[0]["step"] == "disconnect"
    assert (two[0]["known_good"], two[0]["operator"]) == (True, "Ilse")
    assert verdicts(two) == {"symptom": "pass", "earlier-work": "pass"}
    journals += [one, tmp_path / "two.jsonl"]


def test_chosen_steps_are_gone_on_with(tmp_path: Path, journals: list[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """`--steps` holds on going on, until others are named; a count check that is owed keeps the status from 0."""
    monkeypatch.setattr(outside_meter, "HASTE", 1.0)  # a busy machine lost a prompt at four times the speed
    cell = f'[[step]]\nid = "cell"\nkind = "cell"\n{KINDS["cell"]}\n'
    plan = plan_file(tmp_path, sweep('"F1..F3"') + cell)
    with Meter(tmp_path) as meter:
        hands = Hands(meter, dict(FUSES), {"F3": "say"})
        metercap = Program(*arguments(tmp_path, meter, plan, "one.jsonl", "--steps", "fuses"), see=hands.see)
        hands.program = metercap
        metercap.until(lambda seen: "answer F3" in asked(seen), "question")
        metercap.kill()
        hands.rest()
        one = str(tmp_path / "one.jsonl")
        with program(*arguments(tmp_path, meter, plan, "two.jsonl", "--continue", one, "--steps", "cell")) as other:
            other.until(lambda seen: of_kind(seen, "prompt"), "prompt")
            other.say("absent")
            assert other.wait().status == 1
        two = str(tmp_path / "two.jsonl")
        with program(*arguments(tmp_path, meter, plan, "three.jsonl", "--continue", two)) as all_of_it:
            all_of_it.until(lambda seen: asked(seen) == ["answer F3"], "the question")
            all_of_it.say("yes")
            assert all_of_it.wait().status == 0
    three = records(tmp_path / "three.jsonl")
    assert verdicts(three) == {**dict.fromkeys(FUSES, "pass"), "BT1": "absent"}
    journals += [tmp_path / name for name in ("one.jsonl", "two.jsonl", "three.jsonl")]


def test_what_cannot_be_gone_on_with_is_refused(tmp_path: Path) -> None:
    """Another plan, another unit, a file of the first schema, a damaged one: status 2, with what to do instead."""
    plan = plan_file(tmp_path, sweep('"F1..F3"'))
    with Meter(tmp_path) as meter:
        with program(*arguments(tmp_path, meter, plan, "one.jsonl")) as metercap:
            metercap.until(lambda seen: of_kind(seen, "prompt"), "prompt")
            metercap.say("quit")
            metercap.wait()
        one = tmp_path / "one.jsonl"
        goes_on = ["--continue", str(one)]
        other = tmp_path / "other.toml"
        other.write_text(plan.read_text(encoding="utf-8").replace("2 ohm", "1 ohm"), encoding="utf-8")
        changed = run(*arguments(tmp_path, meter, other, "x.jsonl", *goes_on))
        args = arguments(tmp_path, meter, plan, "x.jsonl", *goes_on)
        args[args.index("controller B")] = "controller C"
        stranger = run(*args)
        broken = tmp_path / "broken.jsonl"
        broken.write_bytes(one.read_bytes().replace(b'"F1', b'"F9', 1))
        damaged = run(*arguments(tmp_path, meter, plan, "x.jsonl", "--continue", str(broken)))
    assert (changed.status, stranger.status, damaged.status) == (2, 2, 2)
    assert "--after" in changed.err
    assert "controller C" in stranger.err
    assert "verify" in damaged.err
    assert not (tmp_path / "x.jsonl").exists()
