"""A bench with two units over the real program: proofs and waits carried over, values of the good one, limits."""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

import pytest

from tests.e2e import outside_meter
from tests.e2e.jobs import CONFIRM, LEADS, going_on, journals_in, new_job, read, sittings
from tests.e2e.outside_meter import OPEN, Meter, Shown, auto_ohms, volts
from tests.e2e.program import CREDITED_S, Hands, Program, Record, of_kind, pause, sweep, verdicts

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals"),
    pytest.mark.usefixtures("hastened"),
]

DEAD = '[[step]]\nid = "dead"\nkind = "safe"\nsource = "a cell"\npoints = ["C12"]\n'
YES_S = 2.3
"""A yes sooner than 2 s after its prompt is none."""


class Technician(Hands):
    """Hands that turn the dial as well, hold a live source, and say yes at a dead point after a while.

    `units` holds by tag what each unit's items are.
    """

    def __init__(self, meter: Meter, units: dict[str, dict[str, float]], answers: dict[str, str] | None = None) -> None:
        super().__init__(meter, {}, answers)
        self._units = units
        self._mode = "resistance"
        self._yes: threading.Timer | None = None

    def see(self, record: Record) -> None:
        """Take one record of the program."""
        if record["kind"] == "session":
            self._board = {"leads": 0.2, **self._units[record["tag"]]}
        if record["kind"] == "prompt":
            wanted = (record.get("dial") or [record.get("quantity")])[0]
            if wanted in ("resistance", "voltage_dc", "voltage_ac") and record["do"] in ("dial", "wait", "answer"):
                self._turn(wanted)
            if record.get("asks") == "point":
                self._meter.tips = self._volts(0.0)
                if self._yes is not None:
                    self._yes.cancel()  # asked anew: the dial was turned meanwhile
                self._yes = threading.Timer(YES_S / outside_meter.HASTE, self._say, ("yes",))
                self._yes.start()
                return
            if record["do"] == "probe" and record["step"] == "dead":
                self._turn("voltage_dc")
                threading.Timer(CREDITED_S / outside_meter.HASTE, self._source).start()
                return
            if record["do"] == "lift" and self._mode != "resistance":
                self._meter.tips = self._volts(0.0)
                return
        super().see(record)

    def _turn(self, mode: str) -> None:
        if mode != self._mode:
            self._mode = mode
            self._meter.tips = OPEN if mode == "resistance" else self._volts(0.0)

    def _source(self) -> None:
        self._meter.tips = volts(1.55)

    def _volts(self, volt: float) -> Shown:
        return volts(volt, "ac" if self._mode == "voltage_ac" else "dc")

    def _lift(self) -> None:
        if self._mode == "resistance":
            super()._lift()
        else:
            self._meter.tips = self._volts(0.0)


def start(job: Path, meter: Meter, hands: Technician, *more: str) -> Program:
    """Start the program on a job."""
    metercap = Program(*going_on(job, meter, *more), see=hands.see)
    hands.program = metercap
    return metercap


def given(records: list[Record], n: int, item: str) -> str:
    """Return the verdict of an item in session `n` (from 0), empty before there is one."""
    found = sittings(records)
    return verdicts(found[n]).get(item, "") if len(found) > n else ""


def notes_of(records: list[Record], n: int, text: str) -> list[Record]:
    """Return the notes of session `n` that hold a text."""
    return [note for note in of_kind(sittings(records)[n], "note") if text in note["text"]]


def prompted(records: list[Record], what: str) -> bool:
    """Return whether something was asked for in the newest session."""
    return any(f"{p['do']} {p['item']}" == what for p in of_kind(sittings(records)[-1], "prompt")) if records else False


