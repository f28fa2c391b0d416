"""Checks of a profile's tables; every problem is named by its key, all of them at once."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal, InvalidOperation

from metercap.errors import ProfileError
from metercap.meter import MeterProfile
from metercap.quantity import Quantity
from metercap.spelling import aside


class Tables:
    """A profile's tables, read with a memory for what is wrong with them."""

    def __init__(self, profile: MeterProfile) -> None:
        self.profile = profile
        self.problems: list[str] = []

    def problem(self, key: str, what: str) -> None:
        """Remember that `key` is wrong."""
        self.problems.append(f"tables.{key}: {what}")

    def names(self, known: Iterable[str], once: Iterable[str] = ()) -> None:
        """Every table of the profile must be one of `known`, or one that was read `once` and stands in older files."""
        known, once = tuple(known), tuple(once)
        for name in self.profile.tables:
            if name not in (*known, *once):
                self.problem(name, f"no such table in the {self.profile.family} family{aside(name, known)}")

    def rows(self, name: str, required: bool = True) -> dict[str, str | float]:
        """Return a table; missing ones are a problem when `required`."""
        table = self.profile.tables.get(name)
        if not table and required:
            self.problem(name, "is missing or empty")
        return table or {}

    def texts(self, name: str, required: bool = True) -> dict[str, str]:
        """Return a table whose values are all text."""
        texts = {}
        for key, value in self.rows(name, required).items():
            if isinstance(value, str):
                texts[key] = value
            else:
                self.problem(f"{name}.{key}", f"{value!r} must be text")
        return texts

    def whole_numbers(self, name: str, required: bool = True) -> dict[str, int]:
        """Return a table whose values are all whole numbers within ±30."""
        numbers = {}
        for key, value in self.rows(name, required).items():
            if isinstance(value, str) or not abs(value) <= 30 or value != int(value):
                self.problem(f"{name}.{key}", f"{value!r} must be a whole number from -30 to 30")
            else:
                numbers[key] = int(value)
        return numbers

    def weights(self, name: str) -> dict[str, int]:
        """Return a table of digit weights as exponents of ten; 0.01 gives -2."""
        exponents = {}
        for key, value in self.rows(name).items():
            exponent = power_of_ten(value)
            if exponent is None or abs(exponent) > 30:
                self.problem(f"{name}.{key}", f"{value!r} must be a power of ten such as 0.01 or 1e3")
            else:
                exponents[key] = exponent
        return exponents

    def quantities(self, name: str) -> dict[str, Quantity]:
        """Return a table whose values name quantities."""
        known = tuple(Quantity)
        found = {}
        for key, value in self.texts(name).items():
            if value in known:
                found[key] = Quantity(value)
            else:
                self.problem(f"{name}.{key}", f"{value!r} is no quantity{aside(value, known)}")
        return found

    def choice(self, table: str, key: str, default: str, allowed: Iterable[str]) -> str:
        """Return one text of a table that must be among `allowed`."""
        allowed = tuple(allowed)
        value = self.profile.tables.get(table, {}).get(key, default)
        if value in allowed:
            return str(value)
        self.problem(f"{table}.{key}", f"{value!r} must be one of {', '.join(allowed)}")
        return default

    def done(self) -> None:
        """Raise ProfileError when anything was wrong."""
        if self.problems:
            raise ProfileError(
                "its tables do not make sense: " + "; ".join(self.problems),
                where=f"profile {self.profile.name}",
                hint="compare with the shipped profile of the same family",
            )


def power_of_ten(value: str | float) -> int | None:
    """Return n when `value` is 10^n, as a number or as text; else None."""
    try:
        number = Decimal(value if isinstance(value, str) else repr(value))
    except InvalidOperation:
        return None
    sign, digits, exponent = number.normalize().as_tuple()
    return exponent if sign == 0 and digits == (1,) and isinstance(exponent, int) else None
