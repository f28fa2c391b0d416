"""The state of power, in the order of events: may this unit be measured in ohms now?

A `safe` step that passes proves the unit dead. Entering a step with the power on, or a part that was replaced, voids
the proof, and the operator's word to go on without one; nothing but a new `safe` brings it back. That word is `waive`,
with a reason: no answer that a habit gives, and refused where the unit is known to have had power. Loose parts and a
waiver in the first record need no proof, but nothing measures ohms while the power is on.
"""

from __future__ import annotations

from collections.abc import Iterable

from metercap.plan import Plan
from metercap.plan.power import needs_dead, powers_up
from metercap.plankeys import SafeStep, StepBase, TuneStep
from metercap.records import VerdictKind
from metercap.steps import Bench, Machine
from metercap.steps.stilldead import Proof, StillDead

NEVER = "no safe step has passed on this unit"
FAILED = "the safe step did not pass"
POWERED = "the unit has had power since it was last proved dead"
REPLACED = "a part was replaced since it was proved dead"
NO_HAND = ("pedal", "token", "page")
"""Sources that waive nothing: a foot, the tips on a resistor, a tablet that may lie in another room."""


class Power:
    """What is known of the unit's power; `on` is true during a step that has it on."""

    def __init__(self, plan: Plan, steps: Iterable[StepBase], *, waived: bool) -> None:
        self.on = False
        self.proves = next((step for step in steps if isinstance(step, SafeStep)), None)
        """The step that proves this unit dead; None where the session has none."""
        self._exempt = waived or plan.supply == "none"
        self._doubt = NEVER
        self._accepted = False
        self._proved_s: float | None = None
        self._dead_s = float("-inf")
        self._proved_by = ""

    def enter(self, step: StepBase, bench: Bench) -> None:
        """A planned step begins; one that is refused gives no power.

        A proof that is begun again takes the earlier one's place, whether it ends or not.
        """
        self.on = powers_up(step) and not self.past(step, bench)
        if self.on:
            self._void(POWERED)
        elif isinstance(step, SafeStep):
            self._void(self._doubt or FAILED)

    def ended(self, machine: Machine, bench: Bench) -> None:
        """A planned step has ended; of a `safe` the verdict decides."""
        step = machine.step
        if not isinstance(step, SafeStep):
            return
        verdict = bench.verdicts.get((step.id, step.id))
        proved = verdict is not None and verdict.verdict is VerdictKind.PASS and not self.on
        self._doubt, self._accepted = "" if proved else FAILED, False
        if proved:
            self._dead_s = bench.t_s
        since_s = machine.since_s if isinstance(machine, StillDead) else None
        self._proved_s = (bench.t_s if since_s is None else since_s) if proved else None
        self._proved_by = step.id

    def part_replaced(self) -> None:
        """Whoever put a new part in had an iron on the board, or a cell in it."""
        self._void(self._doubt or REPLACED)

    def _void(self, why: str) -> None:
        self._doubt, self._accepted, self._proved_s = why, False, None

    def proof(self, bench: Bench) -> Proof | None:
        """Return the proof that nothing was done against since; None without one."""
        if self._proved_s is None or bench.volts_s >= self._proved_s:
            return None
        said = tuple(each for (step, _), each in bench.verdicts.items() if step == self._proved_by)
        return Proof(self._proved_by, self._proved_s, said)

    def accept(self) -> None:
        """The operator goes on without proof, by his word."""
        self._accepted = True

    def insists(self, bench: Bench) -> str:
        """Return why no word stands for the proof here; empty where one may."""
        if self._doubt == POWERED:
            return POWERED
        return "a voltage was met on it, and it has not been proved dead since" if bench.volts_s > self._dead_s else ""

    def ways(self, bench: Bench) -> str:
        """Return what leads on from the question for the proof."""
        ways = [] if self.proves is None else [f"yes (to {self.proves.id}) proves it"]
        if not self.insists(bench):
            ways.append("waive TEXT goes on in ohms without, and says why")
        return "; ".join(ways)

    @property
    def doubted(self) -> bool:
        """Whether a step that wants the unit dead would want a new proof now."""
        return bool(self._doubt) and not self._exempt and not self._accepted

    def doubt(self, step: StepBase) -> str:
        """Return why what `step` measures wants a proof that there is none of; empty when nothing is missing."""
        if not needs_dead(step) or self._exempt or self._accepted or not self._doubt:
            return ""
        return self._doubt

    def past(self, step: StepBase, bench: Bench) -> str:
        """Return what stands past a hazard limit where a planned `step` powers the unit.

        What that step itself turns may stand so: a trimmer that is set with the power on is brought back no other way.
        """
        if not powers_up(step):
            return ""
        own = step.item_names if isinstance(step, TuneStep) else ()
        others = [(item, each) for item, each in bench.standing.items() if item not in own]
        return "; ".join(each.said(item) for item, each in others if each.believed)

    def forbids(self, step: StepBase) -> str:
        """Return why an unplanned `step` must not be measured at all now; empty when it may."""
        if not needs_dead(step):
            return ""
        return "the power is on in this step" if self.on else self.doubt(step)
