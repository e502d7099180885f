"""How alike two shells are, once one is turned and folded over onto the other.

A macaron's shells meet foot to foot, so one of them lies upside down: its outline is mirrored.
The shell ``b`` is first turned on the tray by ``turn_deg`` (from +x towards +y of the tray frame,
clockwise as seen from above), then folded over to the left or right, like closing a book.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray

from petitpied.sorting.lot import ORDERS, LotShell

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

#: no hand turns a shell finer; a turn is searched on this grid
TURN_STEP_DEG = 5
TURNS_DEG = np.array([t - 360 if t > 180 else t for t in range(0, 360, TURN_STEP_DEG)])
#: a colour difference of 1 (CIELAB 1976) counts as this many mm of diameter: 2.3 is just
#: noticeable (Mahy et al., Color Res. Appl. 19, 1994), as is about 0.25 mm at a seam (common
#: practice, no source)
MM_PER_DELTA_E = 0.1
BLOCK = 24  # shells whose rows of costs are computed together: fits a core's cache
_FIRST_LOOK = 256  # shells next in diameter that are tried first


@dataclass(frozen=True)
class Closeness:
    """Pair costs of a lot of N shells, in mm, without keeping all N x N of them.

    ``cost = sqrt(difference of diameters ^ 2 + outline step ^ 2 + (0.1 mm colour difference) ^
    2)``; the outline step is the root mean square radial distance of the two outlines, sizes
    apart, after the best turn. A difference of diameters of 1 mm is a step of 0.5 mm all round:
    so diameter counts twice what shape does.
    """

    diameter_mm: Floats  # (N,)
    shape: Floats  # (N, 28) real and imaginary parts of the harmonics, mm
    lab: Floats | None  # (N, 3) or None: colour does not count

    @staticmethod
    def of(shells: Sequence[LotShell]) -> "Closeness":
        """Costs of a lot; colour counts where every shell has one."""
        harmonics = np.array([s.harmonics_mm for s in shells]).reshape(len(shells), len(ORDERS))
        colours = [s.lab for s in shells if s.lab is not None]
        return Closeness(
            np.array([s.diameter_mm.value for s in shells]),
            np.hstack([harmonics.real, harmonics.imag]),
            np.array(colours) if len(colours) == len(shells) else None,
        )

    def __len__(self) -> int:
        return len(self.diameter_mm)

    def rows(self, these: Indices, others: Indices) -> Floats:
        """Costs (M, K) of shells ``these`` (M,) with ``others`` (K,)."""
        costs = np.empty((len(these), len(others)))
        for start in range(0, len(these), BLOCK):
            costs[start : start + BLOCK] = self._block(these[start : start + BLOCK], others)
        return costs

    def pairs(self, a: Indices, b: Indices) -> tuple[Floats, Floats]:
        """Costs (P,) of pairs a (P,), b (P,), and the best turn of each b, -175 to 180 deg."""
        gain = np.einsum("ptk,pk->pt", self._turned(a), self.shape[b])
        best = gain.argmax(axis=1)
        most = gain[np.arange(len(a)), best]
        squared = np.maximum(self._power[a] + self._power[b] - most, 0.0)
        squared += (self.diameter_mm[a] - self.diameter_mm[b]) ** 2
        if self.lab is not None:
            squared += MM_PER_DELTA_E**2 * ((self.lab[a] - self.lab[b]) ** 2).sum(axis=1)
        return np.sqrt(squared), TURNS_DEG[best].astype(float)

    def matrix(self) -> Floats:
        """All costs (N, N), symmetric; infinite on the diagonal."""
        everyone = np.arange(len(self))
        full = self.rows(everyone, everyone)
        full = (full + full.T) / 2  # alike but for rounding
        np.fill_diagonal(full, np.inf)
        return full

    def nearest(self, count: int) -> tuple[Indices, Floats]:
        """The ``count`` < N closest partners of every shell (N, count), and their costs."""
        everyone = np.arange(len(self))
        return self.nearest_among(everyone, everyone, count)

    def nearest_among(
        self, these: Indices, others: Indices, count: int
    ) -> tuple[Indices, Floats]:
        """The ``count`` closest partners of shells ``these`` (M,), themselves apart, among
        ``others`` (K,): (M, count), and their costs.

        Exact: shells are tried in order of diameter, outwards until the difference of diameters
        alone exceeds the costs already found.
        """
        mine = np.argsort(self.diameter_mm[these], kind="stable")
        order = others[np.argsort(self.diameter_mm[others], kind="stable")]
        sorted_mm = self.diameter_mm[order]
        partners = np.empty((len(these), count), np.int64)
        costs = np.empty((len(these), count))
        for start in range(0, len(these), BLOCK):
            rows = mine[start : start + BLOCK]
            block = these[rows]
            least, most = self.diameter_mm[block[0]], self.diameter_mm[block[-1]]
            reach = max(_FIRST_LOOK, count + BLOCK)
            low = max(0, int(np.searchsorted(sorted_mm, least)) - reach)
            high = min(len(order), int(np.searchsorted(sorted_mm, most, "right")) + reach)
            found = self._best(block, order[low:high], count)
            worst = float(found[1].max())
            wide_low = int(np.searchsorted(sorted_mm, least - worst))
            wide_high = int(np.searchsorted(sorted_mm, most + worst, "right"))
            if wide_low < low or wide_high > high:
                wide = order[min(low, wide_low) : max(high, wide_high)]
                found = self._best(block, wide, count)
            partners[rows], costs[rows] = found
        return partners, costs

    def most_mm(self) -> float:
        """No pair of the lot costs more (mm)."""
        outline_mm = 2 * float(np.sqrt(self._power.max(initial=0.0)))
        colour = 0.0 if self.lab is None else float(np.linalg.norm(np.ptp(self.lab, axis=0)))
        return hypot(float(np.ptp(self.diameter_mm)), outline_mm, MM_PER_DELTA_E * colour)

    def alone(self) -> Floats:
        """What it costs to leave each shell over (N,): nothing."""
        return np.zeros(len(self))

    def edge_gap_mm(self, a: int, b: int, turn_deg: float) -> float:
        """How far the edges of two shells stand apart at most, ``b`` turned and folded over."""
        half = len(ORDERS)
        first, second = (self.shape[i, :half] + 1j * self.shape[i, half:] for i in (a, b))
        folded = np.conj(second) * np.exp(-1j * ORDERS * (np.pi - np.deg2rad(turn_deg)))
        turn = np.exp(1j * np.outer(np.linspace(0, 2 * np.pi, 180, endpoint=False), ORDERS))
        step_mm = (turn * (first - folded)).real.sum(axis=1)
        return float(abs(step_mm + (self.diameter_mm[a] - self.diameter_mm[b]) / 2).max())

    def _best(self, block: Indices, others: Indices, count: int) -> tuple[Indices, Floats]:
        costs = self.rows(block, others)
        costs[block[:, None] == others[None, :]] = np.inf
        keep = np.argpartition(costs, count - 1, axis=1)[:, :count]
        return others[keep], np.take_along_axis(costs, keep, axis=1)

    @property
    def _power(self) -> Floats:
        """Mean square (N,) of each outline's shape."""
        return np.asarray((self.shape**2).sum(axis=1) / 2)

    def _block(self, these: Indices, others: Indices) -> Floats:
        """Costs (M, K) of a few shells.

        The folded, turned outline of b has harmonics ``conj(b_k) exp(-i k (pi - turn))``; the
        mean square distance to a is ``(|a|^2 + |b|^2) / 2 - sum_k Re(a_k b_k exp(i k (pi -
        turn)))``: a cross-correlation, for all turns by one product of matrices.
        """
        turned = self._turned(these)  # (M, turns, 28)
        gain = turned.reshape(-1, turned.shape[-1]) @ self.shape[others].T
        most = gain.reshape(len(these), len(TURNS_DEG), len(others)).max(axis=1)
        power = self._power
        squared = np.maximum(power[these, None] + power[None, others] - most, 0.0)
        squared += (self.diameter_mm[these, None] - self.diameter_mm[None, others]) ** 2
        if self.lab is not None:
            apart = self.lab[these, None] - self.lab[None, others]
            squared += MM_PER_DELTA_E**2 * (apart**2).sum(axis=2)
        return np.asarray(np.sqrt(squared))

    def _turned(self, these: Indices) -> Floats:
        half = len(ORDERS)
        harmonics = self.shape[these, :half] + 1j * self.shape[these, half:]
        phase = np.exp(1j * np.outer(np.pi - np.deg2rad(TURNS_DEG), ORDERS))
        parts = harmonics[:, None, :] * phase[None]
        return np.concatenate([parts.real, -parts.imag], axis=2)


def difference_u_mm(a: LotShell, b: LotShell) -> float:
    """Standard uncertainty of the difference of two diameters.

    Shells of one photo share one error of scale, view and heights, which cancels but for their
    sizes' difference; those of two photos do not (JCGM 100, 5.2.2).
    """
    shared_a, shared_b = a.diameter_mm.u_shared, b.diameter_mm.u_shared
    shared = abs(shared_a - shared_b) if a.record == b.record else hypot(shared_a, shared_b)
    return hypot(a.diameter_mm.u_own, b.diameter_mm.u_own, shared)
