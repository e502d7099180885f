"""A step in a series that drifts and whose units are alike from one to the next.

``y = level + step + slope t + e``, e a first-order autoregression plus nothing: the step is
estimated by generalised least squares for each correlation that may be, each weighted by its
restricted likelihood (Harville, Biometrika 61, 1974) and by how usual it is beforehand: so an
interval holds the doubt about the correlation too, and few units do not pretend to know it.
"""

from dataclasses import dataclass
from math import lgamma

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import stdtr

Floats = NDArray[np.float64]

#: correlations from unit to unit that are reckoned with, and how usual each is beforehand: a
#: kitchen's days are seldom quite independent and seldom like beyond 0.8 (no source; the figures
#: of `tests.benchmarks.many_bakes` hold by them)
CORRELATIONS = np.linspace(0.0, 0.95, 20)
USUAL = 0.5 + CORRELATIONS
LEVEL = 0.95


@dataclass(frozen=True)
class Mixture:
    """An estimate as a mixture of Student's t: ``values``, ``errors``, ``weights`` (R,) for each
    correlation, ``freedom`` the same for all."""

    values: Floats
    errors: Floats
    weights: Floats
    freedom: float
    correlations: Floats

    @property
    def value(self) -> float:
        return float(self.weights @ self.values)

    @property
    def correlation(self) -> float:
        """The mean correlation from unit to unit that the series speaks for."""
        return float(self.weights @ self.correlations)

    def below(self, x: float) -> float:
        """Chance that the truth lies below x."""
        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.where(self.errors > 0, (x - self.values) / self.errors, 0.0)
        parts = np.where(
            self.errors > 0, stdtr(self.freedom, t), np.where(x >= self.values, 1.0, 0.0)
        )
        return float(self.weights @ parts)

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """Equal tails."""
        reach = float(np.max(self.errors)) * 1e3 + float(np.ptp(self.values))
        middle = self.value
        if reach == 0:
            return middle, middle
        tails = ((1 - level) / 2, (1 + level) / 2)
        ends = [
            brentq(lambda x, tail=tail: self.below(x) - tail, middle - reach, middle + reach)
            for tail in tails
        ]
        return float(ends[0]), float(ends[1])

    @property
    def p(self) -> float:
        """Two-sided, of no effect."""
        below = self.below(0.0)
        return min(1.0, 2 * min(below, 1 - below))


def estimate(y: Floats, design: Floats, contrast: int) -> Mixture | None:
    """The coefficient of column ``contrast`` of ``design`` (U, Q) in a series y (U,), in order of
    time; None with no degree of freedom left, or a design that does not show it."""
    units, columns = design.shape
    freedom = units - columns
    if freedom < 1 or np.linalg.matrix_rank(design) < columns:
        return None
    values, errors, logs = [], [], []
    scale = float(np.abs(y - y.mean()).max())
    for rho in CORRELATIONS:
        white_y, white = _whitened(y, rho), _whitened(design, rho)
        inner = np.linalg.inv(white.T @ white)
        beta = inner @ (white.T @ white_y)
        rest = float(((white_y - white @ beta) ** 2).sum())
        values.append(beta[contrast])
        errors.append(np.sqrt(max(rest, 0.0) / freedom * inner[contrast, contrast]))
        floor = max(rest, (1e-9 * max(scale, 1e-140)) ** 2)
        bend = 0.5 * np.log1p(-(rho**2)) + 0.5 * np.linalg.slogdet(inner)[1]
        logs.append(bend - freedom / 2 * np.log(floor))
    weights = USUAL * np.exp(np.array(logs) - max(logs))
    return Mixture(
        np.array(values), np.array(errors), weights / weights.sum(), float(freedom), CORRELATIONS
    )


def _whitened(values: Floats, rho: float) -> Floats:
    """What an autoregression leaves (Prais & Winsten, Cowles Commission 383, 1954)."""
    first = np.sqrt(1 - rho**2) * values[:1]
    return np.concatenate([first, values[1:] - rho * values[:-1]])


def log_likelihood(y: Floats, design: Floats, rho: float) -> float:
    """Restricted log likelihood of a correlation, the variance at its best; for checks."""
    units, columns = design.shape
    white_y, white = _whitened(y, rho), _whitened(design, rho)
    inner = white.T @ white
    beta = np.linalg.solve(inner, white.T @ white_y)
    rest = float(((white_y - white @ beta) ** 2).sum())
    freedom = units - columns
    return float(
        0.5 * np.log1p(-(rho**2)) - 0.5 * np.linalg.slogdet(inner)[1] - freedom / 2 * np.log(rest)
        + lgamma(freedom / 2)
    )  # fmt: skip


def time_axis(units: int) -> Floats:
    """Units in order of time, from -1 to 1."""
    return np.linspace(-1.0, 1.0, units)
