"""A marking as it stands: pictures with their places, the taps in their order, and what follows from them. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import msgspec

from metercap.marking.model import DIGITS, Marks, Shot, Tips
from metercap.marking.spots import WHOLE, Box, groups, moved, turned_box, within
from metercap.plan.model import Plan
from metercap.plankeys import SweepStep, WalkStep
from metercap.plankeys.picture import BOTH_TIPS, MOST_PICTURES, placeable
from metercap.plankeys.walk import out_of_order, walked


class Card(msgspec.Struct, frozen=True):
    """One item to find on the board. `pair`: the plan says where each tip goes, so that each is asked for."""

    key: str
    step: str
    item: str
    where: str = ""
    red: str = ""
    black: str = ""

    @property
    def pair(self) -> bool:
        """Whether each tip has a place of its own."""
        return bool(self.red and self.black)


class Pic(msgspec.Struct, frozen=True):
    """One picture. What is `shown` is `source`, turned clockwise by `quarters`, then cut to `box`; both are hashes.

    `planned`: the plan has it already, as `file` with the hash `sha256`. `trouble` says why it cannot be shown, or what
    is to be looked at.
    """

    file: str = ""
    side: str = "front"
    title: str = ""
    sha256: str = ""
    planned: bool = False
    source: str = ""
    shown: str = ""
    width: int = 1
    height: int = 1
    quarters: int = 0
    box: Box = WHOLE
    at: dict[str, Tips] = {}
    trouble: str = ""


class Baked(msgspec.Struct, frozen=True):
    """A picture as it is stored: the hash of its file, and its size in pixels."""

    sha256: str
    width: int
    height: int


class Draft(msgspec.Struct, frozen=True):
    """All that was done so far. `taps`: keys in the order in which they were first placed.

    `orders` and `clusters` hold what is to be changed in the plan, by step; `base` the plan's own pictures as they were
    when it was begun.
    """

    pics: tuple[Pic, ...] = ()
    taps: tuple[str, ...] = ()
    orders: dict[str, tuple[str, ...]] = {}
    clusters: dict[str, tuple[tuple[str, ...], ...]] = {}
    base: tuple[Pic, ...] = ()


class Proposal(msgspec.Struct, frozen=True):
    """What a step could say: `order` as it was tapped, empty where it is so already; `groups` that stand together."""

    step: str
    now: tuple[str, ...]
    order: tuple[str, ...] = ()
    groups: tuple[tuple[str, ...], ...] = ()
    grouped: tuple[tuple[str, ...], ...] = ()


def cards(plan: Plan) -> tuple[Card, ...]:
    """Return the items of a plan in the order in which they are probed; steps that probe nothing have none."""
    used = {key for picture in plan.pictures for key in picture.at}
    out = []
    for step in plan.steps:
        items = getattr(step, "items", ())
        order = walked(items, step.order) if isinstance(step, WalkStep) else items
        known = {item.name: item for item in order}
        ways: dict[str, list[str]] = {}
        for key, name in placeable(step):
            if name != step.id or name in known:
                ways.setdefault(name, []).append(key)
        turn = {name: n for n, name in enumerate(known)}
        for name in sorted(ways, key=lambda name: turn.get(name, len(turn))):
            key = next((key for key in ways[name] if key in used), ways[name][0])
            item = known.get(name)
            said = (item.where, item.red, item.black) if item is not None else ("", "", "")
            out.append(Card(key, step.id, name, *said))
    return tuple(out)


def begun(plan: Plan) -> Draft:
    """Return the draft of a plan as its file is; the pictures are looked at elsewhere."""
    pics = tuple(
        Pic(each.file, each.side, each.title, each.sha256, planned=True, at=dict(each.at)) for each in plan.pictures
    )
    return Draft(pics, tuple(key for pic in pics for key in pic.at))


def marks_of(draft: Draft) -> Marks:
    """Return what is to stand in the plan; every picture must have its file and hash by now."""
    shots = tuple(Shot(pic.file, pic.side, pic.title, pic.sha256, pic.at) for pic in draft.pics)
    return Marks(shots, draft.orders, draft.clusters)


# --- what is done


def placed(draft: Draft, n: int, key: str, tips: Tips) -> Draft:
    """Return it with an item placed on one picture, and on no other; moved, it keeps its turn among the taps."""
    spots = tuple((round(x, DIGITS), round(y, DIGITS)) for x, y in tips)
    if not 1 <= len(spots) <= BOTH_TIPS or not all(0.0 <= part <= 1.0 for spot in spots for part in spot):
        raise ValueError("a place is one or two points on the picture")
    pics = []
    for number, pic in enumerate(draft.pics):
        at = dict(pic.at)
        if number == n:
            at[key] = spots
        else:
            at.pop(key, None)
        pics.append(msgspec.structs.replace(pic, at=at))
    taps = draft.taps if key in draft.taps else (*draft.taps, key)
    return msgspec.structs.replace(draft, pics=tuple(pics), taps=taps)


def taken_off(draft: Draft, key: str) -> Draft:
    """Return it without an item's place."""
    pics = tuple(
        msgspec.structs.replace(pic, at={name: tips for name, tips in pic.at.items() if name != key})
        for pic in draft.pics
    )
    return msgspec.structs.replace(draft, pics=pics, taps=tuple(tap for tap in draft.taps if tap != key))


