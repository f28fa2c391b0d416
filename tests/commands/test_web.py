"""The second screen's options: what follows `--web` is its address only if it looks like one."""

from __future__ import annotations

import re

import click
import pytest

from metercap.cli import group
from metercap.commands._web import joined, told_lines
from metercap.errors import UsageError
from metercap.screen.pages import SecondScreen, paint_second
from metercap.web.code import BORDER, code


@pytest.mark.parametrize(
    ("args", "plan", "web"),
    [
        (["--web", "gc8.toml"], "gc8.toml", ""),
        (["gc8.toml", "--web"], "gc8.toml", ""),
        (["--web", "vent pair"], "vent pair", ""),
        (["--web", ":8000", "gc8.toml"], "gc8.toml", ":8000"),
        (["--web", "8000", "gc8.toml"], "gc8.toml", "8000"),
        (["--web=8000", "gc8.toml"], "gc8.toml", "8000"),
        (["--web", "localhost", "gc8.toml"], "gc8.toml", "localhost"),
        (["--web", "0.0.0.0:80", "gc8.toml"], "gc8.toml", "0.0.0.0:80"),
        (["--web", "192.168.1.5", "gc8.toml"], "gc8.toml", "192.168.1.5"),
        (["--web", "[::1]:80", "gc8.toml"], "gc8.toml", "[::1]:80"),
        (["--web", "--plain", "gc8.toml"], "gc8.toml", ""),
        (["gc8.toml"], "gc8.toml", None),
    ],
)
def test_a_plan_is_no_address(args: list[str], plan: str, web: str | None) -> None:
    command = group.get_command(click.Context(group), "run")
    assert command is not None
    found = command.make_context("run", list(args)).params
    assert (found["plan"], found["web"]) == (plan, web)


def test_what_stands_behind_two_dashes_is_left_as_it_is() -> None:
    assert joined(["--", "--web", ":8000"]) == ["--", "--web", ":8000"]


@pytest.mark.parametrize(
    "name", ["run", "practice", "demo", "replay", "watch", "sweep", "tune", "cell", "check", "exercise"]
)
def test_every_command_with_a_screen_has_a_second_one(name: str) -> None:
    command = group.get_command(click.Context(group), name)
    assert command is not None
    options = [option for param in command.params for option in param.opts]
    assert "--web" in options
    assert ("--web-words" in options) == (name not in ("replay", "watch"))  # nobody asks anything there


def test_what_is_no_address_is_refused_before_anything_begins() -> None:
    command = group.get_command(click.Context(group), "demo")
    assert command is not None
    with pytest.raises(UsageError, match="no address"):
        command.make_context("demo", ["--web=bench/8000"])


# --- the code

URL = "http://192.168.100.100:8493/?key=abcdefghijklmnopqrstuv"


def modules(lines: list[str], dark: str) -> list[str]:
    """Read half blocks again: what is drawn is light, or `dark` where the ink is dark."""
    halves = {" ": "00", "▄": "01", "▀": "10", "█": "11"}
    rows = []
    for line in lines:
        pairs = [halves[sign] for sign in line]
        for which in (0, 1):
            rows.append("".join("1" if (pair[which] == "1") == (dark == "ink") else "0" for pair in pairs))
    return rows


def test_the_code_holds_the_whole_address_and_fits_a_small_terminal() -> None:
    """Another library's encoder is the judge; its quiet zone is four modules (ISO/IEC 18004)."""
    segno = pytest.importorskip("segno")
    rows = code(URL)
    assert {len(row) for row in rows} == {len(rows)}
    assert set("".join((*rows[:BORDER], *rows[-BORDER:]))) == {"0"}
    assert rows[BORDER].startswith("0000" + "1" * 7 + "0")  # the finder pattern's first row
    core = [row[BORDER:-BORDER] for row in rows[BORDER:-BORDER]]
    expected = segno.make(URL, error="l", micro=False, boost_error=False).matrix
    assert core == ["".join(str(int(dark)) for dark in row) for row in expected]
    drawn = paint_second(80, 24, SecondScreen("http://x/", URL, rows), light=False).lines()
    assert URL in "".join(drawn)
    small = paint_second(30, 10, SecondScreen("http://x/", URL, rows), light=False).lines()
    assert "█" not in "".join(small) and "key=" in "".join(small)


@pytest.mark.parametrize("light", [False, True])
def test_the_code_is_dark_on_light_whatever_the_theme(light: bool) -> None:
    pytest.importorskip("segno")
    rows = code(URL)
    drawn = paint_second(80, 24, SecondScreen("http://x/", URL, rows), light=light).lines()
    tall = -(-len(rows) // 2)
    lines = [line.ljust(80)[: len(rows)] for line in drawn[1 : 1 + tall]]
    assert tuple(modules(lines, "ink" if light else "paper")[: len(rows)]) == rows


def test_lines_draw_the_code_only_for_people() -> None:
    rows = code(URL) or ("10", "01")
    at = SecondScreen("http://x/", URL, rows)
    assert told_lines(at, drawn=False) == [f"second screen: {URL}"]
    lines = told_lines(at, drawn=True)
    assert lines[-1] == f"second screen: {URL}"
    assert tuple(modules(lines[:-1], "paper")[: len(rows)]) == rows
    near = told_lines(SecondScreen("http://127.0.0.1:8493/", "http://127.0.0.1:8493/"), drawn=True)
    assert near == ["second screen: http://127.0.0.1:8493/"] and not re.search("[█▀▄]", near[0])
