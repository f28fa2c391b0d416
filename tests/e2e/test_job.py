"""A job over the real program: two units taken in turn on one port, put aside, interrupted, and gone on with."""

from __future__ import annotations

import hashlib
import json
import os
import select
import shutil
import struct
import sys
import time
import zlib
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from tests.e2e.jobs import BOARD, CONFIRM, going_on, journals_in, new_job, raw_of, read, sittings
from tests.e2e.outside_meter import Meter
from tests.e2e.program import PATIENCE_S, Hands, Program, Record, command, environment, of_kind, program, run, verdicts

if sys.platform != "win32":
    import fcntl
    import pty
    import termios

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals"),
    pytest.mark.usefixtures("hastened"),
]


def ticked(records: list[Record], n: int, item: str) -> bool:
    """Return whether an item passed by a contact of session `n` (from 0), and was not only taken over."""
    found = sittings(records)
    if len(found) <= n:
        return False
    return any(v["item"] == item and v["from_s"] is not None for v in of_kind(found[n], "verdict"))


def asked(records: list[Record]) -> list[str]:
    """Return what was asked for, as "probe F1"; neither a range nor a lift before what comes next is anything of it."""
    prompts = [each for each in of_kind(records, "prompt") if each["item"] and each["do"] != "lift"]
    return [f"{each['do']} {each['item']}" for each in prompts]


def test_a_unit_is_parked_another_taken_and_the_first_gone_on_with(tmp_path: Path, journals: list[Path]) -> None:
    """Nothing that was decided is asked again, the leads stay nulled, no byte is lost, and the status is over both."""
    job = new_job(tmp_path)
    with Meter(tmp_path) as meter:
        hands = Hands(meter, dict(BOARD), {"job": "say"})
        with program(*going_on(job, meter), see=hands.see) as metercap:
            hands.program = metercap
            metercap.until(lambda seen: ticked(seen, 0, "F1"), "L F1")
            metercap.say("take R")
            metercap.until(lambda seen: ticked(seen, 1, "F2"), "R F2")
            metercap.say("take L")
            metercap.until(lambda seen: ticked(seen, 2, "F3"), "L F3")
            metercap.until(lambda seen: "confirm job" in asked(seen), "the question for the next unit")
            metercap.say("quit")
            ended = metercap.wait()
        sent = b"".join(frame for _, frame in meter.sent)
    left, right, again = sittings(metercap.records)
    assert [of_kind(each, "end")[0]["reason"] for each in (left, right, again)] == ["parked", "parked", "quit"]
    assert [path.name for path in journals_in(job)] == ["001-L.jsonl", "002-R.jsonl", "003-L.jsonl"]
    assert b"".join(path.read_bytes() for path in journals_in(job)) == ended.out
    assert asked(right)[:2] == ["confirm intake", "probe F1"]  # no null: the leads are the same
    assert verdicts(right)["leads"] == "pass"
    assert asked(again)[:2] == ["answer F1", "probe F2"]  # the tick before it was parked is counted first
    assert verdicts(again) == {"intake": "pass", "leads": "pass", "F1": "pass", "F2": "pass", "F3": "pass"}
    assert ended.status == 1  # R has F3 open
    assert raw_of(metercap.records) in sent
    journals += journals_in(job)


def started(job: Path, meter: Meter, hands: Hands, *more: str) -> Program:
    """Start the program on a job, with hands that answer it."""
    metercap = Program(*going_on(job, meter, *more), see=hands.see)
    hands.program = metercap
    return metercap


