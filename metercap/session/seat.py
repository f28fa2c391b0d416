"""Where a session stands in its job: which units can be taken from here, and what other units wait for or stand in.

What waits elsewhere is announced at its time, which this session's first record gives in its own seconds.
"""

from __future__ import annotations

from typing import Literal

from msgspec import UNSET

from metercap.plankeys import SafeStep, StepBase
from metercap.records import SessionRecord
from metercap.session.inherit import Inherited
from metercap.session.power import Power
from metercap.spelling import near
from metercap.steps import Bench, Machine, machine_for
from metercap.steps.nextunit import NextUnit
from metercap.steps.stilldead import Proof, StillDead


class Seat:
    """What a session knows of its job; of none, it takes no unit and nothing waits.

    `taken` is the tag of the unit that was taken, empty before.
    """

    def __init__(self, record: SessionRecord, inherited: Inherited, bench: Bench, power: Power) -> None:
        self._job = None if record.job is UNSET else record.job
        self._tag = record.tag
        self._bench = bench
        self._power = power
        self._others = inherited.others
        self._proof = inherited.proof
        self._calls: dict[str, str] = {}
        bench.waits = dict(inherited.waits)
        bench.calls = {step: max(0.0, until_s) for step, until_s in inherited.waits.items()}
        for tag, away in inherited.others.items():
            for step, until_s in away.waits.items():
                bench.calls[f"{tag}/{step}"] = max(0.0, until_s)
                self._calls[f"{tag}/{step}"] = f"{tag}: the wait of {step} is over: take {tag}"
        self._asked: NextUnit | None = None
        self._next = ""
        self.taken = ""

    def call(self, step: str) -> str:
        """Return what is said when a wait is over, of this unit or of another."""
        return self._calls.get(step, f"{step}: the wait is over: to {step}")

    @property
    def in_job(self) -> bool:
        """Whether the session is of a job, where the tag tells whose journal it is."""
        return self._job is not None

    # --- units

    def say(self) -> None:
        """Say what stands past its limit on other units: they are not here to be turned, and must not be powered."""
        if self._job is not None:
            self._bench.note(f"{self._tag} is on the mat", aloud=True)
        for tag, away in self._others.items():
            for item, past in away.standing.items():
                if past.believed:
                    self._bench.note(f"{tag}: measure {item} before {tag} has power: {past.said(item)}", aloud=True)

    def take(self, text: str) -> bool:
        """Take the unit that a word names, or say why it cannot be taken."""
        self.taken, why = self._find(text.strip())
        if why:
            self._bench.note(f"take {text.strip()}: {why}")
        return not why

    def _find(self, wanted: str) -> tuple[str, str]:
        if self._job is None:
            return "", "this session is of no job; metercap job new makes one"
        tags = {tag.casefold(): tag for tag in self._job.units}
        tag = tags.get(wanted.casefold())
        if tag is None:
            return "", f"no unit {wanted!r} in this job: {near(wanted, tags.values()) or ', '.join(self._job.units)}"
        return ("", f"{tag} is on the mat already") if tag == self._tag else (tag, "")

    def next_unit(self) -> NextUnit | None:
        """Return what asks for the next unit where this one has nothing open, once; None where nothing is to ask.

        Whoever took a unit of which nothing was open wants to do more with it, so then it is asked anyhow.
        """
        if self._job is None or self._asked is not None or not (self._job.open or self._bench.t_s == 0.0):
            return None
        units = self._job.units
        here = units.index(self._tag) if self._tag in units else 0
        left = [tag for tag in (*units[here:], *units[:here]) if tag in self._job.open]
        self._asked = NextUnit(left, self._bench)
        self._next = left[0] if left else ""
        return self._asked

    @property
    def ends_as(self) -> Literal["done", "parked"]:
        """How a session ends that has nothing open: the next unit may have been taken by a yes."""
        if self._asked is None or not self._asked.agreed:
            return "done"
        self.taken = self._next
        return "parked"

    # --- steps

    @property
    def proof(self) -> Proof | None:
        """That the unit was proved dead, where nothing was done since that could have changed it."""
        return self._power.proof(self._bench)

    def machine_for(self, step: StepBase) -> Machine:
        """Return the machine of a planned step; a proof that was carried over is asked about once."""
        proof = self._proof
        if proof is None or not isinstance(step, SafeStep):
            return machine_for(step, self._bench)
        self._proof = None
        if step.id != proof.step or not proof.point or not proof.holds(self._bench.t_s):
            return machine_for(step, self._bench)
        return StillDead(step, self._bench, proof)
