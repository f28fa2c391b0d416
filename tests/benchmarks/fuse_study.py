"""Random fuses on the practice bench: meters and hands of many kinds, in process or over a port, and their marks.

Every session is one row of fuses, ended by the count check. The bench knows where the tips were, so every verdict can
be marked:

    wrong     stands as pass or fail by contact, though the tips were elsewhere, and nothing flagged it
    words     the same by a word: `open` said on another fuse than the one that was asked for
    flagged   was wrong, and the count check or a later verdict took it back
    missed    a sound fuse that ends without its pass, mostly because its whole row was taken back
    refused   touches of the right fuse that were not credited, because the lift before them was not certain

Two opposite mistakes in one row cancel each other in the count. A technician who touches a fuse twice hears two ticks
on it; these hands notice and say so.
"""

from __future__ import annotations

import itertools
import math
import os
import statistics
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

import msgspec

from metercap import wire
from metercap.clock import ScaledClock
from metercap.commands._opening import session_record
from metercap.journal import Writer
from metercap.link import open_link
from metercap.live import Inbox, Live
from metercap.plan import Plan
from metercap.plankeys import Item, SweepStep
from metercap.practice.audit import Audit
from metercap.practice.bench import PracticeBench
from metercap.practice.habits import Habits
from metercap.practice.meter import Meter, MeterSpec
from metercap.practice.port import PracticePort
from metercap.practice.scene import Fuse, Scene
from metercap.practice.study import run
from metercap.profiles import find_meter
from metercap.quantity import Quantity
from metercap.reading import State
from metercap.records import Contact, Cue, CueKind, Do, Prompt, Record, SessionRecord, Verdict, VerdictKind
from metercap.session import Driver, Session
from tests.bounds import upper_bound

RECONTACT_S = 0.5
"""The step's default: no slip up to this long may look like a lift."""
BLOWN = 0.05
SAYS_SO = (VerdictKind.PASS, VerdictKind.FAIL)
RATES = (2.0, 3.0, 5.0, 10.0)

ERRING = Habits(
    slips=0.1,
    slip_s=RECONTACT_S,
    early=0.05,
    slips_after=0.05,
    drags=0.02,
    neighbours=0.03,
    trembles=0.1,
    partly=0.05,
    doubles=0.02,
    on_beep=0.05,
    leaves_open=0.3,
    dirty_touch=0.03,
    waits_for_go=0.8,
    fixes_range=False,
)
"""Hands that err as people do, in every way that the bench knows."""

STEADY = Habits(reaction_s=0.25, reaction_sd_s=0.04, move_s=1.3, move_sd_s=0.15, fixes_range=False)
"""Hands of the figures for pace: 1.3 s to move, 0.25 s to react, and they obey `go`."""


# --- meters

KINDS: dict[str, dict[str, object]] = {
    "fixed range": {"auto": False},
    "continuity": {"auto": False, "dial": Quantity.CONTINUITY},
    "walk shown": {"walk": "value"},
    "walk shown, 2 each": {"walk": "value", "dwell": 2},
    "walk blank": {"walk": "blank"},
    "walk as OL, range": {"walk": "range"},
    "OL, range, 2 each, jumps": {"walk": "range", "dwell": 2, "jumps": True},
    "walk hidden": {"walk": "hidden"},
    "walk hidden, 2 each": {"walk": "hidden", "dwell": 2},
}
"""What the dial and the range do. (A meter that jumps up and hides its walk is sent to a fixed range by rule 10.)"""

LINES: dict[str, dict[str, object]] = {
    "plain line": {},
    "jitter": {"jitter_s": 0.03},
    "bursts": {"burst": 3, "jitter_s": 0.02},
    "stalls": {"stalls_per_min": 2.0, "stall_s": 0.8},
}
PACES: dict[str, Callable[[float], float]] = {
    "rate as stated": lambda rate: rate,
    "30 % slower than stated": lambda rate: 1.3 * rate,
    "faster than stated": lambda rate: min(rate, 2.0),
}


