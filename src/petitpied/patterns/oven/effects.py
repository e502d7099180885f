"""Pooled effects with intervals: the unit is what was made together, one bake or several."""

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as f_distribution
from scipy.stats import t as t_distribution

from petitpied.domain.quantity import COVERAGE_95
from petitpied.patterns.oven.findings import Effect

Floats = NDArray[np.float64]


def pooled_effect(score: Floats, info: Floats, unit: str, inflation: float = 1.0) -> Effect:
    """From scores (N, K) and information (N,) of one template in N >= 2 units.

    ``sum(score) / sum(info)``, its variance from the units' own disagreement (sandwich of
    clusters, times N / (N - 1); Liang & Zeger, Biometrika 73, 1986), Student's t with N - 1
    degrees of freedom; two components: Hotelling's region of the mean, as its radius.
    ``inflation``: of the variance by likeness from unit to unit (`serial.inflation`).
    """
    n, components = score.shape
    total = float(info.sum())
    value = score.sum(axis=0) / total
    rest = score - info[:, None] * value
    variance = inflation * n / (n - 1) * (rest**2).sum(axis=0) / total**2
    if components == 1:
        u95 = float(t_distribution.ppf(0.975, n - 1) * np.sqrt(variance[0]))
        return Effect(float(value[0]), u95, unit)
    factor = 2 * (n - 1) / (n - 2) * f_distribution.ppf(0.95, 2, n - 2) if n > 2 else np.nan
    u95 = float(np.sqrt(factor * variance.mean()))
    return Effect(*_length(value, u95), unit, _angle(value))


def one_unit_effect(score: Floats, info: Floats, spread: tuple[float, int], unit: str) -> Effect:
    """The same from one unit: scores (1, K), information (1,), and from its shells' spread:
    weighted sum of squares over components (K) left by the patterns, and degrees of freedom."""
    squares, freedom = spread
    value = score[0] / info[0]
    components = len(value)
    if freedom < 1:
        return Effect(*_length(value, None), unit, _angle(value))
    variance = max(squares, 0.0) / (freedom * components) / info[0]
    u95 = float(t_distribution.ppf(0.975, freedom * components) * np.sqrt(components * variance))
    return Effect(*_length(value, u95), unit, _angle(value))


def spot_effect(size: Floats, error: Floats, units: int, unit: str) -> Effect:
    """A spot whose place is not known: estimates (T, K) at T places, standard errors (T,).

    Each place counts by its likelihood with the size left free, ``error exp(t^2 / 2)`` (every
    place as likely before), as in a posterior mean: so the largest of many estimates is not
    taken at its word, and the interval holds the doubt about the place too: Student's t with
    N - 1 degrees of freedom for the first part, the normal factor for the second.
    """
    statistic = (size**2).sum(axis=1) / error**2
    weight = error * np.exp((statistic - statistic.max()) / 2)
    weight /= weight.sum()
    value = weight @ size
    factor = float(t_distribution.ppf(0.975, max(units - 1, 1)))
    own = factor**2 * size.shape[1] * float(weight @ error**2)
    place = COVERAGE_95**2 * float(weight @ ((size - value) ** 2).sum(axis=1))
    u95 = float(np.sqrt(own + place))
    return Effect(*_length(value, u95), unit, _angle(value))


def _length(value: Floats, u95: float | None) -> tuple[float, float | None]:
    size = float(value[0]) if len(value) == 1 else float(np.hypot(*value))
    return size, (None if u95 is None or not np.isfinite(u95) else u95)


def _angle(value: Floats) -> float | None:
    return None if len(value) == 1 else float(np.rad2deg(np.arctan2(value[1], value[0])))
