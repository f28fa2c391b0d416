"""Words: which mean something at a moment, and which of them a page may say. Pure."""

from __future__ import annotations

from metercap.asks import Asks
from metercap.records import CueKind, Do
from metercap.view.model import Stage, View

_NEEDING = frozenset(
    {"say", "note", "quit", "target", "missed", "fixed", "take", "name", "probe", "accept", "at", "to", "waive"}
)
"""Words that a button alone cannot say, or that belong to whoever is at the bench: what they take has to be given."""
_OF_SAFETY = frozenset({Asks.SINCE, Asks.VOLTS, Asks.UNDO, Asks.PROVE, Asks.GO_ON, Asks.POINT, Asks.TOKEN})
"""Questions on whose answer it rests that nobody is hurt and nothing is burnt."""


def meaningful(view: View) -> tuple[str, ...]:
    """Return the words that mean something now, the likeliest first."""
    if view.end is not None:
        return ("quit",)
    if view.unit is None:
        return ("say", "note", "quit")
    prompt = view.aside or view.asked
    do = prompt.do if prompt is not None else None
    if view.block is not None and not (prompt is not None and prompt.answers):  # no word writes a verdict meanwhile
        return ("skip", "note", "say", "quit")
    if prompt is not None and prompt.answers and do is not Do.DIAL:
        return (*prompt.answers, "note", "say", "quit")
    if do is Do.WAIT:
        return (*(("back",) if view.kind == "trials" else ("no", "skip", "again")), "note", "say", "quit")
    if do is Do.DIAL:
        return ("skip", "absent", "note", "say", "quit")
    if do is Do.STOP and view.kind != "tune":
        return ("yes", "skip", "absent", "note", "say", "quit")
    if do in (Do.CONFIRM, Do.ANSWER):
        return ("yes", "no", "note", "say", "quit")
    if do in (Do.PRESS, Do.RELEASE):
        return ("fail", "missed", "again", "skip", "absent", "say", "quit")
    if do in (Do.TURN, Do.STOP):
        return ("undo", "skip", "say", "quit")
    if view.kind in ("safe", "cell") or (view.kind == "check" and view.limits is not None and view.limits.unit == "V"):
        return ("yes", "no", "skip", "absent", "back", "say", "quit")
    return ("open", "skip", "absent", "back", "again", "say", "quit")


def by_page(view: View) -> tuple[str, ...]:
    """Return the words that may be said on a page to the prompt of this moment; none where safety rests on the answer.

    Whoever holds a telephone may not be the one who holds the probes. So what makes a unit safe, says that it is, or
    powers it is answered at the bench: proofs of being dead, every question before them, the supply, whatever stands
    past a hazard limit, and what stops the hands.
    """
    prompt = view.asked
    if prompt is None or view.end is not None or of_safety(view):
        return ()
    # A yes to a point that is probed says that both tips are on it: only who holds them knows.
    needing = _NEEDING if prompt.answers or prompt.do is not Do.PROBE else _NEEDING | {"yes", "no"}
    return tuple(word for word in meaningful(view) if word not in needing)


def of_safety(view: View) -> bool:
    """Whether safety may rest on the answer to what is asked now."""
    if (
        view.kind in ("safe", "zero")
        or view.past
        or view.block is not None
        or view.call is CueKind.STOP
        or view.arrived
    ):
        return True
    prompts = [prompt for prompt in (view.asked, view.aside) if prompt is not None]
    if any(prompt.do is Do.DIAL or prompt.asks in _OF_SAFETY or prompt.power == "on" for prompt in prompts):
        return True
    stage = view.stage
    return view.kind == "confirm" and (bool(stage is not None and stage.cautions) or any(map(_unproved, view.path)))


def _unproved(stage: Stage) -> bool:
    """Whether a step has still to prove that the unit is dead, wherever it stands: any order of steps will do."""
    if stage.kind != "safe":
        return False
    proof = stage.spot(stage.id)
    return proof is None or proof.verdict is None


def refused(view: View, word: str, prompt: int) -> str | None:
    """Return why a page's word, said to the prompt of that number, is not taken now; None where it is."""
    if prompt != view.prompts:
        return f"{word!r} from a page was for a prompt that is gone: not taken"
    if word not in by_page(view):
        return f"{word!r} is not answered on a page: say it at the bench"
    return None
