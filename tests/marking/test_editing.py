"""Marks in a plan's text: what is written reads as it should, and every other byte is where it was."""

import itertools
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from metercap.errors import PlanError
from metercap.marking.editing import marked
from metercap.marking.model import Marks, Shot, Tips

PLANS = Path(__file__).parents[2] / "profiles" / "plans"
HEAD = """\
# A plan with a remark on everything.
[plan]   # the head
title = "GC-8"

# --- fuses
[[step]]
id = "fuses"  # all of them
kind = "sweep"
items = [  # by hand
  "F1..F3",  # front

  # and the rear
  "F4",
]
max = "2 ohm"

# The coils are recorded, not judged.
[[step]]
id = "coils"
kind = "check"
items = "K1..K3"
# the end
"""
SHOT = Shot("gc8-back.jpg", "back", "From the back", "ab" * 32, {"fuses/F1": ((0.25, 0.5),)})
WRITTEN = """
[[picture]]
file = "gc8-back.jpg"
side = "back"
title = "From the back"
sha256 = "abababababababababababababababababababababababababababababababab"

[picture.at]
"fuses/F1" = [0.25, 0.5]
"""


def with_shots(text: str, *shots: Shot) -> str:
    return marked(text, Marks(shots))


def test_a_new_picture_goes_to_the_end_and_nothing_else_moves() -> None:
    assert with_shots(HEAD, SHOT) == HEAD + WRITTEN


def test_a_second_side() -> None:
    back = Shot("b.png", "front", at={"coils/K1": ((0.1, 0.2), (0.3, 0.4))})
    text = with_shots(HEAD, SHOT, back)
    assert text.startswith(HEAD + WRITTEN)
    assert text.endswith(
        '\n[[picture]]\nfile = "b.png"\nside = "front"\n\n[picture.at]\n"coils/K1" = [[0.1, 0.2], [0.3, 0.4]]\n'
    )


def test_a_file_whose_last_line_has_no_end() -> None:
    assert with_shots(HEAD.rstrip("\n"), SHOT) == HEAD + WRITTEN


def test_an_order_and_groups_stand_below_their_items_not_below_the_next_ones_remark() -> None:
    text = marked(
        HEAD, Marks(orders={"fuses": ("F4", "F1", "F2", "F3")}, clusters={"fuses": (("F4", "F1"), ("F2", "F3"))})
    )
    put = '  "F4",\n]\norder = ["F4", "F1..F3"]\nclusters = [["F4", "F1"], ["F2", "F3"]]\nmax = "2 ohm"\n'
    assert text == HEAD.replace('  "F4",\n]\nmax = "2 ohm"\n', put)
    assert marked(text, Marks(orders={"fuses": ()}, clusters={"fuses": ()})) == HEAD


def test_places_change_on_their_own_lines() -> None:
    """One moves, one goes, one comes: remarks on lines that stay, and blank lines, are as they were."""
    text = HEAD + (
        '[[picture]] # mine\nfile = "a.png" # kept\n  [picture.at]\n  "fuses/F1" = [0.1, 0.2]   # beside J3\n'
        '  "fuses/F2" = [\n    0.3, # across\n    0.4,\n  ] # two\n  "fuses/F3" = [0.5, 0.6]\n\n# the last words\n'
    )
    at: dict[str, Tips] = {"fuses/F1": ((0.11, 0.2),), "fuses/F2": ((0.3, 0.5),), "fuses/F4": ((0.7, 0.8),)}
    assert with_shots(text, Shot("a.png", at=at)) == HEAD + (
        '[[picture]] # mine\nfile = "a.png" # kept\n  [picture.at]\n  "fuses/F1" = [0.11, 0.2]   # beside J3\n'
        '  # across\n  "fuses/F2" = [0.3, 0.5]  # two\n  "fuses/F4" = [0.7, 0.8]\n\n# the last words\n'
    )


