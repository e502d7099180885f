"""Shells of quite different colours kept apart, where their flavour is not known or is shared."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from petitpied.sorting.lot import LotShell
from petitpied.sorting.no_eye_would import MOST_APART_DELTA_E

Floats = NDArray[np.float64]

#: so many shells of another colour are another flavour; fewer are odd ones
LEAST_OF_A_COLOUR = 3
#: of larger lots the table of all distances (8 bytes each) would be too large
MOST_SHELLS = 5000


def colour_groups(lab: Floats) -> list[NDArray[np.int64]]:
    """Groups of colours (N, 3), CIELAB, largest first: of one group if a chain leads from one to
    the other with no step above `MOST_APART_DELTA_E` (single linkage)."""
    left = np.ones(len(lab), bool)
    groups = []
    while left.any():
        group = np.zeros(len(lab), bool)
        edge = np.zeros(len(lab), bool)
        edge[np.flatnonzero(left)[0]] = True
        while edge.any():
            group |= edge
            left &= ~edge
            gap = np.linalg.norm(lab[left][:, None] - lab[edge][None], axis=2).min(axis=1)
            near = np.flatnonzero(left)[gap <= MOST_APART_DELTA_E]
            edge = np.zeros(len(lab), bool)
            edge[near] = True
        groups.append(np.flatnonzero(group))
    return sorted(groups, key=len, reverse=True)


def large_groups(lab: Floats) -> tuple[int, ...]:
    """How many shells have each colour, where there are several; else empty."""
    sizes = tuple(len(g) for g in colour_groups(lab) if len(g) >= LEAST_OF_A_COLOUR)
    return sizes if len(sizes) > 1 else ()


def by_colour(shells: Sequence[LotShell]) -> tuple[LotShell, ...]:
    """The shells, those of one flavour but quite different colours given flavours of their own:
    "rose, colour 2"; where the flavour is not known "colour 1", "colour 2"."""
    members: dict[str, list[int]] = defaultdict(list)
    for number, shell in enumerate(shells):
        if shell.lab is not None:
            members[shell.flavour].append(number)
    result = list(shells)
    for flavour, numbers in members.items():
        if len(numbers) > MOST_SHELLS:
            continue
        groups = colour_groups(np.array([shells[i].lab for i in numbers]))
        large = [g for g in groups if len(g) >= LEAST_OF_A_COLOUR]
        if len(large) < 2:
            continue
        for rank, group in enumerate(large, 1):
            named = f"{flavour}, colour {rank}" if flavour else f"colour {rank}"
            name = flavour if flavour and rank == 1 else named
            for i in group:
                result[numbers[i]] = replace(shells[numbers[i]], flavour=name)
    return tuple(result)
