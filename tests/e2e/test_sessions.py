"""Whole sessions of the real program over a real pseudo-terminal, against a meter that is not the package's own.

The sessions mostly wait for conversions, so all of them run at the same time, once for this module; each test then
looks at one.
"""

from __future__ import annotations

import json
import signal
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from tests.e2e.outside_meter import OPEN, Meter, Shown, SocketMeter
from tests.e2e.program import ROOT, Ended, Hands, Program, Record, of_kind, plan_file, program, run, sweep, verdicts
from tests.e2e.whole_plan import WHOLE, BenchTips, ScpiHands

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

GOOD = 0.2
HEAD_START_S = 1.5
"""The longest session begins first, so that thirteen interpreters starting at once do not hold it up."""


class Played(NamedTuple):
    """A session that has ended."""

    ended: Ended
    out: Path
    words: list[str]

    @property
    def records(self) -> list[Record]:
        """What the journal holds."""
        return [json.loads(line) for line in self.out.read_bytes().splitlines()]


SCENARIOS: dict[str, Callable[[Path], Played]] = {}


def scenario(play: Callable[[Path], Played]) -> Callable[[Path], Played]:
    """Add a session to those that are played for this module."""
    SCENARIOS[play.__name__] = play
    return play


def arguments(folder: Path, meter: Meter, plan: Path, profile: str = "", rate: str = "10") -> list[str]:
    """Return the arguments of a run."""
    return [
        *("run", str(plan), "--port", str(meter.path), "--meter", profile or meter.family, "--unit", "controller B"),
        *(("--rate", rate) if rate else ()),
        *("--out", str(folder / "session.jsonl")),
    ]


def play(
    folder: Path, meter: Meter, plan: str, board: dict[str, Any], *, profile: str = "", rate: str = "10"
) -> Played:
    """Let hands work through a plan."""
    hands = Hands(meter, board)
    with program(*arguments(folder, meter, plan_file(folder, plan), profile, rate), see=hands.see) as metercap:
        hands.program = metercap
        return Played(metercap.wait(), folder / "session.jsonl", hands.words)


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory, journals: list[Path]) -> dict[str, Played]:
    """Every scenario's session, played at the same time."""

    def go(name: str) -> Played:
        if name != "twelve_fuses":
            time.sleep(HEAD_START_S)
        return SCENARIOS[name](folders[name])

    folders = {name: tmp_path_factory.mktemp(name) for name in SCENARIOS}
    with ThreadPoolExecutor(len(SCENARIOS)) as pool:
        done = dict(zip(SCENARIOS, pool.map(go, SCENARIOS), strict=True))
    journals += [session.out for session in done.values()]
    return done


# --- sweeps that tick themselves


@scenario
def twelve_fuses(folder: Path) -> Played:
    with Meter(folder, auto=False) as meter:
        return play(folder, meter, sweep('"F1..F12"'), {f"F{n}": GOOD for n in range(1, 13)})


def test_twelve_fuses_tick_with_no_word_but_the_count_check(played: dict[str, Played]) -> None:
    """An lcd14 meter, twelve good fuses: status 0, every fuse once and in natural order, one `yes`."""
    session = played["twelve_fuses"]
    assert session.ended.status == 0, session.ended.err
    assert session.words == ["yes"]
    assert [(record["word"], record["text"]) for record in of_kind(session.records, "operator")] == [("yes", "")]
    ticks = of_kind(session.records, "verdict")
    assert [tick["item"] for tick in ticks] == [f"F{n}" for n in range(1, 13)]
    assert {tick["verdict"] for tick in ticks} == {"pass"}
    assert all(tick["value"] == GOOD and tick["max"] == 2.0 and tick["n"] >= 2 for tick in ticks)


@scenario
def text_meter(folder: Path) -> Played:
    with Meter(folder, "text") as meter:
        return play(folder, meter, sweep('"F1..F3"'), {"F1": GOOD, "F2": 0.4, "F3": GOOD})


@scenario
def digits14_meter(folder: Path) -> Played:
    with Meter(folder, "digits14") as meter:
        return play(folder, meter, sweep('"F1..F3"'), {"F1": GOOD, "F2": 0.4, "F3": GOOD})


@scenario
def polled_line_meter(folder: Path) -> Played:
    profile = folder / "quick-polled.toml"
    text = (ROOT / "profiles" / "meters" / "polled-line.toml").read_text(encoding="utf-8")
    text = text.replace("per_s = 2.0", "per_s = 10.0").replace('name = "polled-line"', 'name = "quick-polled"')
    profile.write_text(text, encoding="utf-8")
    with Meter(folder, "polled-line", rate=10.0) as meter:
        board = {"F1": GOOD, "F2": 0.4, "F3": GOOD}
        return play(folder, meter, sweep('"F1..F3"'), board, profile=str(profile))


