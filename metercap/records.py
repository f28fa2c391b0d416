"""Every event and outcome, the two bounding records, and their JSON.

Events go into a session: `Reading`, `Garbage`, `Operator`, `Link`, `Clock`. Outcomes come out of it: `Contact`,
`Lift`, `Prompt`, `Cue`, `Verdict`, `Found`, `Count`, `Excursion`, `Note`. `SessionRecord` opens a journal and
`EndRecord` closes it.

All are frozen, and each encodes to one JSON object whose `kind` comes first. What is fed is what is journaled.

This module is the grammar of the journal's lines without their checksum; `journal` adds that.
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import Any, Literal, TypeAlias

import msgspec
from msgspec import UNSET, UnsetType

from metercap.asks import ANSWERS, Asks, Range
from metercap.errors import JournalError
from metercap.gate import json_bytes
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.reading import Garbage, Reading
from metercap.rests import Count, Found, Rests, Touched
from metercap.symptom import Symptom

SCHEMA = 2
"""Version of the journal's records; a reader refuses newer ones. Older files open, verify, report and export as before,
but their outcomes are not derived again: the rules have changed since."""

REPAIR_NOTE = "repair: "
"""How the text of a note begins that stands where a repair left a gap: what follows cannot be derived again."""


GOOD_NOTE = "this unit is good for "
"""How the text of a note begins that marks a unit good for one step; the step's id and a colon follow."""

WAIVED_NOTE = "ohms without proof that the unit is dead, by the operator's word: "
"""How the text of a note begins that tells of a waived proof; the reason follows."""
PART_NOTE = "part replaced: "
"""How the text of a note begins that tells of a new part; item and step follow, and what it is where that was said."""


class VerdictKind(StrEnum):
    """What a decision says. `unsure` is a verdict, never a stand-in for a missing one."""

    PASS = "pass"
    FAIL = "fail"
    UNSURE = "unsure"
    ABSENT = "absent"


class CueKind(StrEnum):
    """What the technician hears and sees at once."""

    CONTACT = "contact"
    PASS = "pass"
    FAIL = "fail"
    UNSURE = "unsure"
    ABSENT = "absent"
    SKIP = "skip"
    GO = "go"
    LIFT = "lift"
    AGAIN = "again"
    WAITING = "waiting"
    STOP = "stop"
    HAZARD = "hazard"
    FAR = "far"
    NEAR = "near"
    SLOW = "slow"
    IN_BAND = "in band"
    WRONG_WAY = "wrong way"
    PAST_IT = "past it"


class Do(StrEnum):
    """What a prompt asks of the hands."""

    CONFIRM = "confirm"
    DIAL = "dial"
    SHORT = "short"
    """Put the tips together."""
    PROBE = "probe"
    LIFT = "lift"
    PRESS = "press"
    RELEASE = "release"
    TURN = "turn"
    STOP = "stop"
    KEEP = "keep"
    WAIT = "wait"
    ANSWER = "answer"


class LinkState(StrEnum):
    """How the link to the meter is."""

    UP = "up"
    SILENT = "silent"
    GARBAGE = "garbage"
    LOST = "lost"


class Operator(msgspec.Struct, frozen=True, tag_field="kind", tag="operator"):
    """A word of the operator; `text` is its argument (an item, a note, a token's value), or empty.

    `source` says how it was given: `key`, `pedal`, `line`, `token`, `page`; empty in files of schema 1.
    """

    t_s: float
    word: str
    text: str = ""
    source: str = ""


class Link(msgspec.Struct, frozen=True, tag_field="kind", tag="link"):
    """The link changed; `why` says what was seen and what to try."""

    t_s: float
    state: LinkState
    why: str = ""


class Clock(msgspec.Struct, frozen=True, tag_field="kind", tag="clock"):
    """A deadline passed: `t_s` is the deadline itself, not the moment somebody woke up. `due` is a step's id."""

    t_s: float
    due: str = ""


class Contact(msgspec.Struct, frozen=True, tag_field="kind", tag="contact"):
    """The probes made contact; `same` is true for a slip, whose item is the one already ticked."""

    t_s: float
    step: str
    item: str
    same: bool = False


class Lift(msgspec.Struct, frozen=True, tag_field="kind", tag="lift"):
    """The probes broke contact."""

    t_s: float
    step: str
    item: str
    same: bool = False


