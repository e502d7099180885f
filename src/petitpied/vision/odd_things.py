"""Finds that are no shells but things: the bowl of a spoon looks as round as one.

Metal mirrors the room: its colours differ far more within one find than a shell's do, and from
those of the tray's shells. A shell of another flavour differs from the others, and is as even
as they are; a dusted or swirled one is uneven, and so are its like.
"""


import numpy as np

from petitpied.vision.bare_liner import Finds
from petitpied.vision.finder_network import FinderMaps
from petitpied.vision.liner import LinerLight, log_colour
from petitpied.vision.medians import medians

#: farther from the tray's usual colour than this many times the finds' own spread, and less even
#: than this many times the usual: of 4,600 shells on 139 traced trays the nearest to both had 7.0
#: and 2.3; two spoons had 15.8 and 2.8, 16.8 and 5.1
OTHER_COLOUR, UNEVEN = 10.0, 2.5
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
    return {i for i, thing in zip(finds.number, odd, strict=True) if thing}
