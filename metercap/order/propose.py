"""The proposal: which step next, why, and in which order the rest; from the plan, the chances and what is done."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import msgspec

from metercap.metrology.domain import round6
from metercap.order.looks import Look, minutes_to_fault, needed
from metercap.order.schedule import best_order
from metercap.order.wording import minutes_text, sentence, share
from metercap.plan.opening import opened_by
from metercap.plan.power import needs_dead, powers_up
from metercap.plankeys import ConfirmStep, SafeStep, StepBase, ZeroStep
from metercap.plankeys.base import MINUTES


class Ranked(msgspec.Struct, frozen=True):
    """One step that may find the fault: its chance now, its minutes, and what has to be done before it still."""

    step: str
    chance: float
    minutes: float
    needs: tuple[str, ...] = ()

    @property
    def said(self) -> str:
        """Name chance and minutes: "40 %, two minutes"."""
        return f"{share(self.chance)}, {minutes_text(self.minutes)}"


class Proposed(msgspec.Struct, frozen=True):
    """What is proposed: go to `step`, for the sake of `target`, the first of the `order`; `why` says it in a sentence.

    `minutes` are expected to the fault in this order, `plan_minutes` in the plan's own, from where the unit stands.
    """

    symptom: str
    step: str
    target: str
    why: str
    order: tuple[Ranked, ...]
    minutes: float
    plan_minutes: float

    @property
    def taken_by(self) -> str:
        """Name the word that takes it, and how likely it is: "to cover 40 %", "to dead for cover 40 %"."""
        way = f" for {self.target}" if self.target != self.step else ""
        return f"to {self.step}{way} {share(self.order[0].chance)}"


def propose(
    steps: Sequence[StepBase],
    symptom: str,
    chances: Mapping[str, float],
    is_over: Callable[[StepBase], bool],
    *,
    hot: bool = False,
    faults: Mapping[str, int] | None = None,
    units: int = 0,
) -> Proposed | None:
    """Return what to do next; None where no open step can find the fault.

    `chances` are those of the steps that are still to be looked at, `is_over` tells what is done and need not be done
    again, `hot` that the unit had power since it was proved dead. Whatever the chances, a `safe` and a `zero` that
    stand before the first step that wants a dead unit come first, with all that the plan puts before them.
    """
    by_rule = [step for step in steps[: _ruled(steps)] if not is_over(step)]
    looks = _looks(steps, chances, [step for step in steps if step not in by_rule and not is_over(step)])
    suspects = [step for step in by_rule if chances.get(step.id, 0.0) > 0.0]
    if not suspects and not any(look.chance > 0.0 for look in looks):
        return None
    order = best_order(looks, hot=hot and not by_rule)
    first = [_ruled_look(step, chances) for step in by_rule]
    whole, natural = _walks(first, looks, order)
    ranked = [_rank(look, looks, ()) for look in first if look.chance > 0.0]
    done: dict[int, None] = {}
    for index in order:
        if looks[index].chance > 0.0:
            before = tuple(below for below in needed(looks, index)[:-1] if below not in done)
            done.update(dict.fromkeys((*before, index)))
            ranked.append(_rank(looks[index], looks, before))
    target = ranked[0]
    waits = tuple(look.id for look in first) if target.step not in [look.id for look in first] else ()
    proof = _proof_before(steps, target.step) if hot and not by_rule and _is_dead(looks, target.step) else ""
    step = next(iter((*waits, *([proof] if proof else []), *target.needs)), target.step)
    if suspects:
        step = first[0].id
    why = sentence(
        target.step,
        target.chance,
        target.minutes,
        needs=[(each, _minutes(steps, each)) for each in target.needs],
        waits=waits,
        proof=proof,
        fault_of=(faults or {}).get(target.step, 0),
        units=units,
    )
    return Proposed(
        symptom,
        step,
        target.step,
        why,
        tuple(ranked),
        round6(minutes_to_fault(whole, range(len(whole)), hot=hot and not by_rule)),
        round6(minutes_to_fault(natural, range(len(natural)), hot=hot and not by_rule)),
    )


def _ruled(steps: Sequence[StepBase]) -> int:
    """Return how many of a plan's first steps precede by rule: up to the last `safe` or `zero` that stands before the
    first step that wants the unit dead; up to the first `safe` where none does."""
    wanting = next((at for at, step in enumerate(steps) if needs_dead(step)), None)
    safes = [at for at, step in enumerate(steps) if isinstance(step, SafeStep)]
    if wanting is None:
        return safes[0] + 1 if safes else 0
    ruling = [at for at, step in enumerate(steps[:wanting]) if isinstance(step, SafeStep | ZeroStep)]
    return ruling[-1] + 1 if ruling else 0


def _looks(steps: Sequence[StepBase], chances: Mapping[str, float], left: Sequence[StepBase]) -> list[Look]:
    """Return what may be looked at, with what must be opened for it, in the plan's order."""
    known = {step.id: step for step in left}
    wanted = [step.id for step in left if chances.get(step.id, 0.0) > 0.0]
    taken: dict[str, tuple[str, ...]] = {}
    while wanted:
        name = wanted.pop()
        if name in known and name not in taken:
            taken[name] = tuple(each for each in opened_by(steps, known[name]) if each in known)
            wanted.extend(taken[name])
    ids = [step.id for step in left if step.id in taken]
    place = {name: at for at, name in enumerate(ids)}
    return [
        Look(
            name,
            chances.get(name, 0.0),
            known[name].minutes or MINUTES,
            tuple(place[each] for each in taken[name]),
            powers_up(known[name]),
            needs_dead(known[name]) and not powers_up(known[name]),
            _again(steps, name),
        )
        for name in ids
    ]


