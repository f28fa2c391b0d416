"""The conversion times that were measured, kept by profile and port, so that the next session begins with them."""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from metercap import settings
from metercap.gate import storable
from metercap.quantity import Quantity

REMEMBERED = "rates"
MOST = 50
"""Meters kept; the one that was used longest ago is forgotten first."""
SLOWEST_S = 10.0
"""What lies beyond this, or not above zero, was measured by nobody."""


class Rates(msgspec.Struct, frozen=True):
    """T in seconds by quantity, by "profile port"."""

    conversion_s: dict[str, dict[Quantity, float]] = {}


def kept_rates(profile: str, port: str, say: Callable[[str], None]) -> dict[Quantity, float]:
    """Return T by quantity as it was measured for this profile and port; a broken file is told and counts as empty."""
    rates, trouble = settings.recall(REMEMBERED, Rates)
    if trouble:
        say(trouble)
    kept = (rates or Rates()).conversion_s.get(_key(profile, port), {})
    return {quantity: conversion_s for quantity, conversion_s in kept.items() if 0.0 < conversion_s <= SLOWEST_S}


def keep_rates(profile: str, port: str, measured: dict[Quantity, float]) -> None:
    """Keep what was measured beside what is known of other quantities and meters; a full disk is no trouble."""
    if not measured or not port:
        return
    known = (settings.recall(REMEMBERED, Rates)[0] or Rates()).conversion_s
    key = _key(profile, port)
    mine = {**known.get(key, {}), **measured}
    others = [(each, times) for each, times in known.items() if each != key][-(MOST - 1) :]
    settings.remember(REMEMBERED, Rates(dict([*others, (key, mine)])))


def _key(profile: str, port: str) -> str:
    return f"{profile} {storable(port)}"
