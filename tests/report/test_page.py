"""The page: one file that runs nothing, fetches nothing, and shows hostile text as text.

What a browser would make of it is asked of Python's own HTML and XML parsers, which know nothing of this program.
"""

from __future__ import annotations

import html
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path
from typing import Any

import msgspec
import pytest

from metercap.plankeys import Item
from metercap.report import compose, study
from metercap.report.document import Table
from metercap.report.page import page, shown
from tests.report.papers import HOSTILE, dipped, lines, records, report, swept, trimmers
from tests.steps.bench_play import Play, confirm, fuses, meter

VOID = {"meta", "img", "br", "hr", "link", "input"}


class Parsed(HTMLParser):
    """Reads a page: its elements with their attributes, and its text; what opens must close in its place."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: Any, attrs: Any) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: Any, attrs: Any) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: Any) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: Any) -> None:
        if self._open and self._open[-1] != "style":
            self.texts.append(data)

    @property
    def text(self) -> Any:
        """All text of the page."""
        return " ".join("".join(self.texts).split())


@pytest.fixture
def hostile(tmp_path: Path) -> Any:
    """Report a session whose every text is hostile: unit, operator, plan, items, tokens, notes, reasons, meter, ids."""
    steps = (
        confirm(id=HOSTILE, say=HOSTILE, cautions=(HOSTILE,)),
        fuses(2, id="s" + HOSTILE, say=HOSTILE),
        trimmers("RV" + HOSTILE, say=HOSTILE),
    )
    more = {
        "unit": HOSTILE,
        "tag": HOSTILE,
        "operator": HOSTILE,
        "identity": HOSTILE,
        "id": HOSTILE,
        "program": HOSTILE,
    }
    play = Play(*steps, rate=5.0, **more)(":yes OL*8 0.2*6 OL*9 :open OL*9 2.187k*6")  # type: ignore[arg-type]
    first, *rest = records(play)
    profile = msgspec.structs.replace(meter(5.0), name=HOSTILE, title=HOSTILE)
    plan = {**first.plan, "title": HOSTILE, "model": HOSTILE, "cautions": [HOSTILE]}
    rest = [msgspec.structs.replace(one, reason=HOSTILE) if hasattr(one, "reason") else one for one in rest]
    from metercap.records import Link, LinkState, Note, Operator

    last = rest[-1].t_s
    rest += [Operator(last, "note", HOSTILE), Note(last, HOSTILE), Link(last, LinkState.LOST, HOSTILE)]
    first = msgspec.structs.replace(first, meter=profile, plan=plan, start_utc=HOSTILE)
    path = tmp_path / f"{html.escape('a<b>')}.jsonl"
    path.write_bytes(lines([first, *rest], closed=False))
    return page(compose(*study(path, program=HOSTILE)))


def test_nothing_hostile_becomes_markup(hostile: Any) -> None:
    """No script, picture, link or handler comes into being; every element is one of the page's own."""
    parsed = Parsed(hostile)
    tags = {tag for tag, _ in parsed.elements}
    assert tags.isdisjoint({"script", "img", "iframe", "object", "embed", "link", "a", "form", "base", "foreignobject"})
    names = {name for _, attributes in parsed.elements for name in attributes}
    assert not [name for name in names if name.startswith("on") or name in ("src", "style")]
    own = (
        files("metercap.report").joinpath("page.html").read_text()
        + files("metercap.report").joinpath("picture.html").read_text()
    )
    assert tags <= set(re.findall(r"<([a-z][a-z0-9]*)", own.replace("linearGradient", "lineargradient")))


def test_nothing_hostile_drives_a_terminal_or_turns_text_around(hostile: Any) -> None:
    """Control characters, bidi overrides and zero-width ones are escapes that can be read; templates are not run."""
    assert not [c for c in hostile if not c.isprintable() and c != "\n"]
    text = Parsed(hostile).text
    assert "\\x1b[31m\\x07\\u202eevil\\u2066\\u200b\\u2028\\x00 &lt; {{7*7}}" in text
    assert "<script>alert(1)</script><img src=x onerror=alert(2)>" in text
    assert "49" not in re.findall(r"\b\d+\b", text.split("evil")[1][:60])


def test_every_hostile_text_is_shown(hostile: Any) -> None:
    """None of them was dropped on the way: title, facts, questions, items, reasons, log, cautions."""
    assert Parsed(hostile).text.count("onerror=alert(2)") >= 20