class Prompt(msgspec.Struct, frozen=True, tag_field="kind", tag="prompt"):
    """What to do next: `do` is the kind of action, `say` the line to show and speak.

    The rest is what the line says, as data; UNSET, and left out, where a prompt is not about it. `quantity`: what the
    meter must be set to for the answer; `dial`: all that it may be set to, best first, and `range` how; `until_s`: when
    a wait ends. A trimmer is turned to `target`, between `low` and `high`, within its hazard limits, all in `unit`. Of
    an exercise's presses `done` are over, of them `closed` closed, `of` are asked for; `press`: the switch is pressed
    as soon as the tips are on. `keep`: the tips stay on until the verdict. `second`: a second look. `power`: how the
    unit's supply must be.
    """

    t_s: float
    step: str
    item: str | None
    do: Do
    say: str
    quantity: Quantity | UnsetType = UNSET
    until_s: float | UnsetType | None = UNSET
    asks: Asks | UnsetType = UNSET
    dial: tuple[Quantity, ...] | UnsetType = UNSET
    range: Range | UnsetType = UNSET
    target: float | UnsetType = UNSET
    low: float | UnsetType = UNSET
    high: float | UnsetType = UNSET
    never_below: float | UnsetType = UNSET
    never_above: float | UnsetType = UNSET
    unit: str | UnsetType = UNSET
    load_ohm: float | UnsetType = UNSET
    done: int | UnsetType = UNSET
    closed: int | UnsetType = UNSET
    of: int | UnsetType = UNSET
    press: bool | UnsetType = UNSET
    keep: bool | UnsetType = UNSET
    second: bool | UnsetType = UNSET
    power: Literal["on", "off"] | UnsetType = UNSET

    @property
    def answers(self) -> tuple[str, ...]:
        """The words that answer it, the likeliest first."""
        return () if self.asks is UNSET else ANSWERS.get(self.asks, ())


class Cue(msgspec.Struct, frozen=True, tag_field="kind", tag="cue"):
    """A short signal for ear and eye.

    `hazard`: the side of its hazard limit that the item's trimmer stands past just now; UNSET, and left out, while it
    stands past none. So the first cue of the item without it says that a hazard is over.
    """

    t_s: float
    step: str
    item: str
    cue: CueKind
    hazard: Literal["below", "above"] | UnsetType = UNSET


class Verdict(msgspec.Struct, frozen=True, tag_field="kind", tag="verdict", rename={"expanded": "U"}):
    """One decision on one item. A later one of the same item replaces it.

    `value`, `expanded` (JSON key `U`), `min`, `max` and `resolution` share `unit`. `n` counts conversions.
    `from_s` … `t_s` hold the readings it rests on, `contacts` each contact that counted (rejected ones are not listed);
    UNSET where no contact was judged. `settled` is false for a decisive pass taken before a plateau.
    `budget` is what U rests on; UNSET where no U is known, or only U itself. `accepted`: the operator's reason to leave
    it as it is; the verdict stays what it is, and counts as good.
    What only some steps give is UNSET elsewhere and left out of the JSON: `tune` sets `as_found`, `as_left`,
    `target`, `tolerance`, `excursions`; k-of-n steps `k`, `runs`, `low`, `high`, `confidence`; `cell` `condition`.
    """

    t_s: float
    step: str
    item: str
    verdict: VerdictKind
    value: float | None = None
    unit: str = ""
    expanded: float | None = None
    rule: str = ""
    n: int = 0
    reason: str = ""
    min: float | None = None
    max: float | None = None
    resolution: float | None = None
    settled: bool = False
    from_s: float | None = None
    contacts: tuple[Touched, ...] | UnsetType = UNSET
    as_found: float | UnsetType | None = UNSET
    as_left: float | UnsetType | None = UNSET
    target: float | UnsetType | None = UNSET
    tolerance: float | UnsetType | None = UNSET
    excursions: int | UnsetType | None = UNSET
    k: int | UnsetType | None = UNSET
    runs: int | UnsetType | None = UNSET
    low: float | UnsetType | None = UNSET
    high: float | UnsetType | None = UNSET
    confidence: float | UnsetType | None = UNSET
    condition: str | UnsetType | None = UNSET
    budget: Rests | UnsetType = UNSET
    accepted: str | UnsetType = UNSET


class Excursion(msgspec.Struct, frozen=True, tag_field="kind", tag="excursion"):
    """A trimmer was past its hazard limit; written when that ends, or as it stands when item or session end first."""

    t_s: float
    step: str
    item: str
    side: Literal["below", "above"]
    limit: float
    worst: float
    from_s: float
    duration_s: float


class Note(msgspec.Struct, frozen=True, tag_field="kind", tag="note"):
    """A remark of the program, or of the operator. `aloud`: it is spoken too; UNSET, and left out, where it is not.

    `outdated`: step and item whose verdict is of a part that is out; UNSET where a remark says no such thing.
    """

    t_s: float
    text: str
    aloud: bool | UnsetType = UNSET
    outdated: tuple[str, str] | UnsetType = UNSET


