"""The fuse table against its data sheet's figures, and the limits that follow from it."""

import math
from typing import Any

import pytest

from metercap.errors import ValueText
from metercap.quantity import parse_value
from metercap.reference.fuses import GLASS_5X20_OHM, has_table, least_ohm, limit_ohm, typical_ohm

# A maker's data sheet of fast glass fuse-links 5 × 20 mm (IEC 60127-2), typical cold resistance, as published.
PUBLISHED = (
    "32 mA 41.5; 40 mA 25.5; 50 mA 17.5; 63 mA 12.9; 80 mA 5.2; 100 mA 3.9; 125 mA 2.9; 160 mA 9.2; 200 mA 7.0; "
    "250 mA 4.5; 315 mA 3.2; 400 mA 1.9; 500 mA 0.27; 630 mA 0.21; 800 mA 0.15; 1 A 0.13; 1.25 A 0.098; 1.6 A 0.068; "
    "2 A 0.044; 2.5 A 0.035; 3.15 A 0.026; 4 A 0.022; 5 A 0.015; 6.3 A 0.010"
)
ROWS = [(parse_value(row.rsplit(" ", 1)[0]).value, float(row.rsplit(" ", 1)[1])) for row in PUBLISHED.split("; ")]
R10 = (1.00, 1.25, 1.60, 2.00, 2.50, 3.15, 4.00, 5.00, 6.30, 8.00)  # ISO 3, series R10


@pytest.mark.parametrize(("rating_a", "ohm"), ROWS)
def test_every_published_rating(rating_a: Any, ohm: Any) -> None:
    """A rating as written on the fuse finds the data sheet's typical value."""
    assert typical_ohm(rating_a, "glass 5x20") == ohm


def test_nothing_else_is_listed() -> None:
    """The table holds the published ratings and no other."""
    assert len(GLASS_5X20_OHM) == len(ROWS)


def test_ratings_are_preferred_numbers() -> None:
    """Every rating is a number of the R10 series (ISO 3), in which IEC 60127 ratings are given."""
    for rating_a in GLASS_5X20_OHM:
        mantissa = rating_a / 10 ** math.floor(math.log10(rating_a) + 1e-9)
        assert min(abs(mantissa - step) for step in (*R10, 3.2)) < 0.01


def test_a_good_small_fuse_exceeds_ten_ohms() -> None:
    """A good 63 mA fuse reads above 10 Ω (data sheet), so a 2 Ω limit would call it blown."""
    assert least_ohm(0.063, "glass 5x20", nulled=True) > 10.0


@pytest.mark.parametrize(
    ("rating", "nulled", "limit"),
    [("315 mA", True, 6.4), ("315 mA", False, 6.6), ("1 A", True, 0.5), ("1 A", False, 0.5), ("500 mA", False, 0.74)],
)
def test_limit(rating: str, nulled: bool, limit: float) -> None:
    """Twice the typical value, plus 0.2 Ω of leads unless nulled, at least 0.5 Ω; worked by hand."""
    assert limit_ohm(parse_value(rating).value, "glass 5x20", nulled=nulled) == limit


def test_least_includes_leads() -> None:
    """What a good fuse reads includes the leads where they are not nulled."""
    assert least_ohm(1.0, "glass 5x20", nulled=False) == 0.33
    assert least_ohm(1.0, "glass 5x20", nulled=True) == 0.13


@pytest.mark.parametrize(
    ("rating_a", "neighbours"),
    [(0.3, "250 mA or 315 mA"), (0.01, "32 mA"), (10.0, "6.3 A"), (0.1001, "100 mA or 125 mA")],
)
def test_unlisted_rating(rating_a: float, neighbours: str) -> None:
    """An unlisted rating is refused with the listed ones next to it; nothing is interpolated."""
    with pytest.raises(ValueText) as error:
        limit_ohm(rating_a, "glass 5x20", nulled=True)
    assert error.value.hint.startswith(f"{neighbours}, or")


@pytest.mark.parametrize("kind", ["chip", "resettable", "unknown"])
def test_types_without_a_table(kind: str) -> None:
    """Other types have no table: no limit is made up, whatever the rating."""
    assert not has_table(kind)  # type: ignore[arg-type]
    assert typical_ohm(0.3, kind) is None  # type: ignore[arg-type]
    assert limit_ohm(1.0, kind, nulled=True) is None  # type: ignore[arg-type]
    assert least_ohm(1.0, kind, nulled=True) is None  # type: ignore[arg-type]
