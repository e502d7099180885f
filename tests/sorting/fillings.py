"""Macarons made by hand, and the best filling of boxes by trying every one."""

from dataclasses import replace

import numpy as np

from petitpied.domain.quantity import Quantity
from petitpied.sorting.boxes import macaron
from petitpied.sorting.lot import Verdict
from petitpied.sorting.pairing import Pair
from tests.sorting.lots import a_shell, partitions_into_boxes


def macarons(sizes, flavours=None, labs=None, heights=None):
    """Macarons of two like shells each."""
    made = []
    for i, size in enumerate(sizes):
        shell = a_shell(
            f"n{i}a",
            size_mm=float(size),
            flavour=flavours[i] if flavours else "",
            lab=tuple(labs[i]) if labs is not None else None,
            height_mm=heights,
            verdict=Verdict.TOP,
        )
        partner = replace(shell, id=f"n{i}b")
        pair = Pair(shell, partner, 0.0, 0.1, Quantity(0.0, 0.1))
        made.append(macaron(i + 1, pair, 4.0))
    return made


def allowed(box, kind, flavours):
    held = [flavours[i] for i in box]
    if kind.flavours == "one":
        return len(set(held)) == 1
    if kind.flavours == "any":
        return True
    return all(held.count(f) == n for f, n in kind.flavours.items())


def every_filling(sizes, flavours, labs, kind):
    """Most boxes; then the smallest worst range; then of colour (within a flavour)."""

    def size_range(box):
        return max(sizes[i] for i in box) - min(sizes[i] for i in box)

    def colour_range(box):
        return max(
            np.linalg.norm(labs[i] - labs[j])
            for i in box
            for j in box
            if flavours[i] == flavours[j]
        )

    most = np.inf if kind.even_range_mm is None else kind.even_range_mm
    for count in range(len(sizes) // kind.slots, 0, -1):
        scores = [
            (max(map(size_range, boxes)), max(map(colour_range, boxes)))
            for boxes in partitions_into_boxes(list(range(len(sizes))), kind.slots, count)
            if all(allowed(b, kind, flavours) and size_range(b) <= most for b in boxes)
        ]
        if scores:
            worst = min(score[0] for score in scores)
            return count, worst, min(c for w, c in scores if w <= worst + 1e-9)
    return 0, None, None
