"""Finds that are no shells but things: the bowl of a spoon, a piping tip look as round as one.

Metal mirrors the room: its colours differ far more within one find than a shell's do, and from
those of the tray's shells. A shell of another flavour differs from the others, and is as even
as they are; a dusted or swirled one is uneven, and so are its like. A small thing has a colour of
its own and another size than the tray's shells: a shell that is smaller or larger than they are has
the colour of some of them, and a lone one of another flavour has their size.
"""

import numpy as np
from numpy.typing import NDArray

from petitpied.finding.bare_liner import Finds
from petitpied.finding.finder_network import FinderMaps
from petitpied.finding.liner import LinerLight, log_colour
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]

#: farther from the tray's usual colour than this many times the finds' own spread, and less even
#: than this many times the usual: of 4,600 shells on 139 traced trays the nearest to both had 7.0
#: and 2.3; two spoons had 15.8 and 2.8, 16.8 and 5.1
OTHER_COLOUR, UNEVEN = 10.0, 2.5
#: a find's colour is its own from this many times the usual distance to the nearest find's colour
#: on, and its size another one beyond this factor and so many times the usual deviation (TUNING.md)
LONE, OTHER_SIZE, OTHER_DEVIATION = 4.0, 1.2, 3.0
#: finds' colours are never told closer than this (log), and fewer finds are no measure
SPREAD_FLOOR, FEWEST_FINDS = 0.03, 8


def odd_things(maps: FinderMaps, finds: Finds, light: LinerLight) -> set[int]:
    """Numbers of the seeds that are things of another make; none of too few finds."""
    if len(finds.number) < FEWEST_FINDS:
        return set()
    own = np.array(
        [
            medians(np.abs(log_colour(values) - middle[:, None])).mean() if values.size else np.nan
            for values, middle in zip(finds.inside, finds.colour, strict=True)
        ]
    )
    rows, columns = maps.shell.shape
    colour = finds.colour - light.at((finds.centre + 0.5) / [columns, rows])
    off = np.abs(colour - np.median(colour, axis=0))
    spread = 1.4826 * float(np.median(off, axis=0).mean()) + SPREAD_FLOOR
    odd = (off.max(axis=1) > OTHER_COLOUR * spread) & (own > UNEVEN * np.median(own))
    odd |= _lone(colour) & _of_other_size(finds)
    return {i for i, thing in zip(finds.number, odd, strict=True) if thing}


def _lone(colour: Floats) -> NDArray[np.bool_]:
    """Which finds' colours (F, 3), logarithms, are like no other's (F,)."""
    apart = np.abs(colour[:, None] - colour).max(axis=2)
    np.fill_diagonal(apart, np.inf)
    nearest = apart.min(axis=1)
    return np.asarray(nearest > LONE * (np.median(nearest) + SPREAD_FLOOR), bool)


def _of_other_size(finds: Finds) -> NDArray[np.bool_]:
    """Which finds (F,) are clearly smaller or larger than the tray's."""
    size = medians(finds.radius)
    off = np.abs(np.log(size / np.median(size)))
    usual = float(np.percentile(off, 75))
    return np.asarray(off > max(np.log(OTHER_SIZE), OTHER_DEVIATION * usual), bool)
