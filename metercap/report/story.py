"""What became of one unit over all its sittings, in words that its owner understands. Pure.

Found: what each item was first decided as, and trimmers as they stood before anything was turned. Done: what was
mended, replaced, turned or cleaned. Proof: what was measured again, and what counts prove.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence

import msgspec

from metercap.compare.changes import counted
from metercap.compare.model import Counted
from metercap.evidence import Evidence, joined
from metercap.judging.good import BY_REFERENCE
from metercap.outcome import GOOD, NOT_DONE, Key, is_good
from metercap.plain.style import limits_text
from metercap.plankeys import ExerciseStep, SafeStep, StepBase, TuneStep, ZeroStep
from metercap.quantity import format_value
from metercap.records import Excursion, Verdict, VerdictKind
from metercap.report.gather import Work
from metercap.report.names import listed, name_of
from metercap.report.sitting import Sitting
from metercap.report.sofar import counted_so_far
from metercap.session.inherit import Inherited

ENOUGH = 80
"""Of 100: what is proved of fewer would mislead by its number alone."""
MOST_NOTED = 20
"""Remarks of the operator that are repeated; the journals have them all."""


class About(msgspec.Struct, frozen=True):
    """What a unit is called and what is known of it beforehand; all but its tag may be empty."""

    tag: str
    name: str = ""
    serial: str = ""
    symptom: str = ""
    known_good: bool = False

    @property
    def called(self) -> str:
        """Its tag, and its name where that says more."""
        return self.tag if self.name in ("", self.tag) else f"{self.tag} ({self.name})"


class Unit(msgspec.Struct, frozen=True):
    """One unit: its `sittings` in order and `whole`, what they prove together; None where none could be read.

    `firsts`: what each item was decided as first, over all sittings.
    """

    about: About
    sittings: tuple[Sitting, ...]
    whole: Evidence | None
    firsts: dict[Key, Verdict]

    @classmethod
    def of(cls, about: About, sittings: Sequence[Sitting]) -> Unit:
        """Return a unit with the history that its sittings make together."""
        firsts: dict[Key, Verdict] = {}
        for one in sittings:
            firsts.update({key: verdict for key, verdict in one.gathered.firsts.items() if key not in firsts})
        whole = joined([one.evidence for one in sittings]) if sittings else None
        return cls(about, tuple(sittings), whole, firsts)

    @property
    def earlier(self) -> tuple[Verdict, ...]:
        """Every verdict that a later one replaced, in the order of time; none that a sitting only took over."""
        out: list[Verdict] = []
        stood: dict[Key, Verdict] = {}
        for one in self.sittings:
            handed_on = Inherited.of(one.evidence.first.inherited).verdicts
            own = {key: verdict for key, verdict in one.evidence.verdicts.items() if verdict not in handed_on}
            out += [stood[key] for key in own if key in stood]
            out += [verdict for verdict in one.gathered.replaced if verdict not in handed_on]
            stood |= own
        return tuple(out)


class Story(msgspec.Struct, frozen=True, kw_only=True):
    """A unit's story, each part in lines. Of `points`, all that was asked for or decided, `good` are good or accepted;
    `failing`, `unsure` and `undone` are those of the others. Times in seconds by step, over all sittings."""

    points: int
    good: int
    failing: tuple[Key, ...] = ()
    unsure: tuple[Key, ...] = ()
    undone: tuple[Key, ...] = ()
    past_limit: tuple[str, ...]
    waived: tuple[str, ...] = ()
    found: tuple[str, ...]
    done: tuple[str, ...]
    parts: tuple[str, ...]
    accepted: tuple[str, ...]
    left: tuple[str, ...]
    proof: tuple[str, ...]
    noted: tuple[str, ...]
    bench_s: dict[str, float]


def story(unit: Unit) -> Story:
    """Return what became of a unit. Of one without a readable journal nothing is known."""
    whole = unit.whole
    if whole is None:
        nothing: tuple[str, ...] = ()
        left = ("no journal of it could be read",) if unit.sittings else ("it was not measured",)
        return Story(
            points=0,
            good=0,
            past_limit=nothing,
            found=nothing,
            done=nothing,
            parts=nothing,
            accepted=nothing,
            left=left,
            proof=nothing,
            noted=nothing,
            bench_s={},
        )
    works = [work for one in unit.sittings for work in one.gathered.works]
    kept = dict.fromkeys(work.text for work in works if work.what == "noted")
    counts = tuple(counted([whole]))
    asked = [(each.step, each.item) for each in whole.open]
    failing, unsure = _not_good(whole, VerdictKind.FAIL), _not_good(whole, VerdictKind.UNSURE)
    return Story(
        points=len(dict.fromkeys([*whole.verdicts, *asked])),
        good=sum(1 for key, verdict in whole.verdicts.items() if is_good(verdict) and key not in asked),
        failing=failing,
        unsure=unsure,
        undone=tuple(key for key in asked if key not in failing and key not in unsure),
        past_limit=tuple(f"{item} stands past its hazard limit" for item in whole.standing),
        waived=tuple(dict.fromkeys(work.text for work in works if work.what == "waived")),
        found=tuple(_found(unit, whole)),
        done=tuple(_done(unit, whole, works)),
        parts=tuple(dict.fromkeys(work.text for work in works if work.what == "replaced")),
        accepted=tuple(_accepted(whole)),
        left=tuple(_left(whole)),
        proof=tuple(_proof(unit, whole, counts)),
        noted=tuple(kept)[:MOST_NOTED],
        bench_s=_times(unit.sittings),
    )


def _not_good(whole: Evidence, kind: VerdictKind) -> tuple[Key, ...]:
    return tuple(key for key, each in whole.verdicts.items() if each.verdict is kind and not is_good(each))


def reads(value: float | None, verdict: Verdict) -> str:
    """Return a value of a verdict in the digits that were shown, without its U."""
    return "" if value is None else format_value(value, verdict.unit, verdict.resolution)


def in_words(verdict: Verdict) -> str:
    """Return what a verdict says, for who has no manual: what was read or counted, what is allowed, and why."""
    if isinstance(verdict.k, int) and isinstance(verdict.runs, int):
        what = "presses missed" if verdict.unit else "starts failed"
        few = ", too few to tell" if verdict.verdict is VerdictKind.UNSURE and verdict.k == verdict.runs else ""
        return f"{verdict.runs - verdict.k or 'none'} of {verdict.runs} {what}{few}"
    value, limits = reads(verdict.value, verdict), limits_text(verdict)
    if verdict.verdict is VerdictKind.ABSENT:
        return "not fitted"
    if verdict.verdict is VerdictKind.PASS:
        return f"good, {value}" if value else "good"
    undecided = "could not be decided"
    if not value:
        return verdict.reason or ("fails" if verdict.verdict is VerdictKind.FAIL else undecided)
    if isinstance(verdict.condition, str):
        value = f"{verdict.condition}, {value}"
    if verdict.rule == BY_REFERENCE:
        return f"{value}, a good unit's reads {limits}"
    if _inside(verdict):
        return f"{value}, and {verdict.reason.partition('; ')[0] or undecided}"
    allowed = f"{value}, allowed {'is ' if limits.startswith('at') else ''}{limits}" if limits else value
    return allowed if verdict.verdict is VerdictKind.FAIL else f"{allowed}: {undecided}"


def _inside(verdict: Verdict) -> bool:
    """Return whether a value lies inside its limits: then something else decided."""
    value, low, high = verdict.value or 0.0, verdict.min, verdict.max
    return verdict.verdict is VerdictKind.FAIL and (low is None or value >= low) and (high is None or value <= high)


def steps_by_id(whole: Evidence) -> dict[str, StepBase]:
    """Return the plan's steps by their ids."""
    return {step.id: step for step in whole.plan.steps}