@pytest.mark.parametrize("name", ["text_meter", "digits14_meter", "polled_line_meter"])
def test_other_wires_tick_as_well(played: dict[str, Played], name: str) -> None:
    """The same hands and fuses through free text lines, digit frames and polled lines."""
    session = played[name]
    assert session.ended.status == 0, session.ended.err
    assert verdicts(session.records) == {"F1": "pass", "F2": "pass", "F3": "pass"}
    assert [tick["value"] for tick in of_kind(session.records, "verdict")] == [GOOD, 0.4, GOOD]
    assert session.words == ["yes"]


@scenario
def mixed_fuses(folder: Path) -> Played:
    """F1 good, F2 blown beside a path of 1.2 kohm, F3 open: its item is left by a word after the tool waited."""
    with Meter(folder) as meter:
        hands = Hands(meter, {"F1": GOOD, "F2": 1200.0})
        args = arguments(folder, meter, plan_file(folder, sweep('"F1..F3"', 'patience_s = "2 s"')))
        with program(*args, see=hands.see) as metercap:
            hands.program = metercap
            metercap.until(lambda records: "F2" in verdicts(records), "verdict on F2")
            metercap.until(
                lambda records: [
                    r for r in records if r["kind"] == "cue" and (r["item"], r["cue"]) == ("F3", "waiting")
                ],
                "waiting at F3",
            )
            assert "F3" not in verdicts(metercap.records)
            metercap.say("open")
            return Played(metercap.wait(), folder / "session.jsonl", hands.words)


def test_a_blown_and_an_open_fuse_fail(played: dict[str, Played]) -> None:
    """Status 1; the parallel path's value is kept, and the open fuse waited for a word."""
    session = played["mixed_fuses"]
    assert session.ended.status == 1
    assert verdicts(session.records) == {"F1": "pass", "F2": "fail", "F3": "fail"}
    blown = next(tick for tick in of_kind(session.records, "verdict") if tick["item"] == "F2")
    assert blown["value"] == 1200.0


# --- what must never tick


def watch_for(folder: Path, meter: Meter, act: Callable[[Program, Meter], None], rate: str = "10") -> Played:
    """Start a sweep of F1 and F2, let `act` do what it does, then quit."""
    args = arguments(folder, meter, plan_file(folder, sweep('"F1..F2"')), rate=rate)
    with program(*args) as metercap:
        metercap.until(lambda records: of_kind(records, "reading"), "reading")
        time.sleep(1.0)
        act(metercap, meter)
        metercap.say("quit")
        return Played(metercap.wait(), folder / "session.jsonl", ["quit"])


def touched(metercap: Program, count: int, value: float | None) -> None:
    """Wait until `count` readings of this value have come."""
    metercap.until(
        lambda records: sum(r["kind"] == "reading" and r["value"] == value for r in records) >= count,
        f"{count} readings",
    )


@scenario
def megohm_zero(folder: Path) -> Played:
    def act(metercap: Program, meter: Meter) -> None:
        meter.tips = Shown("0.000", "M")
        touched(metercap, 25, 0.0)

    with Meter(folder) as meter:
        return watch_for(folder, meter, act)


def test_zero_megohms_never_pass(played: dict[str, Played]) -> None:
    """2.5 s of `0.000 MΩ` say nothing about 2 Ω: no verdict, and `quit` leaves the items open (status 1)."""
    session = played["megohm_zero"]
    readings = [r for r in of_kind(session.records, "reading") if r["value"] == 0.0]
    assert len(readings) >= 25
    assert {r["resolution"] for r in readings} == {1000.0}
    assert verdicts(session.records) == {}
    assert session.ended.status == 1


@scenario
def one_conversion(folder: Path) -> Played:
    def act(metercap: Program, meter: Meter) -> None:
        for _ in range(3):
            before, in_air = len(meter.sent), meter.sent[-1][1]
            meter.tips = GOOD
            while all(frame == in_air for _, frame in meter.sent[before:]):
                time.sleep(0.002)
            meter.tips = OPEN  # the conversion under way is sent five times all the same
            time.sleep(2.0)

    with Meter(folder, rate=2.0, repeats=5) as meter:
        return watch_for(folder, meter, act, rate="")


def test_one_conversion_sent_five_times_never_passes(played: dict[str, Played]) -> None:
    """At 2 conversions/s, 5 frames each: touches of one conversion give fifteen good frames and no verdict."""
    session = played["one_conversion"]
    assert sum(r["value"] == GOOD for r in of_kind(session.records, "reading")) == 15
    assert verdicts(session.records) == {}