def test_a_proof_is_taken_up_by_a_word_and_one_touch(tmp_path: Path, journals: list[Path]) -> None:
    """L is proved dead, put aside and taken again: one yes and one touch. After a new start it is proved as a whole.

    It tells how long it takes from `take` to the first credited touch, and how many words.
    """
    units = {"L": {"F1": 0.4, "F2": 0.4}, "R": {"F1": 0.5, "F2": 0.5}}
    job = new_job(tmp_path, DEAD + LEADS + sweep('"F1..F2"', "count_check = false"), units=("L", "R"), dead=True)
    with Meter(tmp_path) as meter:
        hands = Technician(meter, units, {"job": "quit"})
        metercap = start(job, meter, hands)
        metercap.until(lambda seen: verdicts(seen).get("F1") == "pass", "L F1")
        metercap.say("take R")
        metercap.until(lambda seen: len(sittings(seen)) == 2 and prompted(seen, "probe F1"), "R is proved dead")
        taken_s = time.monotonic()
        metercap.say("take L")
        metercap.until(lambda seen: given(seen, 2, "F2") == "pass", "L F2")
        took_s = (time.monotonic() - taken_s) * outside_meter.HASTE
        ended = metercap.wait()
    _left, right, again = sittings(metercap.records)
    assert verdicts(right)["dead"] == "pass" and verdicts(right)["leads"] == "pass"
    assert not any(p["do"] == "short" for p in of_kind(right, "prompt"))
    asks = [p["asks"] for p in of_kind(again, "prompt") if p["step"] == "dead" and "asks" in p]
    assert list(dict.fromkeys(asks)) == ["since", "point"]
    assert "by the operator's word" in next(v for v in of_kind(again, "verdict") if v["item"] == "dead")["reason"]
    touched = next(c for c in of_kind(again, "contact") if c["item"] == "F2")
    said = [each["word"] for each in of_kind(again, "operator") if each["t_s"] < touched["t_s"]]
    assert said == ["yes", "yes"]  # nothing connected; dead at C12
    assert touched["t_s"] <= took_s < 20.0
    sys.stdout.write(f"from take L to the first credited touch: {1 + len(said)} words, {touched['t_s']:.1f} s\n")
    assert ended.status == 1
    journals += journals_in(job)


def test_a_wait_calls_while_another_unit_is_on_the_mat(tmp_path: Path, journals: list[Path]) -> None:
    """L discharges for 4 s; R is swept meanwhile, and the program says aloud when L is ready."""
    wait = '[[step]]\nid = "discharge"\nkind = "confirm"\nsay = "through a resistor"\nwait_s = "4 s"\n'
    job = new_job(tmp_path, wait + sweep('"F1..F2"', "count_check = false"))
    units = {"L": {"F1": 0.4, "F2": 0.4}, "R": {"F1": 0.5, "F2": 0.5}}
    with Meter(tmp_path) as meter:
        hands = Technician(meter, units, {"job": "quit"})
        metercap = start(job, meter, hands)
        metercap.until(lambda seen: prompted(seen, "wait discharge"), "the wait")
        metercap.say("take R")
        metercap.until(lambda seen: len(sittings(seen)) == 2 and prompted(seen, "wait discharge"), "R waits as well")
        called = metercap.until(
            lambda seen: [
                n for n in of_kind(sittings(seen)[1], "note") if "L: the wait of discharge is over" in n["text"]
            ],
            "the call",
        )[0]
        metercap.say("take L")
        metercap.until(lambda seen: given(seen, 2, "F1") == "pass", "L F1")
        metercap.say("quit")
        metercap.wait()
    left, _right, again = sittings(metercap.records)
    assert called["aloud"] is True
    begun = next(w for w in of_kind(left, "operator") if w["word"] == "yes")["t_s"]
    parked = of_kind(left, "end")[0]["t_s"]
    late_s = called["t_s"] - (4.0 - (parked - begun))
    assert -0.001 < late_s < 0.1 * outside_meter.HASTE
    asked = [f"{p['do']} {p['item']}" for p in of_kind(again, "prompt")]
    assert asked[0] == "confirm discharge"  # over: only whether it is done
    journals += journals_in(job)