def test_killed_and_gone_on_with_nothing_is_asked_twice(tmp_path: Path, journals: list[Path]) -> None:
    """The unit that was on the mat goes on; the leads are nulled anew, since another day may have other leads."""
    job = new_job(tmp_path)
    with Meter(tmp_path) as meter:
        hands = Hands(meter, dict(BOARD), {"job": "quit"})
        metercap = started(job, meter, hands)
        metercap.until(lambda seen: ticked(seen, 0, "F1"), "L F1")
        metercap.say("take R")
        metercap.until(lambda seen: ticked(seen, 1, "F1"), "R F1")
        metercap.kill()
        hands.rest()
        hands = Hands(meter, dict(BOARD), {"job": "quit"})
        metercap = started(job, meter, hands)
        ended = metercap.wait()
    assert ended.status == 1  # L is still open
    [again] = sittings(metercap.records)
    assert again[0]["tag"] == "R" and again[0]["job"]["number"] == 3
    assert [each for each in asked(again) if "intake" in each] == []
    assert asked(again)[:3] == ["short leads", "answer F1", "probe F2"]
    assert verdicts(again) == {"intake": "pass", "leads": "pass", "F1": "pass", "F2": "pass", "F3": "pass"}
    assert read(job / "002-R.jsonl")[-1]["kind"] != "end"
    journals += journals_in(job)


def test_a_yes_takes_the_next_unit_and_the_last_one_ends_it_all(tmp_path: Path, journals: list[Path]) -> None:
    """Hands that answer yes go through both units in one run of the program, which ends by itself with status 0."""
    job = new_job(tmp_path)
    with Meter(tmp_path) as meter:
        hands = Hands(meter, dict(BOARD))
        ended = started(job, meter, hands).wait()
    assert ended.status == 0, ended.err
    assert [path.name for path in journals_in(job)] == ["001-L.jsonl", "002-R.jsonl"]
    assert read(job / "001-L.jsonl")[-1]["reason"] == "parked"
    assert read(job / "002-R.jsonl")[-1]["reason"] == "done"
    shown = run("job", "show", str(job))
    assert shown.status == 0 and b"nothing is open" in shown.out
    over = run(*going_on(job, meter), "--json")
    assert over.status == 0 and over.out == b"" and "nothing of this job is open" in over.err
    journals += journals_in(job)


def test_an_unknown_tag_and_the_unit_on_the_mat(tmp_path: Path) -> None:
    """Neither parks anything: the first is answered with what the job has, or the nearest spelling."""
    job = new_job(tmp_path, CONFIRM, units=("left", "right"))
    with Meter(tmp_path) as meter, program(*going_on(job, meter)) as metercap:
        metercap.until(lambda seen: of_kind(seen, "prompt"), "prompt")
        metercap.say("take rigth")
        metercap.say("take LEFT")
        metercap.say("take middle")
        metercap.say("quit")
        metercap.wait()
    notes = [note["text"] for note in of_kind(metercap.records, "note")]
    assert any("no unit 'rigth' in this job: did you mean \"right\"?" in text for text in notes), notes
    assert any("left is on the mat already" in text for text in notes)
    assert any("no unit 'middle' in this job: left, right" in text for text in notes)
    assert len(journals_in(job)) == 1


def test_take_without_a_job(tmp_path: Path) -> None:
    """A session of one plan has no other unit to take; it says so and goes on."""
    plan = tmp_path / "one.toml"
    plan.write_text(f'[plan]\ntitle = "one"\n{CONFIRM}', encoding="utf-8")
    with program("run", str(plan), "--out", str(tmp_path / "one.jsonl")) as metercap:
        metercap.until(lambda seen: of_kind(seen, "prompt"), "prompt")
        metercap.say("take R")
        metercap.say("yes")
        ended = metercap.wait()
    assert ended.status == 0
    assert any("of no job" in note["text"] for note in of_kind(metercap.records, "note"))


def test_two_programs_on_one_job(tmp_path: Path) -> None:
    """The second is refused with who is at work there; after a kill -9 of the first nothing is in the way."""
    job = new_job(tmp_path, CONFIRM)
    with Meter(tmp_path) as meter:
        metercap = Program(*going_on(job, meter))
        metercap.until(lambda seen: of_kind(seen, "prompt"), "prompt")
        second = run(*going_on(job, meter), "--json")
        assert second.status == 2
        assert f"(process {metercap.pid}) is at work on this job" in second.err and str(job) in second.err
        shown = run("job", "show", str(job))  # looking is no work
        assert shown.status == 1 and b"broken off" in shown.out
        metercap.kill()
        with program(*going_on(job, meter)) as again:
            again.until(lambda seen: of_kind(seen, "prompt"), "prompt")
            again.say("quit")
            assert again.wait().status == 1
    assert len(journals_in(job)) == 2


