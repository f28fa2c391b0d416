"""Made-up sessions on two greenhouse climate controllers, model GC-8: invented data, for looking and testing only.

Their outcomes come from no session, so their schema is the first: they are shown as they are told. What only a session
knows is put beside them by hand where a scene needs it (`views`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import msgspec

from metercap.asks import Asks
from metercap.meter import Accuracy, MeterProfile
from metercap.plan import Plan, to_builtins
from metercap.plankeys import (
    CellStep,
    ConfirmStep,
    ExerciseStep,
    Item,
    SafeStep,
    SweepStep,
    TrialsStep,
    TuneStep,
    ZeroStep,
)
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
from metercap.screen.observer import ScreenObserver
from metercap.steps.facts import ConfirmFacts, ExerciseFacts, Facts, TrialsFacts, TuneFacts
from metercap.view import View
from metercap.view.fold import after

METER = MeterProfile(
    name="digits14",
    family="digits14",
    accuracy=(Accuracy(quantity=Quantity.RESISTANCE, percent=0.1, counts=2),),
)
FUSES = [f"F{number}" for number in range(1, 13)]
STEPS = (
    ConfirmStep(id="unplugged", say="supply and backup cell unplugged?"),
    ConfirmStep(id="drain", say="let the capacitors drain", wait_s=90.0),
    SafeStep(id="dead", points=("supply input", "C12")),
    ZeroStep(id="leads"),
    SweepStep(
        id="fuses", unit="ohm", max=2.0, items=tuple(Item(name, where="left edge, top to bottom") for name in FUSES)
    ),
    ExerciseStep(id="lid switch", items=(Item("S1"),), presses=20),
    CellStep(id="backup", items=(Item("BT1"),)),
    TuneStep(
        id="bridge", items=(Item("RV1", where="beside the sensor plug"),), target="reference", unit="ohm",
        tolerance_share=0.005, never_below=1200.0, cautions=("below 1.2 kohm the heater driver runs hot",),
    ),
    TrialsStep(id="starts", runs=20),
)  # fmt: skip
CAUTIONS = (
    "disconnect the supply and every battery or cell",
    "discharge capacitors through a resistor, and prove it by measuring",
    "wear an ESD strap",
)
PLAN = to_builtins(Plan(title="Climate controller, main board", model="GC-8", cautions=CAUTIONS, steps=STEPS))


def session(tag: str = "B", **more: Any) -> SessionRecord:
    fields: dict[str, Any] = {
        "t_s": 0.0, "schema": 1, "id": "demo", "start_utc": "2024-03-05T09:00:00Z", "zone_offset_s": 3600,
        "unit": "GC-8 no. 1042", "tag": tag, "operator": "Kim", "known_good": False, "plan": PLAN, "meter": METER,
        "identity": "", "reference": {"bridge/RV1": {"value": 1500.0}}, "options": {}, "inherited": {},
        "program": "metercap",
    }  # fmt: skip
    return SessionRecord(**(fields | more))


def fold(records: Iterable[Record], view: View | None = None, **known: Any) -> View:
    """The view after records of which no more is known than they say; `known` is put in beside it."""
    now = View() if view is None else view
    for record in records:
        now = after(now, record)
    return msgspec.structs.replace(now, **known) if known else now


def see(observer: ScreenObserver, record: Record) -> None:
    """Let the screen see one record more."""
    observer.look(after(observer.view or View(), record))


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
    band = {"target": 1500.0, "low": 1492.5, "high": 1507.5, "never_below": 1200.0, "unit": "ohm"}
    records += [Prompt(102.0, "bridge", "RV1", Do.TURN, "B: turn RV1 up to 1.5 kΩ ± 0.5 %", **band)]  # type: ignore[arg-type]
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
        records.append(Prompt(t_s, "starts", "starts", Do.ANSWER, f"B: {say}", asks=Asks.STARTED))
        if letter == "x":
            records.append(Note(t_s + 1, "starts: runs after the fix begin: 0 passed after the fix"))
        else:
            records.append(Operator(t_s + 5, "pass" if letter == "p" else "fail"))
    say = "B: start it, cover closed: run 9; pass or fail?"
    records.append(Prompt(400.0, "starts", "starts", Do.ANSWER, say, asks=Asks.STARTED))
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
                                  "B: supply and backup cell unplugged? (yes or no)", asks=Asks.DONE), *air(1.5)],
        "wait": [session(), Prompt(1.0, "drain", "drain", Do.WAIT, "B: let the capacitors drain (wait 90 s)",
                                   until_s=91.0), *air(20.0, 45)],
        "safe": [*before_fuses()[:2], Prompt(4.0, "dead", "supply input", Do.PROBE, "B: supply input, then say yes"),
                 volts(5.0, 0.002), volts(5.5, 0.001)],
        "sweep": [*at_7, *air(38.0)],
        "contact": touching,
        "tick": ticked,
        "fail": failed,
        "lift": [*ticked, ohms(42.0, 0.33), Cue(42.0, "fuses", "F8", CueKind.LIFT)],
        "again": [*touching, ohms(40.5, None), Lift(40.5, "fuses", "F7"), Cue(40.5, "fuses", "F7", CueKind.AGAIN)],
        "dial": [*at_7, Prompt(38.0, "fuses", "F7", Do.DIAL, "B: set the dial to ohms, one fixed range",
                                   dial=(Quantity.RESISTANCE,), range="low")],
        "lost": [*at_7, Link(38.0, LinkState.LOST, "the cable was pulled; plug it in again, the session goes on")],
        "stop": [*at_7, ohms(38.0, -0.4), Cue(38.0, "fuses", "F7", CueKind.STOP)],
        "last": [*sweep_to(12), Prompt(70.0, "fuses", "fuses", Do.ANSWER, "B: was the last tick on F12? (yes or no)",
                                         asks=Asks.COUNT)],
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


HALF = 7.5 - 4.546
"""Half of what the meter proves of 1500 ± 7.5 Ω. U there: 2·√(((0.1 % + 2 counts)/√3)² + 1/12 + 1), JCGM 100."""


def trimmer(value: float | None, *, target: float = 1500.0, stops_at: float | None = None, **more: Any) -> TuneFacts:
    """RV1 at `value`, while it is turned toward `target`."""
    low, high = target - HALF, target + HALF
    facts = TuneFacts(
        phase="turn", unit="ohm", resolution=1.0, target=target, low=target - 7.5, high=target + 7.5, inner_low=low,
        inner_high=high, never_below=1200.0, found=1618.0, good=1500.0, stops_at=stops_at, value=value,
    )  # fmt: skip
    if value is not None:
        error, to_go = value - target, min(max(value, low), high) - value
        facts = msgspec.structs.replace(facts, error=error, share=error / target, to_go=to_go)
    return msgspec.structs.replace(facts, **more)


def presses(marks: str) -> ExerciseFacts:
    """Presses of twenty so far: 1 closed, 0 did not."""
    closed = tuple(mark == "1" for mark in marks)
    return ExerciseFacts(form="no", closed=sum(closed), presses=len(closed), asked=20, marks=closed)


def starts(marks: str, fix: str = "") -> TrialsFacts:
    """Starts so far, before a fix or after it: p passed, f failed."""
    passed = tuple(mark == "p" for mark in marks)
    return TrialsFacts(
        passed=sum(passed), runs=len(passed), asked=29 if fix else 20, marks=passed, fix=fix, mending=False,
        changed=False, more_to_change=None, more_to_reliable=29 - len(passed), attempt=1, reliability=0.9,
        confidence=0.95, proved="no proof yet",
    )  # fmt: skip


KNOWN: dict[str, Facts] = {
    "wait": ConfirmFacts(wait_s=90.0, until_s=91.0),
    "exercise": presses("1111101111"),
    "trials": starts("ppp", "a fix"),
    "tune far": trimmer(1616.0),
    "tune near": trimmer(1553.0, stops_at=1527.0),
    "tune in": trimmer(1500.0),
    "tune over": trimmer(1470.0),
    "hazard": trimmer(1190.0, side="below"),
    "back": trimmer(1250.0),
}
"""What the session knows in a scene, by hand."""


def view_of(name: str) -> View:
    """A scene as a view."""
    own = KNOWN.get(name)
    view = fold(scenes()[name])
    return view if own is None else msgspec.structs.replace(view, own=own)


def views() -> dict[str, View]:
    """Every scene as a view."""
    return {name: view_of(name) for name in scenes()}


def drift(count: int, every_s: float = 0.1) -> list[Record]:
    """A long stretch of readings that move, as a meter at ten a second sends them."""
    return [ohms(every_s * index, round(1500 + 40 * math.sin(index / 15), 0), 1.0) for index in range(count)]
