"""The page of a history: what it says in a sentence, and that its pictures show what they are drawn for."""

from __future__ import annotations

import datetime
import itertools
import random
from collections.abc import Sequence
from pathlib import Path
from typing import TypeVar

import pytest

from metercap.history import History, Place, Sight
from metercap.history.summary import PlaceHistory, summary
from metercap.history.text import history_lines
from metercap.report import history as page_of
from metercap.report.document import Box, Curve, Document, Dot, Line, Listing, Para, Picture, Table, Words
from metercap.report.history import compose_history
from metercap.report.historyplot import item_picture
from metercap.report.page import page
from metercap.report.text import text_lines
from tests.marking.browser import chromium

K1 = Place("GC-8", "coils", "K1", "ohm")
K2 = Place("GC-8", "coils", "K2", "ohm")
SPLIT, RIGHT, WIDTH = 440.0, 704.0, 720.0
"""Where meters begin in an item's picture, where its lines end, and how wide it is."""


def history(
    *values: float,
    meters: Sequence[str] = ("a",),
    benches: Sequence[str] = ("north",),
    place: Place = K1,
    days: int = 7,
    last_day: str | None = None,
) -> History:
    """Return values of one place, one every few `days`, the meters in turn; `last_day` is the last one's."""
    out = History()
    for n, value in enumerate(values):
        day = (datetime.date(2026, 1, 5) + datetime.timedelta(days=days * n)).isoformat()
        if last_day is not None and n == len(values) - 1:
            day = last_day
        meter, bench = meters[n % len(meters)], benches[n // len(meters) % len(benches)]
        out.session(meter, bench, day)
        out.add(place, Sight("pass", value, 0.1, meter, bench, day, "vent pair", f"unit {n}", f"{n:03d}-A.jsonl"))
    return out


def around(ohm: float, n: int, spread: float = 2.0, seed: int = 1) -> list[float]:
    """Return so many values around one, as a display with one decimal has them."""
    rng = random.Random(seed)
    return [round(rng.gauss(ohm, spread), 1) for _ in range(n)]


def place_of(found: History) -> PlaceHistory:
    """Return its one place."""
    (place,) = summary(found).places
    return place


def picture_of(found: History) -> Picture:
    """Return the picture of its one item."""
    picture = item_picture(place_of(found))
    assert picture is not None
    return picture


def words(picture: Picture) -> dict[str, Words]:
    """Return every text in a picture."""
    return {shape.text: shape for shape in picture.shapes if isinstance(shape, Words)}


def columns(picture: Picture) -> list[Dot]:
    """Return the medians of meters and benches."""
    return [shape for shape in picture.shapes if isinstance(shape, Dot) and shape.look == "left" and shape.x > SPLIT]


def test_one_wild_value_does_not_flatten_the_others() -> None:
    """A coil of twice the ohms: an arrow at the edge with its value, and a meter 3 % high is seen beside the other."""
    values = [value * (1.03 if n % 2 else 1.0) for n, value in enumerate(around(160.0, 30))]
    picture = picture_of(history(*(round(value, 1) for value in values), 320.0, meters=("a", "b")))
    first, second = columns(picture)
    assert first.y - second.y > 40.0
    assert "320.0 Ω" in words(picture)
    (arrow,) = [shape for shape in picture.shapes if isinstance(shape, Curve)]
    assert arrow.d.endswith("h8l-4 -6.0z"), "it points up"
    assert "a ring or arrow stands out" in picture.says[-1]
    assert words(picture)["320.0 Ω"].anchor == "end"
    low = picture_of(history(80.0, *around(160.0, 30)))
    (arrow,) = [shape for shape in low.shapes if isinstance(shape, Curve)]
    assert arrow.d.endswith("h8l-4 6.0z"), "it points down"
    assert words(low)["80.0 Ω"].anchor == "start"


def test_a_value_that_stands_out_a_little_is_a_ring() -> None:
    """On the scale, at its day and its height: above everything else."""
    values = [159.0, 159.5, 160.0, 160.5, 161.0] * 6
    picture = picture_of(history(*values, 164.0))
    (ring,) = [shape for shape in picture.shapes if isinstance(shape, Dot) and shape.look == "found"]
    dots = [shape for shape in picture.shapes if isinstance(shape, Dot) and shape.look == "left"]
    assert ring.x > max(dot.x for dot in dots)
    assert ring.y <= min(dot.y for dot in dots)
    assert not [shape for shape in picture.shapes if isinstance(shape, Curve)]


def test_a_value_without_a_day_has_no_place_in_the_picture() -> None:
    """It is listed below it."""
    found = history(*around(160.0, 30), 320.0, last_day="")
    assert not [shape for shape in picture_of(found).shapes if isinstance(shape, Curve)]
    (said,) = [text for block in blocks(compose(found), Listing) for text in block.lines if "320.0 Ω" in text]
    assert said == "coils K1: 320.0 Ω: unit unit 30, vent pair, 030-A.jsonl"


@pytest.mark.parametrize("meters", [2, 3, 5, 9])
@pytest.mark.parametrize("benches", [1, 2, 6])
def test_names_do_not_run_into_each_other(meters: int, benches: int) -> None:
    """At 6.8 points a letter, in each row: apart, right of the dates, inside the picture; five of a kind at most."""
    meter_names = [f"lcd14 (SN {n})" for n in range(meters)]
    bench_names = [f"/home/bench/{n} north" for n in range(benches)]
    picture = picture_of(history(*around(160.0, 400), meters=meter_names, benches=bench_names, days=1))
    texts = [shape for shape in picture.shapes if isinstance(shape, Words)]
    names = [text for text in texts if text.x > SPLIT and text.y > 165.0 and not text.text.startswith("by ")]
    dates = max(text.x for text in texts if text.text.startswith("202") and text.anchor == "end")
    assert len(names) == min(meters, 5) + (min(benches, 5) if benches > 1 else 0) == len(columns(picture))
    rows: dict[float, list[Words]] = {}
    for text in names:
        rows.setdefault(text.y, []).append(text)
        assert text.x - 3.4 * len(text.text) >= dates
        assert text.x + 3.4 * len(text.text) <= WIDTH
        assert text.y < picture.height
    for row in rows.values():
        for one, other in itertools.pairwise(row):
            assert one.x + 3.4 * len(one.text) <= other.x - 3.4 * len(other.text)
    assert max(text.y for text in words(picture).values()) < picture.height


def test_dates_take_the_width_that_is_there() -> None:
    """One meter on one bench: the path goes over the whole picture; beside two it ends before them."""
    alone, beside = picture_of(history(*around(160.0, 30))), picture_of(history(*around(160.0, 30), meters=("a", "b")))
    last = {name: max(s.x for s in picture.shapes if isinstance(s, Dot)) for name, picture in (("1", alone),)}
    assert RIGHT - 20.0 < last["1"] <= RIGHT
    path = [s.x for s in beside.shapes if isinstance(s, Dot) and s.x < SPLIT]
    assert SPLIT - 40.0 < max(path) < SPLIT


def test_a_rise_is_a_line_through_the_dates() -> None:
    """0.1 Ω a week over 40 weeks: a line from 160 to 163.9 Ω; without a rise there is none."""
    rising = picture_of(history(*(round(160.0 + 0.1 * n, 1) for n in range(40))))
    (line,) = [s for s in rising.shapes if isinstance(s, Line) and s.look == "trace"]
    dots = [s for s in rising.shapes if isinstance(s, Dot)]
    assert (line.x1, line.y1) == pytest.approx((dots[0].x, dots[0].y), abs=0.6)
    assert (line.x2, line.y2) == pytest.approx((dots[-1].x, dots[-1].y), abs=0.6)
    assert "rises" in " ".join(rising.says)
    steady = picture_of(history(*around(160.0, 40)))
    assert "over the dates: steady" in steady.says
    assert not [s for s in steady.shapes if isinstance(s, Line) and s.look == "trace"]


def test_months_and_years_stand_in_their_middle() -> None:
    """Over twenty years dates are years: evenly apart. What stood out on 31 May is about a tenth of one before it."""
    values = around(160.0, 100)
    values[52] = 320.0
    picture = picture_of(history(*values, days=73))
    (arrow,) = [s for s in picture.shapes if isinstance(s, Curve)]
    xs = [s.x for s in picture.shapes if isinstance(s, Dot)]
    at = float(arrow.d[1:].split()[0]) + 4.0
    assert 0.05 < (xs[10] - at) / (xs[11] - xs[10]) < 0.15
    gaps = [b - a for a, b in itertools.pairwise(xs)]
    assert len(xs) == 20
    assert max(gaps) - min(gaps) < 0.5


def test_what_is_not_drawn() -> None:
    """Two values, or one date and nothing to set beside each other."""
    assert item_picture(place_of(history(160.0, 161.0))) is None
    assert item_picture(place_of(history(160.0, 161.0, 162.0, days=0))) is None
    assert picture_of(history(160.0, 161.0, 162.0, 163.0, days=0, meters=("a", "b")))


def compose(*histories: History, troubles: Sequence[str] = ()) -> Document:
    """Return the page of some histories together."""
    whole = History()
    for one in histories:
        whole.take(one)
    return compose_history(summary(whole), troubles, "metercap test")


Kind = TypeVar("Kind")


def blocks(document: Document, kind: type[Kind]) -> list[Kind]:
    """Return every block of a kind."""
    return [block for section in document.sections for block in section.blocks if isinstance(block, kind)]


def test_the_sentence_that_leads() -> None:
    """Nothing; then one rise and two values that stand out, counted."""
    assert compose(history(*around(160.0, 20))).result == "No meter stands out."
    rising = history(*(round(160.0 + 0.1 * n, 1) for n in range(40)), place=K2)
    wild = history(*around(160.0, 30), 320.0, 330.0)
    said = compose(wild, rising).result
    assert said == "No meter stands out. 1 item of 2 rises or falls over the dates. 2 values stand out."
    assert "1 value stands out." in compose(history(*around(160.0, 30), 320.0)).result


def test_the_only_meter_has_no_other() -> None:
    """That there is no other is said, and not that it has too few values."""
    (table,) = [block for block in blocks(compose(history(*around(160.0, 20))), Table) if block.name == "meters"]
    assert table.groups[0].rows[0].cells[3] == "no other meter to hold it against"
    (table,) = [
        block for block in blocks(compose(history(160.0, 161.0, meters=("a", "b"))), Table) if block.name == "meters"
    ]
    assert {row.cells[3] for row in table.groups[0].rows} == {"too few values that another meter shares"}


def test_so_many_are_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first ones; how many are not is said, and the table has all."""
    monkeypatch.setattr(page_of, "MOST_PICTURES", 3)
    many = [
        history(*around(100.0 + n, 20), place=Place("GC-8", "coils", f"K{n}", "ohm"), meters=("a", "b"))
        for n in range(8)
    ]
    document = compose(*many)
    assert [block.title for block in blocks(document, Picture)] == ["How far units lie apart", "coils K0", "coils K1",
                                                                     "coils K2"]  # fmt: skip
    assert "5 items more are in the table above, and not drawn." in [block.text for block in blocks(document, Para)]
    table = blocks(document, Table)[1]
    assert len(table.groups[0].rows) == 8


def test_troubles_are_on_the_page() -> None:
    """What is to be said of journals, as one list, and hostile names as text."""
    document = compose(history(*around(160.0, 20)), troubles=["1 journal: torn", "  <script>x</script>.jsonl: torn"])
    assert "<script>x" not in page(document)
    assert "&lt;script&gt;x" in page(document)
    assert "1 journal: torn" in "\n".join(text_lines(document))


def test_lines_have_one_blank_between_head_and_table() -> None:
    """With one meter there is nothing to say of it."""
    found = list(history_lines(summary(history(*around(160.0, 20)))))
    assert found[1:3] == ["", "GC-8"]
    assert ("", "") not in list(itertools.pairwise(found))


@pytest.mark.slow
@pytest.mark.parametrize(("width", "dark"), [(390, False), (820, True), (1400, False)])
def test_in_a_browser(tmp_path: Path, width: int, dark: bool) -> None:
    """A phone, a tablet, a screen: nothing of the page is wider than it, and no text of a picture is cut off."""
    long = [
        history(*(round(1600.0 * (1 + 0.004 * n), 1) for n in range(60)), 9999.0, 9999.0, 12.0,
                place=Place("GC-8", "thermistors", f"TH{n}", "ohm", "as found", "connected to plug 7"),
                meters=[f"lcd14 (SN {each})" for each in range(4)], benches=("/bench/north", "/bench/south"))
        for n in range(3)
    ]  # fmt: skip
    file = tmp_path / "history.html"
    file.write_text(page(compose(*long)), "utf-8")
    with chromium(tmp_path / "profile", width, 1000, dark=dark) as browser:
        browser.get(file.as_uri())
        wide, cut = browser.execute_script(
            """
            const edge = document.querySelector("main").getBoundingClientRect().right;
            const beyond = [...document.querySelectorAll('main > section, main table, main p, main figure')].filter(
                one => one.getBoundingClientRect().right > edge + 0.5);
            const cut = [...document.querySelectorAll('.paper svg text')].filter(one => {
                const box = one.getBoundingClientRect(), svg = one.ownerSVGElement.getBoundingClientRect();
                return box.left < svg.left || box.right > svg.right || box.bottom > svg.bottom; });
            return [[document.documentElement.scrollWidth, beyond.map(one => one.outerHTML.slice(0, 80))],
                    cut.map(one => one.textContent)];
            """
        )
        assert wide[0] <= width
        assert wide[1] == []
        assert cut == []


def test_boxes_hold_the_middle_half() -> None:
    """A meter's box goes from its lower to its upper quarter, on the scale of the values beside it."""
    found = history(*around(160.0, 60), meters=("a", "b"))
    picture, place = picture_of(found), place_of(found)
    boxes = [shape for shape in picture.shapes if isinstance(shape, Box)]
    dots = columns(picture)
    per_ohm = (dots[0].y - dots[1].y) / (place.meters[1].median - place.meters[0].median)
    for box, part in zip(boxes, place.meters, strict=True):
        assert box.height == pytest.approx(per_ohm * (part.high_quarter - part.low_quarter), rel=1e-6)
