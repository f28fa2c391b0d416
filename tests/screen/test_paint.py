"""Pictures: any view at any size, shape before hue, and the answer where it belongs."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from metercap.screen.answers import Cell
from metercap.screen.canvas import Canvas, Ink
from metercap.screen.face import face
from metercap.screen.hero import paint_hero
from metercap.screen.model import Face, Hero, Line, Path, Place, Stone
from metercap.screen.paint import paint, plot, room_beside
from metercap.screen.theme import DARK, LIGHT, PLAIN, THEMES, pick
from tests.effort import examples
from tests.screen.greenhouse import views
from tests.screen.picture import svg

FACES = {name: face(view) for name, view in views().items()}
SIZES = [(80, 24), (120, 40), (200, 60), (40, 12), (30, 9), (20, 6), (1, 1), (300, 5), (12, 70)]


@pytest.mark.parametrize("columns,rows", SIZES)
def test_every_scene_at_every_size(columns: int, rows: int) -> None:
    """Every row is exactly as wide as the terminal, and no size breaks anything."""
    for name, shown in FACES.items():
        lines = paint(shown, columns, rows, {"yes": "y"}).lines()
        assert [cell_len(line) for line in lines] == [columns] * rows, name


@settings(max_examples=examples(60))
@given(st.sampled_from(sorted(FACES)), st.integers(1, 230), st.integers(1, 70))
def test_any_size(name: str, columns: int, rows: int) -> None:
    """The same for any size at all; the rows shared out are never more than there are."""
    canvas = paint(FACES[name], columns, rows)
    assert {cell_len(line) for line in canvas.lines()} == {columns}
    shares = plot(FACES[name], columns, rows)
    assert (
        shares.top
        + shares.hero
        + shares.detail
        + shares.ground
        + shares.cautions
        + shares.next
        + shares.words
        + (shares.status)
        <= rows
    )


@given(st.text(max_size=40), st.text(max_size=12), st.integers(1, 120), st.integers(1, 40))
@settings(max_examples=examples(60))
def test_any_words(text: str, tag: str, columns: int, rows: int) -> None:
    """Words in any script, double-wide ones too, keep every row's width."""
    from metercap.screen.text import visible

    shown = Face(visible(tag), visible(text), "step 1 of 2", Hero(visible(text) or "?"), Line(visible(text)))
    assert {cell_len(line) for line in paint(shown, columns, rows).lines()} == {columns}


@pytest.mark.parametrize(("scene", "columns", "rows", "share"), [
    ("sweep", 80, 24, 0.5), ("sweep", 120, 40, 0.5), ("sweep", 200, 60, 0.5), ("listen", 80, 24, 0.35),
    ("tick", 80, 24, 0.5), ("tune far", 80, 24, 0.3), ("lift", 200, 60, 0.4),
])  # fmt: skip
def test_the_answer_is_large(scene: str, columns: int, rows: int, share: float) -> None:
    """The answer's letters take a good share of the height, at the small size and at the large one."""
    canvas = paint(FACES[scene], columns, rows)
    heavy = [y for y, line in enumerate(canvas.lines()) if sum(char in "█▌▐▛▜▙▟▀▄" for char in line) >= 2]
    top = plot(FACES[scene], columns, rows)
    inside = [y for y in heavy if top.top <= y < top.top + top.hero]
    assert len(inside) >= share * rows


def test_answer_stands_over_its_stone() -> None:
    """The big letters move to the right with the work, so progress shows before a word is read."""
    lefts = []
    for here in range(12):
        stones = tuple(Stone(f"F{at + 1}", Place.HERE if at == here else Place.AHEAD) for at in range(12))
        shown = Face("B", "", "", Hero("X"), Line(""), ground=Path(stones, here))
        canvas = paint(shown, 200, 40)
        letters = canvas.lines()[1 : plot(shown, 200, 40).hero]
        lefts.append(min(len(line[20:]) - len(line[20:].lstrip()) for line in letters if line[20:].strip()))
    assert lefts == sorted(lefts) and lefts[-1] - lefts[0] > 100


