"""Variance components by restricted maximum likelihood (Patterson & Thompson 1971).

For balanced data with no negative analysis-of-variance estimate it gives just those estimates
(Searle, Casella & McCulloch, "Variance Components", 1992, chapter 4); a component that would
come out negative is held at zero and the others are fitted again. It needs no balance: a shell
may be missing in a photo, and persons may have taken different numbers of photos.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

Floats = NDArray[np.float64]
Labels = NDArray[np.intp]

REST = "rest"
#: a variance is never fitted below this share of the total: the rest must not vanish
LEAST_REL = 1e-9


@dataclass(frozen=True)
class Components:
    """Variances by term, unit of the values squared, and the covariance of the estimates
    (expected information, 0 for terms held at zero)."""

    terms: tuple[str, ...]  # REST is the last
    variance: Floats
    covariance: Floats

    def of(self, *terms: str) -> float:
        """Sum of the variances of ``terms``; a term that the data cannot show counts as 0."""
        return float(sum(v for t, v in zip(self.terms, self.variance, strict=True) if t in terms))

    def dof_of(self, *terms: str) -> float:
        """Degrees of freedom of that sum: those of a chi-square of the same mean and spread
        (Satterthwaite 1946)."""
        chosen = np.array([t in terms for t in self.terms], float)
        spread = float(chosen @ self.covariance @ chosen)
        return 2 * self.of(*terms) ** 2 / spread if spread > 0 else float("inf")


def fit_components(values: Floats, factors: Sequence[tuple[str, Labels]]) -> Components:
    """Variance components of a random-effects model with one mean.

    Parameters
    ----------
    values : ndarray (N,)
        Measured values, any unit.
    factors : sequence of (name, labels (N,))
        Each a random effect: values with one label share its draw. The rest, one draw a value,
        is added.

    Raises
    ------
    ValueError
        If the values do not differ, or a factor has one level only, or one a value.
    """
    size = len(values)
    for name, labels in factors:
        if not 1 < len(np.unique(labels)) < size:
            raise ValueError(f"{name} needs two levels or more, and fewer than there are values")
    spread = float(np.var(values))
    if spread <= (1e-12 * float(np.abs(values).max())) ** 2:
        raise ValueError("the values do not differ")
    y = (values - values.mean()) / np.sqrt(spread)
    shared = [np.equal.outer(labels, labels).astype(float) for _, labels in factors]
    kernels = [*shared, np.eye(size)]

    def cost(theta: Floats) -> tuple[float, Floats]:
        whitened, log_det = _projected(theta, kernels)
        py = whitened @ y
        slope = [0.5 * (float(np.vdot(whitened, k)) - float(py @ k @ py)) for k in kernels]
        return 0.5 * (log_det + float(y @ py)), np.array(slope)

    start = np.full(len(kernels), 1.0 / len(kernels))
    bounds = [(0.0, None)] * len(shared) + [(LEAST_REL, None)]
    options = {"maxiter": 500, "ftol": 1e-13, "gtol": 1e-9}
    fit = minimize(cost, start, jac=True, method="L-BFGS-B", bounds=bounds, options=options)
    theta = np.asarray(fit.x, float)
    covariance = _covariance(theta, kernels)
    names = (*(name for name, _ in factors), REST)
    return Components(names, theta * spread, covariance * spread**2)


def _projected(theta: Floats, kernels: Sequence[Floats]) -> tuple[Floats, float]:
    """P = V^-1 without the mean's direction, and log |V| + log |1' V^-1 1|."""
    total = sum(t * k for t, k in zip(theta, kernels, strict=True))
    factor = cho_factor(total, lower=True)
    inverse = cho_solve(factor, np.eye(len(kernels[0])))
    column = inverse.sum(axis=1)
    info = float(column.sum())
    log_det = 2 * float(np.log(np.diag(factor[0])).sum()) + float(np.log(info))
    return np.asarray(inverse - np.outer(column, column) / info, float), log_det


def _covariance(theta: Floats, kernels: Sequence[Floats]) -> Floats:
    """Inverse of the expected information, 1/2 tr(P K_i P K_j), over the terms above zero."""
    whitened, _ = _projected(theta, kernels)
    free = [i for i, t in enumerate(theta) if t > 1e-7]
    half = [whitened @ kernels[i] for i in free]
    info = np.array([[0.5 * float(np.vdot(a, b.T)) for b in half] for a in half])
    covariance = np.zeros((len(theta), len(theta)))
    covariance[np.ix_(free, free)] = np.linalg.pinv(info)
    return covariance
