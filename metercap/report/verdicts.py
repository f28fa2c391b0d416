"""The table of verdicts: what stands, open items in their place, what was decided before below each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from itertools import groupby

from metercap.outcome import NOT_DONE, Key, Open
from metercap.plain.style import limits_text, value_text
from metercap.plan import Plan
from metercap.plan.expected import items_of
from metercap.plan.fields import kind_of
from metercap.plankeys import Item
from metercap.quantity.names import compressed
from metercap.records import Verdict
from metercap.report.document import Group, Row, Section, Table
from metercap.report.findings import Findings
from metercap.report.when import elapsed

HEADS = ("item", "verdict", "value ± U", "limits", "rule", "reason")


def verdicts(found: Findings, plan: Plan) -> Section:
    """Return the table of one session."""
    return Section("Verdicts", (table(found.verdicts, found.replaced, found.open, plan),))


def table(stand: Iterable[Verdict], replaced: Iterable[Verdict], left: Iterable[Open], plan: Plan) -> Table:
    """Return the verdicts that stand, those before them, and what is open.

    A step with one item of its own name has one line; others have a line of their own above.
    """
    earlier: dict[Key, list[Verdict]] = {}
    for verdict in replaced:
        earlier.setdefault((verdict.step, verdict.item), []).append(verdict)
    standing = {(verdict.step, verdict.item): verdict for verdict in stand}
    undecided = {(each.step, each.item): each.why for each in left}
    wheres = {(step.id, item.name): _where(item) for step in plan.steps for item in items_of(step)}
    about = {step.id: ": ".join(part for part in (kind_of(step), step.say) if part) for step in plan.steps}
    keys = _in_order(plan, [*standing, *undecided])
    many = Counter(step for step, _ in keys)

    def decided(key: Key, asked: str) -> list[Row]:
        name = ", ".join(part for part in (key[1], wheres.get(key, "")) if part)
        before = [_row(f"before it, at {elapsed(one.t_s)}", one, quiet=True) for one in earlier.get(key, ())]
        again = "" if undecided.get(key, NOT_DONE) == NOT_DONE else undecided[key]
        return [_row(name, standing[key], asked, again), *before]

    groups = []
    for title, each in groupby(keys, lambda key: "" if key[0] == key[1] and many[key[0]] == 1 else key[0]):
        lines: list[Row] = []
        for is_open, some in groupby(each, lambda key: "" if key in standing else undecided[key]):
            if is_open:
                why = "" if is_open == NOT_DONE else is_open
                lines += [Row((name, NOT_DONE, why), quiet=True) for name in compressed(item for _, item in some)]
            else:
                lines += [row for key in some for row in decided(key, "" if title else about.get(key[0], ""))]
        groups.append(Group(tuple(lines), title, about.get(title, "not in the plan") if title else ""))
    return Table("verdicts", HEADS, tuple(groups))


def _in_order(plan: Plan, keys: Iterable[Key]) -> list[Key]:
    """Return keys in the plan's order of steps and items, the unplanned ones last."""
    place = {(step.id, name): (n, m) for n, step in enumerate(plan.steps) for m, name in enumerate(step.item_names)}
    steps = {step.id: n for n, step in enumerate(plan.steps)}
    after = len(place)
    return sorted(dict.fromkeys(keys), key=lambda key: place.get(key, (steps.get(key[0], len(steps)), after)))


def _where(item: Item) -> str:
    tips = [f"{tip} on {at}" for tip, at in (("red", item.red), ("black", item.black)) if at]
    return ", ".join(part for part in (item.where or item.say, *tips) if part)


def _row(name: str, verdict: Verdict, asked: str = "", is_open: str = "", *, quiet: bool = False) -> Row:
    reasons = [part for part in (is_open, verdict.reason) if part]
    if verdict.value is not None and not verdict.settled:
        reasons.append("decisive before the value settled")
    if isinstance(verdict.condition, str):
        reasons.insert(0, verdict.condition)
    if isinstance(verdict.accepted, str):
        reasons.insert(0, f"accepted as it is: {verdict.accepted}".rstrip(": "))
    text = "; ".join(reasons)
    value, limits = value_text(verdict), limits_text(verdict)
    if not (value or limits):
        return Row(
            (name, str(verdict.verdict), " → ".join(part for part in (asked, text) if part)), verdict.verdict, quiet
        )
    return Row((name, str(verdict.verdict), value, limits, verdict.rule, text), verdict.verdict, quiet)
