"""Random searches, and the best of all orders by trying every one: written without a line of the room under test."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from random import Random

from metercap.order import Look


def search(rng: Random, most: int = 9) -> list[Look]:
    """A search of up to `most` looks: some open others (in two layers, some shared), some have the power on."""
    n = rng.randint(2, most)
    cuts = [rng.random() for _ in range(n)]
    share = rng.uniform(0.5, 1.0) / sum(cuts)
    powered = rng.random() < 0.4
    looks: list[Look] = []
    for index in range(n):
        opener = index < n // 3 and rng.random() < 0.7
        needs = tuple(below for below in range(index) if rng.random() < (0.35 if below < n // 3 else 0.08))
        powers = powered and rng.random() < 0.3
        looks.append(
            Look(
                f"s{index}",
                0.0 if opener else round(cuts[index] * share, 4),
                round(rng.choice([0.5, 1, 2, 3, 5, 8, 15]) * rng.uniform(0.8, 1.25), 3),
                needs,
                powers,
                not powers and powered and rng.random() < 0.6,
                4.0,
            )
        )
    return looks


def walked(looks: list[Look], order: tuple[int, ...]) -> float | None:
    """Expected minutes of one order by walking it with a watch; None where it opens nothing before what needs it."""
    done: list[int] = []
    watch = total = 0.0
    power_since_proof = False
    for place in order:
        look = looks[place]
        if any(below not in done for below in look.needs):
            return None
        if look.dead and power_since_proof:
            watch += look.again
            power_since_proof = False
        watch += look.minutes
        if look.powers:
            power_since_proof = True
        total += look.chance * watch
        done.append(place)
    return total


def best_of_all(looks: list[Look]) -> float:
    """The least expected minutes of all orders, by a search that walks each prefix once and drops what is dearer."""
    best = float("inf")

    def go(done: tuple[int, ...], watch: float, total: float, hot: bool) -> None:
        nonlocal best
        if total >= best:
            return
        if len(done) == len(looks):
            best = total
            return
        for place, look in enumerate(looks):
            if place in done or any(below not in done for below in look.needs):
                continue
            then = watch + look.minutes + (look.again if look.dead and hot else 0.0)
            go((*done, place), then, total + look.chance * then, look.powers or (hot and not look.dead))

    go((), 0.0, 0.0, False)
    return best


def every_order(looks: list[Look]) -> Iterator[float]:
    """Expected minutes of every order that is allowed, one by one."""
    for order in itertools.permutations(range(len(looks))):
        minutes = walked(looks, order)
        if minutes is not None:
            yield minutes
