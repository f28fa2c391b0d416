"""Subtitles for a film of one's work: the verdicts as they were given, counted from a clap or from a time of day.

Each clap begins a film, and a film ends at the next clap, or where nothing was on for an hour. A clap after which
nothing was judged before the next is void: the one after it counts.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import msgspec
from msgspec import UNSET

from metercap.errors import UsageError
from metercap.export.sittings import Units, began, later, records_in, source_of
from metercap.export.webvtt import Cue, webvtt
from metercap.files import new_file
from metercap.gate import visible
from metercap.quantity import format_value
from metercap.records import Operator, SessionRecord, Verdict, VerdictKind
from metercap.session.heard import CLAP

SHOWN_MS = 4000
"""A cue stays so long, or until the next one; common practice is one to seven seconds (from memory, no source)."""
LEAST_MS = 700
"""Shorter nothing can be read; then two are shown at a time."""
MOST_LINES = 3
"""Verdicts of one moment that have a line each; of more, items of one verdict share one."""
MOST_NAMES = 6
PAUSE = datetime.timedelta(hours=1)
"""Nobody films an empty bench that long."""
_HALF_A_DAY = datetime.timedelta(hours=12)


class Given(msgspec.Struct, frozen=True):
    """One verdict and when it was given; `film` is of the same unit's tag."""

    at: datetime.datetime
    tag: str
    verdict: Verdict


class Clapped(msgspec.Struct, frozen=True):
    """A clap, and the file it is in; or the time of day that a film was said to begin at, with no file."""

    at: datetime.datetime
    journal: str = ""

    def __str__(self) -> str:
        when = _utc(self.at)
        return f"the clap at {when} in {self.journal}" if self.journal else f"the film's start at {when}"


class Bench(msgspec.Struct, frozen=True):
    """All that was judged and clapped over some sittings, in order of time; `spans`: when each sitting began and ended.

    `lost`: what files that are not whole may lack; `zone`: local time where the first sitting was.
    """

    given: tuple[Given, ...]
    claps: tuple[Clapped, ...]
    spans: tuple[tuple[datetime.datetime, datetime.datetime], ...]
    zone: datetime.tzinfo
    lost: tuple[str, ...]


class Film(msgspec.Struct, frozen=True):
    """What is shown in one film: where it counts from, and its verdicts."""

    start: Clapped
    given: tuple[Given, ...]


class Subtitled(msgspec.Struct, frozen=True):
    """What was written: how many cues, counted from where, and what a reader should know besides."""

    rows: int
    counted_from: str
    lost: tuple[str, ...]


