"""How far the tool and the baker agree: confusion table, Cohen's kappa, the best threshold."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import gamma, qmc

Floats = NDArray[np.float64]
Marks = NDArray[np.bool_]

#: of a shell in each cell beforehand (Perks); draws of the interval: its ends are known to 0.01
PRIOR, DRAWN = 0.25, 2048


@dataclass(frozen=True)
class Agreement:
    """Two judges, yes or no: how many shells both, only one, or neither called so.

    ``kappa`` is None where it is not defined: both judges gave all shells the same answer.
    """

    both: int
    only_tool: int
    only_baker: int
    neither: int
    kappa: float | None
    u: float | None  # standard error, of many shells
    low95: float | None
    high95: float | None

    @property
    def count(self) -> int:
        return self.both + self.only_tool + self.only_baker + self.neither


def agreement(tool: Sequence[bool] | Marks, baker: Sequence[bool] | Marks) -> Agreement:
    """Agreement of two judges on the same shells (N,).

    Kappa: Cohen, "A coefficient of agreement for nominal scales", Educational and Psychological
    Measurement 20 (1960) 37-46. Standard error: Fleiss, Cohen & Everitt, "Large sample standard
    errors of kappa and weighted kappa", Psychological Bulletin 72 (1969) 323-327. The interval is
    that of `kappa_interval`: 1.96 standard errors hold too seldom with few shells or rare faults.

    Raises
    ------
    ValueError
        If there is no shell, or the two differ in number.
    """
    t, b = np.asarray(tool, bool), np.asarray(baker, bool)
    if len(t) != len(b) or len(t) == 0:
        raise ValueError("agreement needs the same shells, at least one, from both judges")
    both, only_tool = int((t & b).sum()), int((t & ~b).sum())
    only_baker, neither = int((~t & b).sum()), int((~t & ~b).sum())
    table = np.array([[neither, only_baker], [only_tool, both]], float)
    kappa, u = kappa_of(table)
    if kappa is None or u is None:
        return Agreement(both, only_tool, only_baker, neither, None, None, None, None)
    low, high = kappa_interval((both, only_tool, only_baker, neither))
    return Agreement(
        both,
        only_tool,
        only_baker,
        neither,
        kappa,
        u,
        min(low, kappa),
        max(high, kappa),
    )


def kappa_interval(counts: tuple[int, int, int, int], level: float = 0.95) -> tuple[float, float]:
    """Interval of kappa for two judges: both, only one, only the other, neither.

    Equal tails of the shares' Dirichlet distribution given the counts, before them 1/4 of a shell
    a cell (Perks, J. Institute of Actuaries 73 (1947) 285): so that one fault on which both agree
    does not make agreement sure. Drawn by a Sobol sequence, the same each time.
    """
    even = qmc.Sobol(4, scramble=False).random(DRAWN) + 0.5 / DRAWN
    shares = np.column_stack([gamma.ppf(even[:, i], c + PRIOR) for i, c in enumerate(counts)])
    both, first, second, neither = (shares / shares.sum(axis=1, keepdims=True)).T
    chance = (both + first) * (both + second) + (neither + first) * (neither + second)
    kappa = (both + neither - chance) / np.maximum(1 - chance, 1e-12)
    low, high = np.quantile(kappa, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def kappa_of(table: Floats) -> tuple[float | None, float | None]:
    """Kappa and its standard error of a square table of counts (K, K); None where not defined."""
    n = float(table.sum())
    p = table / n
    rows, cols = p.sum(axis=1), p.sum(axis=0)
    seen, chance = float(np.trace(p)), float(rows @ cols)
    if chance >= 1 - 1e-12:
        return None, None
    kappa = (seen - chance) / (1 - chance)
    # Fleiss, Cohen & Everitt 1969, their formula (13), with rows i and columns j
    straight = (np.diag(p) * (1 - (rows + cols) * (1 - kappa)) ** 2).sum()
    weights = (cols[:, None] + rows[None, :]) ** 2
    crossed = (p * weights).sum() - (np.diag(p) * np.diag(weights)).sum()
    rest = (kappa - chance * (1 - kappa)) ** 2
    variance = (straight + (1 - kappa) ** 2 * crossed - rest) / (n * (1 - chance) ** 2)
    return float(kappa), float(np.sqrt(max(variance, 0.0)))


@dataclass(frozen=True)
class Threshold:
    """From which value on the tool had best say yes, and the agreement it then reaches.

    ``low`` to ``high`` is the whole range of thresholds that agree as well.
    """

    value: float
    low: float
    high: float
    agreement: Agreement


def best_threshold(values: Floats, baker: Sequence[bool] | Marks) -> Threshold | None:
    """The threshold on ``values`` (N,) by which "value at least threshold" agrees best with the
    baker, by kappa; the middle of the range that does so. None where the baker said only yes or
    only no: then any extreme agrees, and nothing is learnt.
    """
    b = np.asarray(baker, bool)
    levels = np.unique(np.asarray(values, float))
    if b.all() or not b.any() or len(levels) < 2:
        return None
    found = [agreement(values >= level, b) for level in levels[1:]]
    kappas = np.array([-1.0 if a.kappa is None else a.kappa for a in found])
    best = int(kappas.argmax())
    low, high = float(levels[best]), float(levels[best + 1])
    return Threshold((low + high) / 2, low, high, found[best])