class Case(NamedTuple):
    """A meter of the study, by its traits."""

    rate: float
    kind: str
    line: str
    pace: str
    smooth: float
    spec: MeterSpec

    @property
    def rows(self) -> tuple[str, ...]:
        """The rows of the table that it belongs to."""
        smooth = ("smoothed display",) if self.smooth else ()
        return (f"{self.rate:3.0f}/s {self.kind}", self.line, self.pace, *smooth, "~ all")

    @property
    def plain(self) -> bool:
        """Whether nothing but rate, range and repeats sets the least time for a tick."""
        return self.line == "plain line" and self.pace == "rate as stated" and not self.smooth


def meter_of(
    rate: float, kind: str, line: str, pace: str, *, smooth: float = 0.0, family: str = "lcd14", repeats: int = 1
) -> Case:
    """Put a meter together."""
    keys: dict[str, object] = {"per_s": rate, "repeats": repeats, "family": family, "profile": family, "smooth": smooth}
    keys |= {"counts": 22_000 if family == "digits14" else 4_000, "stated_per_s": PACES[pace](rate)}
    keys |= {**KINDS[kind], **LINES[line]}
    if "burst" in keys:
        keys["burst"] = max(1, min(3, int(rate * repeats / 2.0)))  # no more than half a second's frames at once
    return Case(rate, kind, line, pace, smooth, MeterSpec(**keys))  # type: ignore[arg-type]


def case_of(seed: int) -> Case:
    """Draw a meter: any rate, family, repeats, range, line and pace that a wire carries."""
    rng = Random(f"{seed} meter of the study")
    while True:
        rate, repeats = rng.choice(RATES), rng.choice((1, 2, 4))
        family = rng.choice(("lcd14", "digits14", "text", "polled-line"))
        kind, line, pace = rng.choice(list(KINDS)), rng.choice(list(LINES)), rng.choice(list(PACES))
        if family == "lcd14" and rate * repeats > 16.0:
            continue  # 58 ms a frame
        if family == "polled-line" and (rate > 3.0 or repeats > 1 or kind == "continuity" or line == "bursts"):
            continue  # two answers a second, each when it is asked for
        if "range" in KINDS[kind].values() and family in ("text", "polled-line"):
            continue  # their over-range names no range
        smooth = 0.5 if rng.random() < 0.2 else 0.0
        return meter_of(rate, kind, line, pace, smooth=smooth, family=family, repeats=repeats)


# --- sessions


class Seen(NamedTuple):
    """One conversion: what it spanned, the one place it saw (empty when there were more), its range, a value or not."""

    from_s: float
    to_s: float
    name: str
    resolution: float
    valued: bool


class WatchedMeter(Meter):
    """The practice meter, with a record of its conversions."""

    def convert(self, spans: Any, t_s: Any) -> Any:
        """Convert, and note what was seen."""
        spans, resolution = list(spans), self.range.resolution
        shown = super().convert(spans, t_s)
        names = {place.name for _, _, place in spans}
        name = names.pop() if len(names) == 1 else ""
        self.log.append(Seen(spans[0][0], t_s, name, resolution, shown.state is State.OK))  # type: ignore[attr-defined]
        return shown


def row_of(n: int) -> tuple[str, ...]:
    """Names of so many fuses in a row."""
    return tuple(f"F{k}" for k in range(1, n + 1))


def scene_of(seed: int, meter: MeterSpec, hands: Habits, n: int = 12, blown: float = BLOWN) -> Scene:
    """So many fuses, each blown at random, half of those beside a path through the circuit."""
    rng = Random(f"{seed} fuses")
    parts, truth = [], {}
    for name in row_of(n):
        gone = rng.random() < blown
        beside = 1200.0 if gone and rng.random() < 0.5 else None
        parts.append(Fuse(names=name, ohm=rng.choice((0.1, 0.3, 0.8)), blown=gone, beside_ohm=beside))
        truth[name] = VerdictKind.FAIL if gone else VerdictKind.PASS
    # People know how long their own meter takes to find its range, and are no less patient than that.
    walk_s = 6.0 * meter.dwell / meter.per_s if meter.auto else 0.0
    continuity = meter.dial is Quantity.CONTINUITY
    hands = msgspec.structs.replace(hands, continuity=continuity, patience_s=hands.patience_s + walk_s)
    rows = {"fuses": f"F1..F{n}"}
    return Scene(2, "random fuses", "B", parts, seed=seed, meter=meter, hands=hands, rows=rows, truth={"fuses": truth})  # type: ignore[arg-type, dict-item]


