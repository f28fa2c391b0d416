"""Made-up sessions on two greenhouse climate controllers, model GC-8: invented data, for looking and testing only."""

from __future__ import annotations

import math
from typing import Any

from metercap.meter import Accuracy, MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Reading, State
from metercap.records import (
    Clock,
    Contact,
    Cue,
    CueKind,
    Do,
    EndRecord,
    Excursion,
    Lift,
    Link,
    LinkState,
    Note,
    Operator,
    Prompt,
    Record,
    SessionRecord,
    Verdict,
    VerdictKind,
)

METER = MeterProfile(
    name="digits14",
    family="digits14",
    accuracy=(Accuracy(quantity=Quantity.RESISTANCE, percent=0.1, counts=2),),
)
FUSES = [f"F{number}" for number in range(1, 13)]
PLAN: dict[str, Any] = {
    "title": "Climate controller, main board",
    "model": "GC-8",
    "cautions": [
        "disconnect the supply and every battery or cell",
        "discharge capacitors through a resistor, and prove it by measuring",
        "wear an ESD strap",
    ],
    "step": [
        {"kind": "confirm", "id": "unplugged", "say": "supply and backup cell unplugged?"},
        {"kind": "confirm", "id": "drain", "say": "let the capacitors drain", "wait_s": 90.0},
        {"kind": "safe", "id": "dead", "points": ["supply input", "C12"], "unit": "V"},
        {"kind": "zero", "id": "leads", "unit": "ohm", "max": 1.0},
        {
            "kind": "sweep", "id": "fuses", "unit": "ohm", "max": 2.0,
            "items": [{"name": name, "where": "left edge, top to bottom"} for name in FUSES],
        },
        {"kind": "exercise", "id": "lid switch", "items": ["S1"], "presses": 20, "unit": "ohm"},
        {"kind": "cell", "id": "backup", "items": ["BT1"], "unit": "V", "min": 3.1},
        {
            "kind": "tune", "id": "bridge", "items": [{"name": "RV1", "where": "beside the sensor plug"}],
            "target": "reference", "tolerance_share": 0.005, "never_below": 1200.0, "rest_s": 2.0, "unit": "ohm",
            "cautions": ["below 1.2 kohm the heater driver runs hot"],
        },
        {"kind": "trials", "id": "starts", "runs": 29},
    ],
}  # fmt: skip


def session(tag: str = "B", **more: Any) -> SessionRecord:
    fields: dict[str, Any] = {
        "t_s": 0.0, "schema": 2, "id": "demo", "start_utc": "2024-03-05T09:00:00Z", "zone_offset_s": 3600,
        "unit": "GC-8 no. 1042", "tag": tag, "operator": "Kim", "known_good": False, "plan": PLAN, "meter": METER,
        "identity": "", "reference": {"bridge/RV1": {"value": 1500.0}}, "options": {}, "inherited": {},
        "program": "metercap",
    }  # fmt: skip
    return SessionRecord(**(fields | more))


def ohms(t_s: float, value: float | None, resolution: float = 0.01, *flags: str) -> Reading:
    state = State.OK if value is not None else State.OVER
    return Reading(t_s, Quantity.RESISTANCE, value, resolution, "ohm", state, flags, "")


def volts(t_s: float, value: float, resolution: float = 0.001) -> Reading:
    return Reading(t_s, Quantity.VOLTAGE_DC, value, resolution, "V", State.OK, ("auto",), "")


def air(t_s: float, count: int = 4) -> list[Record]:
    return [ohms(t_s + 0.5 * index, None) for index in range(count)]


def before_fuses() -> list[Record]:
    """Up to the sweep's first prompt; t_s 10."""
    records: list[Record] = [session(), Link(0.1, LinkState.UP)]
    for step in ("unplugged", "drain", "dead", "leads"):
        records.append(Prompt(1.0, step, step, Do.CONFIRM, f"B: {step}"))
        value = 0.12 if step == "leads" else None
        records.append(ohms(2.0, 0.12))
        records.append(Verdict(2.0, step, step, VerdictKind.PASS, value, "ohm", resolution=0.01))
        records.append(Cue(2.0, step, step, CueKind.PASS))
    return records


