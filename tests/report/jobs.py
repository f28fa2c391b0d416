"""Two greenhouse climate controllers of one model over several sittings, as journals, for tests of a job's report."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from metercap.meter import Accuracy
from metercap.plankeys import CheckStep, ConfirmStep, ExerciseStep, Item, StepBase, SweepStep, TrialsStep, TuneStep
from metercap.quantity import Quantity
from metercap.report.job import JobFindings, study_job
from metercap.report.story import About, Unit
from metercap.session.inherit import inherited_from
from tests.report.papers import journal, ramp
from tests.steps.bench_play import Play, meter

RATE = 5.0
METER = meter(rate=RATE, accuracy=(Accuracy(Quantity.RESISTANCE, percent=0.1, counts=3.0),))
GOOD = About("R", "GC-8 number 1", "0412", known_good=True)
ILL = About("L", "GC-8 number 2", "0977", symptom="vents stay shut on cold mornings")
STEPS: tuple[StepBase, ...] = (
    ConfirmStep(id="intake", say="Signs of earlier work?"),
    SweepStep(id="fuses", items=(Item("F1"), Item("F2"), Item("F3")), max=2.0, unit="ohm", count_check=False),
    CheckStep(id="coils", items=(Item("K1"), Item("K2")), contacts=1, unit="ohm"),
    ExerciseStep(id="cover", items=(Item("S1"),), presses=4, max=2.0),
    TuneStep(id="bridge", items=(Item("RV1"),), target=2190.0, tolerance_share=0.01, never_below=1200.0, unit="ohm"),
    TrialsStep(id="starts", runs=3),
)
OFF = "OL*8 "


def touched(*texts: str, times: int = 1) -> str:
    """Return a script that touches one item after the other."""
    return OFF + "".join(f"{text}*8 {OFF}" * times for text in texts)


CLOSED = "0.3*6 OL*6 "
FUSES = touched("0.2", "0.2", "0.2")
GOOD_SCRIPT = (
    f":yes {FUSES}{touched('160.4', '161.0', times=2)}{CLOSED * 4}OL*8 2.190k*5 2.190k*30 OL*9 " + ":pass " * 3
)


def sitting(folder: Path, about: About, number: int, script: str, *, before: Play | None = None, **more: Any) -> Play:
    """Play one sitting and write its journal."""
    fields: dict[str, Any] = {"unit": about.name, "tag": about.tag, "id": f"{about.tag} {number}"}
    fields |= {"known_good": about.known_good, "rate": RATE, "profile": METER} | more
    reason = fields.pop("reason", "quit")
    if before is not None:
        fields["inherited"] = inherited_from(before.session.bench, "continue", before.record.id).as_builtins()
    play = Play(*STEPS, **fields)(script)
    journal(folder, play, f"{number:03d}-{about.tag}.jsonl", reason=reason)
    return play


def ill(folder: Path) -> Sequence[Path]:
    """Write three sittings of the unit in repair: F3 replaced, S1 cleaned, RV1 turned, a relay proved by starts."""
    first = sitting(folder, ILL, 2, f":yes {touched('0.2', '0.2')}330.1*8 {OFF}330.1*8 {OFF}")
    second = sitting(
        folder,
        ILL,
        3,
        f":at=F3 :note=fuse_F3_replaced {touched('0.2')}"
        f":at=K1 {touched('160.9', '80.1', times=2)}{CLOSED}{CLOSED}:missed=1 {CLOSED}",
        before=first,
        start_utc="2026-03-02T09:00:00Z",
    )
    sitting(
        folder,
        ILL,
        4,
        f":yes {CLOSED * 4}OL*8 1.860k*5 {ramp(1860, 2190, 30)} 2.190k*30 OL*9 :fail :pass :fail :fixed=new_relay "
        + ":pass " * 29,
        before=second,
        start_utc="2026-03-03T09:00:00Z",
        reason="done",
    )
    return [folder / f"{n:03d}-L.jsonl" for n in (2, 3, 4)]


def pair_of_units(folder: Path) -> tuple[JobFindings, tuple[Unit, ...]]:
    """Return what there is to say of the job."""
    sitting(folder, GOOD, 1, GOOD_SCRIPT, reason="done")
    units = [(ILL, ill(folder)), (GOOD, [folder / "001-R.jsonl"])]
    return study_job("vent pair", "GC-8", units, program="metercap test")
