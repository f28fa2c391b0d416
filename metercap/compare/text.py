"""A comparison in lines for people. Pure; whoever prints them escapes what files brought in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from metercap.compare.model import Adjusted, Apart, BudgetTable, Counted, Line, Pair, SideBySide
from metercap.compare.pairs import spread_known
from metercap.quantity import format_value

WIDER = 2.0
"""A difference of two like values has √2 of their U; so many times the larger is worth a word."""
_HEADS = ("", "step", "item", "verdict", "here", "there", "difference", "ratio", "E_n", "")


def report_lines(report: SideBySide) -> Iterator[str]:
    """Return the lines of a report: warnings, then budgets where some were asked for, else what was found."""
    for warning in report.warnings:
        yield f"note: {warning}"
    for table in report.budgets:
        yield from _budget(table)
    if report.budgets:
        return
    for pair in report.pairs:
        yield from _pair(pair)
    if report.adjusted:
        yield from ("", "As found and as left")
        yield from (f"  {_adjusted(row)}" for row in report.adjusted)
    if report.counted:
        yield from ("", "Counted, before a fix or cleaning and after it")
        yield from (f"  {_counted(row)}" for row in report.counted)
    if not (report.pairs or report.adjusted or report.counted):
        yield "nothing to compare: name another session, or a reference"


def _pair(pair: Pair) -> Iterator[str]:
    order = "what changed most" if pair.how == "before and after" else "most suspicious"
    yield ""
    yield f"Unit {pair.unit} ({pair.file}) beside {pair.beside}, {order} first"
    for odd in pair.odd:
        yield f"  ! {odd.step} {odd.item}  {odd.here}; there {odd.there}"
    if pair.lines:
        yield from table_lines([_HEADS, *(line_cells(line) for line in pair.lines)])
        yield from (f"  {remark}" for remark in remarks(pair))
    yield from _apart(pair.apart)


def remarks(pair: Pair) -> Iterator[str]:
    """Return what is to be said below a pair's lines: how many differ, what that is worth, and what ± and E_n mean."""
    known = [line for line in pair.lines if spread_known(pair.how, line.n)]
    if known:
        yield (
            f"{sum(line.differs for line in known)} of {len(known)} differ by more than their uncertainty (|E_n| of 1 "
            f"or more); chance alone would flag about {pair.chance or 0.0:.2g}"
        )
    if len(known) < len(pair.lines):
        alone = [line for line in pair.lines if not spread_known(pair.how, line.n)]
        yield (
            f"{sum(line.differs for line in alone)} of {len(alone)} differ from one unit by more than their "
            "uncertainty; how far good units lie apart is not known from one, so E_n only ranks what to look at"
        )
    if any(line.n > 1 for line in pair.lines):
        yield "with several good units E_n counts half-widths of what they let expect"
    if any(not line.how for line in pair.lines):
        yield (
            "± of a value is for the value alone; ± of a difference leaves out the gain error that one meter in one "
            "range on one day puts into both, and adds the scatter of both"
        )
    if any(line.difference_expanded > WIDER * max(line.expanded, line.reference_expanded) for line in pair.lines):
        yield (
            "a difference has a much wider ± than its values where their scatter rests on few contacts, where good "
            "units differ among themselves, or where the meter's accuracy is not known; more contacts narrow it"
        )


def line_cells(line: Line) -> tuple[str, ...]:
    """Return an item's cells: "!" where flagged, step, item, verdict, here, there, difference, ratio, E_n, how."""
    step = line.resolution
    finer = _finer(step)
    of = f" of {line.n}" if line.n > 1 else ""
    return (
        "!" if line.flagged else "",
        line.step,
        line.item,
        line.verdict,
        _plus_minus(line.value, line.expanded, line.unit, step, finer),
        _plus_minus(line.reference, line.reference_expanded, line.unit, step, finer) + of,
        _plus_minus(line.difference, line.difference_expanded, line.unit, finer, finer),
        "" if line.ratio is None else f"{line.ratio:.4g}",
        f"{line.e_n:+.2f}" if abs(line.e_n) < 100.0 else f"{line.e_n:+.0f}",
        f"({line.how})" if line.how else "",
    )


def _apart(apart: Iterable[Apart]) -> Iterator[str]:
    for one in apart:
        yield f"  . {one.step} {one.item}  not compared: {one.why}"


def _adjusted(row: Adjusted) -> str:
    found, left = (
        "not read" if value is None else format_value(value, row.unit, row.resolution)
        for value in (row.as_found, row.as_left)
    )
    parts = [f"{row.unit_name} {row.step} {row.item}: as found {found}, as left {left}"]
    if row.target is not None:
        target = format_value(row.target, row.unit)
        parts.append(f"target {target} ± {format_value(row.tolerance or 0.0, row.unit)}")
    if row.excursions:
        parts.append(f"{row.excursions} past a hazard limit")
    return ", ".join([*parts, row.verdict, row.file])


def _counted(row: Counted) -> str:
    after = f"{row.k} of {row.runs} ({100 * row.confidence:g} %: {row.low:.3g} to {row.high:.3g})"
    head = f"{row.unit_name} {row.step}" + (f" {row.item}" if row.item != row.step else "")
    if row.p is None:
        return f"{head}: {after}, nothing before it to compare with"
    word = "changed" if row.changed else "no proof of a change"
    return f"{head}: before {row.before_k} of {row.before_runs}, after {after}: {word} (p = {row.p:.3g})"


def _budget(table: BudgetTable) -> Iterator[str]:
    unit, finer = table.unit, _finer(table.resolution)
    expanded = format_value(table.expanded, unit, finer)
    dof = "" if table.dof is None else f", by {table.dof:.3g} degrees of freedom"
    yield ""
    yield f"{table.of}: {format_value(table.value, unit, finer)} ± {expanded}"
    cells = [("", "component", "u", "share", "shape", "from")]
    for row in table.rows:
        freedom = "" if row.dof is None else f" ({row.dof:.3g} degrees of freedom)"
        shown = (format_value(row.u, unit), f"{row.share:.1f} %", row.distribution, row.note + freedom)
        cells.append(("", row.name, *shown))
    yield from table_lines(cells)
    says = "stated" if table.stated else "k·u"
    because = f" ({table.reason})" if table.reason else ""
    yield f"  u = {format_value(table.u, unit)}, k = {table.k:.4g}{dof}; U = {expanded}, {says}{because}"


def table_lines(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Return rows of cells as lines with their columns below each other."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        yield "  " + "  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip()


def _plus_minus(value: float, expanded: float, unit: str, resolution: float | None, finer: float | None) -> str:
    return f"{format_value(value, unit, resolution)} ± {format_value(expanded, unit, finer)}"


def _finer(resolution: float | None) -> float | None:
    """Return a tenth of a resolution: means of several contacts, and U, carry more than one display shows."""
    return None if resolution is None else resolution / 10.0