def tick(t_s: float, item: str, follow: str, value: float = 0.21, verdict: VerdictKind = VerdictKind.PASS,
         reason: str = "") -> list[Record]:  # fmt: skip
    """Contact, two conversions and the tick, still touching; the next prompt is out."""
    records: list[Record] = [
        ohms(t_s, value + 0.12), Contact(t_s, "fuses", item), Cue(t_s, "fuses", item, CueKind.CONTACT),
        ohms(t_s + 0.5, value + 0.12),
        Verdict(t_s + 0.5, "fuses", item, verdict, value, "ohm", 0.03, "guarded", 2, reason, max=2.0, resolution=0.01,
                from_s=t_s),
        Cue(t_s + 0.5, "fuses", item, CueKind(verdict.value)),
    ]  # fmt: skip
    if follow:
        records.append(Prompt(t_s + 0.5, "fuses", follow, Do.PROBE, f"B: {follow}, left edge"))
    return records


def lifted(t_s: float, item: str) -> list[Record]:
    return [ohms(t_s, None), Lift(t_s, "fuses", item), *air(t_s + 0.5, 3), Cue(t_s + 1.6, "fuses", item, CueKind.GO)]


def sweep_to(count: int) -> list[Record]:
    """The first `count` fuses ticked and lifted; F4 failed, F6 was skipped."""
    records = [*before_fuses(), Prompt(10.0, "fuses", "F1", Do.PROBE, "B: F1, left edge")]
    t_s = 10.0
    for index, item in enumerate(FUSES[:count]):
        t_s += 4.0
        follow = FUSES[index + 1] if index + 1 < len(FUSES) else ""
        if item == "F6":
            records += [Operator(t_s, "skip"), Cue(t_s, "fuses", item, CueKind.SKIP),
                        Prompt(t_s, "fuses", follow, Do.PROBE, f"B: {follow}, left edge")]  # fmt: skip
            continue
        kind = VerdictKind.FAIL if item == "F4" else VerdictKind.PASS
        reason = "two contacts above the limit" if item == "F4" else ""
        records += tick(t_s, item, follow, 38.4 if item == "F4" else 0.18 + 0.01 * index, kind, reason)
        records += lifted(t_s + 1.0, item)
    return records


def tune(values: list[float], *, every_s: float = 0.5) -> list[Record]:
    """The trimmer step with live values after `turn`."""
    records = [*sweep_to(12), Prompt(100.0, "bridge", "RV1", Do.PROBE, "B: RV1, wiper and end, hold still")]
    records += [ohms(101.0, values[0], 1.0), Contact(101.0, "bridge", "RV1")]
    records += [Prompt(102.0, "bridge", "RV1", Do.TURN, "B: turn RV1 up to 1.5 kΩ ± 0.5 %")]
    for index, value in enumerate(values):
        records.append(ohms(102.0 + every_s * (index + 1), value, 1.0))
    return records


def exercise(marks: str) -> list[Record]:
    """Presses so far, 1 for a closure, 0 for a silent press; the next press is asked for."""
    records: list[Record] = [
        *sweep_to(12),
        Prompt(60.0, "lid switch", "S1", Do.PROBE, "B: S1: hold both tips across its contacts, then press and hold"),
    ]
    for index in range(1, len(marks) + 1):
        t_s, closed = 61.0 + 4 * index, marks[:index].count("1")
        counts = f"({index} of 20 presses done, {closed} closed)"
        records.append(Prompt(t_s, "lid switch", "S1", Do.RELEASE, f"B: S1: release {counts}"))
        records.append(Prompt(t_s + 2, "lid switch", "S1", Do.PRESS, f"B: S1: press and hold {counts}"))
    return records


def trials(words: str) -> list[Record]:
    """Starts so far, p for pass and f for fail; an x is a fix that was noted."""
    records: list[Record] = [*sweep_to(12)]
    for index, letter in enumerate(words):
        t_s = 200.0 + 10 * index
        say = f"start it, cover closed: run {index + 1} of 20, 0 failed so far; pass or fail?"
        records.append(Prompt(t_s, "starts", "starts", Do.ANSWER, f"B: {say}"))
        if letter == "x":
            records.append(Note(t_s + 1, "starts: runs after the fix begin: 0 passed after the fix"))
        else:
            records.append(Operator(t_s + 5, "pass" if letter == "p" else "fail"))
    records.append(Prompt(400.0, "starts", "starts", Do.ANSWER, "B: start it, cover closed: run 9; pass or fail?"))
    return records


