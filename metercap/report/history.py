"""Puts the page of a history together: what the meters read, then every model's items, with their spread and path."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from metercap.history.summary import PlaceHistory, Summary
from metercap.history.text import HEADS, NOT_NAMED, cells, chance_words, head, mark_words, percent
from metercap.quantity import counted
from metercap.report.document import Block, Document, Group, Listing, Para, Row, Section, Table
from metercap.report.historyplot import item_picture, spread_picture

CLOSING = "Local codes and licensed practice go before anything that this page says."
MOST_PICTURES = 200
"""Items that are drawn one by one; the tables have all."""

_TOO_FEW = "too few values that another meter shares"


def compose_history(found: Summary, troubles: Sequence[str], program: str) -> Document:
    """Return the page as a document; `troubles` are what is to be said of journals that are not as they should be."""
    parts = [_meters(found)]
    for model, places in groupby(found.places, key=lambda place: place.model):
        parts.append(_model(model or "Model not named", list(places)))
    parts.append(_about(troubles, program))
    return Document("What many repairs measured", head(found), _result(found), tuple(parts), CLOSING)


def _result(found: Summary) -> str:
    said = []
    for one in found.told:
        side = "high" if one.shift > 0 else "low"
        beside = f" beside {one.either}, and either of the two may be off" if one.either else ""
        said.append(f"{one.meter or NOT_NAMED} reads {one.unit} {percent(abs(one.shift))} {side}{beside}.")
    if not said:
        said.append("No meter stands out.")
    moving = [place for place in found.places if place.drift is not None and place.drift.told]
    if moving:
        how = "rises or falls" if len(moving) == 1 else "rise or fall"
        said.append(f"{counted(len(moving), 'item')} of {len(found.places)} {how} over the dates.")
    outside = sum(int(place.outside) for place in found.places)
    if outside:
        said.append(f"{counted(outside, 'value')} {'stands' if outside == 1 else 'stand'} out.")
    return " ".join(said)


def _meters(found: Summary) -> Section:
    heads = ("meter", "sessions", "in", "reads", "items", "values", "by chance", "")
    rows = []
    for name, sessions in found.meters.items():
        mine = [one for one in found.offsets if one.meter == name]
        if not mine:
            alone = "no other meter to hold it against" if len(found.meters) == 1 else _TOO_FEW
            rows.append(Row((name or NOT_NAMED, str(sessions), "", alone)))
        for one in mine:
            look = ("look into it" + (f": it, or {one.either}" if one.either else "")) if one.told else ""
            known = (name or NOT_NAMED, str(sessions), one.unit, percent(one.shift, "+"), str(one.places), str(one.n))
            rows.append(Row((*known, chance_words(one.p), look)))
    return Section("Meters", (Table("meters", heads, (Group(tuple(rows)),)),))


def _model(model: str, places: Sequence[PlaceHistory]) -> Section:
    rows = tuple(Row(cells(place)) for place in places)
    blocks: list[Block] = [Table("history", HEADS, (Group(rows),))]
    spread = spread_picture(places)
    blocks += [] if spread is None else [spread]
    pictures = [picture for place in places if (picture := item_picture(place)) is not None]
    blocks += pictures[:MOST_PICTURES]
    if len(pictures) > MOST_PICTURES:
        blocks.append(Para(f"{len(pictures) - MOST_PICTURES} items more are in the table above, and not drawn."))
    out = tuple(_outside(places))
    if out:
        blocks += [Para("Values that stand out, by more than 3.5 spreads:"), Listing(out)]
    return Section(model, tuple(blocks))


def _outside(places: Sequence[PlaceHistory]) -> Iterator[str]:
    for place in places:
        yield from (f"{place.name}: {mark_words(mark, place.unit, place.finest)}" for mark in place.outliers)
        if place.outside > len(place.outliers):
            yield f"{place.name}: {place.outside - len(place.outliers)} more"


def _about(troubles: Sequence[str], program: str) -> Section:
    lines = (
        "Median and spread (scaled median absolute deviation) of the values as displayed; a box holds the middle half.",
        "Over time: the median slope between dates (Theil, Sen), told where chance gives it less than once in 100.",
        "Meters: ranks at every item put together (van Elteren), told where chance gives it less than once in 1000 and "
        "the meter is 1 % off or more. A trimmer as left says nothing of a meter: it was turned until that showed the "
        "target.",
        "Faulty units are among these values. What stands out is a reason to look, not a fault.",
    )
    blocks: list[Block] = [Listing(lines)]
    blocks += [Listing(tuple(text.strip() for text in troubles))] if troubles else []
    return Section("About these numbers", (*blocks, Para(f"Told by {program}.")))
