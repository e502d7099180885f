"""Mean directions: Rayleigh's test, and Hotelling's test of a mean vector."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as f_distribution

Floats = NDArray[np.float64]

#: with fewer vectors Hotelling's test has no degree of freedom to speak of
LEAST_VECTORS = 4


@dataclass(frozen=True, slots=True)
class Rayleigh:
    """``mean_deg`` from +x towards +y; ``length`` of the mean resultant, 0 to 1."""

    mean_deg: float
    length: float
    z: float
    p: float


def rayleigh(angles_deg: Floats) -> Rayleigh:
    """Are directions (N,) spread evenly round the circle?

    p by the approximation of Zar, Biostatistical Analysis (5th ed., section 27.1):
    ``exp(sqrt(1 + 4 n + 4 (n^2 - R^2)) - (1 + 2 n))``.

    Raises
    ------
    ValueError
        If there are no directions.
    """
    n = len(angles_deg)
    if n == 0:
        raise ValueError("angles_deg must hold at least one direction")
    t = np.deg2rad(angles_deg)
    total = complex(np.cos(t).sum(), np.sin(t).sum())
    r2 = abs(total) ** 2
    p = float(np.exp(np.sqrt(1 + 4 * n + 4 * (n * n - r2)) - (1 + 2 * n)))
    return Rayleigh(float(np.rad2deg(np.angle(total))), abs(total) / n, r2 / n, min(p, 1.0))


@dataclass(frozen=True, slots=True)
class Hotelling:
    """``mean`` (x, y), ``t2``, and p of the F test with 2 and n - 2 degrees of freedom;
    ``radius95``: half width of the widest direction of the 95 % ellipse of the mean."""

    mean: tuple[float, float]
    t2: float
    p: float
    radius95: float


def hotelling(vectors: Floats) -> Hotelling:
    """Is the mean of vectors (N, 2) zero? H. Hotelling, Ann. Math. Stat. 2 (1931) 360.

    Raises
    ------
    ValueError
        If there are fewer than 3 vectors, or their spread has no area.
    """
    n = len(vectors)
    if n < 3:
        raise ValueError(f"vectors must hold at least 3, got {n}")
    mean = vectors.mean(axis=0)
    covariance = np.cov(vectors.T) / n
    if np.linalg.eigvalsh(covariance)[0] <= 1e-12 * max(float(np.trace(covariance)), 1e-300):
        raise ValueError("vectors must not lie on one line")
    t2 = float(mean @ np.linalg.solve(covariance, mean))
    to_f = (n - 2) / (2 * (n - 1))
    p = float(f_distribution.sf(to_f * t2, 2, n - 2))
    widest = float(np.linalg.eigvalsh(covariance)[-1])
    radius = float(np.sqrt(f_distribution.ppf(0.95, 2, n - 2) / to_f * widest))
    return Hotelling((float(mean[0]), float(mean[1])), t2, p, radius)


@dataclass(frozen=True, slots=True)
class MeanDirection:
    """Mean lean over bakes: length and direction, with Hotelling's p, or Rayleigh's where the
    lengths cannot be used (fewer than `LEAST_VECTORS` bakes, or all on one line)."""

    bakes: int
    length_mm: float
    direction_deg: float
    u95_mm: float | None
    p: float
    test: str  # "Hotelling" or "Rayleigh"


def mean_direction(leans_mm: Floats) -> MeanDirection | None:
    """Of each bake's mean lean (N, 2), tray frame; None without bakes."""
    n = len(leans_mm)
    if n == 0:
        return None
    mean = leans_mm.mean(axis=0)
    length, angle = float(np.hypot(*mean)), float(np.rad2deg(np.arctan2(mean[1], mean[0])))
    if n >= LEAST_VECTORS:
        try:
            test = hotelling(leans_mm)
            return MeanDirection(n, length, angle, test.radius95, test.p, "Hotelling")
        except ValueError:
            pass
    moved = leans_mm[np.hypot(*leans_mm.T) > 0]
    p = rayleigh(np.rad2deg(np.arctan2(moved[:, 1], moved[:, 0]))).p if len(moved) else 1.0
    return MeanDirection(n, length, angle, None, p, "Rayleigh")