def opened(scene: Scene, *, known: bool = False) -> tuple[SessionRecord, PracticeBench]:
    """The session's first record, and a bench whose meter notes its conversions; `known`: T was measured before."""
    spec = scene.meter
    profile = find_meter(spec.profile).at_rate(spec.told_per_s)
    bench = PracticeBench(scene)
    bench.meter = WatchedMeter(spec, Random(f"{scene.seed} meter"))
    bench.meter.log = []  # type: ignore[attr-defined]
    items = tuple(Item(name) for name in expand(scene))
    steps = (SweepStep(id="fuses", items=items, max=2.0, unit="ohm", recontact_s=RECONTACT_S),)
    plan = Plan(title="fuses on the mat", supply="none", steps=steps)
    kept = {spec.dial: 1.0 / spec.per_s} if known else {}
    return session_record(plan, profile, unit="B", session_id=str(scene.seed), conversion_s=kept), bench


def expand(scene: Scene) -> list[str]:
    """The row's items."""
    return [part.names for part in scene.part]


# --- marks


class Cycle(NamedTuple):
    """One good fuse, from the lift off the one before to its own: seconds in all and of these in the air."""

    whole_s: float
    air_s: float


class Stopwatch:
    """Times each good fuse that was ticked at its first credited touch, against the least that its meter allows.

    The least: conversions from the touch until two whole ones in the last range have ended, the walk through ranges
    among them, and the time until the second one has arrived.
    """

    def __init__(self, bench: PracticeBench, poll_gap_s: float | None) -> None:
        self.times: list[tuple[float, float, float]] = []
        """Seconds from touch to tick, the least of it, what is over in conversions; empty without `poll_gap_s`."""
        self.refused = 0
        self.notes: Counter[str] = Counter()
        self.ticks: list[Verdict] = []
        """Passes by contact."""
        self._bench = bench
        self._poll_gap_s = poll_gap_s
        self._asked = self._ticked = ""
        self._contacts = 0

    def see(self, record: Record, line: bytes = b"") -> None:
        """Take a record."""
        kind = type(record)
        if kind is Prompt and record.do is Do.PROBE:
            self._asked, self._contacts = record.item, 0  # type: ignore[assignment]
        elif kind is Prompt:
            self.notes[f"asked {record.do}"] += 1
        elif kind is Cue and record.cue is CueKind.AGAIN:
            self._contacts = 2
            self.notes["again"] += 1
        elif kind is Contact:
            self._contact(record)  # type: ignore[arg-type]
        elif kind is Verdict:
            if record.n and record.verdict is VerdictKind.PASS:
                self.ticks.append(record)  # type: ignore[arg-type]
                if self._contacts == 1 and self._poll_gap_s is not None:
                    self._time(record)  # type: ignore[arg-type]
            self._ticked = record.item  # type: ignore[assignment]

    def urgent(self, cue: Cue) -> None:
        """Seen with its record."""

    def cycles(self) -> Iterator[Cycle]:
        """Yield the cycles of fuses that were ticked one after the other."""
        touches = self._bench.touches
        offs = [next((t.t_s for t in touches if t.t_s > tick.t_s and not t.name), math.inf) for tick in self.ticks]
        for (a, b), (from_s, to_s) in zip(itertools.pairwise(self.ticks), itertools.pairwise(offs), strict=True):
            if to_s == math.inf or int(b.item[1:]) != int(a.item[1:]) + 1:
                continue
            within = [t for t in touches if from_s <= t.t_s <= to_s]
            air_s = math.fsum(then.t_s - t.t_s for t, then in itertools.pairwise(within) if not t.name)
            yield Cycle(to_s - from_s, air_s)

    def _contact(self, contact: Contact) -> None:
        span = self._bench.shown(contact.t_s, contact.t_s)
        here = set() if span is None else self._bench.touched(*span)
        if not contact.same:
            self._contacts += 1
        elif self._asked in here and here != {self._ticked}:
            self.refused += 1

    def _time(self, verdict: Verdict) -> None:
        touch = next((t for t in reversed(self._bench.touches) if t.name and t.t_s <= verdict.from_s), None)
        if touch is None or touch.name != verdict.item:
            return
        log = self._bench.meter.log[-80:]  # type: ignore[attr-defined]
        whole = [seen for seen in log if seen.from_s >= touch.t_s - 1e-9 and seen.name == touch.name and seen.valued]
        last = [seen for seen in whole if seen.resolution == whole[-1].resolution]
        if len(last) < 2:
            return
        step_s = max(self._bench.meter.conversion_s, self._poll_gap_s)  # type: ignore[type-var]
        shown_s = last[1].to_s
        if self._poll_gap_s:
            asked_s = self._bench.frame_s / 14.0  # the request is one byte, the answer fourteen
            shown_s = math.ceil(shown_s / self._poll_gap_s) * self._poll_gap_s + asked_s
        least_s = shown_s + self._bench.frame_s - touch.t_s
        took_s = verdict.t_s - touch.t_s
        self.times.append((took_s, least_s, (took_s - least_s) / step_s))