def _ruled_look(step: StepBase, chances: Mapping[str, float]) -> Look:
    return Look(step.id, chances.get(step.id, 0.0), step.minutes or MINUTES)


def _walks(first: list[Look], looks: list[Look], order: Sequence[int]) -> tuple[list[Look], list[Look]]:
    """Return the looks in the order proposed and in the plan's, what is needed before it, both after what precedes."""
    plan: dict[int, None] = {}
    for index in range(len(looks)):
        plan.update(dict.fromkeys(needed(looks, index)))
    return [*first, *(looks[index] for index in order)], [*first, *(looks[index] for index in plan)]


def _rank(look: Look, looks: Sequence[Look], before: Sequence[int]) -> Ranked:
    return Ranked(look.id, look.chance, look.minutes, tuple(looks[below].id for below in before))


def _is_dead(looks: Sequence[Look], step: str) -> bool:
    return any(look.id == step and look.dead for look in looks)


def _minutes(steps: Sequence[StepBase], name: str) -> float:
    return next((step.minutes or MINUTES for step in steps if step.id == name), MINUTES)


def _proof_before(steps: Sequence[StepBase], name: str) -> str:
    """Return the `safe` that proves the unit dead for a step: the nearest before it, else the plan's first."""
    at = next((at for at, step in enumerate(steps) if step.id == name), 0)
    before = [step.id for step in steps[:at] if isinstance(step, SafeStep)]
    every = [step.id for step in steps if isinstance(step, SafeStep)]
    return before[-1] if before else every[0] if every else ""


def _again(steps: Sequence[StepBase], name: str) -> float:
    """Return the minutes of proving the unit dead anew: of the `safe`, and of the questions right before it."""
    proof = _proof_before(steps, name)
    at = next((at for at, step in enumerate(steps) if step.id == proof), None)
    if at is None:
        return 0.0
    minutes = steps[at].minutes or MINUTES
    while at > 0 and isinstance(steps[at - 1], ConfirmStep) and not powers_up(steps[at - 1]):
        at -= 1
        minutes += steps[at].minutes or MINUTES
    return minutes
