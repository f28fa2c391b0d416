"""What spans the steps of a plan: order, proof of no voltage, references, tokens, and what the meter can decide at all.

The loader sees to each key; here are the questions that need the whole plan, or the meter's profile. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Literal

import msgspec

from metercap.meter import MeterProfile
from metercap.metrology.domain import round6
from metercap.plan import decidable, opening, tokens
from metercap.plan.expected import band_of, hazards_of, items_of, limits_of
from metercap.plan.fields import kind_of
from metercap.plan.model import Plan, Step
from metercap.plan.power import needs_dead, powers_up
from metercap.plan.problems import Problem, spelled
from metercap.plan.ranges import range_meant
from metercap.plankeys import Item
from metercap.plankeys.base import MINUTES
from metercap.quantity import format_value
from metercap.reference.fuses import LEADS_OHM, has_table, least_ohm
from metercap.spelling import near

SLIP_S = 0.5
"""Hands slip for up to this long on one item (common practice, no source)."""
LEADS_SHARE = 0.1
"""Leads that are more than this share of a limit are worth a `zero` step."""

Reference = Mapping[str, Mapping[str, Any]]
"""Values of good units by "step/item", as a journal's first record carries them."""


class Checked(msgspec.Struct, frozen=True):
    """What a rule looks at: the plan, and what is known besides it."""

    plan: Plan
    profile: MeterProfile | None
    no_safe: bool
    reference: Reference | None

    def problem(
        self, severity: Literal["error", "warning"], n: int, key: str, what: str, hint: str = "", item: str = ""
    ) -> Problem:
        """Return a problem of step `n` (from 0) at `key`, "" for the step as a whole; of one item where named."""
        path = ("step", n, key) if key else ("step", n)
        where = spelled(path, {n: self.plan.steps[n].id})
        return Problem(severity, path, f"{where} {item}" if item else where, what, hint)

    def steps(self) -> Iterator[tuple[int, Step]]:
        """Return the steps with their 0-based places."""
        return iter(enumerate(self.plan.steps))


def check_plan(
    plan: Plan,
    profile: MeterProfile | None = None,
    no_safe: bool = False,
    reference: Reference | None = None,
    *,
    needs: bool = True,
) -> list[Problem]:
    """Return every problem of a plan that spans steps, errors and warnings, in the order of the steps.

    With `profile` also what that meter cannot decide; `no_safe` turns the errors of missing proof into warnings. With
    `reference` its gaps are errors; without, the steps that will need one are named, unless `needs` is false: whoever
    runs a plan knows which steps it runs on which unit, and asks for what is missing itself.
    """
    checked = Checked(plan, profile, no_safe, reference)
    problems = [problem for rule in RULES if needs or rule is not references for problem in rule(checked)]
    return sorted(problems, key=lambda problem: problem.path[:2] if problem.path[0] == "step" else ("plan", 0))


def proof(checked: Checked) -> Iterator[Problem]:
    """A step in ohms needs a `safe` step before it, and a new one after each step with the power on."""
    if checked.plan.supply == "none":
        return
    severity: Literal["error", "warning"] = "warning" if checked.no_safe else "error"
    proved, why = False, "no safe step before it"
    for n, step in checked.steps():
        kind = kind_of(step)
        powered = powers_up(step)
        if kind == "safe":
            if powered:
                yield checked.problem(severity, n, "power", "nothing is dead with the power on", 'power = "off"')
            elif not getattr(step, "points", ()):
                yield checked.problem(severity, n, "points", "no points, so nothing is proved dead", "name some")
            proved = True
        elif needs_dead(step):
            what = step.wanted[0].value
            if powered:  # no waiver of proof makes this one right
                yield checked.problem("error", n, "power", f"{what} is never measured with the power on")
            elif not proved:
                hint = 'put a safe step before it, or supply = "none" for loose parts'
                yield checked.problem(severity, n, "", f"{what} of a unit that is not proved dead: {why}", hint)
        if powered:
            proved, why = False, f'the power is on in step {n + 1} "{step.id}", and no safe step follows'