def held(flagged: bool) -> Callable[[Path], Played]:
    def go(folder: Path) -> Played:
        def act(metercap: Program, meter: Meter) -> None:
            meter.tips = GOOD
            metercap.until(lambda records: "F1" in verdicts(records), "tick of F1")
            meter.hold(flagged)
            meter.tips = OPEN
            if flagged:
                time.sleep(3.0)
            else:
                metercap.until(
                    lambda records: [r for r in of_kind(records, "prompt") if "HOLD" in r["say"]], "HOLD prompt"
                )
                time.sleep(1.0)

        with Meter(folder) as meter:
            return watch_for(folder, meter, act)

    return go


SCENARIOS["held_with_flag"] = held(True)
SCENARIOS["held_without_flag"] = held(False)


@pytest.mark.parametrize("name", ["held_with_flag", "held_without_flag"])
def test_hold_never_ticks(played: dict[str, Played], name: str) -> None:
    """The display frozen on a good fuse ticks nothing more, whether the meter flags HOLD or not; the tool says so."""
    session = played[name]
    assert verdicts(session.records) == {"F1": "pass"}
    says = [record["say"] for record in of_kind(session.records, "prompt")]
    assert any("HOLD" in say for say in says), says
    after = [r for r in of_kind(session.records, "reading") if r["value"] == GOOD]
    assert len(after) > 25


def slips(rate: float) -> Callable[[Path], Played]:
    def go(folder: Path) -> Played:
        def act(metercap: Program, meter: Meter) -> None:
            meter.tips = GOOD
            metercap.until(lambda records: "F1" in verdicts(records), "tick of F1")
            for _ in range(4):
                meter.tips = OPEN
                time.sleep(0.3)
                meter.tips = GOOD
                time.sleep(0.5 + 2.0 / rate)
            meter.tips = OPEN

        with Meter(folder, rate=rate) as meter:
            return watch_for(folder, meter, act, rate=f"{rate:g}")

    return go


SLIP_RATES = (2.0, 3.0, 5.0, 10.0)
SCENARIOS |= {f"slips_at_{rate:g}": slips(rate) for rate in SLIP_RATES}


@pytest.mark.parametrize("rate", SLIP_RATES)
def test_slips_of_0_3_s_never_tick_the_next(played: dict[str, Played], rate: float) -> None:
    """Four slips on F1 after its tick are contacts of the same item at any rate, and F2 has no verdict."""
    session = played[f"slips_at_{rate:g}"]
    assert verdicts(session.records) == {"F1": "pass"}
    seen = [r for r in of_kind(session.records, "contact") if r["same"]]
    assert {slip["item"] for slip in seen} <= {"F1"}
    if rate == 10.0:  # the slow ones may not see every gap
        assert len(seen) >= 4


@scenario
def touched_right_after_skip(folder: Path) -> Played:
    def act(metercap: Program, meter: Meter) -> None:
        metercap.say("skip")
        metercap.until(lambda records: of_kind(records, "operator"), "skip")
        time.sleep(0.3)
        meter.tips = GOOD
        time.sleep(2.5)

    with Meter(folder) as meter:
        return watch_for(folder, meter, act)


def test_a_contact_right_after_skip_is_not_credited(played: dict[str, Played]) -> None:
    """Tips that land 0.3 s after `skip` are still on F1: 2.5 s of good readings tick nothing, and `lift` is cued."""
    session = played["touched_right_after_skip"]
    assert sum(r["value"] == GOOD for r in of_kind(session.records, "reading")) > 15
    assert verdicts(session.records) == {}
    assert any(r["cue"] == "lift" for r in of_kind(session.records, "cue"))


# --- links and words


@scenario
def unplugged(folder: Path) -> Played:
    with Meter(folder) as meter:
        hands = Hands(meter, {"F1": GOOD, "F2": GOOD})
        args = arguments(folder, meter, plan_file(folder, sweep('"F1..F2"')))
        with program(*args, see=hands.see) as metercap:
            hands.program = metercap
            metercap.until(lambda records: "F1" in verdicts(records), "tick of F1")
            meter.unplug()
            metercap.until(lambda records: [r for r in of_kind(records, "link") if r["state"] == "lost"], "lost link")
            time.sleep(0.6)
            meter.plug()
            return Played(metercap.wait(), folder / "session.jsonl", hands.words)


def test_unplugged_and_plugged_in_again(played: dict[str, Played]) -> None:
    """The loss and the return are in the journal, and the sweep goes on where it was."""
    session = played["unplugged"]
    assert session.ended.status == 0, session.ended.err
    assert [record["state"] for record in of_kind(session.records, "link")] == ["up", "lost", "up"]
    assert verdicts(session.records) == {"F1": "pass", "F2": "pass"}


