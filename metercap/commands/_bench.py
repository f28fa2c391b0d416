"""A practice scene through the real program: over a pseudo-terminal, or in process on a clock of its own."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import msgspec

from metercap.clock import ScaledClock
from metercap.commands._live import Keep, Shown, run_live, shown_by
from metercap.commands._opening import session_record
from metercap.commands._plans import checked_plan
from metercap.commands._reference import Rows, read_reference, require_references
from metercap.journal import Writer
from metercap.live import Observer, Reason
from metercap.meter import MeterProfile
from metercap.outcome import Fold
from metercap.plan import Plan
from metercap.practice.audit import Audit
from metercap.practice.bench import PracticeBench
from metercap.practice.port import PracticePort
from metercap.practice.scene import Scene, load_scene
from metercap.practice.study import run
from metercap.profiles import find_meter
from metercap.records import SessionRecord
from metercap.session import Driver, Session
from metercap.wire import decoder

LINGER_S = 2.0
"""How long a played scene's last picture stays, in real seconds."""
FASTEST_PORT = 20.0
"""Above this speed a pseudo-terminal's own delays would pass for the meter's."""


class Played(msgspec.Struct, frozen=True):
    """A scene that was played: what stands, where it is, and every way in which it is not what the scene says."""

    scene: Scene
    journal: Path
    reason: Reason
    fold: Fold
    untrue: tuple[str, ...]

    @property
    def true(self) -> bool:
        """True when every verdict is the scene's."""
        return not self.untrue and self.reason == "done"


def play_scene(
    name: str,
    folder: Path,
    *,
    speed: float,
    seed: int | None = None,
    against: Path | None = None,
    plain: bool = True,
    as_json: bool = False,
    sound: bool = False,
    plan: str | None = None,
    quiet: bool = False,
) -> Played:
    """Play one scene to its end and return what came of it; `quiet`: in process, with nothing shown."""
    scene = load_scene(name)
    profile = profile_of(scene)
    loaded = checked_plan(plan or scene.plan, profile, only=list(scene.truth), warn=False)
    reference = read_reference(against, scene.unit, loaded) if against is not None else {}
    require_references(loaded, reference, list(scene.truth), known_good=scene.known_good)
    steps = [step.id for step in loaded.steps if step.id in scene.truth]
    record = practice_record(name, scene, loaded, profile, seed=seed, speed=speed, steps=steps, reference=reference)
    journal = folder / f"{scene.unit.lower()}.jsonl"
    bench = PracticeBench(scene, seed=seed)
    audit = Audit(bench)
    keep = Keep()
    session = Session(record)
    with Writer.create(journal, record) as writer:
        if quiet or speed > FASTEST_PORT or sys.platform == "win32":
            plain_only = [] if quiet else shown_by(as_json=as_json, plain=True, listen=False).observers
            reason = _in_process(session, record, writer, bench, [keep, audit, *plain_only])
        else:
            shown = shown_by(as_json=as_json, plain=plain, sound=sound, linger_s=LINGER_S)
            try:
                clock = ScaledClock(speed)
                with PracticePort(bench, clock) as port:
                    reason = over_port(port, clock, session, record, writer, [keep, audit], shown)
            finally:
                shown.close()
    return Played(scene, journal, reason, keep.fold, tuple(untrue(audit)))


def profile_of(scene: Scene) -> MeterProfile:
    """Return the profile of a scene's meter, at the rate that the scene gives it."""
    profile = find_meter(scene.meter.profile or scene.meter.family)
    told_per_s = scene.meter.told_per_s
    return profile if told_per_s == profile.conversions_per_s else profile.at_rate(told_per_s)


def practice_record(
    name: str,
    scene: Scene,
    plan: Plan,
    profile: MeterProfile,
    *,
    seed: int | None,
    speed: float,
    steps: Sequence[str],
    reference: Rows,
    no_safe: bool = False,
) -> SessionRecord:
    """Return the first record of a session on the practice bench; its options say how to have the same one again."""
    return session_record(
        plan,
        profile,
        unit=scene.unit,
        operator="practice",
        known_good=scene.known_good,
        reference=reference,
        options={
            "practice": name,
            "seed": scene.seed if seed is None else seed,
            "speed": speed,
            "steps": list(steps),
            **({"no_safe": True} if no_safe else {}),
        },
    )


def over_port(
    port: PracticePort,
    clock: ScaledClock,
    session: Session,
    record: SessionRecord,
    writer: Writer,
    observers: Sequence[Observer],
    shown: Shown,
) -> Reason:
    """Run a session against an open practice port, whose technician sees it too; return why it ended."""
    from metercap.link import open_link

    source = open_link(port.path, record.meter)
    reason = run_live(session, record, source, clock, writer, shown, observers=[*observers, port], words=[port])
    if port.problem is not None:
        raise port.problem
    return reason


def _in_process(
    session: Session, record: SessionRecord, writer: Writer, bench: PracticeBench, observers: list[Observer]
) -> Reason:
    return run(bench, Driver(session), decoder(record.meter), record.meter, observers, writer)


def untrue(audit: Audit) -> list[str]:
    """Return a line for each way in which a session is not what the scene says."""
    lines = []
    for mark in audit.marked:
        if not mark.agrees:
            said, true = mark.verdict.verdict.value, " or ".join(sorted(mark.true))
            lines.append(f"{mark.verdict.step} {mark.verdict.item}: said {said}, is {true}")
    lines += [f"{mark.verdict.step} {mark.verdict.item}: ticked elsewhere" for mark in audit.wrong_ticks]
    lines += [f"{step} {item}: no verdict" for step, item in audit.missing]
    return lines
