"""Finds that are no shells but things: the bowl of a spoon looks as round as one.

Metal mirrors the room: its colours differ far more within one find than a shell's do, and from
those of the tray's shells. A shell of another flavour differs from the others, and is as even
as they are; a dusted or swirled one is uneven, and so are its like.
"""

from collections.abc import Sequence

import numpy as np

from petitpied.domain.shell import Seed
from petitpied.vision.bare_liner import inside_colours, without
from petitpied.vision.finder_network import FinderMaps
from petitpied.vision.liner import LinerLight, log_colour

#: farther from the tray's usual colour than this many times the finds' own spread, and less even
#: than this many times the usual: of 4,600 shells on 139 traced trays the nearest to both had 7.0
#: and 2.3; two spoons had 15.8 and 2.8, 16.8 and 5.1
OTHER_COLOUR, UNEVEN = 10.0, 2.5
#: finds' colours are never told closer than this (log), and fewer finds are no measure
SPREAD_FLOOR, FEWEST_FINDS = 0.03, 8


def without_odd_things(
    maps: FinderMaps, seeds: Sequence[Seed], light: LinerLight
) -> tuple[Seed, ...]:
    """The seeds less those that are things of another make than the tray's shells, by colours
    against the liner's brightness there."""
    whole = [i for i, seed in enumerate(seeds) if seed.whole]
    if len(whole) < FEWEST_FINDS:
        return tuple(seeds)
    log = log_colour(maps.picture_bgr)
    inside = [inside_colours(maps, log, seeds[i]) for i in whole]
    middle = np.array([np.median(cells, axis=0) for cells in inside])
    own = np.array(
        [np.median(np.abs(c - m), axis=0).mean() for c, m in zip(inside, middle, strict=True)]
    )
    rows, columns = maps.shell.shape
    places = (np.array([seeds[i].centre_px for i in whole]) + 0.5) / maps.cell_px
    colour = middle - light.at(places / [columns, rows])
    off = np.abs(colour - np.median(colour, axis=0))
    spread = 1.4826 * float(np.median(off, axis=0).mean()) + SPREAD_FLOOR
    odd = (off.max(axis=1) > OTHER_COLOUR * spread) & (own > UNEVEN * np.median(own))
    return without(seeds, {i for i, thing in zip(whole, odd, strict=True) if thing})
