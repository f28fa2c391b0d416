"""Sessions of greenhouse climate controllers, each played from a script of readings and words."""

from __future__ import annotations

from typing import Any

from metercap.evidence import Evidence, evidence
from metercap.meter import Accuracy
from metercap.plankeys import CheckStep, Item, StepBase
from metercap.quantity import Quantity
from metercap.records import EndRecord, Record
from tests.steps.bench_play import Play, meter

METER = meter(accuracy=(Accuracy(Quantity.RESISTANCE, percent=0.8, counts=3.0),))
GAP = "OL*6 "


def coils(*names: str, **more: Any) -> CheckStep:
    """Return a check of relay coils without limits, one contact each."""
    keys: dict[str, Any] = {"id": "coils", "contacts": 1, "unit": "ohm"}
    return CheckStep(items=tuple(Item(name) for name in names or ("K1", "K2")), **(keys | more))


def reads(*texts: str) -> str:
    """Return a script that touches one item after the other, each twice for four conversions: a check's first four."""
    return GAP + "".join(f"{text}*4 {GAP}" * 2 for text in texts)


def records(play: Play) -> list[Record]:
    """Return every record of a play in the file's order."""
    rest = [record for event, out in play.pairs for record in ([] if event is None else [event]) + list(out)]
    return [play.record, *rest]


def played(unit: str, script: str, *steps: StepBase, **more: Any) -> Play:
    """Play a session of one unit; its id is the unit's name unless given."""
    fields: dict[str, Any] = {"profile": METER, "unit": unit, "id": f"session of {unit}"}
    return Play(*(steps or (coils(),)), **(fields | more))(script)


def session(unit: str, script: str, *steps: StepBase, **more: Any) -> Evidence:
    """Return a played session, run to its end, as evidence."""
    return evidence(iter([*records(played(unit, script, *steps, **more)), EndRecord(999.0, "done", {}, "")]))


def good(unit: str, script: str, *steps: StepBase, **more: Any) -> Evidence:
    """Return a played session of a unit that was marked known good."""
    return session(unit, script, *steps, known_good=True, **more)
