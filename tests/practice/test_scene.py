"""Scenes are read, checked and refused with place and hint."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from metercap.errors import SceneError
from metercap.practice.scene import SCHEMA, find_scene, load_scene, parse_scene, scene_names
from metercap.records import VerdictKind


def test_every_scene_of_the_program_loads_and_its_truth_is_of_known_points() -> None:
    """What ships can be used: parts build, and each truth names a point of the board or the step itself."""
    assert scene_names()
    for name in scene_names():
        scene = load_scene(name)
        board = scene.board(Random(1))
        for step, items in scene.verdicts().items():
            for item in items:
                assert item in board.parts or item == step, f"{name}: {step}/{item}"


def test_a_newer_schema_is_refused_with_both_versions() -> None:
    """A newer file says which version it has and which this program reads."""
    with pytest.raises(SceneError, match=rf"schema {SCHEMA + 1}.*up to {SCHEMA}"):
        parse_scene(f"schema = {SCHEMA + 1}\nsomething = 'new'\n")


@pytest.mark.parametrize("head", ["", "schema = 'one'\n", "schema = 0\n", "schema = true\n"])
def test_a_scene_without_a_schema_number_is_refused(head: str) -> None:
    """No guess is made about an old or foreign file."""
    with pytest.raises(SceneError, match="schema"):
        parse_scene(head + "title = 'x'\n")


def test_an_unknown_key_is_named_with_line_and_nearest_spelling(twelve_text: str) -> None:
    """A slip of the pen is found by its line."""
    text = twelve_text.replace('family = "text"', 'famly = "text"')
    with pytest.raises(SceneError) as caught:
        parse_scene(text, "bench.toml")
    assert "famly" in str(caught.value)
    assert "bench.toml, line 7" in str(caught.value)
    assert '"family"' in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ('kind = "fuse"', 'kind = "fuze"', "part"),
        ("ohm = 0.1", 'ohm = "low"', "ohm"),
        ('names = "F1..F12"\n', 'names = "F12..F1"\n', r"part\[0\]"),
        ('family = "text"', 'family = "morse"', "meter.family"),
        ('family = "text"', "per_s = 0", "meter.per_s"),
        ('family = "text"', 'dial = "capacitance"', "meter.dial"),
        ('family = "text"', 'walk = "run"', "meter.walk"),
        ('"F1..F12" = "pass"', '"F1..F12" = "fine"', "truth"),
        ('"F1..F12" = "pass"', '"F12..F1" = "pass"', "truth.fuses"),
        ("[truth.fuses]", '[alias]\nsource = "B9"\n[truth.fuses]', "alias.source"),
    ],
)
def test_mistakes_name_their_place(twelve_text: str, old: str, new: str, what: str) -> None:
    """Every mistake is a SceneError that says where."""
    assert old in twelve_text
    with pytest.raises(SceneError, match=what):
        parse_scene(twelve_text.replace(old, new))


def test_a_part_described_twice_is_refused(twelve_text: str) -> None:
    """One point, one description."""
    with pytest.raises(SceneError, match="'F3' is described twice"):
        parse_scene(twelve_text + '\n[[part]]\nnames = "F3"\nkind = "resistor"\nohm = 5\n')


@pytest.mark.parametrize("text", ["schema = ", "\0", "[" * 5000, "schema = 1\n" * 2])
def test_what_is_not_toml_is_refused(text: str) -> None:
    """Broken and hostile files end in a SceneError too."""
    with pytest.raises(SceneError):
        parse_scene(text)


def test_single_names_override_lists_in_the_truth(twelve_text: str) -> None:
    """Exceptions stand beside the rule, in either order; several verdicts may be right."""
    scene = parse_scene(twelve_text + 'F3 = "fail"\nF5 = ["fail", "unsure"]\n')
    truth = scene.verdicts()["fuses"]
    assert truth["F1"] == {VerdictKind.PASS}
    assert truth["F3"] == {VerdictKind.FAIL}
    assert truth["F5"] == {VerdictKind.FAIL, VerdictKind.UNSURE}
    assert next(iter(truth)) == "F1"


def test_a_scene_is_found_by_name_or_path(tmp_path: Path, twelve_text: str) -> None:
    """A path that exists wins; an unknown name is answered with the ones there are."""
    mine = tmp_path / "mine.toml"
    mine.write_text(twelve_text)
    assert load_scene(str(mine)).title == "twelve fuses"
    assert find_scene(scene_names()[0]).suffix == ".toml"
    with pytest.raises(SceneError, match=scene_names()[0]):
        find_scene("nowhere")
    with pytest.raises(SceneError):
        find_scene(f"../scenes/{scene_names()[0]}")


def test_a_blown_fuse_shows_what_is_beside_it_and_a_good_one_hides_it() -> None:
    """Blown beside 1 kΩ reads 1 kΩ; good, 0.1 Ω parallel to it; blown alone, open."""
    text = """
    schema = 1
    title = "fuses"
    unit = "B"
    [[part]]
    names = "F1"
    kind = "fuse"
    beside_ohm = 1000.0
    [[part]]
    names = "F2"
    kind = "fuse"
    blown = true
    beside_ohm = 1000.0
    [[part]]
    names = "F3"
    kind = "fuse"
    blown = true
    """
    board = parse_scene(text).board(Random(1))
    seen = [board.place(name).part.seen(0.0).ohm for name in ("F1", "F2", "F3")]
    assert seen == [pytest.approx(0.1, rel=2e-4), 1000.0, float("inf")]
    with pytest.raises(SceneError, match="F4"):
        board.place("F4")
