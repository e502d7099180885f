"""What a record says of growth in the oven, in short."""

import numpy as np

from petitpied.domain.record import Record
from petitpied.domain.uncertainty import mean_of
from petitpied.text.wording import with_u95


def growth_lines(record: Record) -> tuple[str, ...]:
    """Mean piped size and growth, and how uneven each is; nothing without a photo before."""
    grown = [s for s in record.shells if s.growth is not None and s.piped_diameter_mm is not None]
    if not grown:
        return ()
    growth = [s.growth for s in grown if s.growth is not None]
    piped = [s.piped_diameter_mm for s in grown if s.piped_diameter_mm is not None]
    lines = [
        f"piped {with_u95(mean_of(piped), 'mm')}, grown by {with_u95(mean_of(growth), 'mm')} "
        f"(means of {len(grown)} shells found in both photos)"
    ]
    if len(grown) > 1:
        spread = [float(np.std([q.value for q in part], ddof=1)) for part in (piped, growth)]
        lines.append(f"spread as piped {spread[0]:.2f} mm, of the growth {spread[1]:.2f} mm")
    return tuple(lines)
