"""What a unit came in with, as a session's first record carries it."""

from __future__ import annotations

import msgspec


class Symptom(msgspec.Struct, frozen=True, omit_defaults=True):
    """What the unit came in with, as it was `said`, and the chances that a search for its fault rests on.

    `chances`: by symptom of the plan, by step, the chance that the step finds the fault. They are the plan's own,
    sharpened by `units` repaired before, of which `faults` says, by symptom and step, how many had their fault there;
    `source` says where these are known from, in words.
    """

    said: str = ""
    chances: dict[str, dict[str, float]] = {}
    faults: dict[str, dict[str, int]] = {}
    units: dict[str, int] = {}
    source: str = ""