def test_a_job_that_is_copied_while_it_runs_opens(tmp_path: Path) -> None:
    """The copy is a job of its own: it is shown, and goes on where it was copied."""
    job, copy = new_job(tmp_path), tmp_path / "copy"
    with Meter(tmp_path) as meter:
        hands = Hands(meter, dict(BOARD), {"job": "quit"})
        metercap = started(job, meter, hands)
        metercap.until(lambda seen: ticked(seen, 0, "F2"), "F2")
        shutil.copytree(job, copy)
        metercap.kill()
        hands.rest()
        shown = run("job", "show", str(copy))
        assert b"broken off" in shown.out and b"open: fuses F3" in shown.out
        assert run("verify", str(copy)).status == 1
        hands = Hands(meter, dict(BOARD), {"job": "quit"})
        metercap = started(copy, meter, hands)
        metercap.wait()
    assert verdicts(metercap.records)["F3"] == "pass"
    assert asked(metercap.records)[:2] == ["short leads", "answer F2"]
    assert len(journals_in(copy)) == 2 and len(journals_in(job)) == 1


def test_one_damaged_journal_is_said_and_the_rest_goes_on(tmp_path: Path) -> None:
    """What stands before the damage is taken over; a file that is no journal is passed over for the one before it."""
    job = new_job(tmp_path)
    with Meter(tmp_path) as meter:
        hands = Hands(meter, dict(BOARD), {"job": "quit"})
        metercap = started(job, meter, hands)
        metercap.until(lambda seen: ticked(seen, 0, "F2"), "F2")
        metercap.say("quit")
        metercap.wait()
        hands.rest()
        whole = (job / "001-L.jsonl").read_bytes()
        lines = whole.split(b"\n")
        at = next(n for n, line in enumerate(lines) if b'"item":"F2"' in line and b'"verdict"' in line)
        lines[at] = lines[at].replace(b'"pass"', b'"fail"', 1)
        (job / "001-L.jsonl").write_bytes(b"\n".join(lines))
        (job / "002-L.jsonl").write_bytes(b"no journal\n")
        checked = run("verify", str(job))
        assert checked.status == 2 and b"damaged" in checked.out
        hands = Hands(meter, dict(BOARD), {"job": "quit"})
        metercap = started(job, meter, hands)
        ended = metercap.wait()
    assert "002-L.jsonl" in ended.err and "passed over" in ended.err
    assert "001-L.jsonl" in ended.err and "what stands before it is taken over" in ended.err
    [again] = sittings(metercap.records)
    assert again[0]["job"]["number"] == 3
    assert asked(again)[:3] == ["short leads", "answer F1", "probe F2"]


def test_a_clock_set_back_between_sittings(tmp_path: Path) -> None:
    """The order is that of the numbers: a sitting whose clock was years behind is the later one all the same."""
    job = new_job(tmp_path, CONFIRM + '[[step]]\nid = "later"\nkind = "confirm"\nsay = "and now?"\n', units=("L",))
    with Meter(tmp_path) as meter:
        for words, when in ((["yes", "quit"], "2031-05-01T08:00:00Z"), (["fail", "quit"], "2019-01-01T08:00:00Z")):
            with program(*going_on(job, meter)) as metercap:
                metercap.until(lambda seen: of_kind(seen, "prompt"), "prompt")
                if when.startswith("2019"):
                    metercap.until(lambda seen: "confirm later" in asked(seen), "the open step")
                for word in words:
                    metercap.say(word)
                metercap.wait()
            rewrite_start(journals_in(job)[-1], when)
        over = run(*going_on(job, meter))
        assert over.status == 1 and "nothing of this job is open" in over.err
    shown = run("job", "show", str(job), "--json")
    assert shown.status == 1 and b'"fail":1' in shown.out and b'"open":[]' in shown.out