@pytest.mark.parametrize("how", ["of the job", "by the word good"])
def test_values_of_the_good_unit_serve_at_once(tmp_path: Path, journals: list[Path], how: str) -> None:
    """K1 of L, which is good, is what K1 of R is held against from the moment R is taken, and after a new start."""
    check = '[[step]]\nid = "coils"\nkind = "check"\nitems = ["K1"]\ncontacts = 1\n'
    known = ("--known-good", "L") if how == "of the job" else ()
    job = new_job(tmp_path, check + CONFIRM, *known)
    with Meter(tmp_path) as meter:
        hands = Technician(meter, {"L": {"K1": 360.0}, "R": {"K1": 250.0}}, {"job": "quit", "intake": "say"})
        metercap = start(job, meter, hands)
        metercap.until(lambda seen: prompted(seen, "probe K1"), "K1")
        if not known:
            metercap.say("good")
        metercap.until(lambda seen: verdicts(seen).get("K1"), "L K1")
        metercap.say("take R")
        metercap.until(lambda seen: len(sittings(seen)) == 2 and prompted(seen, "probe K1"), "R")
        metercap.kill()
        hands.rest()
        hands = Technician(meter, {"L": {"K1": 360.0}, "R": {"K1": 250.0}}, {"job": "quit", "intake": "say"})
        again = start(job, meter, hands)
        again.until(lambda seen: verdicts(seen).get("K1"), "R K1")
        again.say("quit")
        again.wait()
    left, right = sittings(metercap.records)
    assert left[0]["reference"] == {}
    for session in (right, again.records):
        assert session[0]["reference"]["coils/K1"]["unit_name"] == "vent pair L"
        assert session[0]["reference"]["coils/K1"]["value"] == pytest.approx(360.0, abs=1.0)
    given_r = of_kind(again.records, "verdict")[-1]
    assert given_r["verdict"] != "pass" and given_r["rule"] == "reference"
    journals += journals_in(job)


def test_a_trimmer_past_its_limit_is_said_on_every_unit(tmp_path: Path, journals: list[Path]) -> None:
    """RV1 of L is left below 1.2 kΩ: it is said before it is left, and again with the tag when R is on the mat."""
    tune = (
        '[[step]]\nid = "bridge"\nkind = "tune"\nitems = ["RV1"]\ntarget = "1.5 kohm"\ntolerance = "1 %"\n'
        'never_below = "1.2 kohm"\n'
    )
    job = new_job(tmp_path, tune + CONFIRM)
    with Meter(tmp_path) as meter:
        metercap = Program(*going_on(job, meter))
        metercap.until(lambda seen: prompted(seen, "probe RV1"), "probe")
        pause(CREDITED_S + 1.5)
        meter.tips = 1480.0
        metercap.until(lambda seen: prompted(seen, "turn RV1"), "turn")
        for ohm in (1420.0, 1350.0, 1280.0, 1220.0, 1150.0):
            meter.tips = auto_ohms(ohm)
            pause(0.5)
        metercap.until(lambda seen: [c for c in of_kind(seen, "cue") if c["cue"] == "hazard"], "the alarm")
        pause(0.5)
        metercap.say("take R")
        metercap.until(lambda seen: len(sittings(seen)) == 2 and prompted(seen, "probe RV1"), "R")
        metercap.kill()
        again = Program(*going_on(job, meter, "--take", "R"))
        again.until(lambda seen: prompted(seen, "probe RV1"), "R")
        again.say("quit")
        again.wait()
    left, right = sittings(metercap.records)
    assert any("RV1 stands past its limit" in note["text"] for note in of_kind(left, "note"))
    assert of_kind(left, "excursion")
    for session in (right, again.records):  # of a new start as well: nobody has measured it since
        said = [
            note
            for note in of_kind(session, "note")
            if note["text"].startswith("L: measure RV1 before L has power: RV1 stands past its limit")
        ]
        assert said and said[0]["aloud"] is True and said[0]["t_s"] == 0.0
    assert read(journals_in(job)[0])[-1]["reason"] == "parked"
    journals += journals_in(job)