@scenario
def stdin_closed(folder: Path) -> Played:
    with Meter(folder) as meter:
        hands = Hands(meter, {"F1": GOOD})
        args = arguments(folder, meter, plan_file(folder, sweep('"F1"', "count_check = false")))
        with program(*args, see=hands.see) as metercap:
            hands.program = metercap
            metercap.close_stdin()
            return Played(metercap.wait(), folder / "session.jsonl", hands.words)


def test_the_end_of_stdin_is_no_word(played: dict[str, Played]) -> None:
    """With stdin closed from the start the sweep runs to its end by itself."""
    session = played["stdin_closed"]
    assert session.ended.status == 0, session.ended.err
    assert verdicts(session.records) == {"F1": "pass"}
    assert of_kind(session.records, "operator") == []


# --- a whole plan on a SCPI meter


@scenario
def scpi_plan(folder: Path) -> Played:
    tips = BenchTips()
    board = {"leads": "tips", "leads-after": "tips", "F1": "F1", "F2": "F2", "K1": "K1"}
    plan = folder / "plan.toml"
    plan.write_text(WHOLE, encoding="utf-8")
    with SocketMeter(tips.measure) as meter:
        hands = ScpiHands(tips, board)  # type: ignore[arg-type]
        args = ["run", str(plan), "--port", f"socket://127.0.0.1:{meter.port}", "--meter", "scpi", "--rate", "10"]
        args += ["--unit", "controller B", "--out", str(folder / "session.jsonl")]
        with program(*args, see=hands.see) as metercap:
            hands.program = metercap
            ended = metercap.wait()
        (folder / "asked").write_text("\n".join(meter.asked), encoding="utf-8")
        return Played(ended, folder / "session.jsonl", hands.words)


def test_a_whole_plan_on_a_scpi_meter(played: dict[str, Played]) -> None:
    """Over a loopback socket: the step sets the function, no dial prompt comes, every step ends with its verdict."""
    pytest.importorskip("pyvisa")
    session = played["scpi_plan"]
    assert session.ended.status == 0, (session.ended.err, session.records[-8:])
    found = verdicts(session.records)
    assert found["supply input"] == found["dead"] == "pass"
    assert (found["F1"], found["F2"], found["K1"]) == ("pass", "pass", "pass")
    assert session.records[0]["identity"] == "SIMULATED,BENCH METER,0,1.0"
    asked = (session.out.parent / "asked").read_text(encoding="utf-8")
    # At 10 a second what can be set up for it is, once a wish; AC volts have no such setting.
    assert all(command in asked for command in ("CONF:VOLT:DC", "MEAS:VOLT:AC?", "CONF:RES", "RES:NPLC 1", "READ?"))
    assert not [r for r in of_kind(session.records, "prompt") if r["do"] == "dial" and "turn" in r["say"]]
    coil = next(r for r in of_kind(session.records, "verdict") if r["item"] == "K1")
    assert coil["value"] == pytest.approx(361.12, abs=0.02)  # 361.2 ohm shown, less the leads' 0.08 ohm


# --- what every one of them must hold to


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_every_session_is_whole(played: dict[str, Played], name: str) -> None:
    """--json printed exactly the file's lines, in order; and the file verifies as closed."""
    session = played[name]
    assert session.ended.out == session.out.read_bytes()
    verified = run("verify", str(session.out), "--json")
    assert verified.status == 0, verified
    assert json.loads(verified.out)["state"] == "closed"


def test_a_second_run_on_the_same_file_is_refused(played: dict[str, Played]) -> None:
    """Status 2, told why, and the file is as it was."""
    session = played["text_meter"]
    before = session.out.read_bytes()
    again = run(
        *("run", str(session.out.parent / "plan.toml"), "--port", "/dev/null", "--meter", "text"),
        *("--unit", "B", "--out", str(session.out)),
    )
    assert again.status == 2
    assert "already exists" in again.err
    assert session.out.read_bytes() == before


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_signals_close_the_journal(tmp_path: Path, journals: list[Path], number: signal.Signals) -> None:
    """The first SIGINT or SIGTERM gives status 130 and an `end` of reason interrupted, in a file that verifies."""
    with (
        Meter(tmp_path) as meter,
        program(*arguments(tmp_path, meter, plan_file(tmp_path, sweep('"F1..F2"')))) as metercap,
    ):
        metercap.until(lambda records: len(of_kind(records, "reading")) >= 3, "readings")
        metercap.signal(number)
        ended = metercap.wait()
    assert ended.status == 130
    out = tmp_path / "session.jsonl"
    assert ended.out == out.read_bytes()
    assert json.loads(ended.out.splitlines()[-1])["reason"] == "interrupted"
    assert run("verify", str(out)).status == 0
    journals.append(out)