def test_a_picture_that_has_no_places_yet_gets_its_table_before_the_next_one() -> None:
    text = HEAD.replace("# --- fuses", '[[picture]]\nfile = "a.png"\nside = "front"\n\n# --- fuses')
    put = 'side = "front"\n\n[picture.at]\n"fuses/F1" = [0.25, 0.5]\n\n# --- fuses'
    assert with_shots(text, Shot("a.png", "front", at=SHOT.at)) == text.replace('side = "front"\n\n# --- fuses', put)


@pytest.mark.parametrize(
    ("written", "after"),
    [
        ('at = { "fuses/F1" = [0.1, 0.2] } # a\n', 'at = { "fuses/F1" = [0.25, 0.5], "fuses/F2" = [0.3, 0.4] } # a\n'),
        ('at."fuses/F1" = [0.1, 0.2]\n', 'at."fuses/F1" = [0.25, 0.5]\nat."fuses/F2" = [0.3, 0.4]\n'),
        ("[picture.at]\n", '[picture.at]\n"fuses/F1" = [0.25, 0.5]\n"fuses/F2" = [0.3, 0.4]\n'),
        ("at = {}\n", 'at = { "fuses/F1" = [0.25, 0.5], "fuses/F2" = [0.3, 0.4] }\n'),
        (
            "['picture'.'at']\n'fuses/F1' = [0.1, 0.2]\n",
            "['picture'.'at']\n'fuses/F1' = [0.25, 0.5]\n\"fuses/F2\" = [0.3, 0.4]\n",
        ),
    ],
)  # fmt: skip
def test_every_way_in_which_places_may_be_written(written: str, after: str) -> None:
    head = HEAD + '[[picture]]\nfile = "a.png"\n'
    at: dict[str, Tips] = {**SHOT.at, "fuses/F2": ((0.3, 0.4),)}
    assert with_shots(head + written, Shot("a.png", at=at)) == head + after


def test_another_hash_after_a_turn() -> None:
    text = HEAD + '[[picture]]\nfile = "a.png"\nsha256 = "aa" # of the file\n'
    assert with_shots(text, Shot("a.png", sha256="bb")) == text.replace('"aa"', '"bb"')


def test_windows_line_ends_and_the_byte_order_mark_stay() -> None:
    text = "\ufeff" + HEAD.replace("\n", "\r\n")
    out = marked(text, Marks((SHOT,), {"coils": ("K3", "K1", "K2")}))
    assert out == "\ufeff" + (HEAD.replace('"K1..K3"\n', '"K1..K3"\norder = ["K3", "K1", "K2"]\n') + WRITTEN).replace(
        "\n", "\r\n"
    )


def test_names_that_need_quotes() -> None:
    at: dict[str, Tips] = {'fuses/F "x" = # \\ 1': ((0.5, 0.5),), "fuses/µ.1": ((0.1, 0.1),)}
    text = with_shots(HEAD, Shot('a "b".png', at=at))
    (picture,) = tomllib.loads(text)["picture"]
    assert picture == {"file": 'a "b".png', "at": {'fuses/F "x" = # \\ 1': [0.5, 0.5], "fuses/µ.1": [0.1, 0.1]}}
    again = with_shots(text, Shot('a "b".png', at=dict.fromkeys(at, ((0.2, 0.3),))))
    assert [list(place) for place in tomllib.loads(again)["picture"][0]["at"].values()] == [[0.2, 0.3]] * 2


@pytest.mark.parametrize(
    "text",
    [
        'step = [{ id = "fuses", kind = "sweep", items = "F1..F4" }]\n[plan]\ntitle = "x"\n',
        'picture = [{ file = "a.png" }]\n' + HEAD,
    ],
)
def test_a_text_without_lines_for_its_keys_is_refused_and_not_spoilt(text: str) -> None:
    with pytest.raises(PlanError, match="line by line"):
        marked(text, Marks((Shot("a.png", at=SHOT.at),), {"fuses": ("F4", "F1", "F2", "F3")}))