def _found(unit: Unit, whole: Evidence) -> Iterator[str]:
    tunes = {step.id: step for step in whole.plan.steps if isinstance(step, TuneStep)}
    for key, verdict in unit.firsts.items():
        if verdict.verdict not in GOOD and not (key[0] in tunes and key in whole.as_found):
            yield f"{name_of(key)}: {in_words(verdict)}"
    for key, judged in whole.as_found.items():
        if key[0] in tunes:
            unit_text = tunes[key[0]].unit or tunes[key[0]].wanted[0].unit
            yield f"{name_of(key)}: stood at {format_value(judged.value, unit_text, judged.resolution)}"


def _done(unit: Unit, whole: Evidence, works: Iterable[Work]) -> Iterator[str]:
    steps = steps_by_id(whole)
    yield from dict.fromkeys(f"mended: {work.text}" for work in works if work.what == "fixed")
    yield from _past(unit, steps)
    for key, verdict in whole.verdicts.items():
        found, left, step = verdict.as_found, verdict.as_left, steps.get(key[0])
        if isinstance(found, float) and isinstance(left, float) and found != left:
            way = "turned from" if isinstance(step, TuneStep) else "replaced, from"
            yield f"{name_of(key)} {way} {reads(found, verdict)} to {reads(left, verdict)}"
        elif isinstance(step, ExerciseStep) and key in whole.counts and len(whole.counts[key].rounds) > 1:
            n = len(whole.counts[key].rounds) - 1
            yield f"{name_of(key)} cleaned and tried again{'' if n == 1 else f', {n} times'}"


