"""Any order in the real program over a pseudo-terminal: steps left and taken up, a reference that is missing, a verdict
that is accepted; by lines on a pipe and by keys on the screen, and gone on with after kill -9.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from tests.e2e.jobs import going_on, journals_in, new_job, sittings
from tests.e2e.outside_meter import OPEN, Meter
from tests.e2e.program import Record, of_kind, pause, plan_file, program, run, sweep, verdicts
from tests.e2e.test_continue import arguments, records
from tests.e2e.test_words import GOOD, REPEAT_S, Operator, confirm, journal, noted, operator

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

UNCOUNTED = sweep('"F1..F3"', "count_check = false")
BRIDGE = '[[step]]\nid = "bridge"\nkind = "tune"\nitems = ["RV1"]\ntarget = "reference"\ntolerance = "5 %"\n'


def asked(do: str, item: str) -> Callable[[list[Record]], Any]:
    """Whether the last prompt asks this of this item; a range to be fixed beside it is no other question."""

    def last(records: list[Record]) -> bool:
        prompts = [prompt for prompt in of_kind(records, "prompt") if prompt["item"] is not None]
        return bool(prompts) and (prompts[-1]["do"], prompts[-1]["item"]) == (do, item)

    return last


def touch(one: Operator, meter: Meter, item: str, ohm: float) -> None:
    """Touch an item that is asked for, until it has a new verdict, and lift."""
    before = len(of_kind(one.until(lambda records: records, "records"), "verdict"))
    time.sleep(1.2)
    meter.tips = ohm
    one.until(
        lambda records: [v for v in of_kind(records, "verdict")[before:] if v["item"] == item], f"verdict on {item}"
    )
    meter.tips = OPEN
    time.sleep(1.2)


# --- the scenes: what is done, in whichever way words are said


def leave_and_come_back(how: str, folder: Path) -> int:
    """F1, then another step, and back from there over its border; F2 and F3 come before the end, once each."""
    plan = plan_file(folder, confirm("unplug") + UNCOUNTED + confirm("cover-on"))
    with Meter(folder) as meter, operator(how, folder, meter, plan) as one:
        one.say("to fuse")
        one.until(noted('did you mean "fuses"?'), "the nearest spelling")
        time.sleep(REPEAT_S)
        one.say("yes")
        one.until(asked("probe", "F1"), "F1")
        touch(one, meter, "F1", GOOD)
        one.say("to cover-on")
        one.until(asked("confirm", "cover-on"), "the last step")
        one.until(noted("left open, and back before the end: fuses: F2, F3"), "what is left open")
        time.sleep(REPEAT_S)
        one.say("at fuses/F3")
        one.until(asked("probe", "F3"), "F3")
        touch(one, meter, "F3", GOOD)
        one.until(asked("probe", "F2"), "F2")
        touch(one, meter, "F2", GOOD)
        one.until(asked("confirm", "cover-on"), "the last step")
        time.sleep(REPEAT_S)
        one.say("back")
        one.until(asked("probe", "F2"), "F2 again")
        touch(one, meter, "F2", GOOD)
        one.until(asked("confirm", "cover-on"), "the last step")
        time.sleep(REPEAT_S)
        one.say("yes")
        return one.ended()


def no_reference(how: str, folder: Path) -> int:
    """A trimmer whose value comes from a good unit that nobody has: the operator says it, and is read back."""
    with Meter(folder) as meter, operator(how, folder, meter, plan_file(folder, BRIDGE)) as one:
        time.sleep(1.0)
        meter.tips = 1860.0
        one.until(asked("answer", "RV1"), "question for a target")
        time.sleep(REPEAT_S)
        one.say("target 2.91k")
        one.until(lambda records: "2.910 kΩ" in of_kind(records, "prompt")[-1]["say"], "read back")
        time.sleep(REPEAT_S)
        one.say("no")
        one.until(lambda records: "no reference" in of_kind(records, "prompt")[-1]["say"], "question again")
        time.sleep(REPEAT_S)
        one.say("target 2.19 kohm")
        one.until(lambda records: "2.190 kΩ" in of_kind(records, "prompt")[-1]["say"], "read back")
        time.sleep(REPEAT_S)
        one.say("yes")
        one.until(asked("turn", "RV1"), "turning")  # the tips are still on: no lift is asked for
        for ohm in (1900.0, 2000.0, 2100.0, 2190.0):
            meter.tips = ohm
            time.sleep(0.2)
        one.until(lambda records: "RV1" in verdicts(records), "RV1")
        return one.ended()


def accept_it(how: str, folder: Path) -> int:
    """F1 is open and stays so, by the operator's reason; a fuse that was not measured cannot be accepted."""
    plan = plan_file(folder, sweep('"F1..F2"', "count_check = false"))
    with Meter(folder) as meter, operator(how, folder, meter, plan) as one:
        one.until(asked("probe", "F1"), "F1")
        time.sleep(REPEAT_S)
        one.say("open")
        one.until(asked("probe", "F2"), "F2")
        one.say("accept F2 looks good")
        one.until(noted("F2 was not done"), "refusal")
        time.sleep(REPEAT_S)
        one.say("accept F1 not fitted in this version")
        one.until(noted("accepted as it is: not fitted in this version"), "acceptance")
        touch(one, meter, "F2", GOOD)
        return one.ended()


