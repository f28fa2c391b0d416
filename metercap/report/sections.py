"""The parts of a report about the session itself: who and what, verdicts, what is open, trimmers, counts, the log."""

from __future__ import annotations

from collections.abc import Iterator

from metercap.compare.model import Adjusted, Counted
from metercap.metrology.proportion import clopper_pearson, wilson
from metercap.outcome import Key
from metercap.plan import Plan
from metercap.plan.expected import hazards_of, items_of
from metercap.plankeys import TrialsStep
from metercap.quantity import counted, format_value
from metercap.records import EndRecord, VerdictKind
from metercap.report.document import Block, Facts, Group, Listing, Para, Picture, Row, Section, Table
from metercap.report.findings import Findings, Standing
from metercap.report.gather import Gathered
from metercap.report.names import listed, name_of
from metercap.report.plot import Aims, plot
from metercap.report.spans import spans
from metercap.report.strip import strip
from metercap.report.when import When, elapsed, lasting

MOST_NAMED = 1000
"""Open or skipped items that are named one by one, or as runs; no plan that people run has more."""
ENDS: dict[str, str] = {
    "done": "run to its end",
    "quit": "ended by quit",
    "parked": "parked, for another unit",
    "interrupted": "interrupted; the journal was closed properly",
    "fault": "ended by a fault; the journal was closed properly",
}
_STATES = {
    "closed": "intact and closed: every line's checksum and the closing hash agree",
    "unclosed": "every line's checksum agrees, but it was never closed",
    "torn": "every whole line's checksum agrees, but it was cut off",
}


def warnings(found: Findings) -> Iterator[Para]:
    """Yield what a reader must know before anything else."""
    for one in found.standing:
        yield Para(f"{_stands(one, found)} It must be turned back before the unit is powered.", loud=True)
    first, options = found.session, found.session.options
    if options.get("practice"):
        yield Para("Practice bench: a simulated meter and board. No real unit was measured.", loud=True)
    if found.file.lost:
        yield Para(f"The journal is {found.file.state}: {found.file.lost}. This report says what it holds.", loud=True)
    if options.get("no_safe"):
        yield Para("The proof that the unit is dead was waived (--no-safe).", loud=True)
    yield from (Para(waived(why), loud=True) for why in found.waived)
    if found.not_run:
        yield Para(f"Only some steps were run. Not run: {', '.join(found.not_run)}.", loud=True)
    how, before = first.inherited.get("how"), first.inherited.get("session")
    if how and before:  # a unit's first sitting in a job takes over from no session of its own
        took = "comes after" if how == "after" else "goes on with"
        yield Para(f"This session {took} session {before} of the same unit.")
    for warning in found.warnings:
        yield Para(warning)


def waived(why: str) -> str:
    """Return in a sentence that ohms were measured without the proof, and for what reason."""
    return f"Ohms were measured without proof that the unit is dead, by the operator's word: {why}."


def _stands(one: Standing, found: Findings) -> str:
    """Return in a sentence that a trimmer was left past its limit."""
    text = f"{one.item} stands {one.side} its hazard limit"
    row = next((row for row in found.adjusted if (row.step, row.item) == (one.step, one.item)), None)
    if one.past is None or row is None:
        return f"{text}."
    limit = format_value(one.past.limit, row.unit)
    return f"{text} of {limit}; the worst seen is {format_value(one.past.worst, row.unit, row.resolution)}."


def facts(found: Findings, plan: Plan) -> Facts:
    """Return unit, operator, when, plan, meter, program, journal."""
    first, when = found.session, When(found.session)
    meter = first.meter
    tells = first.identity or "tells no identity"
    readings = ", ".join(f"{count} of {name.replace('_', ' ')}" for name, count in found.readings.items()) or "none"
    garbage = f"; {found.garbage_bytes} bytes fitted no frame" if found.garbage_bytes else ""
    model = f", model {plan.model}" if plan.model else ""
    tag = f" (tag {first.tag})" if first.tag not in ("", first.unit) else ""
    return Facts(
        (
            ("Unit", f"{first.unit}{tag}{', marked known good' if first.known_good else ''}"),
            ("Plan", f"{plan.title}{model}; {_steps(plan)}"),
            ("Operator", first.operator or "not named"),
            ("Started", when.whole(0.0)),
            ("Ended", f"{when.whole(found.last_s)}, after {lasting(found.last_s)}: {_ending(found.end)}"),
            ("Meter", f"profile {meter.name} ({meter.title or meter.family}); {tells}"),
            ("Rate", f"{meter.conversions_per_s:g} conversions a second{_rates(found)}"),
            ("Readings", readings + garbage),
            ("Program", f"recorded by {first.program}, reported by {found.program}"),
            (
                "Journal",
                f"{found.file.name}, {found.file.bytes} bytes, {_STATES.get(found.file.state, found.file.state)}",
            ),
            ("SHA-256", found.file.sha256),
            ("Session", first.id),
        )
    )


