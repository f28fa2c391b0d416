"""WebVTT by the grammar of its standard: W3C, "WebVTT: The Web Video Text Tracks Format", section 4.1."""

from __future__ import annotations

import base64
import json
import re
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.export.webvtt import Cue, timestamp, webvtt

TIMESTAMP = r"(?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3})"
TIMINGS = re.compile(rf"{TIMESTAMP}[ \t]+-->[ \t]+{TIMESTAMP}")
ESCAPES = {"&amp;": "&", "&lt;": "<", "&gt;": ">", "&lrm;": "\u200e", "&rlm;": "\u200f", "&nbsp;": "\u00a0"}

Parsed = tuple[int, int, tuple[str, ...]]


def parse_webvtt(text: str) -> list[Parsed]:
    """The cues of a file by the standard's syntax (not by what players forgive); what is outside it is a ValueError.

    file = ["U+FEFF"] "WEBVTT" [(SP / TAB) text without "-->"] LF LF *(block LF+); a comment is NOTE, then lines without
    "-->"; a cue is [identifier line] timings LF payload, whose lines are not blank and hold "&" and "<" only in escapes
    and tags (here: no tags), and "-->" nowhere. Each cue starts no earlier than those before it, and ends later.
    """
    if "\x00" in text or "\r" in text:
        raise ValueError("a byte that the standard replaces, or a CR")
    header, *blocks = re.split(r"\n\n+", text.removesuffix("\n"))
    if not re.fullmatch(r"WEBVTT(?:[ \t].*)?", header) or "-->" in header:
        raise ValueError(f"header {header!r}")
    cues: list[Parsed] = []
    for block in blocks:
        lines = block.split("\n")
        if re.match(r"NOTE(?:[ \t]|$)", lines[0]):
            if "-->" in block:
                raise ValueError("the arrow in a comment")
            continue
        at = 0 if "-->" in lines[0] else 1
        found = TIMINGS.fullmatch(lines[at])
        if found is None or not lines[at + 1 :]:
            raise ValueError(f"no timings and text in {block!r}")
        hours, minutes, seconds, ms, *end = (int(each or 0) for each in found.groups())
        start_ms = ((hours * 60 + minutes) * 60 + seconds) * 1000 + ms
        end_ms = ((end[0] * 60 + end[1]) * 60 + end[2]) * 1000 + end[3]
        if end_ms <= start_ms or (cues and start_ms < cues[-1][0]):
            raise ValueError(f"out of order: {lines[at]}")
        cues.append((start_ms, end_ms, tuple(plain_text(line) for line in lines[at + 1 :])))
    return cues


def plain_text(line: str) -> str:
    """The text of a payload line without tags."""
    if "-->" in line or not line.strip():
        raise ValueError(f"a line that ends the cue: {line!r}")
    out = re.sub(r"&\w+;", lambda found: ESCAPES[found[0]], line)
    if "<" in line or "&" in re.sub(r"&(?:amp|lt|gt|lrm|rlm|nbsp);", "", line):
        raise ValueError(f"mark-up in {line!r}")
    return out


@pytest.mark.parametrize(
    ("text", "cues"),
    [
        # The standard's first example (section 1.1), shortened, and its comment (section 1.3).
        (
            "WEBVTT\n\n00:11.000 --> 00:13.000\nWe are in New York City\n\nNOTE end\n\n00:13.000 --> 00:16.000\nor not",
            [(11_000, 13_000, ("We are in New York City",)), (13_000, 16_000, ("or not",))],
        ),
        ("WEBVTT - a title\n\n1\n100:00:00.000 --> 100:00:01.500\nR&amp;D\n", [(360_000_000, 360_001_500, ("R&D",))]),
    ],
)
def test_the_parser_takes_what_the_standard_shows(text: str, cues: list[Parsed]) -> None:
    assert parse_webvtt(text) == cues


@pytest.mark.parametrize(
    "text",
    [
        "WEBVTTX\n\n",
        "WEBVTT\n\n00:11 --> 00:13.000\nx",
        "WEBVTT\n\n00:61.000 --> 00:62.000\nx",
        "WEBVTT\n\n00:02.000 --> 00:01.000\nx",
        "WEBVTT\n\n00:01.000 --> 00:02.000\na --> b",
        "WEBVTT\n\n00:01.000 --> 00:02.000\na < b",
        "WEBVTT\n\n00:01.000 --> 00:02.000\nR&D",
        "WEBVTT\n\n00:01.000 --> 00:02.000\n",
        "WEBVTT\n\n00:05.000 --> 00:06.000\nx\n\n00:01.000 --> 00:02.000\ny",
    ],
)
def test_the_parser_refuses_what_the_standard_does(text: str) -> None:
    with pytest.raises(ValueError):
        parse_webvtt(text)


