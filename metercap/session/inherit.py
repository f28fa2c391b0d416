"""What a session takes over from an earlier one of the same unit.

`continue` goes on with an interrupted session: what it decided stands (but for `unsure`), and so does as found. Proof
that the unit is dead and the lead null are asked for again, since time has passed. `after` takes up the unit later:
only as found, and what trials and exercises counted, come along.
"""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from metercap.errors import PlanError
from metercap.records import Verdict, VerdictKind
from metercap.steps.bench import Bench
from metercap.steps.judge import Judgement

How = Literal["", "continue", "after"]


class Inherited(msgspec.Struct, frozen=True):
    """What is taken over; keys of `as_found` and `before` are "step/item". Part of a journal's first record."""

    how: How = ""
    session: str = ""
    verdicts: tuple[Verdict, ...] = ()
    as_found: dict[str, Judgement] = {}
    before: dict[str, dict[str, Any]] = {}

    @classmethod
    def of(cls, data: dict[str, Any]) -> Inherited:
        """Read the form that a first record carries; PlanError when it is another."""
        try:
            return msgspec.convert(data, cls)
        except msgspec.ValidationError as error:
            raise PlanError(f"what the session inherits cannot be read: {error}") from error

    def as_builtins(self) -> dict[str, Any]:
        """Return the form that a first record carries."""
        out: dict[str, Any] = msgspec.to_builtins(self)
        return out

    def into(self, bench: Bench) -> None:
        """Give a new session's bench what was taken over."""
        bench.kept = frozenset((v.step, v.item) for v in self.verdicts)
        bench.as_found = {_pair(key): judgement for key, judgement in self.as_found.items()}
        bench.before = {_pair(key): counted for key, counted in self.before.items()}


AGAIN = ("safe", "zero")
"""Kinds of step that a continued session asks for again."""


def inherited_from(bench: Bench, how: How, session_id: str) -> Inherited:
    """Return what the bench of an earlier session, played to its end, hands on."""
    again = {step.id for step in bench.steps if step.__struct_config__.tag in AGAIN}
    source = f"from session {session_id}"
    verdicts = tuple(
        msgspec.structs.replace(
            verdict, t_s=0.0, from_s=None, reason=f"{source}; {verdict.reason}" if verdict.reason else source
        )
        for verdict in bench.verdicts.values()
        if how == "continue" and verdict.step not in again and verdict.verdict is not VerdictKind.UNSURE
    )
    return Inherited(
        how,
        session_id,
        verdicts,
        {"/".join(key): judgement.bare for key, judgement in bench.as_found.items()},
        {"/".join(key): counted for key, counted in bench.before.items()},
    )


def _pair(key: str) -> tuple[str, str]:
    step, _, item = key.partition("/")
    return step, item
