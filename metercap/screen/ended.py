"""What is left when a session has ended: the items that failed, those nobody can be sure of, and those not done."""

from __future__ import annotations

from metercap.records import VerdictKind
from metercap.screen.text import visible
from metercap.view import View

_KINDS = ((VerdictKind.FAIL, "failed"), (VerdictKind.UNSURE, "unsure"))


def left_over(view: View) -> str:
    """Name what did not pass, and what the plan has and nobody decided; empty where nothing is left."""
    parts = []
    for kind, word in _KINDS:
        names = [verdict.item for verdict in view.verdicts if verdict.verdict is kind]
        if names:
            parts.append(f"{word}: {_listed(names)}")
    undone = [item for _, item in view.undone]
    if undone:
        parts.append(f"not done: {_listed(undone)}")
    return "   ".join(parts)


def _listed(names: list[str]) -> str:
    return ", ".join(visible(name) for name in dict.fromkeys(names))