def test_the_page_needs_and_runs_nothing(tmp_path: Path) -> None:
    """No address of anything elsewhere; a policy that forbids what is not in the file; UTF-8 said in the first line."""
    text = page(report(tmp_path, dipped()))
    assert re.findall(r"https?:|//[a-z]|@import|url\((?!#hatch)", text) == []
    metas = [attributes for tag, attributes in Parsed(text).elements if tag == "meta"]
    (policy,) = [one["content"] for one in metas if one.get("http-equiv") == "Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; style-src 'unsafe-inline'")
    assert {"charset": "utf-8"} in metas
    assert all(one["href"].startswith("#") for tag, one in Parsed(text).elements if "href" in one)


def test_pictures_are_well_formed(tmp_path: Path) -> None:
    """Each inline SVG is XML by itself, has a name for who cannot see it, and no number that is none."""
    text = page(report(tmp_path, dipped()))
    pictures = re.findall(r"<svg viewBox.*?</svg>", text, re.S)
    assert len(pictures) == 1
    for one in pictures:
        root = ET.fromstring(one)
        assert root.attrib["role"] == "img"
        assert root.attrib["aria-label"].startswith("bridge RV1: ")
        assert not re.search(r"nan|inf|None", ET.tostring(root, encoding="unicode"))


def test_verdicts_have_shapes_before_hues(tmp_path: Path) -> None:
    """Each verdict is a word with a shape of its own; the hue only comes on top."""
    text = page(report(tmp_path, swept()))
    elements = Parsed(text).elements
    symbols = {attributes["id"] for tag, attributes in elements if tag == "symbol"}
    assert symbols == {"v-pass", "v-fail", "v-unsure", "v-absent"}
    paths = re.findall(r'<symbol id="(v-[a-z]+)".*?</symbol>', text)
    drawn = {name: re.search(f'<symbol id="{name}".*?</symbol>', text)[0].split(">", 1)[1] for name in paths}
    assert len(set(drawn.values())) == 4
    cells = re.findall(r'<use href="#v-(\w+)"/></svg><bdi>(\w+)</bdi>', text)
    assert cells == [(word, word) for word in ("pass", "pass", "pass", "fail")]


def test_tables_are_whole(tmp_path: Path) -> None:
    """Every row fills its table: cells and the room they take add up to the heads."""
    document = report(tmp_path, swept())
    text = page(document)
    tables = [block for part in document.sections for block in part.blocks if isinstance(block, Table)]
    found = re.findall(r"<table.*?</table>", text, re.S)
    assert len(found) == len(tables)
    for table, drawn in zip(tables, found, strict=True):
        for row in re.findall(r'<tr class="row.*?</tr>', drawn, re.S):
            spans = [int(n) for n in re.findall(r'colspan="(\d+)"', row)]
            assert row.count("<td") - len(spans) + sum(spans) == len(table.heads)


def test_text_from_right_to_left_is_kept_apart(tmp_path: Path) -> None:
    """A unit named in Arabic letters is shown as it is, each text by itself, so that neighbours keep their order."""
    text = page(report(tmp_path, Play(fuses(1, id="صمام"), unit="وحدة ١")))
    assert "<h1><bdi>Unit وحدة ١</bdi></h1>" in text
    assert "<bdi>صمام</bdi>" in text


def test_the_gate() -> None:
    """Text, floats and everything else on their way into the page."""
    assert shown("a\x1b\u202e<") == "a\\x1b\\u202e<"
    assert (shown(1.25), shown(7), shown(None)) == ("1.2", 7, None)


def test_nothing_is_marked_as_safe() -> None:
    """There is one gate and no way around it: neither templates nor code switch escaping off."""
    folder = files("metercap.report")
    for one in folder.iterdir():
        if one.name.endswith((".html", ".py")):
            text = one.read_text("utf-8")
            assert not re.search(r"\|\s*safe\b|Markup|autoescape\s+false|autoescape=False", text), one.name


def test_long_words_do_not_break_the_file(tmp_path: Path) -> None:
    """A name of 50 000 letters is shown whole."""
    long = "x" * 50_000
    text = page(report(tmp_path, Play(fuses(1, id="s"), trimmers(long), unit=long, operator=Item(long).name)))
    assert Parsed(text).text.count(long) >= 3