def test_a_step_that_went_and_a_text_that_is_no_toml_are_told() -> None:
    with pytest.raises(PlanError, match="no step 'gone'"):
        marked(HEAD, Marks(orders={"gone": ("F1",)}))
    with pytest.raises(PlanError, match="not TOML"):
        marked("[[step]\n", Marks((SHOT,)))


# --- any plan, with remarks anywhere

MARKS = re.compile(
    r'\s*(?:$|#|\[\[picture\]\]|\[picture\.at\]|(?:order|clusters|file|side|title|sha256|"[a-z-]+/[^"]*")\s*=)'
)
"""A line that marks may write, or blank or a remark, which they may move with them."""
remark = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp")), max_size=12)
part = st.floats(0, 1).map(lambda x: round(x, 4))
spot = st.tuples(part, part)
tips: st.SearchStrategy[Tips] = st.one_of(st.tuples(spot), st.tuples(spot, spot))


@st.composite
def remarked(draw: st.DrawFn) -> str:
    """Return one of the shipped plans with remarks and blank lines put anywhere that TOML takes them."""
    path = draw(st.sampled_from(sorted(PLANS.glob("*.toml"))))
    out = []
    for line in path.read_text(encoding="utf-8").split("\n"):
        for _ in range(draw(st.sampled_from([0, 0, 0, 0, 1]))):
            out.append(draw(st.sampled_from(["", "  ", "# "])) and f"# {draw(remark)}")
        out.append(line + (f"  # {draw(remark)}" if draw(st.sampled_from([False, False, True])) else ""))
    return draw(st.sampled_from(["\n", "\r\n"])).join(out)


def keys_of(data: dict[str, Any]) -> list[str]:
    return [f"{step['id']}/{name}" for step in data["step"] for name in ("F1", "RV1", "C12", "K2", "supply input")]


# The first text of all builds tables of letters, for longer than a slow machine is granted.
@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data(), text=remarked())
def test_any_plan_keeps_all_but_its_marks(data: st.DataObject, text: str) -> None:
    """Marks written, then others over them: the rest of the text is byte for byte the same, in its order."""
    before = tomllib.loads(text.replace("\r\n", "\n"))
    at = st.dictionaries(st.sampled_from(keys_of(before)), tips, max_size=6)
    sweeps = [step["id"] for step in before["step"] if step["kind"] == "sweep"]
    names = st.permutations(["F1", "F2", "F3", "F4"]).map(tuple)

    def marks() -> Marks:
        shots = [
            Shot(f"s{n}.png", "back", "", data.draw(st.text("abc123", max_size=4)), data.draw(at)) for n in range(2)
        ]
        orders = {step: data.draw(st.one_of(st.just(()), names)) for step in sweeps}
        return Marks(tuple(shots), orders, {step: (order,) if order else () for step, order in orders.items()})

    now = text
    for _ in range(2):
        want = marks()
        new = marked(now, want)
        read = tomllib.loads(new.replace("\r\n", "\n"))
        # What it reads as: the places that were wanted, and all else as before.
        found = [picture.get("at", {}) for picture in read.pop("picture")]
        assert found == [
            {key: list(map(list, place)) if len(place) > 1 else list(place[0]) for key, place in shot.at.items()}
            for shot in want.shots
        ]
        for step in read["step"]:
            assert (step.pop("order", None) is not None) == bool(want.orders.get(step["id"]))
            assert (step.pop("clusters", None) is not None) == bool(want.clusters.get(step["id"]))
        assert read == {key: value for key, value in before.items() if key != "picture"}
        now = new
    rest = [line for line in now.split("\n") if not MARKS.match(line) or line in text.split("\n")]
    old = text.split("\n")
    taken = iter(rest)
    assert all(any(line == other for other in taken) for line in old[:-1] if not MARKS.match(line))
    new_lines = list(now.split("\n"))
    assert all(MARKS.match(line) for line in itertools.filterfalse(set(old).__contains__, new_lines))
    if not sweeps:
        assert now.startswith(text)
