"""Runs of names drawn together are spread out again by the reader of item lists."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from metercap.quantity import expand_items
from metercap.quantity.names import compressed
from tests.effort import examples


@pytest.mark.parametrize(
    ("names", "short"),
    [
        (["F1", "F2", "F3", "RV1"], ["F1..F3", "RV1"]),
        (["F1", "F2"], ["F1", "F2"]),
        (["F9", "F10", "F11"], ["F9..F11"]),
        (["F08", "F09", "F10"], ["F08..F10"]),
        (["F8", "F09", "F10"], ["F8", "F09", "F10"]),
        (["F3", "F2", "F1"], ["F3", "F2", "F1"]),
        (["fuse 1", "fuse 2", "fuse 3"], ["fuse 1..fuse 3"]),
        (["1", "2", "3"], ["1..3"]),
        (["a..1", "a..2", "a..3"], ["a..1", "a..2", "a..3"]),
        ([], []),
    ],
)
def test_compressed(names: Any, short: Any) -> None:
    """Three names or more that count up become one range; the order and everything else stay."""
    assert compressed(names) == short


@settings(max_examples=examples(200), deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(st.sampled_from(["F", "RV", "fuse ", "1-", ""]), st.integers(0, 120), st.sampled_from([1, 2, 3])),
        unique=True,
        max_size=30,
    )
)
def test_spread_out_again(parts: Any) -> None:
    """Whatever the names, spreading every range gives them back in their order."""
    names = list(dict.fromkeys(f"{prefix}{number:0{width}d}" for prefix, number, width in parts))
    spread = [name for short in compressed(names) for name in expand_items(short)]
    assert spread == names