def questions(checked: Checked) -> Iterator[Problem]:
    """Steps that would ask or judge nothing."""
    for n, step in checked.steps():
        kind = kind_of(step)
        if kind == "confirm" and not step.say:
            yield checked.problem("warning", n, "say", "asks for nothing", 'write say = "…"')
        if kind == "sweep":
            bare = [i.name for i in items_of(step) if limits_of(step, i) == (None, None) and i.type is None]
            if bare:
                some = bare[0] if len(bare) == 1 else f"{bare[0]} … {bare[-1]}"
                yield checked.problem(
                    "warning", n, "items", f"no limit for {some}: values are recorded, nothing is judged"
                )


def ranges(checked: Checked) -> Iterator[Problem]:
    """One item whose name looks like a range: a sweep of "F1-F6" would tick one fuse and end."""
    for n, step in checked.steps():
        for item in items_of(step):
            meant = range_meant(item.name)
            if meant is None or (kind_of(step) != "sweep" and not meant.sure):
                continue
            what = f'"{item.name}" is one item here; a range is written "{meant.spelled}"'
            sure = meant.sure and kind_of(step) == "sweep"
            hint = f'write "{meant.spelled}"' if sure else f'write "{meant.spelled}", or leave it if it is one place'
            yield checked.problem("error" if sure else "warning", n, "items", what, hint)


def slips(checked: Checked) -> Iterator[Problem]:
    """Times and directions with which a hand cannot be told from a slip, or one polarity from the other."""
    for n, step in checked.steps():
        recontact_s = getattr(step, "recontact_s", None)
        if isinstance(recontact_s, float) and recontact_s < SLIP_S:
            what = f"a slip of up to {format_value(SLIP_S, 's')} could tick the next item"
            yield checked.problem("warning", n, "recontact_s", what, f"leave it at {format_value(SLIP_S, 's')} or more")
        lost = [item.name for item in items_of(step) if item.both_ways and not (item.red or item.black)]
        if lost:
            what = f"{lost[0]} is probed both ways, and nothing says which end is which"
            yield checked.problem("warning", n, "items", what, "give it red and black")


def hazards(checked: Checked) -> Iterator[Problem]:
    """A band must not reach past a hazardous side."""
    for n, step in checked.steps():
        shares = [
            (key, share)
            for key in ("never_below", "never_above")
            if (share := getattr(step, f"{key}_share", None)) is not None
        ]
        for key, share in shares:
            if getattr(step, "target", None) == "as found":
                what = f"{100.0 * share:g} % of what is not known before it is found"
                yield checked.problem("error", n, key, what, 'write it as a value, or take target = "reference"')
            elif (share > 1.0) == (key == "never_below"):
                what = f"{100.0 * share:g} % lies on the other side of the target"
                yield checked.problem("error", n, key, what, "are they the wrong way round?")
        for item in items_of(step):
            below, above = hazards_of(step, item, checked.reference)
            band = band_of(step, item, checked.reference)
            if band is None:
                continue
            unit = step.wanted[0].unit
            low, high = round6(band[0] - band[1]), round6(band[0] + band[1])
            for past, key, limit, edge in (
                (below is not None and low < below, "never_below", below, low),
                (above is not None and high > above, "never_above", above, high),
            ):
                if past and limit is not None:
                    what = (
                        f"the band of {item.name} reaches {format_value(edge, unit)}, past {format_value(limit, unit)}"
                    )
                    hint = "a trimmer is never left past its hazardous side: narrow the tolerance"
                    yield checked.problem("error", n, key, what, hint)


def leads(checked: Checked) -> Iterator[Problem]:
    """Small limits in ohms want the leads taken off."""
    nulled = False
    for n, step in checked.steps():
        nulled = nulled or kind_of(step) == "zero"
        if nulled or not step.in_ohms:
            continue
        highs = [high for item in items_of(step) if (high := limits_of(step, item)[1]) is not None]
        if highs and LEADS_SHARE * min(highs) < LEADS_OHM:
            limit = format_value(min(highs), "ohm")
            what = f"leads of about {format_value(LEADS_OHM, 'ohm')} count into a limit of {limit}"
            yield checked.problem("warning", n, "", what, "put a zero step before it")