def test_places_differ_without_colour() -> None:
    """Every kind of stone has a shape of its own, at each height that stones are drawn."""
    for rows in (24, 40, 60):
        looks = set()
        for place in Place:
            shown = Face(
                "", "", "", Hero("X"), Line(""), ground=Path((Stone("F1", place), Stone("F2", Place.AHEAD)), None)
            )
            canvas = paint(shown, 80, rows)
            shares = plot(shown, 80, rows)
            start = shares.top + shares.hero + shares.detail
            looks.add("\n".join(line[:38] for line in canvas.lines()[start : start + shares.ground]))
        assert len(looks) == len(Place)


@pytest.mark.parametrize("rows", [24, 40, 60])
def test_a_failed_stone_is_a_cross(rows: int) -> None:
    """A failure leaves a gap in the wall with a cross in it: it is never a filled block."""

    def cells(place: Place) -> int:
        shown = Face("", "", "", Hero("X"), Line(""), ground=Path((Stone("F1", place), Stone("F2", Place.AHEAD)), None))
        canvas, shares = paint(shown, 80, rows), plot(shown, 80, rows)
        start = shares.top + shares.hero + shares.detail
        return sum(line[:38].count("█") for line in canvas.lines()[start : start + shares.ground])

    def strokes(place: Place) -> int:
        shown = Face("", "", "", Hero("X"), Line(""), ground=Path((Stone("F1", place), Stone("F2", Place.AHEAD)), None))
        canvas, shares = paint(shown, 80, rows), plot(shown, 80, rows)
        start = shares.top + shares.hero + shares.detail
        lines = canvas.lines()[start : start + shares.ground]
        return sum(char in "▘▝▖▗▛▜▙▟▚▞" for line in lines for char in line[:38])

    assert cells(Place.FAIL) < 0.3 * cells(Place.PASS)
    assert strokes(Place.FAIL) >= 4 > strokes(Place.PASS)


def test_plain_has_no_colour() -> None:
    """The plain theme sets no colour at all, in any ink."""
    assert all(style.color is None and style.bgcolor is None for style in PLAIN.styles)
    assert len(PLAIN.styles) == len(DARK.styles) == len(LIGHT.styles) == len(Ink)