class Marks(NamedTuple):
    """What one session came to."""

    count: Counter[str]  # type: ignore[assignment]
    times: list[tuple[float, float, float]]
    cycles: list[Cycle]
    twice: bool
    """A second tick was heard on one fuse."""
    failed: list[Verdict]
    """Of sound fuses."""


def mark(bench: PracticeBench, audit: Audit, watch: Stopwatch) -> Marks:
    """Compare a finished session with the truth."""
    count: Counter[str] = Counter(fuses=len(audit.marked))
    count["slips"] = bench.hands.slipped  # type: ignore[attr-defined]
    count["mistakes"] = bench.hands.slipped + len(bench.hands.left_silent)  # type: ignore[attr-defined]
    count["wrong"] = len(audit.wrong_ticks)
    count["words"] = len(audit.wrong_words)
    count["flagged"] = audit.flagged
    count["refused"] = watch.refused
    count.update(watch.notes)
    failed = []
    for one in audit.marked:
        sound, said = VerdictKind.PASS in one.true, one.verdict.verdict
        count["missed"] += sound and said is not VerdictKind.PASS
        count["false pass"] += not sound and said is VerdictKind.PASS
        if sound and said is VerdictKind.FAIL and not one.misplaced:
            count["false fail"] += 1
            failed.append(one.verdict)
    ticks = bench.hands.ticks  # type: ignore[attr-defined]
    twice = any(a.here == b.here and a.named != b.named for a, b in itertools.pairwise(ticks))
    return Marks(count, watch.times, list(watch.cycles()), twice, failed)


def in_process(scene: Scene, *, known: bool = False, until_s: float = 3600.0) -> Marks:
    """Run one session with no real time at all."""
    record, bench = opened(scene, known=known)
    polls = record.meter.poll.per_s if record.meter.poll is not None else None
    audit, watch = Audit(bench), Stopwatch(bench, 0.0 if polls is None else 1.0 / polls)
    driver = Driver(Session(record))
    reason = run(bench, driver, wire.decoder(record.meter), record.meter, [audit, watch], until_s=until_s)
    assert reason == "done", (reason, scene.seed)
    assert audit.missing == []
    return mark(bench, audit, watch)


def over_a_port(scene: Scene, journal: Path, speed: float) -> Marks:
    """Run one session over a pseudo-terminal: real bytes, real link, real loop, real file."""
    record, bench = opened(scene)
    polls = record.meter.poll.per_s if record.meter.poll is not None else None
    # When a link polls is its own affair, so a polled meter is not timed here.
    audit, watch = Audit(bench), Stopwatch(bench, 0.0 if polls is None else None)
    clock, inbox = ScaledClock(speed), Inbox()
    with PracticePort(bench, clock) as port, Writer.create(journal, record) as writer:
        live = Live(
            Driver(Session(record)),
            wire.decoder(record.meter, latency_s=wire.LATENCY_S * speed, midstream=True),
            writer,
            [audit, watch, port],
            inbox,
            clock,
            profile=record.meter,
            source=open_link(port.path, record.meter),
            words=[port],
        )
        assert live.run(signals=False) == "done"
        assert port.problem is None
    assert audit.missing == []
    return mark(bench, audit, watch)