def fuses(checked: Checked) -> Iterator[Problem]:
    """A limit that a good fuse of its rating cannot meet, and fuses whose limit must come from a good unit."""
    nulled = False
    for n, step in checked.steps():
        nulled = nulled or kind_of(step) == "zero"
        for item in items_of(step):
            least = _least(item, nulled)
            high = limits_of(step, item)[1]
            if least is None or high is None or high >= least:
                continue
            good, limit = format_value(least, "ohm"), format_value(high, "ohm")
            what = f"a good fuse of this rating reads about {good}, above the limit of {limit}"
            yield checked.problem("warning", n, "items", what, "leave the limit to rating and type", item.name)


def _least(item: Item, nulled: bool) -> float | None:
    if item.rating is None or item.type is None:
        return None
    try:
        return least_ohm(item.rating, item.type, nulled=nulled)
    except ValueError:  # a rating that is in no table, beside limits of the plan's own
        return None


def references(checked: Checked) -> Iterator[Problem]:
    """Steps that need the values of a known-good unit."""
    for n, step in checked.steps():
        needing = [item.name for item in items_of(step) if needs_reference(step, item)]
        if not needing:
            continue
        key = "target" if hasattr(step, "target") else "items"
        if checked.reference is None:
            some = ", ".join(needing[:3]) + (" …" if len(needing) > 3 else "")
            what = f"needs the known-good unit's value of {some}"
            yield checked.problem("warning", n, key, what, "run it with --against FILE")
            continue
        for name in needing:
            row = checked.reference.get(f"{step.id}/{name}")
            if row is None or not isinstance(row.get("value"), int | float):
                hint = "measure the known-good unit first (--known-good), or name another file with --against"
                yield checked.problem("error", n, key, "the reference has no value of it", hint, name)


def needs_reference(step: Step, item: Item) -> bool:
    """Return whether an item's target or limit can only come from a known-good unit."""
    if getattr(step, "target", None) == "reference":
        return True
    unlisted = item.type is not None and not has_table(item.type)
    return unlisted and limits_of(step, item) == (None, None)


def meter(checked: Checked) -> Iterator[Problem]:
    """Bands and limits that this meter cannot decide."""
    if checked.profile is None:
        return
    for n, step in checked.steps():
        for doubt in decidable.doubts(step, checked.plan.rule, checked.profile, checked.reference):
            yield checked.problem("warning", n, doubt.key, doubt.what, doubt.hint, doubt.item)


def findings(checked: Checked) -> Iterator[Problem]:
    """Symptoms that the plan does not name, chances that are more than one in all, and costs that nobody wrote."""
    symptoms = checked.plan.symptoms
    for n, step in checked.steps():
        for symptom in step.finds:
            if symptom not in symptoms:
                what = f'the plan has no symptom "{symptom}"'
                hint = near(symptom, symptoms) or 'name it under [plan]: symptoms = ["…"]'
                yield checked.problem("error", n, "finds", what, hint)
        if step.finds and step.minutes is None:
            what = f"how long it takes is not said: it counts as {MINUTES:g} minutes"
            yield checked.problem("warning", n, "finds", what, "write minutes")
    for symptom in symptoms:
        finding = [(n, step.finds[symptom]) for n, step in checked.steps() if symptom in step.finds]
        whole = round6(math.fsum(chance for _, chance in finding))
        if whole > 1.0:
            what = f'the chances for "{symptom}" make {100.0 * whole:g} % in all'
            yield checked.problem("error", finding[-1][0], "finds", what, "one fault is in one place: at most 100 %")


def openings(checked: Checked) -> Iterator[Problem]:
    """Steps that need what nothing opens, or each other."""
    for wrong in opening.wrong_openings(checked.plan.steps):
        yield checked.problem("error", wrong.at, wrong.key, wrong.what, wrong.hint)


def token_values(checked: Checked) -> Iterator[Problem]:
    """Tokens whose values the plan could meet."""
    for word, sure, what, hint in tokens.clashes(checked.plan, checked.reference):
        path = ("plan", "tokens", word)
        yield Problem("error" if sure else "warning", path, spelled(path, {}), what, hint)


RULES: tuple[Callable[[Checked], Iterator[Problem]], ...] = (
    token_values,
    proof,
    questions,
    ranges,
    slips,
    hazards,
    leads,
    fuses,
    references,
    meter,
    findings,
    openings,
)
