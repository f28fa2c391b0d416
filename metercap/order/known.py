"""What a search for the fault rests on: the plan's chances, sharpened by the shop's jobs, for a session's record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

from metercap.order.chances import prior, sharpened
from metercap.plankeys import StepBase
from metercap.symptom import Symptom


class Shop(msgspec.Struct, frozen=True):
    """What the shop's jobs taught about one model: by symptom how many `units` were repaired, and by step how many
    `faults` were there; `source` says in words where this is known from, empty where nothing was looked for."""

    units: dict[str, int] = {}
    faults: dict[str, dict[str, int]] = {}
    source: str = ""


def known(steps: Sequence[StepBase], symptoms: Sequence[str], said: str = "", shop: Shop | None = None) -> Symptom:
    """Return what a session begins with: what the unit does, as it was `said`, and the chances for every symptom."""
    shop = shop or Shop()
    ids = [step.id for step in steps]
    chances, faults, units = {}, {}, {}
    for symptom in symptoms:
        before = prior(steps, symptom)
        there = _here(shop.faults.get(symptom, {}), ids)
        n = shop.units.get(symptom, 0)
        chances[symptom] = sharpened(before, there, n) if n > 0 else before
        if n > 0:
            faults[symptom], units[symptom] = there, n
    return Symptom(said, chances, faults, units, shop.source)


def _here(faults: Mapping[str, int], ids: Sequence[str]) -> dict[str, int]:
    """Return the faults by step in the plan's order, of steps that the plan has."""
    return {step: faults[step] for step in ids if faults.get(step, 0) > 0}