# --- the table


class Table:
    """Sums sessions by row, and prints them."""

    def __init__(self) -> None:
        self.count: dict[str, Counter[str]] = {}
        self.over: list[float] = []
        """Of plain meters, what each tick took over the least, in conversions."""
        self.failed: list[Verdict] = []
        self.twice_wrong: Counter[bool] = Counter()
        """Wrong verdicts in sessions with and without a second tick on one fuse."""
        self._cycles: dict[str, list[Cycle]] = {}

    def add(self, marks: Marks, rows: Iterable[str], *, plain: bool = False) -> None:
        """Add a session to these rows."""
        for row in rows:
            self.count.setdefault(row, Counter()).update(marks.count)
            self._cycles.setdefault(row, []).extend(marks.cycles)
        if plain:
            self.over += [over for _, _, over in marks.times]
        self.failed += marks.failed
        self.twice_wrong[marks.twice] += marks.count["wrong"]

    def merge(self, other: Table) -> None:
        """Add another table."""
        for row, count in other.count.items():
            self.count.setdefault(row, Counter()).update(count)
            self._cycles.setdefault(row, []).extend(other._cycles[row])
        self.over += other.over
        self.failed += other.failed
        self.twice_wrong.update(other.twice_wrong)

    def __getitem__(self, name: str) -> int:
        return self.count["~ all"][name]

    def cycle_s(self, row: str) -> tuple[float, float]:
        """The median cycle of a row, and of what part of it the tips were in the air, in seconds."""
        cycles = self._cycles[row]
        return statistics.median(c.whole_s for c in cycles), statistics.median(c.air_s for c in cycles)

    def lines(self, by_ear_s: float) -> Iterator[str]:
        """Yield the table; `by_ear_s` is the cycle of the same hands on the meter's own beep."""
        yield (
            f"{'':30}{'fuses':>7}{'mistakes':>9}{'wrong':>6}{'words':>6}{'flagged':>8}{'missed':>7}{'refused':>8}"
            f"{'cycle s':>8}{'in air':>7}{'on it':>6}{'/ by ear':>9}"
        )
        for row in sorted(self.count):
            count, timed = self.count[row], ""
            if self._cycles[row]:
                whole_s, air_s = self.cycle_s(row)
                timed = f"{whole_s:8.2f}{air_s:7.2f}{whole_s - air_s:6.2f}{whole_s / by_ear_s:9.2f}"
            yield (
                f"{row.strip('~ '):30}{count['fuses']:7}{count['mistakes']:9}{count['wrong']:6}{count['words']:6}"
                f"{count['flagged']:8}{count['missed']:7}{count['refused']:8}{timed}"
            )
        bound = upper_bound(self["wrong"], self["fuses"])
        yield (
            f"wrong and not flagged: {self['wrong']} of {self['fuses']}, at most {bound:.2g} with 95 % confidence; "
            f"blown but passed {self['false pass']}; sound but failed {self['false fail']}"
        )


def by_ear_s(hands: Habits, seed: int = 1, n: int = 200) -> float:
    """The median cycle, lift to lift, of the same hands on a continuity meter's beep, with no tool at all."""
    meter = MeterSpec(dial=Quantity.CONTINUITY, auto=False)
    scene = scene_of(seed, meter, msgspec.structs.replace(hands, by_ear=True), n, blown=0.0)
    bench = PracticeBench(scene)
    while bench.step(4.0 * n) is not None:
        pass
    lifts = [touch.t_s for touch in bench.touches[1:] if not touch.name]
    return statistics.median(b - a for a, b in itertools.pairwise(lifts))


def over_cores(work: Callable[[Sequence[int]], Table], seeds: Sequence[int], cores: int = 2) -> Table:
    """Share seeds out over so many processes, which give way to whatever else the machine does; sum their tables."""
    table = Table()
    with ProcessPoolExecutor(cores, initializer=os.nice, initargs=(10,)) as pool:
        for part in pool.map(work, [seeds[n :: 4 * cores] for n in range(4 * cores)]):
            table.merge(part)
    return table
