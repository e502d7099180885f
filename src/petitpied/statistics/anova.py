"""Analysis of variance of balanced data: one way, and shells crossed with persons.

Values are centred before they are squared: far from zero, plain sums of squares lose all digits
(NIST StRD, sets SmLs07 to SmLs09).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Stratum:
    """A row of the table: sum of squares and degrees of freedom of one source."""

    source: str
    dof: int
    sum_of_squares: float

    @property
    def mean_square(self) -> float:
        return self.sum_of_squares / self.dof


@dataclass(frozen=True)
class OneWay:
    """Between and within groups; ``p`` of the F test that all groups have one mean."""

    between: Stratum
    within: Stratum

    @property
    def f(self) -> float:
        return self.between.mean_square / self.within.mean_square

    @property
    def p(self) -> float:
        return float(fdtrc(self.between.dof, self.within.dof, self.f))


def one_way(groups: Sequence[Floats]) -> OneWay:
    """One-way analysis of variance of at least two groups (N_i,), one with two values or more.

    Raises
    ------
    ValueError
        With fewer.
    """
    count = sum(len(g) for g in groups)
    if len(groups) < 2 or min(map(len, groups)) < 1 or count <= len(groups):
        raise ValueError("one-way analysis needs two groups or more, one of them with two values")
    near = float(groups[0][0])
    centred = [np.asarray(g, float) - near for g in groups]
    grand = float(np.concatenate(centred).mean())
    means = [float(g.mean()) for g in centred]
    between = sum(len(g) * (m - grand) ** 2 for g, m in zip(centred, means, strict=True))
    within = sum(float(((g - m) ** 2).sum()) for g, m in zip(centred, means, strict=True))
    return OneWay(
        Stratum("between", len(groups) - 1, between),
        Stratum("within", count - len(groups), within),
    )


def crossed(values: Floats) -> tuple[Stratum, ...]:
    """Strata of shells crossed with persons, photos within persons.

    Parameters
    ----------
    values : ndarray (shells, persons, photos)
        Balanced, finite: every shell in every photo, as many photos a person.

    Returns
    -------
    tuple of Stratum
        "shell", "person", "interaction", "photo", "rest". A photo shows all shells, so that
        what it does to all of them ("photo") is parted from what is left ("rest"); a study
        with separate trials a part (AIAG, Measurement Systems Analysis) has the sum of both
        as its "equipment".
    """
    shells, persons, photos = values.shape
    y = values - values.flat[0]
    grand = y.mean()
    by_shell, by_person = y.mean(axis=(1, 2)), y.mean(axis=(0, 2))
    cell, by_photo = y.mean(axis=2), y.mean(axis=0)
    rest = y - cell[:, :, None] - by_photo[None] + by_person[None, :, None]
    interaction = cell - by_shell[:, None] - by_person[None] + grand
    rows = (
        ("shell", shells - 1, persons * photos * ((by_shell - grand) ** 2).sum()),
        ("person", persons - 1, shells * photos * ((by_person - grand) ** 2).sum()),
        ("interaction", (shells - 1) * (persons - 1), photos * (interaction**2).sum()),
        ("photo", persons * (photos - 1), shells * ((by_photo - by_person[:, None]) ** 2).sum()),
        ("rest", persons * (photos - 1) * (shells - 1), (rest**2).sum()),
    )
    return tuple(Stratum(name, dof, float(squares)) for name, dof, squares in rows if dof > 0)
