"""What was said against what was true: verdicts against the scene, ticks against where the tips were.

The bench knows the truth, so a session on it can be marked. A verdict by contact rests on readings from
`from_s` to `t_s`, or on those of each contact that it names; the bench knows which conversions those showed. It is
*misplaced* when the tips were never on its item in that time; a verdict by a word, when they were on another item as it
was given. A misplaced verdict that a later one of the same item took back (a count check, a drift of the leads)
was flagged; one that still stands as `pass` or `fail` was not.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from metercap.practice.bench import PracticeBench
from metercap.practice.board import REVERSED
from metercap.records import Cue, Record, SessionRecord, Verdict, VerdictKind

_SAYS_SO = (VerdictKind.PASS, VerdictKind.FAIL)


class Marked(NamedTuple):
    """A verdict that stands, marked. `true` is empty for what the scene says nothing about."""

    verdict: Verdict
    true: frozenset[VerdictKind]
    misplaced: bool

    @property
    def agrees(self) -> bool:
        """Whether the scene allows this verdict, or says nothing about it."""
        return not self.true or self.verdict.verdict in self.true


class Audit:
    """An observer that marks a session. Give it every record, then read it.

    `origin_s`: when the session began, in the bench's time. `steps` are the ids of the plan's steps: a scene may know
    more than a plan asks. A session record brings them along; without either every step of the scene's truth is
    expected.
    """

    def __init__(self, bench: PracticeBench, steps: Collection[str] | None = None, *, origin_s: float = 0.0) -> None:
        self._bench = bench
        self._origin_s = origin_s
        self._truth = bench.scene.verdicts()
        self._steps = self._truth.keys() if steps is None else steps
        self._standing: dict[tuple[str, str], Marked] = {}
        self.flagged = 0
        """Misplaced verdicts that a later one took back."""

    def see(self, record: Record, line: bytes = b"") -> None:
        """Take a record."""
        if type(record) is SessionRecord:
            self._steps = record.options.get("steps") or [step["id"] for step in record.plan["steps"]]
        if type(record) is not Verdict:
            return
        key = (record.step, record.item)
        before = self._standing.get(key)
        misplaced = self._misplaced(record)
        corrects = before is not None and record.from_s is not None and record.from_s == before.verdict.from_s
        if before is not None and corrects:
            misplaced = before.misplaced
        if before is not None and before.misplaced and before.verdict.verdict in _SAYS_SO:
            self.flagged += not misplaced or record.verdict not in _SAYS_SO
        true = self._truth.get(record.step, {}).get(record.item, frozenset())
        self._standing[key] = Marked(record, true, misplaced)

    def urgent(self, record: Cue) -> None:
        """What is urgent is marked with its record."""

    @property
    def marked(self) -> list[Marked]:
        """Every verdict that stands, in the order of first appearance."""
        return list(self._standing.values())

    @property
    def wrong_ticks(self) -> list[Marked]:
        """Verdicts that stand as pass or fail, by readings of another item: what nothing flagged."""
        return [mark for mark in self._misplaced_ones() if mark.verdict.n]

    @property
    def wrong_words(self) -> list[Marked]:
        """Verdicts that stand as pass or fail, by a word said while the tips were on another item."""
        return [mark for mark in self._misplaced_ones() if not mark.verdict.n]

    @property
    def missing(self) -> list[tuple[str, str]]:
        """Steps and items that the scene has a truth for, and the session no verdict."""
        return [
            (step, item) for step, items in self._truth.items() for item in items if (step, item) not in self._standing
        ]

    @property
    def agrees(self) -> bool:
        """Whether every verdict equals the scene's truth and none is missing."""
        return not self.missing and all(mark.agrees for mark in self._standing.values())

    def _misplaced_ones(self) -> list[Marked]:
        return [mark for mark in self._standing.values() if mark.misplaced and mark.verdict.verdict in _SAYS_SO]

    def _misplaced(self, verdict: Verdict) -> bool:
        bench, origin_s = self._bench, self._origin_s
        if verdict.n and verdict.from_s is not None:
            parts = [(part.from_s, part.t_s) for part in verdict.contacts or ()] or [(verdict.from_s, verdict.t_s)]
            parts = [(origin_s + from_s, origin_s + to_s) for from_s, to_s in parts]
            return any(self._elsewhere(verdict, bench.touched(*(bench.shown(*part) or part))) for part in parts)
        touched = bench.touched(origin_s + verdict.t_s, origin_s + verdict.t_s)
        return bool(touched) and self._elsewhere(verdict, touched)  # or said with the tips in the air

    def _elsewhere(self, verdict: Verdict, touched: Collection[str]) -> bool:
        board = self._bench.board
        name = verdict.item.removesuffix(REVERSED)
        if name not in board.parts:
            return False  # the tips together, or the step itself
        # Two names of one point are one place.
        return not any(touch in board.parts and board.parts[touch] is board.parts[name] for touch in touched)
