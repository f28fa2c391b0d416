"""cell: a backup cell's voltage by chemistry, its polarity, and its internal resistance under a load.

Unloaded voltage does not show remaining capacity; the load tells more. A spent one is asked about: `replaced` measures
the new one, keeps both values, as found and as left, and enters the list of parts. Never heat, short, reverse or charge
a primary lithium cell.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

import msgspec

from metercap.asks import Asks
from metercap.contact import Burst, Plateau
from metercap.judging.judge import Judgement, Limits
from metercap.metrology.domain import round6
from metercap.plankeys.cell import CHEMISTRIES, CellStep
from metercap.quantity import format_value
from metercap.reading import Reading
from metercap.records import CueKind, Do, VerdictKind, at
from metercap.steps.bench import Bench
from metercap.steps.facts import CellFacts
from metercap.steps.listed import Listed, item_words, next_item
from metercap.steps.machine import Cells, Given, Look, Row, table

LEAST_DROP_COUNTS = 20.0
"""A load whose drop is smaller says nothing about the cell's resistance."""
REVERSED_V = 0.5
OPEN_TIPS_V = 0.1
"""Below this open tips and a dead cell read alike (common practice, no source)."""


class CellState(StrEnum):
    """States of a cell's measurement."""

    OPEN = "open"
    """Asking for the tips."""
    ON = "on"
    POLARITY = "polarity"
    """It reads negative: is red on +?"""
    LOAD = "load"
    """Asking for the load, tips on."""
    LOADED = "loaded"
    """The load is on; waiting out `load_s`."""
    SPENT = "spent"
    """It is spent: replaced?"""
    NEXT = "next"
    """A cell was decided."""
    END = "end"


class CellSign(StrEnum):
    """What an input turns out to be."""

    ZERO = "about zero"
    NO_ZERO = "not about zero"
    SETTLED = "settled"
    SPENT = "settled, spent"
    NEGATIVE = "settled, negative"
    TO_LOAD = "settled, to be loaded"
    DROPS = "drops"
    READ = "read under load"


_State, _Sign = CellState, CellSign

_ANY: Cells = {
    **item_words(_State.NEXT, _State.END),
    Given.REPLACED: Row("replaced", _State.OPEN, asks=True),
    Given.AGAIN: Row("again", _State.OPEN, asks=True),
}
_WORDS: Cells = {
    **_ANY,
    Given.SKIP: Row("skip", _State.NEXT),
    Given.OPEN: Row("is_open", _State.NEXT),
    Given.BACK: Row("back", _State.NEXT),
}
_TOUCHING: Cells = {**_WORDS, Given.ENDED: Row("parted", _State.OPEN), Given.BLOCKED: Row("drop", _State.OPEN)}


