"""The columns of the tables that metercap gives out, the same in a DataFrame, a CSV file and a Parquet file.

`readings` has one row for each reading, `verdicts` one for each verdict in the file, in the file's order; the columns
are the same for one journal, for a job and in a data set. There are DataFrames of contacts, prompts and words as well
(`FRAMES`). `t_s`, `from_s` and `until_s` are seconds since the session's start; other numbers are in the SI unit that
the row's `unit` names.
Columns are never renamed or moved; new ones go to the end. What a record does not have is NaN in numbers,
empty in text.

    type      DataFrame                     CSV                                         Parquet
    number    float64                       shortest text that gives the same float     double
    count     Int64                         digits                                      int64
    truth     bool                          true, false                                 bool
    word      category                      text                                        string
    text      str (object before pandas 3)  text                                        string
    time      datetime64[us, UTC]           RFC 3339: 2031-03-04T05:06:07.100000Z       timestamp (µs, UTC)
"""

from __future__ import annotations

from typing import Literal, TypeAlias

import msgspec

TableName: TypeAlias = Literal["readings", "verdicts"]
FrameName: TypeAlias = Literal["readings", "contacts", "prompts", "words", "verdicts"]


class Column(msgspec.Struct, frozen=True):
    """One column: its name, its type by the words above, and what it says."""

    name: str
    type: Literal["number", "count", "truth", "word", "text", "time"]
    says: str


READINGS = (
    Column("t_s", "number", "seconds since session start of the frame's last byte"),
    Column("quantity", "word", "resistance, continuity, voltage_dc, …"),
    Column("value", "number", "in `unit`; none over range"),
    Column("resolution", "number", "weight of the last displayed digit, in `unit`"),
    Column("unit", "word", "SI base unit; degC, %"),
    Column("state", "word", "ok, over (no number: over range), blank"),
    Column("flags", "word", "auto, hold, rel, …, separated by spaces"),
    Column("raw", "text", "the frame's bytes in hex; in a DataFrame only when asked for"),
)

VERDICTS = (
    Column("t_s", "number", "seconds since session start"),
    Column("step", "word", "the step's id"),
    Column("item", "word", "the item's name"),
    Column("verdict", "word", "pass, fail, unsure, absent"),
    Column("stands", "truth", "false when a later verdict of the same item replaces this one"),
    Column("value", "number", "in `unit`"),
    Column("unit", "word", "of value, U, min, max, resolution, as_found, as_left, target, tolerance"),
    Column("U", "number", "expanded uncertainty of value"),
    Column("min", "number", "lower limit"),
    Column("max", "number", "upper limit"),
    Column("resolution", "number", "weight of the last displayed digit"),
    Column("rule", "word", "decision rule: guarded, simple"),
    Column("n", "count", "conversions it rests on"),
    Column("settled", "truth", "false for a decisive pass taken before a plateau"),
    Column("from_s", "number", "its readings lie from here to t_s"),
    Column("reason", "text", "why"),
    Column("as_found", "number", "tune: before anything was turned"),
    Column("as_left", "number", "tune: when it was left"),
    Column("target", "number", "tune: aimed at"),
    Column("tolerance", "number", "tune: half width of the band"),
    Column("excursions", "count", "tune: times past the hazard limit"),
    Column("k", "count", "runs or presses that passed"),
    Column("runs", "count", "runs or presses in all"),
    Column("low", "number", "lower end of the interval for the share that passes"),
    Column("high", "number", "upper end of that interval"),
    Column("confidence", "number", "of that interval, 0 to 1"),
    Column("condition", "word", "cell: good, weak, spent, reversed"),
    Column("accepted", "text", "why the operator leaves it as it is; none where nobody said so"),
)

STEP = Column("step", "word", "the step's id")
FROM_WHERE = (
    Column("time", "time", "the session's start by the computer's clock, plus t_s; UTC"),
    Column("tag", "word", "the unit's tag"),
    Column("journal", "word", "the file's name"),
    Column("session", "word", "the session's id"),
    Column("unit_name", "word", "what the unit is called"),
    Column("model", "word", "the unit's model, by the plan"),
    Column("meter", "word", "the meter's profile"),
)
"""The last columns of every table: when, and whose row it is."""

FRAMES: dict[FrameName, tuple[Column, ...]] = {
    "readings": (
        *READINGS,
        Column("step", "word", "the step that was open"),
        Column(
            "item",
            "word",
            "what the tips were on: empty in the air; where a step sees no contact, what was asked for",
        ),
        *FROM_WHERE,
    ),
    "contacts": (
        Column("t_s", "number", "when the tips touched, seconds since session start"),
        Column("until_s", "number", "when they came off; none where that was not seen"),
        STEP,
        Column("item", "word", "the item's name"),
        Column("same", "truth", "true for a slip, whose item is the one ticked before"),
        *FROM_WHERE,
    ),
    "prompts": (
        Column("t_s", "number", "seconds since session start"),
        STEP,
        Column("item", "word", "the item's name; empty where it is about none"),
        Column("do", "word", "what the hands are asked for: probe, lift, turn, …"),
        Column("say", "text", "the line that was shown and spoken"),
        Column("quantity", "word", "what the meter must be set to, where that is asked"),
        *FROM_WHERE,
    ),
    "words": (
        Column("t_s", "number", "seconds since session start"),
        Column("word", "word", "what the operator said"),
        Column("text", "text", "what the word was said of"),
        Column("source", "word", "key, pedal, line, token, page"),
        *FROM_WHERE,
    ),
    "verdicts": (*VERDICTS, *FROM_WHERE),
}
"""DataFrames of `metercap.load`."""

TABLES: dict[TableName, tuple[Column, ...]] = {"readings": FRAMES["readings"], "verdicts": FRAMES["verdicts"]}
"""Tables that are written to files."""
