"""A measured value with its standard uncertainty, own and shared parts kept apart."""

from dataclasses import dataclass
from functools import lru_cache
from math import hypot, inf

#: two-sided 95 % coverage factor of the normal distribution (JCGM 100:2008, table G.1)
COVERAGE_95 = 1.96
#: degrees of freedom from which Student's factor is the normal one to three digits
MANY_DOF = 1000.0
#: from which the first terms of its expansion give it to 1e-5
SOME_DOF = 10.0


@lru_cache(maxsize=4096)
def coverage_factor_95(dof: float) -> float:
    """Student's two-sided 95 % factor for effective degrees of freedom (JCGM 100, G.6.4)."""
    if dof >= MANY_DOF:
        return COVERAGE_95
    if dof >= SOME_DOF:
        return _expanded(1.959963984540054, dof)
    from scipy.special import stdtrit  # slow to import, and seldom needed

    return float(stdtrit(max(dof, 1.0), 0.975))


def _expanded(z: float, dof: float) -> float:
    """Student's quantile from the normal one ``z`` (Abramowitz & Stegun 1964, 26.7.5)."""
    terms = (
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160,
    )
    return z + sum(term / dof**power for power, term in enumerate(terms, 1))


@dataclass(frozen=True, slots=True)
class Quantity:
    """Value and standard uncertainty (JCGM 100, k = 1), both in the unit of the field's name.

    ``u_own`` belongs to this shell alone (edge evidence, outline); ``u_shared`` is the part
    that all shells of one photo have in common (card, pose, lens, ring heights). ``dof``:
    effective degrees of freedom of both together. ``own`` and ``shared``: the contributions
    behind them, in the order of `petitpied.domain.uncertainty.OWN_CAUSES` and `SHARED_CAUSES`,
    shared ones with their sign; empty where only the sums are known.
    """

    value: float
    u_own: float
    u_shared: float = 0.0
    dof: float = inf
    own: tuple[float, ...] = ()
    shared: tuple[float, ...] = ()

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return hypot(self.u_own, self.u_shared)

    @property
    def u95(self) -> float:
        """Expanded uncertainty, 95 %."""
        return coverage_factor_95(self.dof) * self.u