class Cell(Listed):
    """Unloaded, then loaded where the plan names a load."""

    NEXT = CellState.NEXT
    AFTER_VERDICT = (CellState.SPENT,)
    TABLE = table(
        {
            _State.OPEN: {
                **_WORDS,
                Given.CONTACT: Row("contact", _State.ON),
                Given.DUE: Row("waiting", None),
                Given.YES: Look("reads_zero", (_Sign.ZERO, _Sign.NO_ZERO)),
                _Sign.ZERO: Row("dead", _State.SPENT, asks=True),
                _Sign.NO_ZERO: Row("touch_again", None),
                Given.BLOCKED: Row("drop", None),
            },
            _State.ON: {
                **_TOUCHING,
                Given.VALUE: Look("settle", (_Sign.SETTLED, _Sign.SPENT, _Sign.NEGATIVE, _Sign.TO_LOAD)),
                _Sign.SETTLED: Row("decide", _State.NEXT),
                _Sign.SPENT: Row("spent", _State.SPENT, asks=True),
                _Sign.NEGATIVE: Row("", _State.POLARITY, asks=True),
                _Sign.TO_LOAD: Row("", _State.LOAD, asks=True),
            },
            _State.POLARITY: {
                **_WORDS,
                Given.YES: Row("is_reversed", _State.NEXT),
                Given.NO: Row("again", _State.OPEN, asks=True),
                Given.BLOCKED: Row("drop", None),
            },
            _State.LOAD: {
                **_TOUCHING,
                Given.VALUE: Look("load_shows", (_Sign.DROPS,)),
                _Sign.DROPS: Row("load_on", _State.LOADED),
            },
            _State.LOADED: {
                **_TOUCHING,
                Given.VALUE: Look("under_load", (_Sign.READ,)),
                Given.DUE: Look("under_load", (_Sign.READ,)),
                _Sign.READ: Row("decide_loaded", _State.NEXT),
            },
            _State.SPENT: {
                **_ANY,
                Given.YES: Row("replaced", _State.OPEN, asks=True),
                Given.NO: Row("decided", _State.NEXT),
                Given.SKIP: Row("decided", _State.NEXT),
                Given.BACK: Row("again", _State.OPEN, asks=True),
                Given.BLOCKED: Row("drop", None),
            },
            _State.NEXT: next_item(_State.OPEN, _State.END),
        }
    )

    def __init__(self, step: CellStep, bench: Bench) -> None:
        self._chemistry = CHEMISTRIES[step.chemistry]
        super().__init__(step, bench, Limits(self._chemistry.good, None, "V", step.rule or bench.rule))
        self._step = step
        self.fresh()

    def fresh(self) -> None:
        """Forget the cell before."""
        self._burst = Burst(self.bench.t_s)
        self._idle = Burst(self.bench.t_s)
        self._flat: Plateau | None = None
        self._judged: Judgement | None = None
        self._found: float | None = None
        """Volts of the cell that was replaced; None where none was, or it was not measured."""
        self._part: str | None = None
        """What the operator called the new one."""

    def is_off(self, reading: Reading) -> bool:
        """About zero: open tips, or a dead cell (then the operator's yes decides)."""
        return reading.value is not None and abs(reading.value) < OPEN_TIPS_V

    def facts(self) -> CellFacts:
        """What the cell in turn reads, and the load."""
        settled = self.state in (CellState.POLARITY, CellState.LOAD, CellState.LOADED) and self._judged is not None
        return CellFacts(
            **self.told,
            until_s=self.deadline_s if self.state is CellState.LOADED else None,
            chemistry=self._step.chemistry,
            volt=self._judged.value if settled and self._judged is not None else None,
            spent_volt=self._chemistry.spent,
            load_ohm=self._step.load,
            load_s=self._step.load_s,
            loaded=self.state is CellState.LOADED,
            found=self._found,
        )

    def resume(self) -> None:
        """Prompt for what is open."""
        if self.state is CellState.POLARITY:
            self._ask_polarity()
        elif self.state is CellState.SPENT:
            self._ask_replaced()
        elif self.state in (CellState.LOAD, CellState.LOADED):
            self._ask_load()
        else:
            self.arm()
            item = self._items[self._at]
            how = f", {item.connected}" if item.connected else ""
            self.say(Do.PROBE, f"{item.name}{how}: red on {item.red or '+'}, black on {item.black or '−'}")

    def see(self, reading: Reading, act: object, new: bool) -> None:
        """Keep what reads about zero, for a `yes` on a dead cell."""
        if new and self.state is CellState.OPEN:
            if self.is_off(reading):
                self._idle.feed(reading)
            else:  # what was about zero was the air
                self._idle = Burst(self.bench.t_s)
        super().see(reading, act, new)  # type: ignore[arg-type]

    def drop(self) -> None:
        """What was gathered is worth nothing."""
        self._idle = Burst(self.bench.t_s)
        self.deadline_s = None

    # --- unloaded

    def contact(self) -> None:
        """The tips are on a voltage."""
        self.deadline_s = None
        self._burst = self.bench.burst()

    def settle(self) -> CellSign | None:
        """Take a new conversion, unloaded."""
        reading = self.reading
        if reading is None or reading.value is None:
            return None
        self._burst.feed(reading)
        flat = self._burst.plateau()
        if flat is None:
            return None
        self._flat, self._judged = flat, self._judge(reading, flat)
        if flat.value < -REVERSED_V:
            return CellSign.NEGATIVE
        if self._step.load is not None and flat.value >= self._chemistry.spent:
            return CellSign.TO_LOAD
        return CellSign.SPENT if self._is_spent(self._judged) else CellSign.SETTLED

    def _is_spent(self, judged: Judgement) -> bool:
        return judged.verdict is not VerdictKind.PASS and judged.value < self._chemistry.spent

    def _judge(self, reading: Reading, flat: Plateau) -> Judgement:
        values = tuple(self.bench.judge.corrected(kept) for kept in self._burst.kept[-flat.n :])
        return self.bench.judge.judge(reading, self._limits, conversions=values)

    def _unloaded(self) -> tuple[Judgement, Plateau]:
        if self._judged is None or self._flat is None:
            raise AssertionError("decided without a settled value")
        return self._judged, self._flat

    def decide(self) -> None:
        """The unloaded voltage decides."""
        judged, flat = self._unloaded()
        if judged.verdict is VerdictKind.PASS:
            self._give(VerdictKind.PASS, "good", judged, flat, "unloaded voltage does not show what is left")
        elif judged.value < self._chemistry.doubtful:
            self._give(VerdictKind.FAIL, "weak", judged, flat, "")
        else:
            self._give(VerdictKind.UNSURE, "weak", judged, flat, "load it")
        self.decided()

    def spent(self) -> None:
        """So low that it is spent."""
        judged, flat = self._unloaded()
        self._give(VerdictKind.FAIL, "spent", judged, flat, "")
        self.deadline_s = None

    # --- polarity

    def _ask_polarity(self) -> None:
        shown = format_value(self._flat.value, "V", self._flat.resolution) if self._flat is not None else "negative"
        self.say(Do.ANSWER, f"{self.item} reads {shown}: is red on +? yes or no", asks=Asks.POLARITY)

    def is_reversed(self) -> None:
        """Red is on +, and it reads negative."""
        judged, flat = self._unloaded()
        self._give(VerdictKind.FAIL, "reversed", judged, flat, "negative with red on +, by the operator's yes")
        self.decided()

    # --- loaded

    def _ask_load(self) -> None:
        load = format_value(self._step.load or 0.0, "ohm")
        text = f"{self.item}: keep the tips on and put {load} across it for {self._step.load_s:g} s"
        self.say(Do.KEEP, text, asks=Asks.LOAD, load_ohm=self._step.load or 0.0, keep=True)

    def load_shows(self) -> CellSign | None:
        """Wait for the drop that shows the load."""
        reading, flat = self.reading, self._flat
        if reading is None or reading.value is None or flat is None:
            return None
        return CellSign.DROPS if flat.value - reading.value >= LEAST_DROP_COUNTS * reading.resolution else None

    def load_on(self) -> None:
        """The load is on: it stays so for `load_s`."""
        self._burst = self.bench.burst()
        self.deadline_s = at(self.bench.t_s + self._step.load_s)

    def under_load(self) -> CellSign | None:
        """Read the voltage when `load_s` is over."""
        reading = self.reading
        if self.deadline_s is not None and self.bench.t_s >= self.deadline_s:
            self.deadline_s = None
        if reading is None or reading.value is None:
            return None
        if not self._burst.kept or self._burst.kept[-1] is not reading:
            self._burst.feed(reading)
        return None if self.deadline_s is not None or self._burst.pair is None else CellSign.READ

    def decide_loaded(self) -> None:
        """The voltage under load decides."""
        reading, pair = self.reading, self._burst.pair
        unloaded, flat = self._unloaded()
        if reading is None or pair is None:
            raise AssertionError("decided without a value under load")
        value = self.bench.judge.corrected(pair[1])
        drop = round6(unloaded.value - value)
        load = self._step.load or 0.0
        if drop < LEAST_DROP_COUNTS * reading.resolution or value <= 0:
            shown = format_value(drop, "V", reading.resolution)
            reason = f"the load drops it by {shown} only, under {LEAST_DROP_COUNTS:g} counts: take a smaller resistor"
            self._give(VerdictKind.UNSURE, "good", unloaded, flat, reason)
            self.decided()
            return
        inner = round6(load * drop / value)
        expanded, _ = self.bench.judge.expanded(pair[1])
        said = f"{format_value(value, 'V', reading.resolution)} loaded, internal {format_value(inner, 'ohm')}"
        unloaded = msgspec.structs.replace(unloaded, reason="")  # the load decides, not the unloaded limit
        if value - expanded >= self._chemistry.loaded:
            kind, condition = VerdictKind.PASS, "good"
        elif value + expanded < self._chemistry.loaded:
            kind, condition = VerdictKind.FAIL, "weak"
        else:
            kind, condition = VerdictKind.UNSURE, "weak"
        self._give(kind, condition, unloaded, flat, said)
        self.decided()

    # --- words

    def reads_zero(self) -> CellSign:
        """Yes, the tips are on it: look whether it reads about zero."""
        return CellSign.NO_ZERO if self._idle.pair is None else CellSign.ZERO

    def touch_again(self) -> None:
        """It does not, or not yet."""
        self.bench.cue(CueKind.AGAIN, self.item)

    def dead(self) -> None:
        """It does: there is nothing left in it."""
        pair = self._idle.pair
        if pair is None:
            raise AssertionError("about zero without two conversions that show it")
        judged = self.bench.judge.judge(pair[1], self._limits)
        reason = "about zero, by the operator's yes"
        self._conclude(VerdictKind.FAIL, "spent", judged, reason, n=2, from_s=pair[0].t_s)
        self.deadline_s = None

    def replaced(self) -> None:
        """A new one is in: note it for the list of parts, and measure it; what the old one read is as found."""
        old = self.bench.verdicts.get((self.step.id, self.item))
        found = self._found if self._found is not None else None if old is None else old.value
        part = self.text or self.item
        self.again()
        self._found, self._part = found, part
        self.bench.replaced(self.item, part)

    def _ask_replaced(self) -> None:
        ask = "replaced measures the new one and lists it, no leaves it"
        self.say(Do.ANSWER, f"{self.item} is spent: replaced? {ask}", asks=Asks.REPLACED)

    def _give(self, verdict: VerdictKind, condition: str, judged: Judgement, flat: Plateau, reason: str) -> None:
        self._conclude(verdict, condition, judged, reason, n=flat.n, from_s=flat.from_s)

    def _conclude(
        self, verdict: VerdictKind, condition: str, judged: Judgement, reason: str, *, n: int, from_s: float
    ) -> None:
        """Give the verdict; of a cell that was replaced with what the old one read."""
        how = self._items[self._at].connected
        left: dict[str, Any] = {} if self._part is None else {"as_found": self._found, "as_left": judged.value}
        self.bench.give(
            self.item,
            verdict,
            judged=judged,
            limits=self._limits,
            reason="; ".join(part for part in (reason, how) if part),
            n=n,
            from_s=from_s,
            settled=True,
            condition=condition,
            **left,
        )
        self.bench.ticked = (self.step.id, self.item)
