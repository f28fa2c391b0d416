"""Still dead? A unit that was proved dead, put aside and taken again: by the operator's word and one touch, or anew.

The word says that nothing was connected since; the touch, at the first point that the proof was made at, that it reads
dead in dc. Whatever else is said or read there asks for the whole proof.
"""

from __future__ import annotations

from enum import StrEnum

import msgspec
from msgspec import UNSET

from metercap.asks import Asks
from metercap.plankeys import SafeStep
from metercap.quantity import Quantity, format_value
from metercap.records import Do, Verdict, VerdictKind
from metercap.steps.bench import Bench
from metercap.steps.facts import SafeFacts
from metercap.steps.machine import Cells, Given, Look, Row, table
from metercap.steps.safe import Safe
from metercap.steps.safe.table import TABLE, SafeSign, SafeState

STILL_S = 1800.0
"""How long after the proof a word and a touch may stand for it (common practice, no source)."""


class Proof(msgspec.Struct, frozen=True):
    """That a unit was proved dead: by which `step`, at `t_s`, with the verdicts that said so."""

    step: str
    t_s: float
    verdicts: tuple[Verdict, ...] = ()

    def holds(self, t_s: float) -> bool:
        """Return whether the word may still be asked for."""
        return t_s < self.t_s + STILL_S

    @property
    def point(self) -> str:
        """The first point that it was made at; empty where there is none."""
        dead = (each.item for each in self.verdicts if each.verdict is VerdictKind.PASS and each.item != self.step)
        return next(dead, "")


class StillState(StrEnum):
    """States before those of the whole proof: the word, the touch, its `yes` waiting for two values, live there."""

    ASK = "ask"
    TOUCH = "touch"
    TOUCHED = "touched"
    LIVE = "found live"


class StillSign(StrEnum):
    """Whether the proof is young enough for a word."""

    FRESH = "within half an hour"
    STALE = "too old"


_State, _Sign = StillState, StillSign
_WHOLE = Row("whole", SafeState.BEFORE, asks=True)
_ANEW: Cells = {
    Given.SKIP: _WHOLE,
    Given.NO: _WHOLE,
    Given.ABSENT: _WHOLE,
    Given.BACK: _WHOLE,
    Given.AGAIN: _WHOLE,
    Given.SKIP_STEP: Row("give_up", SafeState.END),
}