def ended() -> list[Record]:
    return [*sweep_to(12), Clock(99.0), EndRecord(100.0, "done", {}, "0" * 64)]


def scenes() -> dict[str, list[Record]]:
    """One list of records for each situation a technician looks up in."""
    at_7 = sweep_to(6)
    touching = [*at_7, ohms(40.0, 0.33), Contact(40.0, "fuses", "F7"), Cue(40.0, "fuses", "F7", CueKind.CONTACT)]
    ticked = [*at_7, *tick(40.0, "F7", "F8")]
    failed = [*at_7, *tick(40.0, "F7", "F8", 38.4, VerdictKind.FAIL, "two contacts above the limit")]
    near = [1618.0 - 13 * index for index in range(6)]
    return {
        "listen": [ohms(0.5 * index, 2187.0 + index, 1.0, "auto") for index in range(1, 8)],
        "ask": [session(), Prompt(1.0, "unplugged", "unplugged", Do.CONFIRM,
                                  "B: supply and backup cell unplugged? (yes or no)"), *air(1.5)],
        "wait": [session(), Prompt(1.0, "drain", "drain", Do.WAIT, "B: let the capacitors drain (wait 90 s)"),
                 *air(20.0, 45)],
        "safe": [*before_fuses()[:2], Prompt(4.0, "dead", "supply input", Do.PROBE, "B: supply input, then say yes"),
                 volts(5.0, 0.002), volts(5.5, 0.001)],
        "sweep": [*at_7, *air(38.0)],
        "contact": touching,
        "tick": ticked,
        "fail": failed,
        "lift": [*ticked, ohms(42.0, 0.33), Cue(42.0, "fuses", "F8", CueKind.LIFT)],
        "again": [*touching, ohms(40.5, None), Lift(40.5, "fuses", "F7"), Cue(40.5, "fuses", "F7", CueKind.AGAIN)],
        "dial": [*at_7, Prompt(38.0, "fuses", "F7", Do.DIAL, "B: set the dial to ohms, one fixed range")],
        "lost": [*at_7, Link(38.0, LinkState.LOST, "the cable was pulled; plug it in again, the session goes on")],
        "stop": [*at_7, ohms(38.0, -0.4), Cue(38.0, "fuses", "F7", CueKind.STOP)],
        "last": [*sweep_to(12), Prompt(70.0, "fuses", "fuses", Do.ANSWER, "B: was the last tick on F12? (yes or no)")],
        "exercise": exercise("1111101111"),
        "trials": trials("pfxppp"),
        "tune far": [*tune([1618.0, 1618.0, 1616.0]), Cue(103.5, "bridge", "RV1", CueKind.FAR)],
        "tune near": [*tune(near, every_s=0.4), Cue(105.0, "bridge", "RV1", CueKind.NEAR)],
        "tune in": [*tune([1618.0, 1560.0, 1501.0, 1500.0, 1500.0]), Cue(105.0, "bridge", "RV1", CueKind.IN_BAND)],
        "tune over": [*tune([1618.0, 1560.0, 1490.0, 1470.0]), Cue(105.0, "bridge", "RV1", CueKind.PAST_IT)],
        "hazard": [*tune([1618.0, 1300.0, 1190.0]), Cue(104.0, "bridge", "RV1", CueKind.HAZARD)],
        "back": [*tune([1618.0, 1300.0, 1190.0]), Cue(104.0, "bridge", "RV1", CueKind.HAZARD), ohms(105.0, 1250.0, 1.0),
                 Cue(105.0, "bridge", "RV1", CueKind.FAR),
                 Excursion(105.0, "bridge", "RV1", "below", 1200.0, 1190.0, 103.5, 1.5)],
        "done": ended(),
    }  # fmt: skip


def drift(count: int, every_s: float = 0.1) -> list[Record]:
    """A long stretch of readings that move, as a meter at ten a second sends them."""
    return [ohms(every_s * index, round(1500 + 40 * math.sin(index / 15), 0), 1.0) for index in range(count)]
