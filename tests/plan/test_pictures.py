"""Pictures in plans: how they are written, what is refused, and what has no place. Expectations: the design's page."""

from __future__ import annotations

import tomllib
from typing import Any

import jsonschema
import pytest

from metercap.errors import PlanError
from metercap.plan import Plan, from_builtins, to_builtins
from metercap.plan.load import load_plan
from metercap.plan.pictures import unplaced
from metercap.plan.schema import plan_schema
from metercap.plan.show import plan_lines
from metercap.plan.stored import impossible
from metercap.plan.write import plan_toml
from metercap.plankeys.picture import Where, placed

STEPS = """
[plan]
title = "GC-8"
[[step]]
id = "dead"
kind = "safe"
points = ["supply input", "C12"]
[[step]]
id = "fuses"
kind = "sweep"
items = "F1..F3"
max = "2 ohm"
[[step]]
id = "cover"
kind = "exercise"
items = ["S1"]
[[step]]
id = "rails"
kind = "check"
items = [{ name = "TP1", red = "TP1", black = "TP0", both_ways = true }]
quantity = "voltage_dc"
"""
SHA = "ab" * 32
FRONT = f"""
[[picture]]
file = "front.png"
title = "Cover off"
sha256 = "{SHA}"
[picture.at]
"dead/C12" = [0.5, 0.25]
"fuses/F1" = [0, 1]
"fuses/F2" = [0.1, 0.2]
cover = [0.9, 0.9]
"rails/TP1" = [[0.3, 0.4], [0.7, 0.8]]
"""
VALIDATOR = jsonschema.Draft7Validator(plan_schema())


def plan(pictures: str = FRONT) -> Plan:
    return load_plan(STEPS + pictures, "x.toml")


def problems(pictures: str) -> str:
    with pytest.raises(PlanError) as caught:
        plan(pictures)
    return str(caught.value)


def at(line: str) -> str:
    return f'[[picture]]\nfile = "front.png"\n[picture.at]\n{line}\n'


def test_a_picture_and_its_places() -> None:
    """Every key is read; whole numbers are fractions too, and an editor's schema takes the same text."""
    picture = plan().pictures[0]
    assert (picture.file, picture.side, picture.title, picture.sha256) == ("front.png", "front", "Cover off", SHA)
    assert picture.at["fuses/F1"] == ((0.0, 1.0),)
    assert picture.at["rails/TP1"] == ((0.3, 0.4), (0.7, 0.8))
    VALIDATOR.validate(tomllib.loads(STEPS + FRONT))


def test_it_comes_back_written_and_stored() -> None:
    """Through TOML and through a journal's first record: the same plan; shown, it says how many places there are."""
    assert load_plan(plan_toml(plan()), "written") == plan()
    assert from_builtins(to_builtins(plan())) == plan()
    assert "picture front.png: front, Cover off; 5 places on it" in list(plan_lines(plan()))


def test_where_each_item_is() -> None:
    """A step's name stands for its only item; probed the other way the tips change places; nothing is invented."""
    where = placed(plan().pictures, plan().steps)
    assert where["cover", "S1"] == (Where(0, ((0.9, 0.9),)),)
    assert where["rails", "TP1"] == (Where(0, ((0.3, 0.4), (0.7, 0.8))),)
    assert where["rails", "TP1 reversed"] == (Where(0, ((0.7, 0.8), (0.3, 0.4))),)
    assert where["dead", "C12"] == (Where(0, ((0.5, 0.25),)),)
    assert ("fuses", "F3") not in where and ("dead", "supply input") not in where