def a_new_fuse(how: str, folder: Path) -> int:
    """F1 fails, is replaced while F2 is asked for, and passes."""
    plan = plan_file(folder, sweep('"F1..F2"', "count_check = false"))
    with Meter(folder) as meter, operator(how, folder, meter, plan) as one:
        one.until(asked("probe", "F1"), "F1")
        time.sleep(REPEAT_S)
        one.say("open")
        one.until(asked("probe", "F2"), "F2")
        time.sleep(REPEAT_S)
        one.say("replaced F1")
        one.until(asked("probe", "F1"), "F1 again")
        touch(one, meter, "F1", GOOD)
        one.until(asked("probe", "F2"), "F2")
        touch(one, meter, "F2", GOOD)
        return one.ended()


SCENES = (leave_and_come_back, no_reference, accept_it, a_new_fuse)


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory, journals: list[Path]) -> dict[tuple[str, str], list[Record]]:
    """Every scene's journal, each played by lines and by keys, side by side. All end with status 0."""
    keys: list[tuple[Callable[[str, Path], int], str]] = [(scene, how) for how in ("lines", "keys") for scene in SCENES]
    folders = {(scene, how): tmp_path_factory.mktemp(f"{scene.__name__}-{how}") for scene, how in keys}
    with ThreadPoolExecutor(len(keys)) as pool:
        done = dict(zip(keys, pool.map(lambda key: key[0](key[1], folders[key]), keys), strict=True))
    journals += [folder / "session.jsonl" for folder in folders.values()]
    assert done == dict.fromkeys(keys, 0)
    out = {(scene.__name__, how): journal(folders[scene, how] / "session.jsonl") for scene, how in keys}
    for (_, how), seen in out.items():
        assert {record["source"] for record in of_kind(seen, "operator")} == {"line" if how == "lines" else "key"}
    return out


BOTH = pytest.mark.parametrize("how", ["lines", "keys"])


def given(seen: list[Record]) -> list[tuple[str, str]]:
    """Return every verdict in order."""
    return [(verdict["item"], verdict["verdict"]) for verdict in of_kind(seen, "verdict")]


@BOTH
def test_what_is_left_comes_back_and_nothing_is_asked_twice(
    played: dict[tuple[str, str], list[Record]], how: str
) -> None:
    """Each fuse once, F2 once more after `back`; the last step was left twice and ended once."""
    seen = played["leave_and_come_back", how]
    items = ["unplug", "F1", "F3", "F2", "F2", "cover-on"]
    assert given(seen) == [(item, "pass") for item in items]
    assert of_kind(seen, "end")[0]["reason"] == "done"


@BOTH
def test_a_target_is_said_read_back_and_reached(played: dict[tuple[str, str], list[Record]], how: str) -> None:
    """2.19 kΩ ± 5 %: 2.0805 to 2.2995 kΩ; 2.91 was a slip of the tongue."""
    (verdict,) = of_kind(played["no_reference", how], "verdict")
    assert (verdict["verdict"], verdict["target"], verdict["as_found"]) == ("pass", 2190.0, 1860.0)
    assert (verdict["min"], verdict["max"]) == (2080.5, 2299.5)


@BOTH
def test_an_accepted_verdict_stays_and_counts_as_good(played: dict[tuple[str, str], list[Record]], how: str) -> None:
    """The exit status is 0 (the fixture sees to it), the verdict is still fail."""
    seen = played["accept_it", how]
    assert given(seen) == [("F1", "fail"), ("F1", "fail"), ("F2", "pass")]
    assert [verdict.get("accepted") for verdict in of_kind(seen, "verdict")] == [
        None,
        "not fitted in this version",
        None,
    ]