class StillDead(Safe):
    """Asks for the word, then for the touch; a no, a skip or a voltage leads to the whole proof."""

    TABLE = {  # noqa: RUF012 - declared Mapping in the base
        **TABLE,
        **table(
            {
                _State.ASK: {
                    **_ANEW,
                    Given.YES: Look("how_old", (_Sign.FRESH, _Sign.STALE)),
                    _Sign.FRESH: Row("touch", _State.TOUCH, asks=True),
                    _Sign.STALE: Row("too_old", SafeState.BEFORE, asks=True),
                },
                _State.TOUCH: {
                    **_ANEW,
                    Given.VALUE: Look("watch", (SafeSign.LIVE, SafeSign.DEAD_AGAIN)),
                    SafeSign.LIVE: Row("stop", _State.LIVE),
                    SafeSign.DEAD_AGAIN: _WHOLE,
                    Given.YES: Look("hear", (SafeSign.HELD_BACK, SafeSign.SOON, SafeSign.HEARD)),
                    SafeSign.HELD_BACK: Row("say_again", None),
                    SafeSign.SOON: Row("too_soon", None),
                    SafeSign.HEARD: Row("heard", _State.TOUCHED),
                    Given.BLOCKED: Row("drop", None),
                },
                _State.TOUCHED: {
                    **_ANEW,
                    Given.VALUE: Look("two_values", (SafeSign.DEAD, SafeSign.LIVE, SafeSign.COARSE)),
                    SafeSign.DEAD: Row("still_dead", SafeState.END),
                    SafeSign.LIVE: Row("stop_after_yes", _State.LIVE),
                    SafeSign.COARSE: Row("too_coarse", _State.TOUCH),
                    Given.YES: Row("", None),
                    Given.BLOCKED: Row("drop", _State.TOUCH),
                },
                _State.LIVE: {
                    **_ANEW,
                    Given.VALUE: Look("watch", (SafeSign.LIVE, SafeSign.DEAD_AGAIN)),
                    SafeSign.LIVE: Row("stop", None),
                    SafeSign.DEAD_AGAIN: _WHOLE,
                    Given.YES: Row("say_again", None),
                    Given.BLOCKED: Row("drop", None),
                },
            }
        ),
    }

    def __init__(self, step: SafeStep, bench: Bench, proof: Proof) -> None:
        super().__init__(step, bench)
        self._proof = proof
        self._all = self._round
        self.state = StillState.ASK
        self.since_s: float | None = None
        """When the proof was made that the word and the touch stand for, once they do."""

    @property
    def item(self) -> str:
        """The point that is touched, or what the whole proof is at."""
        if self.state in (StillState.TOUCH, StillState.TOUCHED, StillState.LIVE):
            return self._proof.point
        return super().item

    @property
    def wanted(self) -> tuple[Quantity, ...]:
        """Nothing while a word is asked for."""
        return () if self.state is StillState.ASK else super().wanted

    @property
    def has_behind(self) -> bool:
        """False where nothing of the step is done."""
        return self.state is not StillState.ASK and super().has_behind

    def facts(self) -> SafeFacts:
        """Where the proof stands; before it while a word is asked for."""
        if self.state is not StillState.ASK:
            return super().facts()
        volts = Quantity.VOLTAGE_DC
        return SafeFacts(
            part="before",
            source=self._step.source,
            quantity=volts,
            heard=False,
            live=False,
            done=0,
            of=len(self._all),
            limits=None,
        )

    def start(self) -> None:
        """Ask for the word."""
        self.bench.changed()
        self.resume()

    def resume(self) -> None:
        """Ask for the word, for the touch, or for what the whole proof asks for."""
        if self.state is StillState.ASK:
            minutes_s = 60.0 * max(1.0, round((self.bench.t_s - self._proof.t_s) / 60.0))
            ago = format_value(minutes_s, "s")
            say = f"unplugged, and nothing connected since it was proved dead {ago} ago? no: prove it again"
            self.bench.urge(Do.ANSWER, self.step.id, say, asks=Asks.SINCE)
        elif self.state in (StillState.TOUCH, StillState.TOUCHED):
            point = self._proof.point
            text = f"{point}, volts dc: hold both tips on it, say yes, hold on until the tick"
            self._asked_s = self.bench.t_s
            self.bench.prompt(Do.ANSWER, point, text, quantity=Quantity.VOLTAGE_DC, asks=Asks.POINT)
        else:
            super().resume()

    def how_old(self) -> StillSign:
        """Look whether a word may stand for the proof."""
        return StillSign.FRESH if self._proof.holds(self.bench.t_s) else StillSign.STALE

    def touch(self) -> None:
        """Nothing was connected, by the operator's word: one touch in dc must say the same."""
        self._round = [(self._proof.point, Quantity.VOLTAGE_DC)]

    def too_old(self) -> None:
        """Half an hour is over."""
        self.bench.note("the proof is too old by now: prove it again")
        self.whole()

    def whole(self) -> None:
        """The whole proof, from its source on."""
        self._round, self._at = self._all, 0

    def give_up(self) -> None:
        """End without proof."""
        self.whole()
        self.skip_step()

    def still_dead(self) -> None:
        """The point is dead: so is the unit, by the proof before, the word, and this."""
        point = self._proof.point
        self.prove()
        for verdict in self._proof.verdicts:
            if verdict.item not in (point, self.step.id):
                # Its readings are in that session's file, not in this one's time.
                old = msgspec.structs.replace(verdict, from_s=None, contacts=UNSET)
                self.bench.verdicts[verdict.step, verdict.item] = old
                self.bench.replace(verdict.step, verdict.item, verdict.verdict, "nothing connected since")
        reason = f"proved dead before, nothing connected since by the operator's word; {point} dead again in dc"
        self.bench.give(self.step.id, VerdictKind.PASS, reason=reason)
        self.since_s = self._proof.t_s