def test_contrast() -> None:
    """Text on its ground reaches 4.5 : 1, large letters too (WCAG 2.2, 1.4.3: relative luminance, sRGB)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    for theme in (DARK, LIGHT):
        for ink in Ink:
            style = theme.styles[ink]
            assert style.color is not None and style.bgcolor is not None
            pair = sorted((luminance(style.color.name), luminance(style.bgcolor.name)))
            assert (pair[1] + 0.05) / (pair[0] + 0.05) >= 4.5, (theme.name, ink)


def test_pick() -> None:
    """NO_COLOR wins over a guess, a name over both; a light ground is believed where the terminal tells it."""
    assert pick("", {"NO_COLOR": "1"}) is PLAIN
    assert pick("", {"TERM": "dumb"}) is PLAIN
    assert pick("light", {"NO_COLOR": "1"}) is LIGHT
    assert pick("", {"COLORFGBG": "0;15"}) is LIGHT
    assert pick("", {}) is DARK and pick("no such", {}) is DARK


@pytest.mark.parametrize("columns,rows", [(200, 60), (80, 24), (50, 16), (40, 12)])
def test_a_tick_is_marked_at_every_size(columns: int, rows: int) -> None:
    """Large beside the next item, or as a line where there is no room: the verdict is never left out."""
    canvas, shares = paint(FACES["tick"], columns, rows), plot(FACES["tick"], columns, rows)
    answer = canvas.rows[shares.top : shares.top + shares.hero]
    assert sum(row.inks.count(Ink.GOOD) for row in answer) >= 8


def test_changed_span() -> None:
    """Only cells between the first and the last that differ are drawn again."""
    one, other = Canvas(20, 1), Canvas(20, 1)
    assert one.rows[0].changed(other.rows[0]) is None
    other.text(5, 0, "ab")
    assert one.rows[0].changed(other.rows[0]) == (5, 6)
    other.rows[0].inks[9] = Ink.BAD
    assert other.rows[0].changed(one.rows[0]) == (5, 9)


def test_segments_join_to_the_row() -> None:
    """Runs of one ink, together the whole row."""
    canvas = paint(FACES["tick"], 80, 24)
    for row, line in zip(canvas.rows, canvas.lines(), strict=True):
        assert "".join(segment.text for segment in row.segments(DARK.styles)) == line


def test_too_small_for_letters_keeps_the_words() -> None:
    """On a few rows the answer is plain text, whole."""
    canvas = Canvas(30, 2)
    paint_hero(canvas, 0, 2, FACES["lost"], None)
    assert "NO CABLE" in "\n".join(canvas.lines())


def test_svg_is_well_formed_and_escaped() -> None:
    """Pictures parse as XML for every scene and theme, and hold no raw markup from a plan."""
    import xml.etree.ElementTree as ET

    for shown in [*FACES.values(), Face("<b>&", "<i>", "", Hero("<"), Line('"<script>'))]:
        for theme in THEMES.values():
            root = ET.fromstring(svg([row.segments(theme.styles) for row in paint(shown, 80, 24).rows]))
            assert root.get("viewBox") == "0 0 800 480"


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (120, 40), (200, 60)])
@pytest.mark.parametrize("hero", ["DIAL V DC", "F12", "TIPS TOGETHER", "STOP", "AGAIN"])
def test_with_several_units_the_tag_always_stands_beside_the_hero(columns: int, rows: int, hero: str) -> None:
    """Its upper left corner, drawn in letters with a bar below: nothing the hero is can take its place."""
    plain = paint(Face(tag="R", title="", progress="", hero=Hero("F1"), next=Line("")), columns, rows)
    bars = [(x, y) for y, line in enumerate(plain.lines()) for x in [line.find("▄▄▄▄▄▄")] if x >= 0]
    face = Face(tag="R", title="", progress="", hero=Hero(hero), next=Line(""), tag_stays=True)
    lines = paint(face, columns, rows).lines()
    assert bars and any(lines[y][x : x + 6] == "▄▄▄▄▄▄" and x < columns // 5 for x, y in bars[:1]), lines[:10]


# --- room for a picture beside the answer


@pytest.mark.parametrize("cell", [Cell(10, 20), Cell(7, 14), Cell(20, 40), Cell(12, 16)])
@pytest.mark.parametrize("columns,rows", [(96, 24), (120, 40), (200, 60), (300, 90)])
def test_what_is_kept_for_a_picture_stays_blank(columns: int, rows: int, cell: Cell) -> None:
    """Whatever the answer is, no letter stands in the box, it lies on the screen, no larger than it may be."""
    found = 0
    for name, shown in FACES.items():
        box = room_beside(shown, columns, rows, cell)
        if box is None:
            continue
        found += 1
        assert box.y > 0 and box.y + box.rows < rows and box.x + box.columns < columns, name
        assert box.columns * cell.width * box.rows * cell.height <= 221_000 and box.columns <= 0.4 * columns
        lines = paint(shown, columns, rows, {"yes": "y"}, "", box).lines()
        assert [cell_len(line) for line in lines] == [columns] * rows, name
        assert not any(line[box.x :].strip() for line in lines[box.y : box.y + box.rows]), name
        assert any(line[: box.x].strip() for line in lines[box.y : box.y + box.rows]), name
    assert found or rows < 40 or cell.height == 40


def test_where_the_answer_needs_all_there_is_no_room() -> None:
    """Not on a small terminal, not in an alarm; what is kept is about five wide to four high."""
    cell = Cell(10, 20)
    shown = FACES["sweep"]
    assert room_beside(shown, 95, 40, cell) is None and room_beside(shown, 80, 24, cell) is None
    assert room_beside(shown, 200, 12, cell) is None
    alarms = [shown for shown in FACES.values() if shown.alarm]
    assert alarms and all(room_beside(each, 200, 60, cell) is None for each in alarms)
    box = room_beside(shown, 120, 40, cell)
    assert box is not None
    assert 10 * box.columns / (20 * box.rows) == pytest.approx(1.2, abs=0.1)