def save_subtitles(units: Units, path: str | Path, *, clap: int | None = None, film_start: str = "") -> Subtitled:
    """Write the verdicts of one film as a new WebVTT file, whole or not at all.

    Raises UsageError where there is no clap, none of that number, or nothing to show; FileProblem as `new_file`.
    """
    bench = read_bench(units)
    if not bench.spans:
        raise _nothing(bench)
    film = _film_from(bench, moment(film_start, bench)) if film_start else _clapped_film(bench, clap)
    cues = list(cues_of(film))
    left = len(bench.given) - len(film.given)
    lost = (*bench.lost, *([f"{left} verdicts lie outside this film"] if left else []))
    with new_file(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as stream:
        stream.writelines(webvtt(cues, f"times are counted from {film.start}"))
    return Subtitled(len(cues), str(film.start), lost)


def read_bench(units: Units) -> Bench:
    """Return all verdicts and claps of some units' journals, by the computer's clock."""
    lost: list[str] = []
    given: list[Given] = []
    claps: list[Clapped] = []
    spans: list[tuple[datetime.datetime, datetime.datetime]] = []
    zone_s = 0
    for tag, paths in units:
        for path in paths:
            records = records_in(path, lost)
            first = next(records, None)
            start = began(first) if isinstance(first, SessionRecord) else None
            if not isinstance(first, SessionRecord) or start is None:
                lost.append(f"{path.name}: it does not say when it began")
                continue
            zone_s = zone_s if spans else first.zone_offset_s
            now = start
            for record in records:
                now = later(start, record.t_s) or now
                if isinstance(record, Verdict) and not source_of(record):
                    given.append(Given(now, tag or first.tag, record))
                elif isinstance(record, Operator) and record.word == CLAP:
                    claps.append(Clapped(now, path.name))
            spans.append((start, now))
    zone = datetime.timezone(datetime.timedelta(seconds=zone_s))
    return Bench(
        tuple(sorted(given, key=lambda each: each.at)),
        tuple(sorted(claps, key=lambda each: each.at)),
        tuple(sorted(spans)),
        zone,
        tuple(dict.fromkeys(lost)),
    )


def films(bench: Bench) -> list[Film]:
    """Return the films that the claps begin, but for those in which nothing was judged."""
    ends = [clap.at for clap in bench.claps[1:]]
    found = []
    for number, clap in enumerate(bench.claps):
        film = _film_from(bench, clap)
        until = ends[number] if number < len(ends) else None
        shown = tuple(each for each in film.given if until is None or each.at < until)
        found += [Film(clap, shown)] if shown else []
    return found


def cues_of(film: Film) -> Iterator[Cue]:
    """Yield what is shown, in order of time: one cue for all verdicts of one moment.

    A verdict that only repeats what is known of its item already is not shown again.
    """
    several = len({each.tag for each in film.given}) > 1
    known: dict[tuple[str, str, str], str] = {}
    moments: dict[int, list[tuple[str, Verdict]]] = {}
    for each in film.given:
        key = (each.tag, each.verdict.step, each.verdict.item)
        told = said(each.verdict)
        if known.get(key) != told:
            known[key] = told
            name = f"{each.tag} {each.verdict.item}" if several and each.tag else each.verdict.item
            ms = round((each.at - film.start.at) / datetime.timedelta(milliseconds=1))
            moments.setdefault(ms, []).append((name, each.verdict))
    starts = [*moments, max(moments, default=0) + SHOWN_MS]
    for start_ms, next_ms in pairwise(starts):
        end_ms = start_ms + max(LEAST_MS, min(SHOWN_MS, next_ms - start_ms))
        yield Cue(start_ms, end_ms, tuple(_lines(moments[start_ms])))


def said(verdict: Verdict) -> str:
    """Return a verdict as a film shows it: "pass, 0.2 Ω", "fail, 1.2 kΩ, above the upper limit"."""
    parts = [verdict.verdict.value]
    if verdict.value is not None:
        parts.append(format_value(verdict.value, verdict.unit, verdict.resolution))
    if isinstance(verdict.as_found, float):
        parts.append(f"as found {format_value(verdict.as_found, verdict.unit, verdict.resolution)}")
    if isinstance(verdict.k, int) and isinstance(verdict.runs, int):
        parts.append(f"{verdict.k} of {verdict.runs}")
    if isinstance(verdict.condition, str):
        parts.append(verdict.condition)
    if verdict.accepted is not UNSET:
        parts.append(f"accepted: {verdict.accepted}")
    elif verdict.verdict in (VerdictKind.FAIL, VerdictKind.UNSURE) and verdict.reason:
        parts.append(verdict.reason.partition(";")[0])
    return ", ".join(parts)


def moment(text: str, bench: Bench) -> Clapped:
    """Return when a film began by `text`: RFC 3339, with a zone or in the sittings' local time, or a time of day.

    A time of day is that nearest to the first sitting's start; UsageError where sittings of several days leave open
    which is meant, or for what is no time.
    """
    try:
        when = datetime.datetime.fromisoformat(text.strip())
        if when.tzinfo is None and "T" not in text.upper() and " " not in text.strip():
            raise ValueError("a date alone")
    except ValueError:
        when = _of_the_day(text, bench)
    return Clapped(when if when.tzinfo is not None else when.replace(tzinfo=bench.zone))


def _of_the_day(text: str, bench: Bench) -> datetime.datetime:
    where, hint = "--film-start", "15:04:05, or 2026-03-01T15:04:05+01:00"
    try:
        time = datetime.time.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(f"{text[:40]!a} is no time", where=where, hint=hint) from None
    starts = [start.astimezone(time.tzinfo or bench.zone) for start, _ in bench.spans]
    if starts[-1] - starts[0] > _HALF_A_DAY:
        raise UsageError("the sittings lie on several days: say the date too", where=where, hint=hint)
    when = datetime.datetime.combine(starts[0].date(), time, tzinfo=starts[0].tzinfo)
    day = datetime.timedelta(days=1)
    return min((when - day, when, when + day), key=lambda each: abs(each - starts[0]))


def _clapped_film(bench: Bench, number: int | None) -> Film:
    """Return the film of a clap: of the only one, or of that number, from 1 on."""
    found = films(bench)
    if not bench.claps:
        raise UsageError(
            "there is no clap to count from",
            where="--to",
            hint="give the time at which the film begins: --film-start 15:04:05; next time say clap while a hand claps",
        )
    if not found:
        raise UsageError(f"nothing was judged after {bench.claps[-1]}", where="--to", hint="--film-start TIME")
    if number is None and len(found) > 1:
        listed = "; ".join(f"{n}: {film.start}, {len(film.given)} verdicts" for n, film in enumerate(found, start=1))
        raise UsageError(f"there are {len(found)} films: {listed}", where="--to", hint="--clap 1")
    if number is not None and not 1 <= number <= len(found):
        raise UsageError(f"there is no film {number}, only {len(found)}", where="--clap", hint=f"--clap {len(found)}")
    return found[(number or 1) - 1]


def _film_from(bench: Bench, start: Clapped) -> Film:
    """Return the film that begins so, up to the first long pause."""
    end = start.at
    for first, ended in bench.spans:
        if ended < start.at:
            continue
        if first > end + PAUSE:
            break
        end = max(end, ended)
    film = Film(start, tuple(each for each in bench.given if start.at <= each.at <= end))
    if not film.given and not start.journal:
        raise (
            _nothing(bench)
            if not bench.given
            else UsageError(
                f"nothing was judged within an hour of {start}",
                where="--film-start",
                hint=f"the first verdict is of {_utc(bench.given[0].at)}, the last of {_utc(bench.given[-1].at)}",
            )
        )
    return film


def _nothing(bench: Bench) -> UsageError:
    why = "; ".join(bench.lost) or "there is no verdict in these files"
    return UsageError(f"there is nothing to show: {why}", where="--to", hint="metercap verify says what a file holds")


def _lines(moment: Sequence[tuple[str, Verdict]]) -> Iterator[str]:
    """Yield the lines of one cue."""
    if len(moment) <= MOST_LINES:
        for name, verdict in moment:
            yield f"{name}: {said(verdict)}"
        return
    by_kind: dict[str, list[str]] = {}
    for name, verdict in moment:
        by_kind.setdefault(verdict.verdict.value, []).append(name)
    for kind, names in by_kind.items():
        more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
        yield f"{', '.join(names[:MOST_NAMES])}{more}: {kind}"


def _utc(when: datetime.datetime) -> str:
    return visible(when.astimezone(datetime.UTC).isoformat(sep=" ", timespec="milliseconds").replace("+00:00", " UTC"))