@pytest.mark.parametrize(
    ("ms", "text"),
    [
        (0, "00:00:00.000"),
        (999, "00:00:00.999"),
        (61_001, "00:01:01.001"),
        (3_599_999, "00:59:59.999"),
        (3_600_000, "01:00:00.000"),
        (360_000_000, "100:00:00.000"),
    ],
)
def test_times(ms: int, text: str) -> None:
    """By hand: hours have two digits or more."""
    assert timestamp(ms) == text


def test_a_small_file() -> None:
    """Every byte of it."""
    cues = [Cue(1500, 4000, ("F1: pass, 0.2 Ω",)), Cue(4000, 4700, ("R&D <1>", "a --> b"))]
    assert "".join(webvtt(cues, "from a --> b & <c>")) == (
        "WEBVTT\n"
        "\n"
        "NOTE from a --&gt; b &amp; &lt;c&gt;\n"
        "\n"
        "1\n"
        "00:00:01.500 --> 00:00:04.000\n"
        "F1: pass, 0.2 Ω\n"
        "\n"
        "2\n"
        "00:00:04.000 --> 00:00:04.700\n"
        "R&amp;D &lt;1&gt;\n"
        "a --&gt; b\n"
    )


@given(st.lists(st.lists(st.text(max_size=30), min_size=1, max_size=3), max_size=5), st.text(max_size=30))
def test_any_text_stays_what_it_is(texts: list[list[str]], comment: str) -> None:
    """Whatever items are called: the file is by the grammar, and has the cues that were given, with their lines."""
    cues = [Cue(ms, ms + 700, tuple(lines)) for ms, lines in zip(range(0, 9000, 1000), texts, strict=False)]
    parsed = parse_webvtt("".join(webvtt(cues, comment)))
    assert [(start, end, len(lines)) for start, end, lines in parsed] == [
        (cue.start_ms, cue.end_ms, len(cue.lines)) for cue in cues
    ]
    for (_, _, lines), cue in zip(parsed, cues, strict=True):
        for shown, line in zip(lines, cue.lines, strict=True):
            if line.isprintable() and line.strip():
                assert shown == line.strip()


def test_pairs_follow() -> None:
    """What ends as the next begins is no overlap."""
    cues = [Cue(0, 1000, ("a",)), Cue(1000, 2000, ("b",))]
    parsed = parse_webvtt("".join(webvtt(cues, "x")))
    assert all(one[1] <= two[0] for one, two in pairwise(parsed))


CHROMIUM = shutil.which("chromium")
PAGE = """<html><body><script>
const track = document.createElement('track'), video = document.createElement('video');
track.src = URL.createObjectURL(new Blob([FILE], {type: 'text/vtt'}));
track.addEventListener('load', () => { document.body.textContent = 'CUES' + btoa(unescape(encodeURIComponent(
  JSON.stringify([...track.track.cues].map(c => [c.startTime, c.endTime, c.getCueAsHTML().textContent]))))) + ';'; });
video.appendChild(track); document.body.appendChild(video); track.track.mode = 'hidden';
</script></body></html>"""


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
def test_a_browser_reads_the_same_cues(tmp_path: Path) -> None:
    """Another reader of the format, from outside: every cue with its times and text, mark-up and arrows included."""
    cues = [
        Cue(1500, 4000, ("F1: pass, 0.2 Ω",)),
        Cue(4000, 4700, ("R&D <1> <b>bold</b>", "a --> b", "&lt; NOTE x")),
        Cue(3_600_000, 3_600_700, ("NOTE first",)),
        Cue(360_000_000, 360_001_000, ("WEBVTT",)),
    ]
    page = tmp_path / "page.html"
    file = json.dumps("".join(webvtt(cues, "a --> b"))).replace("<", "\\u003c")
    page.write_text(PAGE.replace("FILE", file), "utf-8")
    options = "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    options += "--disable-component-update --disable-sync --virtual-time-budget=5000 --dump-dom"
    command = [str(CHROMIUM), *options.split(), f"--user-data-dir={tmp_path / 'profile'}", page.as_uri()]
    shown = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout
    read = json.loads(base64.b64decode(shown.partition("CUES")[2].partition(";")[0]))
    assert read == [[cue.start_ms / 1000, cue.end_ms / 1000, "\n".join(cue.lines)] for cue in cues]
