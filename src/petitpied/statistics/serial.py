"""Likeness from one unit to the next: how much less a history of like days tells.

What stays in a kitchen for some days (air, flour, a mood of the oven) makes neighbouring days
alike. It is estimated from the order of the units; where they are few it counts as none.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: with fewer units their order tells nothing: mean and correlation already take three
LEAST_UNITS = 5
#: what days have in common fades by this factor from day to day beyond the first: scores are a
#: fading part and a part of each day's own, so that their first correlation alone would make it
#: fade too fast. Tuned on seeds below 1,000 of `tests.benchmarks.many_bakes`
FADING = 0.75
#: the spread about the mean keeps at least this part of the whole; numerical
LEAST_LEFT = 0.15


def pooled_autocorrelation(scores: Floats) -> float:
    """Correlation from one unit to the next, common to many series (U, M) in order of time.

    Deviations from each series' mean; its bias is taken out (Kendall, Biometrika 41, 1954: the
    expectation is ``r - (1 + 3 r) / U``). It is 0 unless it exceeds its standard error under
    none, ``1 / sqrt(U m)``, m the number of series that are not alike (participation ratio).
    """
    units = len(scores)
    if units < LEAST_UNITS:
        return 0.0
    about = scores - scores.mean(axis=0)
    size = np.sqrt((about**2).sum(axis=0))
    about = about[:, size > 0] / size[size > 0]
    if not about.size:
        return 0.0
    raw = float((about[1:] * about[:-1]).sum()) / about.shape[1]
    inner = about @ about.T if len(about) < about.shape[1] else about.T @ about  # the smaller
    series = max(float(np.trace(inner) ** 2 / (inner**2).sum()), 1.0)
    value = (units * raw + 1) / (units - 3)
    error = np.sqrt(units / series) / (units - 3)
    return min(value, 1.0) if value > error else 0.0


def inflation(correlation: float, units: int) -> float:
    """By what factor the variance of a sum over units exceeds that of independent ones with the
    same spread about their mean; ``correlation`` from one to the next, then fading."""
    if correlation <= 0 or units < 2:
        return 1.0
    lag = np.arange(1, units)
    whole = 1 + 2 * float(((1 - lag / units) * correlation * FADING ** (lag - 1)).sum())
    about_mean = (units - whole) / (units - 1)  # of the spread that is left about the mean
    return whole / max(about_mean, LEAST_LEFT)
