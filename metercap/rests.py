"""What values rest on and what is remembered of them, as records tell it: contacts, parts of U, as found, counts."""

from __future__ import annotations

import msgspec
from msgspec import UNSET, UnsetType

from metercap.quantity import Quantity


class Touched(msgspec.Struct, frozen=True, array_like=True):
    """One contact that a verdict rests on: conversions in `from_s` … `t_s`; `value` is what it gave, leads off."""

    from_s: float
    t_s: float
    value: float


class Part(msgspec.Struct, frozen=True, array_like=True):
    """One component of a value's uncertainty: its `kind`, the standard uncertainty `u` in the value's unit, `dof`.

    `dof`: None where infinite. `of`: the accuracy's half-width, the conversions that scattered, the leads' value, the
    contacts that were apart; None where the rest tells. Kinds are named in `metrology.budget`.
    """

    kind: str
    u: float
    dof: float | None = None
    of: float | None = None


class Rests(msgspec.Struct, frozen=True, omit_defaults=True):
    """What a verdict's U rests on: U = k·√Σu², by the function `quantity` in which the value was read.

    `k`: a fixed coverage factor; None, and left out, where it is that of 95.45 % by effective degrees of freedom. U is
    one resolution where no part tells of the meter's own accuracy and the parts come to less. What two values share
    shows by kind: an accuracy's gain cancels in the difference of two values of one meter, range and day, the rest of
    it and every other kind does not.
    """

    quantity: Quantity
    parts: tuple[Part, ...]
    k: float | None = None


class Found(msgspec.Struct, frozen=True, tag_field="kind", tag="found", rename={"expanded": "U"}):
    """A trimmer's value as found has settled, before anything was turned: fields as a verdict's."""

    t_s: float
    step: str
    item: str
    value: float
    unit: str
    expanded: float
    resolution: float
    n: int = 0
    from_s: float | None = None
    contacts: tuple[Touched, ...] = ()
    budget: Rests | UnsetType = UNSET


class Count(msgspec.Struct, frozen=True, tag_field="kind", tag="count", omit_defaults=True):
    """What was counted of an item up to now, by this session and those that it goes on with; a later one replaces it.

    `k` of `runs` were good as found, before any fix. Presses: `rounds` are (k, n) of those that are over, `open` is
    (k, decided, made) of the one that goes on, with `dropouts` in it. Starts: `fix` is the last one, `after` the passes
    since, `tries` what each attempt before would have had to show.
    """

    t_s: float
    step: str
    item: str
    k: int = 0
    runs: int = 0
    rounds: tuple[tuple[int, int], ...] = ()
    open: tuple[int, int, int] | None = None
    dropouts: int = 0
    fix: str | None = None
    after: int = 0
    tries: tuple[int, ...] = ()
