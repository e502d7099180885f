"""Lots drawn from a seeded generator, and answers by brute force."""

from functools import cache
from itertools import combinations

import numpy as np

from petitpied.domain.quantity import Quantity
from petitpied.sorting.lot import ORDERS, LotShell


def a_shell(name, random=None, size_mm=45.0, record="tray.json", **changes):
    """A shell with an outline of about 0.4 mm of waves, as on the traced scenes."""
    random = random or np.random.default_rng(1)
    waves = random.normal(size=(2, len(ORDERS))) * 0.35 / ORDERS
    values = {
        "record": record,
        "id": name,
        "diameter_mm": Quantity(size_mm, 0.08, 0.15),
        "harmonics_mm": waves[0] + 1j * waves[1],
    }
    return LotShell(**(values | changes))


def a_lot(count, seed, *, spread_mm=1.0, colour=False):
    random = np.random.default_rng(seed)
    return [
        a_shell(
            f"{'ABCDEFGH'[i // 8 % 8]}{i % 8 + 1}" if count <= 64 else f"n{i}",
            random,
            float(random.normal(45, spread_mm)),
            lab=tuple(random.normal([60, 30, 10], 1.5)) if colour else None,
        )
        for i in range(count)
    ]


def least_total(matrix):
    """Cheapest way to pair all, but one of an odd number (recursion over subsets)."""
    count = len(matrix)

    @cache
    def best(left):
        if not left:
            return 0.0
        first, *rest = left
        totals = [
            matrix[first, other] + best(tuple(x for x in rest if x != other)) for other in rest
        ]
        if len(left) % 2:
            totals.append(best(tuple(rest)))
        return min(totals)

    return best(tuple(range(count)))


def partitions_into_boxes(items, slots, boxes):
    """Every way to fill so many boxes of so many slots."""
    if boxes == 0:
        yield []
        return
    for first in range(len(items)):
        rest = items[first + 1 :]
        if len(rest) + 1 < boxes * slots:
            return
        for others in combinations(rest, slots - 1):
            left = [x for x in rest if x not in others]
            for more in partitions_into_boxes(left, slots, boxes - 1):
                yield [(items[first], *others), *more]
