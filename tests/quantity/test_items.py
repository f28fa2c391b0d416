"""Item lists and natural order."""

import random
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.errors import ValueText
from metercap.quantity import expand_items, natural_key
from tests.effort import examples


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("RV1", ["RV1"]),
        ("supply input", ["supply input"]),
        ("F1..F3", ["F1", "F2", "F3"]),
        ("F1..F3, F7", ["F1", "F2", "F3", "F7"]),
        ("F7,F1 .. F2", ["F7", "F1", "F2"]),
        ("F08..F11", ["F08", "F09", "F10", "F11"]),
        ("F98..F101", ["F98", "F99", "F100", "F101"]),
        ("F098..F101", ["F098", "F099", "F100", "F101"]),
        ("A1F1..A1F2", ["A1F1", "A1F2"]),
        ("TP 1…TP 2", ["TP 1", "TP 2"]),
        ("1..3", ["1", "2", "3"]),
        ("F5..F5", ["F5"]),
    ],
)
def test_lists_as_written(text: str, names: list[str]) -> None:
    """Ranges count up, names stand for themselves, padding and order stay."""
    assert expand_items(text) == names


@settings(derandomize=True, database=None, max_examples=examples(200))
@given(st.sampled_from(["F", "TP", "A2B", "X-", ""]), st.integers(0, 5000), st.integers(0, 300))
def test_a_range_skips_none_and_counts_none_twice(prefix: str, first: int, more: int) -> None:
    """A range holds every number between its ends exactly once, in natural order."""
    names = expand_items(f"{prefix}{first}..{prefix}{first + more}")
    assert names == [prefix + str(number) for number in range(first, first + more + 1)]
    assert sorted(names, key=natural_key) == names


def test_ten_thousand_items_and_no_more() -> None:
    """The bound holds for one range and for several together."""
    assert len(expand_items("F1..F10000")) == 10_000
    for text in ("F1..F10001", "F1..F9999, G1..G2", "F1..F10000, G1", "F1..F999999999"):
        with pytest.raises(ValueText, match="10000 items"):
            expand_items(text)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "names no item"),
        ("F1,,F2", "names no item"),
        ("F1..", "names no item"),
        ("..F1", "names no item"),
        ("F3..F1", "runs down"),
        ("F1..G3", "no range"),
        ("F1..12", "no range"),
        ("F1..f3", "no range"),
        ("F1..F2..F3", "no range"),
        ("F1...F3", "no range"),
        ("a..b", "no range"),
        ("F1..F" + "9" * 50, "no range"),
        ("F1..F012", "zero padding"),
        ("F01..F012", "zero padding"),
        ("F1..F3, F2", "given twice"),
        ("F" * 65, "too long"),
        ("F1..F٣", "no range"),
    ],
)
def test_lists_refused(text: str, what: str) -> None:
    """What leaves open which items are meant is refused with a way out."""
    with pytest.raises(ValueText, match=re.escape(what)) as caught:
        expand_items(text)
    assert caught.value.hint


@settings(derandomize=True, database=None, max_examples=examples(500))
@given(st.text(alphabet="F01..,… -٣", max_size=20) | st.text(max_size=40))
def test_no_list_raises_anything_but_value_text(text: str) -> None:
    """Whatever the text, there is a list of distinct names or a ValueText."""
    try:
        names = expand_items(text)
    except ValueText:
        return
    assert names
    assert len(set(names)) == len(names)


def test_natural_order() -> None:
    """F2 comes before F10 whatever order they came in; names that count alike have one order too."""
    ordered = ["C1", "F01", "F1", "F2", "F10", "F10a", "R1"]
    for seed in range(20):
        shuffled = random.Random(seed).sample(ordered, len(ordered))
        assert sorted(shuffled, key=natural_key) == ordered