@BOTH
def test_a_new_part_is_listed_and_measured(played: dict[tuple[str, str], list[Record]], how: str) -> None:
    """The failed one stays in the file."""
    seen = played["a_new_fuse", how]
    assert given(seen) == [("F1", "fail"), ("F1", "pass"), ("F2", "pass")]
    assert [note["text"] for note in of_kind(seen, "note") if note["text"].startswith("part replaced")] == [
        "part replaced: F1 (fuses)"
    ]


@pytest.mark.usefixtures("hastened")
def test_a_reference_is_born_in_the_middle_of_a_job(tmp_path: Path, journals: list[Path]) -> None:
    """R's trimmer needs a good unit's value: L is taken, said to be good, and R is told beside it and turned there."""
    job = new_job(tmp_path, BRIDGE, units=("R", "L"))
    with Meter(tmp_path) as meter, program(*going_on(job, meter)) as metercap:
        metercap.until(lambda seen: of_kind(seen, "reading"), "reading")
        pause(1.5)
        meter.tips = 1860.0
        metercap.until(lambda seen: "no reference" in of_kind(seen, "prompt")[-1]["say"], "question for a reference")
        meter.tips = OPEN
        metercap.say("take L")
        metercap.until(lambda seen: len(sittings(seen)) == 2, "L")
        metercap.say("good")
        pause(3.0)
        meter.tips = 2190.0
        metercap.until(lambda seen: "RV1" in verdicts(sittings(seen)[1]), "L's value")
        meter.tips = OPEN
        metercap.say("take R")
        metercap.until(lambda seen: len(sittings(seen)) == 3, "R again")
        pause(3.0)
        meter.tips = 1860.0
        metercap.until(lambda seen: of_kind(seen, "prompt")[-1]["do"] == "turn", "turning")
        for ohm in (1900.0, 2000.0, 2100.0, 2190.0):
            meter.tips = ohm
            pause(0.2)
        metercap.until(lambda seen: "RV1" in verdicts(sittings(seen)[2]), "R's verdict")
        metercap.say("quit")
        metercap.wait()
    journals += journals_in(job)
    _, good, last = sittings(metercap.records)
    assert [(v["verdict"], v["value"]) for v in of_kind(good, "verdict")] == [("pass", 2190.0)]
    told = [note["text"] for note in of_kind(last, "note") if "as found" in note["text"]]
    assert told == ["RV1 as found 1.860 kΩ, good unit 2.190 kΩ: 84.9 %, turned by someone?"]
    (verdict,) = of_kind(last, "verdict")
    assert (verdict["verdict"], verdict["target"], verdict["as_found"]) == ("pass", 2190.0, 1860.0)
    assert run("job", "show", str(job)).out.count(b"nothing is open") == 1


def test_killed_in_another_step_it_goes_on_with_what_was_left(tmp_path: Path, journals: list[Path]) -> None:
    """kill -9 after F1 was accepted and the sweep left: only F2 and the step that was open are asked for."""
    plan = plan_file(tmp_path, sweep('"F1..F2"', "count_check = false") + confirm("cover-on"))
    one, two = tmp_path / "one.jsonl", tmp_path / "two.jsonl"
    with Meter(tmp_path) as meter:
        with program(*arguments(tmp_path, meter, plan, "one.jsonl")) as metercap:
            metercap.until(lambda seen: of_kind(seen, "reading"), "reading")
            for word in ("open", "accept F1 not fitted", "to cover-on"):
                metercap.say(word)
            metercap.until(asked("confirm", "cover-on"), "the last step")
            metercap.kill()
        with program(*arguments(tmp_path, meter, plan, "two.jsonl", "--continue", str(one))) as metercap:
            metercap.until(asked("probe", "F2"), "F2")
            metercap.say("absent")
            metercap.until(asked("confirm", "cover-on"), "the last step")
            metercap.say("yes")
            assert metercap.wait().status == 0
    journals += [one, two]
    seen = records(two)
    assert given(seen) == [("F1", "fail"), ("F2", "absent"), ("cover-on", "pass")]
    assert of_kind(seen, "verdict")[0]["accepted"] == "not fitted"
    assert run("verify", str(two)).status == 0