def added(draft: Draft, baked: Baked, side: str) -> Draft:
    """Return it with one picture more."""
    if len(draft.pics) >= MOST_PICTURES:
        raise ValueError(f"a plan has at most {MOST_PICTURES} pictures")
    if any((pic.source, pic.side) == (baked.sha256, side) for pic in draft.pics):
        raise ValueError(f"this photograph is there already, of the {side}: choose another, or drop the first")
    pic = Pic(side=side, source=baked.sha256, shown=baked.sha256, width=baked.width, height=baked.height)
    return msgspec.structs.replace(draft, pics=(*draft.pics, pic))


def another(draft: Draft, n: int, baked: Baked) -> Draft:
    """Return it with another photograph in a picture's stead; its places, which were the old one's, are gone."""
    old = draft.pics[n]
    pic = msgspec.structs.replace(
        old, source=baked.sha256, shown=baked.sha256, width=baked.width, height=baked.height,
        quarters=0, box=WHOLE, at={}, trouble="",
    )  # fmt: skip
    return _with_pic(draft, n, pic, old.at)


def dropped(draft: Draft, n: int) -> Draft:
    """Return it without a picture that the plan does not have yet."""
    if draft.pics[n].planned:
        raise ValueError("the plan has this picture: take its table out of the file")
    gone = draft.pics[n].at
    pics = draft.pics[:n] + draft.pics[n + 1 :]
    return msgspec.structs.replace(draft, pics=pics, taps=tuple(tap for tap in draft.taps if tap not in gone))


def named(draft: Draft, n: int, side: str, title: str) -> Draft:
    """Return it with another side and title of a picture."""
    return _with_pic(draft, n, msgspec.structs.replace(draft.pics[n], side=side, title=title))


def redrawn(pic: Pic, quarters: int, box: Box) -> tuple[int, Box]:
    """Return turn and cut of the source for a picture that is turned, or cut, as it is shown now."""
    return (pic.quarters + quarters) % 4, within(box, turned_box(pic.box, quarters))


def turned(draft: Draft, n: int, quarters: int, box: Box, baked: Baked) -> tuple[Draft, tuple[str, ...]]:
    """Return it with a picture turned and then cut, as `baked`, its places with it, and the keys that were cut off."""
    pic = draft.pics[n]
    at, lost = moved(pic.at, quarters, box)
    turn, cut = redrawn(pic, quarters, box)
    new = msgspec.structs.replace(
        pic, quarters=turn, box=cut, at=at, shown=baked.sha256, width=baked.width, height=baked.height
    )
    return _with_pic(draft, n, new, dict.fromkeys(lost)), lost


def _with_pic(draft: Draft, n: int, pic: Pic, gone: Mapping[str, object] | None = None) -> Draft:
    taps = tuple(tap for tap in draft.taps if tap not in (gone or {}))
    return msgspec.structs.replace(draft, pics=(*draft.pics[:n], pic, *draft.pics[n + 1 :]), taps=taps)


def ordered(draft: Draft, step: WalkStep, names: tuple[str, ...]) -> Draft:
    """Return it with another order of probing, none for the natural one; groups that it tears apart are taken out."""
    draft = msgspec.structs.replace(draft, orders={**draft.orders, step.id: names})
    if isinstance(step, SweepStep) and tears(draft, step, _clusters(draft, step)):
        return grouped(draft, step, ())
    return draft


def tears(draft: Draft, step: SweepStep, clusters: tuple[tuple[str, ...], ...]) -> bool:
    """Return whether the order of probing tears one of these groups apart."""
    return bool(out_of_order(step.items, clusters, _order(draft, step)))


def grouped(draft: Draft, step: SweepStep, clusters: tuple[tuple[str, ...], ...]) -> Draft:
    """Return it with other groups, none for no groups."""
    return msgspec.structs.replace(draft, clusters={**draft.clusters, step.id: clusters})


def _order(draft: Draft, step: WalkStep) -> tuple[str, ...]:
    return draft.orders.get(step.id, step.order)


def _clusters(draft: Draft, step: SweepStep) -> tuple[tuple[str, ...], ...]:
    return draft.clusters.get(step.id, step.clusters)


def proposals(draft: Draft, plan: Plan) -> Iterator[Proposal]:
    """Yield, for each step that walks over items, what the taps say of their order and of groups.

    Neither is proposed before every item of the step has its place.
    """
    keys = {(card.step, card.item): card.key for card in cards(plan)}
    where = {key: (n, tips) for n, pic in enumerate(draft.pics) for key, tips in pic.at.items()}
    shape = {n: pic.width / pic.height for n, pic in enumerate(draft.pics)}
    turn = {key: n for n, key in enumerate(draft.taps)}
    for step in plan.steps:
        if not isinstance(step, WalkStep) or len(step.items) < 2:
            continue
        key_of = {item.name: keys[step.id, item.name] for item in step.items}
        now = [item.name for item in walked(step.items, _order(draft, step)) if item.name in key_of]
        old = _clusters(draft, step) if isinstance(step, SweepStep) else ()
        if not all(key in where for key in key_of.values()):
            yield Proposal(step.id, tuple(now), grouped=old)
            continue
        tapped = sorted(now, key=lambda name: turn[key_of[name]])
        at = {name: where[key] for name, key in key_of.items()}
        near = groups(now, at, shape) if isinstance(step, SweepStep) else []
        runs = tuple(tuple(run) for run in near)
        yield Proposal(step.id, tuple(now), tuple(tapped) if tapped != now else (), runs if runs != old else (), old)
