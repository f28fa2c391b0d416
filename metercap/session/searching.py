"""Searching: where the symptom is known, which step is proposed next, and why; told, shown, and left to the operator.

All that it rests on is in the session's record (the chances) and in what was decided since, so that a replay proposes
the same. A proposal is a remark and a fact; nothing moves by it: `to STEP` takes it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from msgspec import UNSET

from metercap.order import Proposed, after, matched, propose
from metercap.order.found import mended_here, mended_of
from metercap.order.wording import minutes_text, share
from metercap.plan import Plan
from metercap.plankeys import StepBase, TrialsStep
from metercap.records import SessionRecord, Verdict, VerdictKind
from metercap.session.power import Power
from metercap.steps import Bench
from metercap.symptom import Symptom

_GOOD = (VerdictKind.PASS, VerdictKind.ABSENT)


class Searching:
    """What is looked for in this session: `symptom` as the plan names it, empty where none is known."""

    def __init__(
        self, record: SessionRecord, plan: Plan, steps: Sequence[StepBase], bench: Bench, power: Power, said: str
    ) -> None:
        self._known = Symptom() if record.symptom is UNSET else record.symptom
        self._on = record.symptom is not UNSET and not record.known_good
        self._symptoms = plan.symptoms
        self._steps = tuple(steps)
        self._bench = bench
        self._power = power
        bench.symptom = said
        self._text = said or self._known.said
        self.symptom, self._near = matched(self._text, self._symptoms) if self._on else ("", "")
        self._stamp: tuple[object, ...] = ()
        self._basis: tuple[object, ...] = ()
        self._proposed: Proposed | None = None
        self._found: str = ""
        self._told: tuple[str, ...] = ()

    # --- what is proposed

    @property
    def proposed(self) -> Proposed | None:
        """What is proposed at this moment; None without a symptom, or where nothing open can find the fault."""
        if not self.symptom:
            return None
        stamp = (self.symptom, self._bench.news, self._power.doubted)
        if stamp != self._stamp:
            self._stamp = stamp
            self._look()
        return self._proposed

    def _look(self) -> None:
        """Look what is found, and what is over: the order is made anew only where one of them has changed."""
        chances = self._known.chances.get(self.symptom, {})
        suspects = [step for step in self._steps if chances.get(step.id, 0.0) > 0.0]
        found = [(step, item) for step in suspects if (item := self._fault_in(step))]
        proof = next((step for step in self._steps if isinstance(step, TrialsStep)), None)
        failed = None if proof is None else self._failed_at(proof)
        found = [(step, item) for step, item in found if failed is None or self._when(step, item) > failed]
        self._found = self._said_found(*found[-1], proof) if found else ""
        over = tuple(step.id for step in self._steps if self._bench.is_over(step))
        gone = tuple(step.id for step in suspects if self._is_clear(step))
        basis = (self.symptom, bool(found), over, gone, self._power.doubted)
        if basis == self._basis:
            return
        self._basis = basis
        self._proposed = None
        if not found:
            self._proposed = propose(
                self._steps,
                self.symptom,
                after(chances, gone),
                lambda step: step.id in over,
                hot=self._power.doubted,
                faults=self._known.faults.get(self.symptom, {}),
                units=self._known.units.get(self.symptom, 0),
            )

    def _fault_in(self, step: StepBase) -> str:
        """Return the item of a step that fails, or was mended there; empty where the step shows no fault."""
        bench = self._bench
        for item in step.item_names:
            key = (step.id, item)
            verdict = bench.verdicts.get(key)
            if verdict is None:
                continue
            if verdict.verdict is VerdictKind.FAIL and verdict.accepted is UNSET and key not in bench.outdated:
                return item
            mended = verdict.verdict is VerdictKind.PASS and key in bench.failed
            if mended or key in bench.parts or mended_of(verdict) or mended_here(bench.before.get(key, {})):
                return item
        return ""

    def _is_clear(self, step: StepBase) -> bool:
        """Whether a step is over and shows no fault, or none that a proof left standing."""
        verdicts = [self._bench.verdicts.get((step.id, item)) for item in step.item_names]
        return self._bench.is_over(step) and all(
            verdict is not None
            and (verdict.verdict in _GOOD or verdict.accepted is not UNSET or verdict.verdict is VerdictKind.FAIL)
            for verdict in verdicts
        )

    def _failed_at(self, proof: StepBase) -> float | None:
        verdict = self._bench.verdicts.get((proof.id, proof.id))
        return None if verdict is None or verdict.verdict is not VerdictKind.FAIL else verdict.t_s

    def _when(self, step: StepBase, item: str) -> float:
        verdict: Verdict | None = self._bench.verdicts.get((step.id, item))
        return 0.0 if verdict is None else verdict.t_s

    def _said_found(self, step: StepBase, item: str, proof: StepBase | None) -> str:
        where = item if item == step.id else f"{item} ({step.id})"
        last = f"prove it: to {proof.id}" if proof is not None and not self._bench.is_over(proof) else "prove it"
        verdict = self._bench.verdicts.get((step.id, item))
        if verdict is not None and verdict.verdict is VerdictKind.PASS:
            return f"{where} was mended, and may have been why {self.symptom}: {last}"
        return f"{where} may be why {self.symptom}; once it is mended, {last}"

    # --- what is told

    def begin(self) -> None:
        """Tell the symptom, where the chances come from, and what is proposed; or ask which symptom is meant."""
        if not self._on or not self._text:
            return
        if not self.symptom:
            self._ask(self._text, self._near)
            return
        self._bench.note(f"symptom: {self.symptom}; chances from {self._known.source or 'the plan'}")
        proposed = self.proposed
        if proposed is not None:
            # What no step finds has no time: of the fault that one of these finds.
            found = math.fsum(each.chance for each in proposed.order)
            mine, plans = (max(1, round(each / found)) for each in (proposed.minutes, proposed.plan_minutes))
            gain = f"about {minutes_text(mine)} to the fault, where one of these finds it"
            gain += f"; {minutes_text(plans)} in the plan's order of them" if plans > mine else ""
            rest = ", ".join(f"{each.step} {share(each.chance)}" for each in proposed.order[1:4])
            self._bench.note(f"{gain}{f'; then {rest}' if rest else ''}")

    def tell(self, next_step: str) -> None:
        """Tell what is proposed before the plan's next step begins, where that has changed since it was told last.

        While the plan's own order leads to what was told, step by step, nothing more is said.
        """
        proposed = self.proposed
        if proposed is None:
            self.tell_found()
            return
        told = (self.symptom, proposed.target, proposed.why)
        known = self._told[:2] == told[:2]
        if told == self._told or (known and proposed.step == next_step != proposed.target):
            return
        self._told = told
        elsewhere = proposed.step != next_step
        self._bench.note(self._line(proposed, next_step), aloud=elsewhere)

    def tell_found(self) -> None:
        """Tell, the moment it is known, that something was found which may be the fault; once."""
        if self.symptom and self.proposed is None and self._found and self._told != (self._found,):
            self._told = (self._found,)
            self._bench.note(self._found, aloud=True)

    @property
    def line(self) -> str:
        """What is proposed, in one line; empty where nothing is."""
        proposed = self.proposed
        return self._found if proposed is None else self._line(proposed, self._bench.step)

    def _line(self, proposed: Proposed, here: str) -> str:
        return proposed.why if proposed.step == here else f"{proposed.why}; to {proposed.step}"

    def said(self, text: str) -> None:
        """The operator says what the unit does: by the plan's words or by number; near ones are asked about."""
        text = text.strip()
        if not self._symptoms or not self._on:
            why = "this unit is known good" if self._symptoms else "the plan names no symptoms"
            self._bench.note(f"symptom: {why}, so nothing is proposed")
            return
        symptom, near = matched(text, self._symptoms)
        if not symptom:
            self._ask(text, near)
            return
        self.symptom = self._text = self._bench.symptom = symptom
        self._told = ()
        self.begin()
        self.tell(self._bench.step)

    def _ask(self, text: str, near: str) -> None:
        """Ask which of the plan's symptoms is meant; the answer is a word, at any moment."""
        numbered = "; ".join(f"{n} {each}" for n, each in enumerate(self._symptoms, 1))
        if near:
            number = self._symptoms.index(near) + 1
            self._bench.note(f'is "{text}" the symptom "{near}"? symptom {number} says so', aloud=True)
        elif text:
            self._bench.note(f'"{text}" is none of the symptoms of this plan', aloud=True)
        if numbered:
            self._bench.note(f"symptom N names one: {numbered}")
