"""A measured value with its standard uncertainty, own and shared parts kept apart."""

from dataclasses import dataclass
from math import hypot

#: two-sided 95 % coverage factor of the normal distribution (JCGM 100:2008, table G.1)
COVERAGE_95 = 1.96


@dataclass(frozen=True, slots=True)
class Quantity:
    """Value and standard uncertainty (JCGM 100, k = 1), both in the unit of the field's name.

    ``u_own`` belongs to this shell alone (edge evidence, outline); ``u_shared`` is the part
    that all shells of one photo have in common (card, pose, lens, ring heights).
    """

    value: float
    u_own: float
    u_shared: float = 0.0

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return hypot(self.u_own, self.u_shared)

    @property
    def u95(self) -> float:
        """Expanded uncertainty, 95 %."""
        return COVERAGE_95 * self.u