def test_an_item_on_two_pictures() -> None:
    """The back may show it as well: both places are known, in the order of the pictures."""
    both = plan(FRONT + '[[picture]]\nfile = "back.jpg"\nside = "back"\n[picture.at]\n"fuses/F1" = [0.4, 0.6]\n')
    assert placed(both.pictures, both.steps)["fuses", "F1"] == (Where(0, ((0.0, 1.0),)), Where(1, ((0.4, 0.6),)))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('"fuses/F1" = [1.01, 0.5]', "x = 1.01 lies outside the picture"),
        ('"fuses/F1" = [0.5, -0.2]', "y = -0.2 lies outside the picture"),
        ('"fuses/F1" = [nan, 0.2]', "lies outside the picture"),
        ('"fuses/F1" = [0.5, inf]', "lies outside the picture"),
        ('"fuses/F1" = [[0.5, 0.1], [0.2, 7]]', "y = 7 lies outside"),
        ('"fuses/F1" = [[0.5, 0.1], [0.2, 0.7], [0, 0]]', "3 places, and there are two tips"),
        ('"fuses/F1" = [0.5]', "a place is x and y"),
        ('"fuses/F1" = []', "a place is x and y"),
        ('"fuses/F1" = [true, 0.1]', "a place is x and y"),
        ('"fuses/F1" = "0.5, 0.5"', "a place is x and y"),
        ('"fuses/F9" = [0.5, 0.5]', "no item 'F9' in step 'fuses'; did you mean \"fuses/F"),
        ('"fuse/F1" = [0.5, 0.5]', "no step 'fuse'; did you mean \"fuses\"?"),
        ("fuses = [0.5, 0.5]", 'that step has more than one item; write "fuses/F1"'),
        ("covers = [0.5, 0.5]", "no step 'covers'; did you mean \"cover\"?"),
        ("fuses.F1 = [0.5, 0.5]", "a place is x and y"),
        ('"rails/TP1 reversed" = [0.5, 0.5]', "no item 'TP1 reversed'"),
        ("zzzzzzzz = [0.5, 0.5]", "no step 'zzzzzzzz'; write it as \"step/item\""),
    ],
)
def test_places_that_are_none(line: str, said: str) -> None:
    """Each is named with its line: 25, the first under `[picture.at]`."""
    text = problems(at(line))
    assert said.replace("'", '"') in text.replace("'", '"'), text
    assert "x.toml:25:" in text


@pytest.mark.parametrize(
    "file",
    [
        "../front.png", "/etc/front.png", "a/front.png", "..\\\\front.png", "C:front.png", "", " ", ".", "..",
        ".hidden.png", "NUL.png", "con.png", "job.toml", "front", "front.svg",
        "a\\u0000.png", "a\\n.png", "a" * 300 + ".png",
    ],
)  # fmt: skip
def test_files_that_are_not_beside_the_plan(file: str) -> None:
    """No path, no device, no hidden file, and nothing that a terminal would act on."""
    text = problems(f'[[picture]]\nfile = "{file}"\n')
    assert "picture[1].file: " in text and ("leads away from the plan" in text or "is no name of a picture" in text)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("[picture]\nfile = 'a.png'", "write [[picture]]"),
        ("[[picture]]\nside = 'front'", "picture[1].file: missing"),
        ("[[picture]]\nfile = 'a.png'\nside = 'left'", "none of"),
        ("[[picture]]\nfile = 'a.png'\nsha256 = 'abc'", "is no SHA-256"),
        ("[[picture]]\nfile = 'a.png'\nsize = 3", "picture[1].size: no such key"),
        ("[[picture]]\nfile = 'a.png'\nat = [1, 2]", "a table is wanted"),
        ("[[picture]]\nfile = 'a.png'\n[[picture]]\nfile = 'A.png'", "is the file of picture 1 too"),
        ("[[pictures]]\nfile = 'a.png'", "no such table"),
        ("\n".join(f"[[picture]]\nfile = '{n}.png'" for n in range(17)), "more than 16 pictures"),
    ],
)
def test_pictures_that_are_none(table: str, said: str) -> None:
    """Every key is typed and none is passed over."""
    assert said in problems(table)


def test_pictures_without_a_file_are_not_the_same_file() -> None:
    """Each lacks its file, which is said of each; that they share it is not."""
    said = problems('[[picture]]\ntitle = "a"\n[[picture]]\ntitle = "b"\n')
    assert "picture[1]" in said and "picture[2]" in said and "is the file of picture" not in said


def test_a_mistake_elsewhere_is_not_told_twice() -> None:
    """While a step cannot be read, nobody knows its items: its places are not called lost."""
    with pytest.raises(PlanError) as caught:
        load_plan(STEPS.replace('max = "2 ohm"', 'max = "2 volts"') + FRONT, "x.toml")
    assert "no item" not in str(caught.value) and "1 problem in" in str(caught.value)


def test_items_without_a_place() -> None:
    """Named a step at a time, as warnings, and only where a plan has pictures at all."""
    found = [(problem.severity, problem.path, problem.what) for problem in unplaced(plan())]
    assert found == [
        ("warning", ("step", 0, "points"), "on none of the pictures: supply input"),
        ("warning", ("step", 1, "items"), "on none of the pictures: F3"),
    ]
    assert not list(unplaced(plan("")))


@pytest.mark.parametrize("points", [[[2.0, 0.1]], [[0.1, -1.0]], [], [[0.1, 0.1]] * 3, [[float("nan"), 0.1]]])
def test_a_journal_from_elsewhere(points: Any) -> None:
    """A first record may say anything: a place that is none is named, and a sound one is not."""
    stored = to_builtins(plan())
    assert not list(impossible(from_builtins(stored)))
    stored["pictures"][0]["at"]["fuses/F1"] = points
    assert list(impossible(from_builtins(stored))) == ["picture 1: 'fuses/F1': no place on a picture"]
