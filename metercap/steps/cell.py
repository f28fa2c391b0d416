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
from metercap.steps.listed import Listed
from metercap.steps.machine import Given, Row, words_rows

LEAST_DROP_COUNTS = 20.0
"""A load whose drop is smaller says nothing about the cell's resistance."""
REVERSED_V = 0.5
OPEN_TIPS_V = 0.1
"""Below this open tips and a dead cell read alike (common practice, no source)."""


class S(StrEnum):
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
    END = "end"


_NEXT = (S.OPEN, S.END)
_GIVEN = (S.SPENT, *_NEXT)
"""What follows a verdict."""


class Cell(Listed):
    """Unloaded, then loaded where the plan names a load."""

    FIRST, END = S.OPEN, S.END
    AFTER_VERDICT = (S.SPENT,)
    TABLE = {  # noqa: RUF012
        (S.OPEN, Given.CONTACT): Row("contact", (S.ON,)),
        (S.OPEN, Given.DUE): Row("waiting", (S.OPEN,)),
        (S.OPEN, Given.YES): Row("dead", (S.OPEN, S.SPENT)),
        (S.OPEN, Given.GO): Row("stay", (S.OPEN,)),
        (S.ON, Given.VALUE): Row("value", (S.ON, S.POLARITY, S.LOAD, *_GIVEN)),
        (S.ON, Given.ENDED): Row("parted", (S.OPEN,)),
        (S.POLARITY, Given.YES): Row("is_reversed", _NEXT),
        (S.POLARITY, Given.NO): Row("again", (S.OPEN,)),
        (S.POLARITY, Given.GO): Row("stay", (S.POLARITY,)),
        (S.LOAD, Given.VALUE): Row("load_on", (S.LOAD, S.LOADED)),
        (S.LOAD, Given.ENDED): Row("parted", (S.OPEN,)),
        (S.LOADED, Given.VALUE): Row("loaded", (S.LOADED, *_NEXT)),
        (S.LOADED, Given.DUE): Row("loaded", (S.LOADED, *_NEXT)),
        (S.LOADED, Given.ENDED): Row("parted", (S.OPEN,)),
        (S.SPENT, Given.YES): Row("replaced", (S.OPEN,)),
        (S.SPENT, Given.NO): Row("decided", _NEXT),
        (S.SPENT, Given.SKIP): Row("decided", _NEXT),
        (S.SPENT, Given.GO): Row("stay", (S.SPENT,)),
        **words_rows(
            (S.SPENT,),
            {
                Given.REPLACED: Row("replaced", (S.OPEN,)),
                Given.AGAIN: Row("again", (S.OPEN,)),
                Given.BACK: Row("again", (S.OPEN,)),
                Given.AT: Row("to_item", (S.OPEN, S.SPENT)),
                Given.ABSENT: Row("absent", _NEXT),
                Given.SKIP_STEP: Row("skip_step", (S.END,)),
            },
        ),
        **words_rows(
            (S.OPEN, S.ON, S.POLARITY, S.LOAD, S.LOADED),
            {
                Given.REPLACED: Row("replaced", (S.OPEN,)),
                Given.SKIP: Row("skip", _NEXT),
                Given.ABSENT: Row("absent", _NEXT),
                Given.OPEN: Row("is_open", _NEXT),
                Given.AGAIN: Row("again", (S.OPEN,)),
                Given.BACK: Row("back", (S.OPEN,)),
                Given.AT: Row("to_item", (S.OPEN, S.ON, S.POLARITY, S.LOAD, S.LOADED)),
                Given.SKIP_STEP: Row("skip_step", (S.END,)),
            },
        ),
    }

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
        settled = self.state in (S.POLARITY, S.LOAD, S.LOADED) and self._judged is not None
        return CellFacts(
            **self.told,
            until_s=self.deadline_s if self.state is S.LOADED else None,
            chemistry=self._step.chemistry,
            volt=self._judged.value if settled and self._judged is not None else None,
            spent_volt=self._chemistry.spent,
            load_ohm=self._step.load,
            load_s=self._step.load_s,
            loaded=self.state is S.LOADED,
            found=self._found,
        )

    def resume(self) -> None:
        """Prompt for what is open."""
        if self.state is S.POLARITY:
            self._ask_polarity()
        elif self.state is S.SPENT:
            self._ask_replaced()
        elif self.state in (S.LOAD, S.LOADED):
            self._ask_load()
        else:
            self.arm()
            item = self._items[self._at]
            how = f", {item.connected}" if item.connected else ""
            self.say(Do.PROBE, f"{item.name}{how}: red on {item.red or '+'}, black on {item.black or '−'}")

    def see(self, reading: Reading, act: object, new: bool) -> None:
        """Keep what reads about zero, for a `yes` on a dead cell."""
        if new and self.state is S.OPEN and self.is_off(reading):
            self._idle.feed(reading)
        super().see(reading, act, new)  # type: ignore[arg-type]

    def blocked(self) -> None:
        """What was gathered is worth nothing."""
        self._idle = Burst(self.bench.t_s)
        self.deadline_s = None
        if self.state in (S.ON, S.LOAD, S.LOADED):
            self.state = S.OPEN

    # --- unloaded

    def contact(self) -> StrEnum:
        """The tips are on a voltage."""
        self.deadline_s = None
        self._burst = self.bench.burst()
        return S.ON

    def value(self) -> StrEnum:
        """A new conversion."""
        reading = self.reading
        if reading is None or reading.value is None:
            return S.ON
        self._burst.feed(reading)
        flat = self._burst.plateau()
        if flat is None:
            return S.ON
        self._flat = flat
        self._judged = self._judge(reading, flat)
        if flat.value < -REVERSED_V:
            self.state = S.POLARITY
            self._ask_polarity()
            return S.POLARITY
        if self._step.load is not None and flat.value >= self._chemistry.spent:
            self.state = S.LOAD
            self._ask_load()
            return S.LOAD
        return self._decide(self._judged, flat)

    def _judge(self, reading: Reading, flat: Plateau) -> Judgement:
        values = tuple(self.bench.judge.corrected(kept) for kept in self._burst.kept[-flat.n :])
        return self.bench.judge.judge(reading, self._limits, conversions=values)

    def _decide(self, judged: Judgement, flat: Plateau) -> StrEnum:
        chemistry, value = self._chemistry, judged.value
        if judged.verdict is VerdictKind.PASS:
            return self._give(VerdictKind.PASS, "good", judged, flat, "unloaded voltage does not show what is left")
        if value < chemistry.spent:
            return self._give(VerdictKind.FAIL, "spent", judged, flat, "")
        if value < chemistry.doubtful:
            return self._give(VerdictKind.FAIL, "weak", judged, flat, "")
        return self._give(VerdictKind.UNSURE, "weak", judged, flat, "load it")

    # --- polarity

    def _ask_polarity(self) -> None:
        shown = format_value(self._flat.value, "V", self._flat.resolution) if self._flat is not None else "negative"
        self.say(Do.ANSWER, f"{self.item} reads {shown}: is red on +? yes or no", asks=Asks.POLARITY)

    def is_reversed(self) -> StrEnum:
        """Red is on +, and it reads negative."""
        flat, judged = self._flat, self._judged
        if flat is None or judged is None:
            return self.again()
        return self._give(VerdictKind.FAIL, "reversed", judged, flat, "negative with red on +, by the operator's yes")

    # --- loaded

    def _ask_load(self) -> None:
        load = format_value(self._step.load or 0.0, "ohm")
        text = f"{self.item}: keep the tips on and put {load} across it for {self._step.load_s:g} s"
        self.say(Do.KEEP, text, asks=Asks.LOAD, load_ohm=self._step.load or 0.0, keep=True)

    def load_on(self) -> StrEnum:
        """Wait for the drop that shows the load."""
        reading, flat = self.reading, self._flat
        if reading is None or reading.value is None or flat is None:
            return S.LOAD
        if flat.value - reading.value < LEAST_DROP_COUNTS * reading.resolution:
            return S.LOAD
        self._burst = self.bench.burst()
        self.deadline_s = at(self.bench.t_s + self._step.load_s)
        return S.LOADED

    def loaded(self) -> StrEnum:
        """Under load: read the voltage when `load_s` is over."""
        reading, flat, unloaded = self.reading, self._flat, self._judged
        if reading is None or reading.value is None or flat is None or unloaded is None:
            return S.LOADED
        if not self._burst.kept or self._burst.kept[-1] is not reading:
            self._burst.feed(reading)
        due = self.deadline_s is not None and self.bench.t_s >= self.deadline_s
        if due:
            self.deadline_s = None
        pair = self._burst.pair
        if self.deadline_s is not None or pair is None:
            return S.LOADED
        value = self.bench.judge.corrected(pair[1])
        drop = round6(unloaded.value - value)
        load = self._step.load or 0.0
        if drop < LEAST_DROP_COUNTS * reading.resolution or value <= 0:
            shown = format_value(drop, "V", reading.resolution)
            reason = f"the load drops it by {shown} only, under {LEAST_DROP_COUNTS:g} counts: take a smaller resistor"
            return self._give(VerdictKind.UNSURE, "good", unloaded, flat, reason)
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
        return self._give(kind, condition, unloaded, flat, said)

    # --- words

    def dead(self) -> StrEnum:
        """Yes, the tips are on it, and it reads about zero."""
        pair = self._idle.pair
        if pair is None:
            self.bench.cue(CueKind.AGAIN, self.item)
            return S.OPEN
        judged = self.bench.judge.judge(pair[1], self._limits)
        return self._conclude(
            VerdictKind.FAIL, "spent", judged, "about zero, by the operator's yes", n=2, from_s=pair[0].t_s
        )

    def replaced(self) -> StrEnum:
        """A new one is in: note it for the list of parts, and measure it; what the old one read is as found."""
        old = self.bench.verdicts.get((self.step.id, self.item))
        found = self._found if self._found is not None else None if old is None else old.value
        part = self.text or self.item
        self.again()
        self._found, self._part = found, part
        self.bench.replaced(self.item, part)
        return S.OPEN

    def _ask_replaced(self) -> None:
        ask = "replaced measures the new one and lists it, no leaves it"
        self.say(Do.ANSWER, f"{self.item} is spent: replaced? {ask}", asks=Asks.REPLACED)

    def _give(self, verdict: VerdictKind, condition: str, judged: Judgement, flat: Plateau, reason: str) -> StrEnum:
        return self._conclude(verdict, condition, judged, reason, n=flat.n, from_s=flat.from_s)

    def _conclude(
        self, verdict: VerdictKind, condition: str, judged: Judgement, reason: str, *, n: int, from_s: float
    ) -> StrEnum:
        """Give the verdict; of a cell that was replaced with what the old one read. A spent one is asked about."""
        how = self._items[self._at].connected
        left: dict[str, Any] = {} if self._part is None else {"as_found": self._found, "as_left": judged.value}
        new = "" if self._part is None else f"replaced, {self._part}"
        self.bench.give(
            self.item,
            verdict,
            judged=judged,
            limits=self._limits,
            reason="; ".join(part for part in (reason, how, new) if part),
            n=n,
            from_s=from_s,
            settled=True,
            condition=condition,
            **left,
        )
        self.bench.ticked = (self.step.id, self.item)
        if condition != "spent":
            return self.decided()
        self.deadline_s = None
        self.state = S.SPENT
        self._ask_replaced()
        return S.SPENT
