"""Rings that left their shells: a fit that runs off must not be measured, nor tell of the tray."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.errors import ShellsError
from petitpied.domain.shell import Ring

Floats = NDArray[np.float64]

#: a ring's mean radius over the finder's, and the range of its radii over that mean: beyond these
#: it has run off. On 700 shells of traced trays, ovals and tear-drops among them, it was 0.85 to
#: 1.2 and at most 0.5; of a slanting tray with tall domes it may be more
LEAST_REL, MOST_REL, MOST_RANGE_REL = 0.45, 2.0, 1.6
#: angles on which a ring's radii are looked at
ANGLES = 32

#: what the record says of such a shell
REASON = "its edges form no outline"


def astray(rings: Sequence[Ring | None], coarse_diameters: Floats) -> NDArray[np.bool_]:
    """Which rings (S,) are not where the finder saw a shell of these diameters (S,), in the rings'
    own unit; where there is no ring, there is none to run off."""
    angle = np.linspace(0, 2 * np.pi, ANGLES, endpoint=False)
    gone = np.zeros(len(rings), bool)
    for k, ring in enumerate(rings):
        if ring is None:
            continue
        radii = ring.radius_at(angle)
        mean = float(radii.mean())
        size = 2 * mean / float(coarse_diameters[k])
        sound = np.isfinite(radii).all() and LEAST_REL < size < MOST_REL
        gone[k] = not (sound and float(np.ptp(radii)) < MOST_RANGE_REL * mean)
    return gone


def no_outlines(count: int) -> ShellsError:
    """Where all of them have run off."""
    return ShellsError(
        what="no shell could be measured",
        why=f"{count} round things were seen, and the edges of none form an outline",
        next_step="photograph from straight above, sharp and evenly lit, and retake",
    )
