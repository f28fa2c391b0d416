"""A job whose unit has a symptom, over the real program: what is proposed, how it is taken, and that replay agrees.

Expectations are worked out by hand from the plan below. Its steps are words, so that no meter is needed.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest

from tests.e2e.jobs import journals_in, read
from tests.e2e.program import Record, of_kind, program, run

HUMS = "it hums"
PLAN = """
[plan]
title = "Climate controller, main board"
model = "GC-8"
supply = "none"
symptoms = ["it hums", "the display stays dark"]

[[step]]
id = "lid"
kind = "confirm"
minutes = 5
say = "Lid off?"

[[step]]
id = "relay"
kind = "confirm"
minutes = 2
teardown = ["lid"]
finds = { "it hums" = 0.5 }
say = "Do the relays click?"

[[step]]
id = "plugs"
kind = "confirm"
minutes = 1
finds = { "it hums" = 0.3, "the display stays dark" = 0.2 }
say = "Do the plugs sit tight?"
"""


def new_job(folder: Path, symptom: str, title: str = "humming") -> Path:
    """Make a job of one unit that came in with a symptom."""
    plan = folder / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    done = run("job", "new", title, "--plan", str(plan), "--unit", "B", "--symptom", f"B={symptom}", cwd=folder)
    assert done.status == 0, done.err
    return folder / title


def told(records: list[Record]) -> list[str]:
    """Return every remark."""
    return [each["text"] for each in of_kind(records, "note")]


def open_items(records: list[Record]) -> list[str]:
    """Return which items were asked for, in order."""
    return [each["item"] for each in of_kind(records, "prompt")]


def test_what_is_proposed_is_told_taken_by_a_word_and_derived_again(tmp_path: Path, journals: list[Path]) -> None:
    """Plugs first: 0.3 in a minute; relay 0.5 in 2 and the lid's 5. Then relay 0.5/0.7, by way of the lid.

    Nothing moves by it: the lid, the plan's first, is asked until `to plugs` is said.
    """
    job = new_job(tmp_path, HUMS)
    with program("run", str(job)) as metercap:
        metercap.until(lambda seen: "lid" in open_items(seen), "the plan's first step")
        metercap.say("to plugs")
        metercap.until(lambda seen: "plugs" in open_items(seen), "the plugs")
        metercap.say("yes")
        metercap.until(lambda seen: open_items(seen)[-1] == "lid", "the lid, which was left open")
        metercap.say("say")
        metercap.until(lambda seen: any("proposed: " in text for text in told(seen)), "it again")
        metercap.say("quit")
        metercap.wait()
    first = metercap.records[0]["symptom"]
    assert first == {
        "said": HUMS,
        "chances": {HUMS: {"relay": 0.5, "plugs": 0.3}, "the display stays dark": {"plugs": 0.2}},
    }
    assert open_items(metercap.records) == ["lid", "plugs", "lid"]
    said = told(metercap.records)
    assert f"symptom: {HUMS}; chances from the plan" in said
    assert "plugs first: 30 %, one minute, nothing to open; to plugs" in said
    assert "relay first: 71 %, two minutes, lid (five minutes) before it" in said
    assert "; proposed: relay first: 71 %, two minutes, lid (five minutes) before it; last value" in said[-1]
    (path,) = journals_in(job)
    assert read(path)[0]["symptom"] == first
    assert run("replay", str(path), "--check").status == 0
    journals.append(path)


def test_a_free_text_is_asked_about_and_the_answer_is_kept(tmp_path: Path, journals: list[Path]) -> None:
    """What the customer says is no symptom of the plan: the nearest is asked for, and the next sitting knows it."""
    job = new_job(tmp_path, "display dark")
    with program("run", str(job)) as metercap:
        metercap.until(lambda seen: open_items(seen), "the first step")
        metercap.say("symptom 2")
        metercap.until(lambda seen: any("plugs first" in text for text in told(seen)), "the proposal")
        metercap.say("quit")
        metercap.wait()
    said = told(metercap.records)
    assert 'is "display dark" the symptom "the display stays dark"? symptom 2 says so' in said
    assert "plugs first: 20 %, one minute, nothing to open; to plugs" in said
    with program("run", str(job)) as metercap:
        metercap.until(lambda seen: open_items(seen), "the first step")
        metercap.say("quit")
        metercap.wait()
    assert "symptom: the display stays dark; chances from the plan" in told(metercap.records)
    shown = run("job", "show", str(job)).out.decode()
    assert "symptom: the display stays dark; at first: display dark" in shown
    missing = run("job", "show", str(job), "--jobs", str(tmp_path / "nowhere"))
    assert missing.status == 2 and "does not exist" in missing.err
    journals += journals_in(job)


def asked_last(item: str, seen: list[Record]) -> bool:
    """Whether an item was asked for last."""
    return open_items(seen)[-1:] == [item]


def more_than(n: int, seen: list[Record]) -> bool:
    """Whether more than `n` records came."""
    return len(seen) > n


def worked_on(job: Path, words: list[tuple[str, str]], *more: str, **env: str) -> list[Record]:
    """Run a job, say each word once the item before it is asked for, and return what the program said."""
    with program("run", str(job), *more, see=None, cwd=None, **env) as metercap:
        for item, word in words:
            metercap.until(partial(asked_last, item), f"the question for {item}")
            before = len(metercap.records)
            metercap.say(word)
            metercap.until(partial(more_than, before + 1), f"what came of {word}")
        metercap.wait()
    return metercap.records


def test_the_next_unit_profits_from_the_first(tmp_path: Path, journals: list[Path]) -> None:
    """The first job's relay did not click, and did after its repair; all was good then: that was its fault.

    By hand, with the plan's chances for five units: relay (5 · 0.5 + 1)/6 = 58 % in 7 minutes with the lid, plugs
    (5 · 0.3)/6 = 25 % in one; after the second such unit relay 4.5/7 = 64 %, plugs 1.5/7 = 21 %.
    """
    env = {"XDG_CACHE_HOME": str(tmp_path / "cache")}
    first = new_job(tmp_path, HUMS, "first")
    repaired = [("lid", "yes"), ("relay", "fail"), ("plugs", "at relay"), ("relay", "yes"), ("plugs", "yes")]
    records = worked_on(first, repaired, **env)
    assert "symptom: it hums; chances from the plan" in told(records)
    second = new_job(tmp_path, HUMS, "second")
    records = worked_on(second, [("lid", "quit")], **env)
    assert records[0]["symptom"]["chances"][HUMS] == {"relay": 0.583333, "plugs": 0.25}
    assert records[0]["symptom"]["faults"] == {HUMS: {"relay": 1}}
    assert "symptom: it hums; chances from the plan and 1 repaired unit in 2 jobs beside this one" in told(records)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    third = new_job(elsewhere, HUMS, "third")
    records = worked_on(third, [("lid", "quit")], **env)
    assert "symptom: it hums; chances from the plan" in told(records)
    records = worked_on(third, [("lid", "quit")], "--jobs", str(tmp_path), **env)
    assert records[0]["symptom"]["units"] == {HUMS: 1}
    assert f"symptom: it hums; chances from the plan and 1 repaired unit in {tmp_path}" in told(records)
    journals += journals_in(second)


def test_a_folder_of_jobs_that_is_not_there(tmp_path: Path) -> None:
    """It is named, before anything is asked; and only jobs have others."""
    job = new_job(tmp_path, HUMS)
    done = run("run", str(job), "--jobs", str(tmp_path / "gone"), "--plain")
    assert done.status == 2 and "there is no such file, folder or job" in done.err
    done = run("run", str(tmp_path / "plan.toml"), "--jobs", str(tmp_path), "--plain")
    assert done.status == 2 and "--jobs is for a job" in done.err
    assert journals_in(job) == []


@pytest.mark.slow
def test_the_next_unit_profits_from_the_demos(tmp_path: Path) -> None:
    """B's starts failed until the plug of its sensor cable was crimped anew, and are proof after that.

    By hand, with the plan's chances for five units: sensor cable (5 · 0.05 + 1)/6 = 21 % in two minutes, 0.104 a
    minute; fuses 5 · 0.35/6 = 29 % in three, 0.097; then cover 12.5 % and coils 8.3 % in two each, bridge 12.5 % in
    four. By the plan alone fuses are first: 0.35 in three minutes, 0.117.
    """
    cache = str(tmp_path / "cache")
    command = ("demo", "--speed", "5000", "--plain", "--out", "bench")
    shown = run(*command, cwd=tmp_path, XDG_CACHE_HOME=cache).out.decode()
    before, now = (line.strip() for line in shown.splitlines() if line.startswith(("  by the plan", "  after this")))
    first = ", after symptom, earlier-work, disconnect, discharge, dead and leads: "
    assert before.startswith(f"by the plan alone    fuses first{first}35 %, three minutes, nothing to open; then cover")
    told_now = (
        f"sensor-cable first{first}21 %, the fault of 1 of 1 unit, two minutes, nothing to open; then fuses 29 %,"
    )
    assert now.startswith(f"after this repair    {told_now}")
    symptom = "C=the output relays do not pull"
    plan = str(tmp_path / "bench" / "plan.toml")
    run("job", "new", "next", "--plan", plan, "--unit", "C", "--symptom", symptom, cwd=tmp_path)
    rows = run("job", "show", "next", cwd=tmp_path, XDG_CACHE_HOME=cache).out.decode().splitlines()
    assert any(row.startswith(f"   proposed: {told_now}") for row in rows)
    assert "   by the chances of the plan and 1 repaired unit in 2 jobs beside this one" in rows
