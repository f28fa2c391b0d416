"""What is left when a session has ended: the items that failed, those nobody can be sure of, and those not done."""

from __future__ import annotations

from collections.abc import Mapping

from metercap.records import Verdict, VerdictKind
from metercap.screen.plandata import PlanInfo
from metercap.screen.text import visible

_KINDS = ((VerdictKind.FAIL, "failed"), (VerdictKind.UNSURE, "unsure"))


def left_over(plan: PlanInfo, verdicts: Mapping[tuple[str, str], Verdict]) -> str:
    """Name what did not pass, and what the plan has and nobody decided; empty where nothing is left."""
    parts = []
    for kind, word in _KINDS:
        names = [item for (_, item), verdict in verdicts.items() if verdict.verdict is kind]
        if names:
            parts.append(f"{word}: {_listed(names)}")
    expected = [(step.id, item.name) for step in plan.steps for item in step.items]
    expected += [(step.id, step.id) for step in plan.steps if not step.items]
    undone = [key[1] for key in expected if key not in verdicts]
    if undone:
        parts.append(f"not done: {_listed(undone)}")
    return "   ".join(parts)


def _listed(names: list[str]) -> str:
    return ", ".join(visible(name) for name in dict.fromkeys(names))