def _steps(plan: Plan) -> str:
    many = len(plan.steps)
    return f"{counted(many, 'step')}, rule {plan.rule} where a step names none" if many else "no steps"


def _ending(end: EndRecord | None) -> str:
    return ENDS.get(end.reason, end.reason) if end is not None else "no end was recorded"


def _rates(found: Findings) -> str:
    meter = found.session.meter
    others = [f"{rate:g} for {quantity}" for quantity, rate in meter.conversions_per_s_by.items()]
    if "rate" in found.session.options:
        others.append("stated with --rate")
    others += [
        f"{1.0 / t_s:.3g} for {quantity} as measured before" for quantity, t_s in found.session.conversion_s.items()
    ]
    return f" ({', '.join(others)})" if others else ""


def result(found: Findings) -> str:
    """Return what came of the session, in a sentence or two."""
    if not found.verdicts and not found.open:
        return "A free trace: nothing was judged."
    counts = ", ".join(f"{count} {kind}" for kind, count in found.counts.items() if count)
    total = len(found.verdicts)
    said = [_stands(one, found) for one in found.standing]
    said += [f"{counted(total, 'item')} decided: {counts}." if total else "Nothing was decided."]
    for kind, words in ((VerdictKind.FAIL, "Failed"), (VerdictKind.UNSURE, "Unsure")):
        names = listed((verdict.step, verdict.item) for verdict in found.verdicts if verdict.verdict is kind)
        said += [f"{words}: {names}."] if names else []
    names = listed((each.step, each.item) for each in found.open)
    said.append(f"Not done: {names}." if names else "Everything was done.")
    said += [f"Counted so far, {name_of((one.step, one.item))}: {one.said}." for one in found.so_far]
    return " ".join(said)


def left_open(found: Findings) -> Section:
    """Return what was not done and what was skipped."""
    hows: dict[str, list[Key]] = {}
    for each in found.open:
        hows.setdefault(each.why, []).append((each.step, each.item))
    for one in found.skipped:
        hows.setdefault(one.how, []).append((one.step, one.item))
    lines = [f"{how}: {listed(keys, MOST_NAMED)}" for how, keys in hows.items()]
    lines += [f"counted so far, {name_of((one.step, one.item))}: {one.said}" for one in found.so_far]
    lines += [f"not run: {', '.join(found.not_run)}"] if found.not_run else []
    if not lines:
        return Section("Not done and skipped", (Para("Everything was done, and nothing was skipped."),))
    return Section("Not done and skipped", (Listing(tuple(lines)),))


def trimmers(found: Findings, gathered: Gathered, plan: Plan) -> Section | None:
    """Return every trimmer as found and as left, its excursions and its trace; None without any."""
    if not found.adjusted:
        return None
    heads = ("item", "verdict", "as found", "turned to", "as left", "past a hazard limit")
    rows = tuple(_adjusted(row, found) for row in found.adjusted)
    blocks: list[Block] = [Table("trimmers", heads, (Group(rows),))]
    for row in found.adjusted:
        trace = gathered.traces.get((row.step, row.item))
        picture = None if trace is None else plot(name_of((row.step, row.item)), trace, _aims(row, found, plan))
        if picture is not None:
            blocks.append(picture)
    return Section("Trimmers, as found and as left", tuple(blocks))


def _adjusted(row: Adjusted, found: Findings) -> Row:
    def shown(value: float | None) -> str:
        return "" if value is None else format_value(value, row.unit, row.resolution)

    band = "" if row.target is None else f"{shown(row.target)} ± {format_value(row.tolerance or 0.0, row.unit)}"
    past = [
        f"{shown(one.worst)}, {one.duration_s:.1f} s {one.side} {format_value(one.limit, row.unit)} "
        f"at {elapsed(one.from_s)}"
        for one in found.excursions
        if (one.step, one.item) == (row.step, row.item)
    ]
    more = row.excursions - len(past)
    if more > 0:
        past.append(f"{more} more in the journal")
    if any(one.item == row.item for one in found.standing):
        past.append("stands past it at the end")
    cells = (
        name_of((row.step, row.item)),
        row.verdict,
        shown(row.as_found) or "not read",
        band,
        shown(row.as_left) or "not read",
        "; ".join(past) or "never",
    )
    return Row(cells, VerdictKind(row.verdict) if row.verdict in [str(kind) for kind in VerdictKind] else None)