def _past(unit: Unit, steps: Mapping[str, StepBase]) -> Iterator[str]:
    """Yield which trimmers went past a hazard limit on the bench, how often and how far."""
    ways: dict[Key, list[Excursion]] = {}
    for one in unit.sittings:
        for past in one.gathered.excursions:
            ways.setdefault((past.step, past.item), []).append(past)
    for key, each in ways.items():
        step = steps.get(key[0])
        unit_text = (step.unit or step.wanted[0].unit) if isinstance(step, TuneStep) else ""
        limit, worst = each[0].limit, max(each, key=lambda past: abs(past.worst - past.limit)).worst
        often = "once" if len(each) == 1 else f"{len(each)} times"
        shown = f"{format_value(worst, unit_text)} beside {format_value(limit, unit_text)}"
        yield f"{name_of(key)} was past its hazard limit {often} while it was turned, at worst {shown}"


def _accepted(whole: Evidence) -> Iterator[str]:
    for key, verdict in whole.verdicts.items():
        if isinstance(verdict.accepted, str):
            why = f"; accepted: {verdict.accepted}" if verdict.accepted else ""
            yield f"{name_of(key)}: {in_words(verdict)}{why}"


def _left(whole: Evidence) -> Iterator[str]:
    for kind, words in ((VerdictKind.FAIL, "still fails"), (VerdictKind.UNSURE, "not decided")):
        for key in _not_good(whole, kind):
            yield f"{words}: {name_of(key)} ({in_words(whole.verdicts[key])})"
    hows: dict[str, list[Key]] = {}
    for each in whole.open:
        hows.setdefault(each.why, []).append((each.step, each.item))
    for why, keys in hows.items():
        yield f"{why}: {listed(keys)}"
        for key in keys:
            so_far = counted_so_far(whole.counts[key]) if why == NOT_DONE and key in whole.counts else ""
            if so_far:
                yield f"counted so far, {name_of(key)}: {so_far}"


def _proof(unit: Unit, whole: Evidence, counts: Sequence[Counted]) -> Iterator[str]:
    steps, firsts, told = steps_by_id(whole), unit.firsts, {(row.step, row.item) for row in counts}
    mended = [
        key
        for key, verdict in whole.verdicts.items()
        if key not in told and key in firsts and firsts[key].verdict is VerdictKind.FAIL and verdict.verdict in GOOD
    ]
    if mended:
        yield f"failed at first, measured again, and good now: {listed(mended)}"
    for row in counts:
        if row.before_runs is None and unit.about.known_good:
            continue
        what = "presses missed" if isinstance(steps.get(row.step), ExerciseStep) else "starts failed"
        count = whole.counts.get((row.step, row.item))
        attempts = 1 if count is None else max(1, len(count.rounds) - 1, 1 + len(count.tries))
        yield f"{name_of((row.step, row.item))}: {_counted(row, what, attempts)}"


def _counted(row: Counted, what: str, attempts: int) -> str:
    """Return what counting before and after proves, in plain words."""
    failed = row.runs - row.k
    said = [f"{failed or 'none'} of {row.runs} {what}"]
    if row.before_runs and row.before_k is not None:
        said = [f"at first {row.before_runs - row.before_k} of {row.before_runs} {what}, now {said[0]}"]
    if row.p is not None:
        word = "it has changed" if row.changed else "no proof" if failed else "better, not proved"
        said.append(f"{word}: had nothing changed, chance alone would do that {_odds(row.p)}")
    elif failed:
        said.append("no proof of a repair")
    if not failed and row.runs and attempts == 1:
        # Clopper and Pearson's one-sided limit of n of n (Biometrika 26, 1934) is α^(1/n).
        least = math.floor(100.0 * (1.0 - row.confidence) ** (1.0 / row.runs))
        little = "so few prove little: " if least < ENOUGH else ""
        said.append(f"{little}at {100 * row.confidence:g} % confidence at least {least} of 100 will go well")
    elif not failed and row.runs:
        said.append(f"it took {attempts} attempts, so it proves less than a first one would")
    return "; ".join(said)


def _odds(p: float) -> str:
    """Return a chance as one in so many."""
    if p > 0.5:
        return "more often than not"
    return f"once in {float(f'{1.0 / p:.2g}'):.0f} times" if p > 1e-6 else "less than once in a million times"


def _times(sittings: Iterable[Sitting]) -> dict[str, float]:
    out: dict[str, float] = {}
    for one in sittings:
        for step, spent_s in one.gathered.bench_s.items():
            out[step] = out.get(step, 0.0) + spent_s
    return out


def is_aside(step: StepBase | None) -> bool:
    """Return whether a step prepares the bench and measures nothing of the unit itself."""
    return isinstance(step, SafeStep | ZeroStep)