def rewrite_start(path: Path, start_utc: str) -> None:
    """Give a journal another start, its checksums made anew: what a clock that was wrong would have written."""
    lines, crc, out = path.read_bytes().split(b"\n")[:-1], 0, b""
    for n, line in enumerate(lines):
        record = json.loads(line)
        del record["crc"]
        if n == 0:
            record["start_utc"] = start_utc
        if record["kind"] == "end":
            record["sha256"] = hashlib.sha256(out).hexdigest()
        body = line[: -len(b',"crc":"00000000"}')] + b"}"
        if n == 0 or record["kind"] == "end":
            body = json.dumps(record, separators=(",", ":"), ensure_ascii=False).encode()
        crc = zlib.crc32(body, crc)
        out += body[:-1] + b',"crc":"%08x"}\n' % crc
    path.write_bytes(out)
    assert run("verify", str(path)).status == 0


def test_take_by_keys_on_a_full_screen(tmp_path: Path) -> None:
    """The key, the tag, enter: the screen goes on with the other unit, whose session has its own time."""
    job = new_job(tmp_path)
    with Meter(tmp_path) as meter:
        pid, terminal = pty.fork()
        if pid == 0:
            env = environment(TERM="xterm-256color", XDG_CONFIG_HOME=str(tmp_path))
            os.execve(sys.executable, [*command(), *going_on(job, meter)], env)
        fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
        shown = b""

        def until(what: Callable[[], bool], keys: bytes) -> None:
            nonlocal shown
            end_s = time.monotonic() + PATIENCE_S
            while not what() and time.monotonic() < end_s:
                if select.select([terminal], [], [], 0.05)[0]:
                    shown += os.read(terminal, 65536)
            assert what(), shown[-2000:]
            time.sleep(0.5)  # a key within 0.3 s of a new prompt answers none
            os.write(terminal, keys)

        def said(number: int, text: bytes) -> bool:
            paths = journals_in(job)
            return len(paths) >= number and text in paths[number - 1].read_bytes()

        until(lambda: said(1, b'"item":"intake"') and b"intake" in shown, b"y")
        until(lambda: said(1, b'"item":"leads"'), b"UR\r")
        until(lambda: said(2, b'"item":"intake"'), b"y")
        until(lambda: said(2, b'"item":"leads"'), b"Qy")
        with suppress(OSError):
            while os.read(terminal, 65536):
                pass
        status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
        os.close(terminal)
    assert status == 1
    left, right = (read(path) for path in journals_in(job))
    assert (left[-1]["reason"], right[-1]["reason"]) == ("parked", "quit")
    words = [(each["word"], each["source"]) for each in of_kind(right, "operator")]
    assert words == [("yes", "key"), ("quit", "key")]
    assert all(0.0 < each["t_s"] < right[-1]["t_s"] + 0.001 < 20.0 for each in of_kind(right, "operator"))


def test_a_journal_of_a_job_goes_on_with_its_job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """--continue of it is refused with the command that goes on; the start screen offers that command."""
    from metercap.commands import _home
    from metercap.finding.found import Last

    job = new_job(tmp_path, CONFIRM)
    with Meter(tmp_path) as meter, program(*going_on(job, meter)) as metercap:
        metercap.until(lambda seen: of_kind(seen, "prompt"), "prompt")
        metercap.say("quit")
        metercap.wait()
    [journal] = journals_in(job)
    refused = run("run", "--continue", str(journal))
    assert refused.status == 2 and f"metercap run {job}" in refused.err
    monkeypatch.setattr(_home, "last", lambda: Last(journal=str(journal)))
    assert _home._arguments("c") == ["run", str(job)]
    assert _home._arguments("r") == ["report", str(job), "--text"]
    about, choices = _home._last_session()
    assert (
        about == "last: L of the job vent pair, Loose fuses of a GC-8; 2 left open; 001-L.jsonl" and len(choices) == 2
    )