def _aims(row: Adjusted, found: Findings, plan: Plan) -> Aims:
    step = next((step for step in plan.steps if step.id == row.step), None)
    item = next((item for item in items_of(step) if item.name == row.item), None) if step is not None else None
    below, above = (None, None) if step is None or item is None else hazards_of(step, item, found.session.reference)
    verdict = next((one for one in found.verdicts if (one.step, one.item) == (row.step, row.item)), None)
    return Aims(
        row.target,
        row.tolerance,
        below,
        above,
        row.as_found,
        row.as_left,
        None if verdict is None else verdict.t_s,
        row.resolution,
        tuple(one for one in found.excursions if (one.step, one.item) == (row.step, row.item)),
    )


def counts(found: Findings, plan: Plan) -> Section | None:
    """Return k of n with intervals, before a fix or cleaning and after it; None where nothing was counted."""
    if not found.counted:
        return None
    heads = ("counted", "before", "last", "what the two prove")
    trials = [step.id for step in plan.steps if isinstance(step, TrialsStep)]
    reasons = {verdict.step: verdict.reason for verdict in found.verdicts if verdict.step in trials}
    rows = tuple(_counted(row, reasons.get(row.step, "")) for row in found.counted)
    pictures = tuple(
        picture for row in found.counted if (picture := spans(name_of((row.step, row.item)), row)) is not None
    )
    return Section("Counted", (Table("counts", heads, (Group(rows),)), *pictures))


def _counted(row: Counted, reason: str) -> Row:
    before = "none"
    if row.before_k is not None and row.before_runs:
        interval = clopper_pearson(row.before_k, row.before_runs, row.confidence)
        before = _of(row.before_k, row.before_runs, interval.low, interval.high, row.confidence)
    says = "nothing before it to compare with"
    if row.p is not None:
        says = f"{'changed' if row.changed else 'no proof of a change'} (p = {row.p:.3g}, Fisher, one-sided)"
    last = _of(row.k, row.runs, row.low, row.high, row.confidence)
    return Row((name_of((row.step, row.item)), before, last, "; ".join(part for part in (says, reason) if part)))


def _of(k: int, n: int, low: float, high: float, confidence: float) -> str:
    score = wilson(k, n, confidence)
    both = f"exact {_percent(low, high)}, Wilson {_percent(score.low, score.high)}"
    return f"{k} of {n} ({100 * confidence:g} %: {both})"


def _percent(low: float, high: float) -> str:
    return f"{100 * low:.3g} % to {100 * high:.3g} %"


def sweeps(gathered: Gathered) -> Section | None:
    """Return the strip of every sweep; None without any."""
    pictures = [picture for step, each in gathered.strips.items() if (picture := strip(step, each)) is not None]
    return Section("Contacts of the sweeps", tuple(pictures)) if pictures else None


def free_trace(gathered: Gathered, plan: Plan) -> Section | None:
    """Return what was recorded without a plan; None where there was one."""
    if plan.steps:
        return None
    pictures: list[Picture] = []
    for (_, quantity), trace in gathered.traces.items():
        picture = plot(quantity, trace)
        if picture is not None:
            pictures.append(picture)
    return Section("Trace", tuple(pictures) or (Para("No reading with a value was recorded."),))


def log(found: Findings, cut: int) -> Section:
    """Return words and notes in the order of time; `cut`: after how many entries some were left out."""
    when = When(found.session)
    rows = []
    for n, entry in enumerate(found.log):
        if found.log_left_out and n == cut:
            rows.append(
                Row(("", "", "", f"{found.log_left_out} entries are left out here; the journal has them"), quiet=True)
            )
        until = f", {entry.times} times, the last at {elapsed(entry.last_s)}" if entry.times > 1 else ""
        at = name_of((entry.step, entry.item))
        text = f"{entry.text}{until}" + (f" ({at})" if at.strip() else "")
        rows.append(Row((when.clock(entry.t_s), elapsed(entry.t_s), entry.who, text)))
    if not rows:
        return Section("Said and noted", (Para("Nothing was said or noted."),))
    return Section("Said and noted", (Table("log", ("local", "session", "who", "what"), (Group(tuple(rows)),)),))
