"""Logged facts as numbers to set against a measure: amounts, yes or no, one name against others."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import rankdata

from petitpied.domain.bake import BakeFacts

Floats = NDArray[np.float64]

#: amounts: field to (name, unit, the step that an effect is told for)
AMOUNTS = {
    "set_temperature_c": ("set temperature", "°C", 10.0),
    "rest_minutes": ("rest time", "min", 10.0),
    "humidity_rel": ("humidity", "%", 10.0),
}
NAMES = ("oven", "rack", "liner", "flavour")
#: a name is set against the others from so many bakes on, and so many names at most
LEAST_BAKES, MOST_NAMES = 2, 12
#: facts that go along with each other beyond this correlation are told as such: 1 / (1 - r^2),
#: by which the variance of an effect grows, is then 2.8 or more (common practice, no source)
TOGETHER = 0.8
#: and an amount with a name, where so few pairs of bakes are the other way round that the rank
#: biserial correlation (Glass, Educational and Psychological Measurement 26, 1966) exceeds this
APART = 0.9


@dataclass(frozen=True)
class Regressor:
    """One fact over N bakes: ``values`` (N,) NaN where not logged.

    ``level``: the name that is set against all others, 1 for it and 0 for them; "" for amounts.
    An effect is told for ``step`` of the fact's ``unit``.
    """

    fact: str
    level: str
    unit: str
    step: float
    values: Floats

    @property
    def is_name(self) -> bool:
        return self.unit == ""

    @property
    def label(self) -> str:
        return f"{self.fact} {self.level}" if self.level else self.fact


@dataclass(frozen=True)
class Together:
    """Two facts that went along with each other: their effects cannot be told apart."""

    first: Regressor
    second: Regressor
    correlation: float
    bakes: int


def regressors(facts: Sequence[BakeFacts]) -> tuple[Regressor, ...]:
    """All facts that differ between bakes."""
    result = []
    for field, (name, unit, step) in AMOUNTS.items():
        factor = 100.0 if field == "humidity_rel" else 1.0
        raw = [getattr(f, field) for f in facts]
        values = np.array([np.nan if v is None else factor * v for v in raw], float)
        result.append(Regressor(name, "", unit, step, values))
    yes = np.array([np.nan if f.fan is None else float(f.fan) for f in facts], float)
    result.append(Regressor("fan", "on", "", 1.0, yes))
    turned = np.array([float(f.turn_deg == 180) for f in facts], float)
    result.append(Regressor("tray", "turned", "", 1.0, turned))
    for field in NAMES:
        result += _by_name(field, [getattr(f, field) for f in facts])
    return tuple(r for r in result if _differs(r.values))


def _by_name(field: str, names: list[str | None]) -> list[Regressor]:
    counts = Counter(n for n in names if n is not None)
    common = [n for n, c in counts.most_common(MOST_NAMES) if c >= LEAST_BAKES]
    if len(counts) == 2:
        common = common[:1]  # the other name would say the same with the other sign
    return [
        Regressor(
            field, name, "", 1.0,
            np.array([np.nan if n is None else float(n == name) for n in names], float),
        )
        for name in sorted(common)
    ]  # fmt: skip


def _differs(values: Floats) -> bool:
    known = values[np.isfinite(values)]
    return len(known) >= 2 and float(np.ptp(known)) > 0


def time_of(facts: Sequence[BakeFacts]) -> Regressor:
    """The bakes' time as a fact, in days: what changed once and stayed goes along with it."""
    seconds = np.array([f.baked_at.timestamp() for f in facts], float)
    days = (seconds - seconds.min()) / 86_400 if len(facts) else seconds
    return Regressor("time", "", "days", 1.0, days)


def together(facts: Sequence[Regressor]) -> tuple[Together, ...]:
    """Pairs of facts whose values went along with each other, closest first.

    Two amounts: rank correlation (Spearman). Two names: the phi coefficient. An amount and a
    name: the rank biserial correlation, 1 where every bake of that name has more than every
    other. Names of one fact exclude each other and are no pair.
    """
    found = []
    for i, a in enumerate(facts):
        for b in facts[i + 1 :]:
            both = np.isfinite(a.values) & np.isfinite(b.values)
            if a.fact == b.fact or both.sum() < 4:
                continue
            x, y = rankdata(a.values[both]), rankdata(b.values[both])
            if np.ptp(x) == 0 or np.ptp(y) == 0:
                continue
            mixed = a.is_name != b.is_name
            r = _biserial(x, y, a) if mixed else float(np.corrcoef(x, y)[0, 1])
            if abs(r) >= (APART if mixed else TOGETHER):
                found.append(Together(a, b, r, int(both.sum())))
    return tuple(sorted(found, key=lambda t: -abs(t.correlation)))


def _biserial(x: Floats, y: Floats, first: Regressor) -> float:
    """Rank biserial correlation of ranks (N,): mean ranks of both groups, apart by N / 2 at
    most."""
    name, amount = (x, y) if first.is_name else (y, x)
    yes = name > name.min()
    return float(2 * (amount[yes].mean() - amount[~yes].mean()) / len(x))
