"""A draft brought onto a plan that another hand changed meanwhile: what each did counts, here before there. Pure."""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from metercap.marking.draft import Draft, Pic, cards, tears
from metercap.marking.model import DIGITS, Tips
from metercap.marking.spots import moved
from metercap.plan.model import Plan
from metercap.plankeys import SweepStep, WalkStep

SAME = 5 * 10.0**-DIGITS
"""Places no farther apart are one: each turn and cut rounds them anew, and a pixel of 2400 is about as much."""
OTHER_FILE = "{} is another file than the one that was marked: look at every place"

At = Mapping[str, Tips]


def onto(old: Draft, fresh: Draft, plan: Plan) -> tuple[Draft, tuple[str, ...]]:
    """Return a draft brought onto a plan, and the keys that have no place any more.

    `fresh` is that plan's own draft: its pictures come first and in its order. A picture that the plan does not have
    any more is a new one.
    """
    left = list(old.pics)
    base = {pic.file: pic for pic in old.base}
    pics = []
    for pic in fresh.pics:
        found = [each for each in left if each.shown and each.shown == pic.shown]
        found += [each for each in left if each.planned and each.file == pic.file]
        if found:
            left.remove(found[0])
        pics.append(_met(found[0], base.get(found[0].file), pic) if found else pic)
    pics += [msgspec.structs.replace(pic, planned=False) for pic in left if pic.shown]
    known = {card.key for card in cards(plan)}
    pics = [
        msgspec.structs.replace(pic, at={key: tips for key, tips in pic.at.items() if key in known}) for pic in pics
    ]
    at = [key for pic in pics for key in pic.at]
    taps = [key for key in old.taps if key in at]
    taps += dict.fromkeys(key for key in at if key not in taps)
    lost = tuple(dict.fromkeys(key for pic in old.pics for key in pic.at if key not in at))
    return _walks(Draft(tuple(pics), tuple(taps), base=fresh.base), old, plan), lost


def _met(mine: Pic, was: Pic | None, theirs: Pic) -> Pic:
    """Return one picture as it stands after both: `was` before either, `mine` in the draft, `theirs` in the plan."""
    side = theirs.side if was is not None and mine.side == was.side else mine.side
    title = theirs.title if was is not None and mine.title == was.title else mine.title
    theirs = msgspec.structs.replace(theirs, side=side, title=title)
    if mine.shown == theirs.shown:
        before = was.at if was is not None and was.shown == theirs.shown else {}
        return msgspec.structs.replace(theirs, at=_both(mine.at, before, theirs.at))
    here = msgspec.structs.replace(mine, side=side, title=title, file=theirs.file, sha256=theirs.sha256)
    if was is not None and mine.source == was.source == theirs.source:  # turned or cut here
        drawn = [moved(each.at, mine.quarters, mine.box)[0] for each in (was, theirs)]
        return msgspec.structs.replace(here, at=_both(mine.at, *drawn))
    if was is None or mine.source != was.source:  # another photograph was taken here
        return here
    at = _both(mine.at, was.at, theirs.at) if mine.shown == was.shown else theirs.at
    return msgspec.structs.replace(theirs, at=at, trouble=theirs.trouble or OTHER_FILE.format(theirs.file))


def _both(mine: At, was: At, theirs: At) -> dict[str, Tips]:
    """Return places after both: what was done here, and where nothing was, what the plan has now."""
    out: dict[str, Tips] = {}
    for key in dict.fromkeys([*mine, *theirs]):
        tips = theirs.get(key) if _same(mine.get(key), was.get(key)) else mine.get(key)
        if tips is not None:
            out[key] = tips
    return out


def _same(one: Tips | None, other: Tips | None) -> bool:
    if one is None or other is None:
        return one is other
    near = [abs(a - b) <= SAME for spots in zip(one, other, strict=False) for a, b in zip(*spots, strict=True)]
    return len(one) == len(other) and all(near)


def _walks(draft: Draft, old: Draft, plan: Plan) -> Draft:
    """Return it with those orders and groups of `old` that its steps can still take."""
    orders: dict[str, tuple[str, ...]] = {}
    clusters: dict[str, tuple[tuple[str, ...], ...]] = {}
    for step in plan.steps:
        if not isinstance(step, WalkStep):
            continue
        names = {item.name for item in step.items}
        if step.id in old.orders and set(old.orders[step.id]) in (set(), names):
            orders[step.id] = old.orders[step.id]
        draft = msgspec.structs.replace(draft, orders=dict(orders), clusters=dict(clusters))
        groups = old.clusters.get(step.id)
        if groups is None or not isinstance(step, SweepStep):
            continue
        if {name for group in groups for name in group} <= names and not tears(draft, step, groups):
            clusters[step.id] = groups
    return msgspec.structs.replace(draft, orders=orders, clusters=clusters)
