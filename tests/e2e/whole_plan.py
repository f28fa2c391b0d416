"""A whole plan for a SCPI meter, the bench it is worked on, and hands for it: each kind of interface plays it alike."""

from __future__ import annotations

import threading
from typing import Any

from tests.e2e.outside_meter import OPEN
from tests.e2e.program import Hands, Record

WHOLE = """
[plan]
title = "GC-8, first look"
model = "GC-8"
[[step]]
id = "ready"
kind = "confirm"
say = "Supply unplugged?"
[[step]]
id = "dead"
kind = "safe"
source = "a fresh 1.5 V cell"
points = ["supply input"]
[[step]]
id = "leads"
kind = "zero"
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F2"
max = "2 ohm"
[[step]]
id = "coil"
kind = "check"
items = ["K1"]
min = "300 ohm"
max = "400 ohm"
[[step]]
id = "leads-after"
kind = "zero"
"""
BENCH = {
    "cell": {"VOLT:DC": 1.5213, "VOLT:AC": 0.0003},
    "supply input": {"VOLT:DC": 0.0021, "VOLT:AC": 0.0004},
    "tips": {"RES": 0.08},
    "F1": {"RES": 0.19},
    "F2": {"RES": 0.21},
    "K1": {"RES": 361.2},
}


class BenchTips:
    """Stands in for a meter to `Hands`: `tips` is the name of what is touched."""

    def __init__(self) -> None:
        self.tips: Any = OPEN

    def measure(self, query: str) -> float:
        """Return what the SCPI meter measures there."""
        function = query.partition("?")[0].removeprefix("MEAS:")
        if self.tips == OPEN:
            return OPEN if function in ("RES", "CONT") else 0.0002
        return BENCH[self.tips].get(function, OPEN)


class ScpiHands(Hands):
    """Hands that also hold the tips on a voltage: the prompts of `safe` name what to hold them on."""

    def see(self, record: Record) -> None:
        """Put the tips on the source or point that a prompt of `safe` names, off between them; say yes on a point."""
        if record["kind"] == "prompt" and record["step"] == "dead" and record["do"] == "lift":
            self._meter.tips = OPEN
        if record["kind"] == "prompt" and record["step"] == "dead" and record["do"] in ("probe", "answer", "keep"):
            point = record["item"] == "supply input"
            self._meter.tips = "supply input" if point else "cell"  # type: ignore[assignment]
            if point:  # a yes counts 2 s after its prompt
                threading.Timer(2.3, self._say, ["yes"]).start()
            return
        super().see(record)
