"""A table of the verdicts that stand, as plain text."""

from __future__ import annotations

from collections.abc import Iterable

from metercap.plain.style import MARKS, limits_text, paint, safe, value_text
from metercap.records import Verdict


def verdict_table(verdicts: Iterable[Verdict], *, colour: bool = False, title: str = "") -> str:
    """Return one line for each verdict: step, item, verdict, value with uncertainty, limits, reason."""
    rows = [
        (v, safe(v.step), safe(v.item), v.verdict.value, value_text(v), limits_text(v), safe(v.reason))
        for v in verdicts
    ]
    if not rows:
        return f"{title}\n  no verdicts".lstrip()
    widths = [max(len(row[column]) for row in rows) for column in range(1, 6)]  # type: ignore[arg-type]
    lines = [title] if title else []
    for verdict, *cells in rows:
        mark, hue = MARKS[verdict.verdict]
        body = "  ".join(f"{cell:<{width}}" for cell, width in zip(cells[:5], widths, strict=True))
        lines.append(paint(f"  {mark} {body}  {cells[5]}".rstrip(), hue, colour))
    return "\n".join(lines)