class InJob(msgspec.Struct, frozen=True):
    """Where a session stands in a job: its title, the `number` of the journal, and the job's `units` by tag, in order.

    `open` are the tags of other units of which something was not done when this session began.
    """

    title: str
    number: int
    units: tuple[str, ...]
    open: tuple[str, ...] = ()


class SessionRecord(msgspec.Struct, frozen=True, tag_field="kind", tag="session"):
    """The first record: enough to replay alone.

    `plan` is the whole plan with values in SI, `meter` the whole profile, `reference` the good-unit values used,
    by "step/item". `inherited` carries what an earlier session of the same unit left (`--continue`, `--after`, a job).
    `job` is UNSET, and left out, for a session that is of none, `symptom` for a plan that names no symptoms.
    `conversion_s` is T by quantity as an earlier session measured it for this meter, which this one began with.
    `start_utc` is RFC 3339 in UTC, `zone_offset_s` what local time adds to it.
    """

    t_s: float
    schema: int
    id: str
    start_utc: str
    zone_offset_s: int
    unit: str
    tag: str
    operator: str
    known_good: bool
    plan: dict[str, Any]
    meter: MeterProfile
    identity: str
    reference: dict[str, dict[str, Any]]
    options: dict[str, Any]
    inherited: dict[str, Any]
    program: str
    conversion_s: dict[Quantity, float] = {}
    job: InJob | UnsetType = UNSET
    symptom: Symptom | UnsetType = UNSET


TAG_LENGTH = 8
NAME = "name"
"""The word that names the unit of a session that began without, or names it anew."""


def tag_of(unit: str) -> str:
    """Return a short tag to speak and show for a unit: its name when short, else its last word or its end."""
    name = unit.strip()
    if len(name) <= TAG_LENGTH:
        return name
    last = name.split()[-1]
    return last if len(last) <= TAG_LENGTH else last[-TAG_LENGTH:]


def named(session: SessionRecord, said: Operator) -> SessionRecord:
    """Return the session's record as it stands after a word: with the unit's name where the word gave one.

    In a job the tag stays: it tells whose journal this is.
    """
    name = said.text.strip()
    if said.word != NAME or not name:
        return session
    return msgspec.structs.replace(session, unit=name, tag=tag_of(name) if session.job is UNSET else session.tag)


Reason: TypeAlias = Literal["done", "quit", "parked", "interrupted", "fault"]
"""Why a session ended; `parked`: another unit of the job was taken."""


class EndRecord(msgspec.Struct, frozen=True, tag_field="kind", tag="end"):
    """The last record; `sha256` is of all bytes of the file before this line."""

    t_s: float
    reason: Reason
    counts: dict[str, int]
    sha256: str


Event: TypeAlias = Reading | Garbage | Operator | Link | Clock
Outcome: TypeAlias = Contact | Lift | Prompt | Cue | Verdict | Found | Count | Excursion | Note
Record: TypeAlias = Event | Outcome | SessionRecord | EndRecord

EVENTS = (Reading, Garbage, Operator, Link, Clock)
OUTCOMES = (Contact, Lift, Prompt, Cue, Verdict, Found, Count, Excursion, Note)

_encode = msgspec.json.Encoder().encode
_decoder: msgspec.json.Decoder[Record] = msgspec.json.Decoder(Record)
_FLOATS: dict[type, tuple[str, ...]] = {}


def at(t_s: float) -> float:
    """Round a time in seconds to 1 µs, as every event and deadline is before it is fed."""
    return round(t_s, 6)


def encode(record: Record) -> bytes:
    """Return the record's JSON object as UTF-8, without a checksum; a terminal that shows it is not driven by it.

    A NaN or an infinity has no JSON and would silently become null, so it is a `ValueError` here: a defect of the
    caller, never of a meter.
    """
    kind = type(record)
    names = _FLOATS.get(kind)
    if names is None:
        names = _FLOATS[kind] = tuple(
            field.name for field in msgspec.structs.fields(kind) if "float" in str(field.type)
        )
    for name in names:
        value = getattr(record, name)
        if isinstance(value, float) and not math.isfinite(value):
            raise ValueError(f"{kind.__name__}.{name} is {value}, which a journal cannot hold")
    return json_bytes(_encode(record))


def decode(line: bytes) -> Record:
    """Return the record that one JSON object holds; extra keys (the checksum) are passed over.

    Raises JournalError, without a place, for anything else: bad UTF-8, deep nesting, an unknown kind.
    """
    try:
        return _decoder.decode(line)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise JournalError(f"not a record: {error}") from error
