"""One tray photographed again and again: what the measurement adds, and who adds it.

Repeatability and reproducibility as in ISO 5725-1 and the gauge studies of AIAG's "Measurement
Systems Analysis": repeatability is one person's spread from photo to photo, reproducibility what
changing the person (or phone) adds. A photo shows all shells at once, so its own shift of all
shells is a component of its own; between shells of one photo it cancels.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, inf, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, stdtrit

from petitpied.statistics.variance_components import REST, Components, fit_components

Floats = NDArray[np.float64]

#: a true difference is found by a two-sided test at 5 % in 80 of 100 cases: the usual power
POWER = 0.8
#: AIAG, Measurement Systems Analysis, 4th ed.: the measurement may take at most 10 % of the
#: limits to be good, 30 % to be of use; five categories or more can be told apart
GOOD_REL, USEFUL_REL, FEWEST_CATEGORIES = 0.1, 0.3, 5
#: width of a spread of six standard deviations, as the limits are compared with (AIAG)
SPREAD_SIGMAS = 6.0


@dataclass(frozen=True)
class Readings:
    """Values (N,) of one quantity; which shell, person and photo each belongs to (N,)."""

    values: Floats
    shell: NDArray[np.intp]
    person: NDArray[np.intp]
    photo: NDArray[np.intp]


@dataclass(frozen=True)
class Spread:
    """A standard deviation, unit of the quantity, with its 95 % interval (chi-square,
    Satterthwaite's degrees of freedom); ``high`` is inf where hardly anything is known."""

    sd: float
    low: float
    high: float


@dataclass(frozen=True)
class Gauge:
    """What a study says of one quantity; None: the study cannot show it.

    ``within_photo``: of one shell against another in one photo; ``repeatability``: one person,
    another photo; ``reproducibility``: what the person adds; ``total``: both together;
    ``between_shells``: how much the shells themselves differ.
    """

    components: Components
    mean: float
    within_photo: Spread
    repeatability: Spread
    reproducibility: Spread | None
    total: Spread
    between_shells: Spread

    @property
    def categories(self) -> int:
        """Number of distinct categories (AIAG): sqrt(2) of shells over measurement, rounded
        down, at least 1."""
        if self.total.sd <= 0:
            return 10**6
        return max(1, floor(sqrt(2) * self.between_shells.sd / self.total.sd))

    def share_of_limits(self, low: float, high: float) -> float:
        """Six standard deviations of the measurement over the width of the limits."""
        return SPREAD_SIGMAS * self.total.sd / (high - low)

    def smallest_told(self, *, same_photo: bool) -> float:
        """Difference between two shells that a study of this kind finds 80 times in 100.

        Two-sided 5 % test of a difference of two single values: (t_0.975 + t_0.8) sqrt(2) s.
        """
        terms = ("interaction", REST) if same_photo else _MEASUREMENT
        spread = self.within_photo if same_photo else self.total
        dof = max(1.0, self.components.dof_of(*terms))
        factor = _t(0.975, dof) + _t(POWER, dof)
        return factor * sqrt(2) * spread.sd


_MEASUREMENT = ("person", "interaction", "photo", REST)


def _t(probability: float, dof: float) -> float:
    return float(stdtrit(min(dof, 1e6), probability))


def _spread(components: Components, *terms: str) -> Spread:
    variance = components.of(*terms)
    dof = components.dof_of(*terms)
    if variance <= 0 or dof == inf:
        return Spread(sqrt(variance), sqrt(variance), sqrt(variance))
    low, high = dof / chdtri(dof, 0.025), dof / max(float(chdtri(dof, 0.975)), 1e-300)
    return Spread(sqrt(variance), sqrt(variance * float(low)), sqrt(variance * high))


def _factors(readings: Readings) -> list[tuple[str, NDArray[np.intp]]]:
    """The random effects that the study's plan can tell apart."""
    factors = [("shell", readings.shell)]
    owners = {int(p): int(w) for p, w in zip(readings.photo, readings.person, strict=True)}
    persons = len(set(owners.values()))
    again = len(owners) > persons  # someone took more than one photo
    if persons > 1:
        factors.append(("person", readings.person))
    if persons > 1 and again:
        cell = readings.shell * (int(readings.person.max()) + 1) + readings.person
        factors.append(("interaction", cell))
    if again:
        factors.append(("photo", readings.photo))
    return factors


def gauge_of(readings: Readings) -> Gauge:
    """Variance components and what follows from them.

    Raises
    ------
    ValueError
        With fewer than two shells or two photos, or values that do not differ.
    """
    components = fit_components(readings.values, _factors(readings))
    persons = "person" in components.terms
    return Gauge(
        components,
        float(readings.values.mean()),
        _spread(components, "interaction", REST),
        _spread(components, "photo", REST),
        _spread(components, "person", "interaction") if persons else None,
        _spread(components, *_MEASUREMENT),
        _spread(components, "shell"),
    )


def verdict(gauge: Gauge, difference_mm: float = 1.0) -> tuple[str, ...]:
    """Plain words: can this set-up tell two shells ``difference_mm`` apart?"""
    lines = []
    for same, where in ((True, "in one photo"), (False, "in different photos")):
        least = gauge.smallest_told(same_photo=same)
        answer = "yes" if least <= difference_mm else "not safely"
        lines.append(
            f"can it tell {difference_mm:g} mm between two shells {where}? {answer}: from "
            f"{least:.2f} mm on, 80 times in 100"
        )
    return tuple(lines)


def judged_share(share_rel: float) -> str:
    """The usual words for the share of the limits that the measurement takes (AIAG)."""
    if share_rel <= GOOD_REL:
        return "good"
    return "of use for some purposes" if share_rel <= USEFUL_REL else "too much"


def judged_categories(count: int) -> str:
    """The usual words for the number of distinct categories (AIAG)."""
    return "enough" if count >= FEWEST_CATEGORIES else f"fewer than {FEWEST_CATEGORIES}: coarse"


def readings_of(values: Sequence[tuple[float, int, int, int]]) -> Readings:
    """Readings of rows (value, shell, person, photo)."""
    array = np.array([row[0] for row in values], float)
    labels = np.array([row[1:] for row in values], np.intp).reshape(-1, 3)
    return Readings(array, labels[:, 0], labels[:, 1], labels[:, 2])
