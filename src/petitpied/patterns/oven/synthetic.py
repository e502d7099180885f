"""Made-up histories with planted oven, hand and bake effects: for demos, tests and figures."""

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.bake import Bake, BakeFacts, BakeShells
from petitpied.patterns.oven.findings import Kind
from petitpied.patterns.oven.templates import NAMED, Region, named_columns

Floats = NDArray[np.float64]

SPOT_SIGMA_MM = 80.0
#: typical values of the Atelier Brume's shells and their spread between shells: made up
TYPICAL = {
    "diameter": (45.0, 1.0),
    "cap_diameter": (42.0, 0.9),
    "roundness": (0.8, 0.2),
    "foot_spread": (1.5, 0.3),
    "height": (13.0, 0.5),
    "browning": (2.0, 0.8),
    "piped_diameter": (38.0, 0.7),
}
LEAN_SPREAD_MM = 0.3
#: how far piping misses its place, each way
PLACE_SPREAD_MM = 3.0
#: standard uncertainty of each value by its own, as measured from photos
U_OWN_MM = 0.1
FIRST_BAKE = datetime(2026, 1, 5, 9, 0, tzinfo=timezone(timedelta(hours=1)))
FLAVOURS = ("rose", "pistachio", "cocoa", "lemon")


@dataclass(frozen=True, slots=True)
class Planted:
    """An effect of ``size`` (the measure's unit), as `petitpied.patterns.oven.findings` defines it;
    ``place_mm``: a spot's middle, or for a lean its direction as (x, y)."""

    kind: Kind
    size: float
    place_mm: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Plan:
    """A history to make: half-sheet trays, ``rows`` by ``columns`` shells, piped in a lattice.

    ``turned`` of the ``bakes`` went in turned by half. ``spread`` (None: the measure's typical
    one) is the standard deviation between shells, of which the part ``smooth_share`` of the
    variance is smooth over ``smooth_mm`` within a bake: correlation exp(-d^2 / (2 smooth_mm^2)).
    ``bake_spread``: of the bakes' means. ``tails``: degrees of freedom of Student's t instead of
    normal noise, scaled to the same variance. ``missing``: part of the shells not measured.
    ``piped``: photos before the bake too; then hand effects sit in the piped diameter, oven
    effects in growth.
    """

    bakes: int
    turned: int = 0
    rows: int = 5
    columns: int = 6
    width_mm: float = 430.0
    depth_mm: float = 305.0
    measure: str = "diameter"
    oven: tuple[Planted, ...] = ()
    hand: tuple[Planted, ...] = ()
    spread: float | None = None
    smooth_share: float = 0.0
    smooth_mm: float = 70.0
    bake_spread: float = 0.5
    tails: float | None = None
    missing: float = 0.0
    piped: bool = False
    oven_name: str = "deck oven"
    rack: str | None = None

    @property
    def region(self) -> Region:
        """Box of the lattice's places, tray frame."""
        pitch_x, pitch_y = self.width_mm / self.columns, self.depth_mm / self.rows
        half = ((self.columns - 1) * pitch_x / 2, (self.rows - 1) * pitch_y / 2)
        return Region((0.0, 0.0), (max(half[0], 1.0), max(half[1], 1.0)), min(pitch_x, pitch_y))


def planted_at(effect: Planted, x_mm: Floats, y_mm: Floats, region: Region) -> Floats:
    """The effect at places (S,), in its own frame; a lean has none."""
    if effect.kind == "spot":
        d2 = (x_mm - effect.place_mm[0]) ** 2 + (y_mm - effect.place_mm[1]) ** 2
        return np.asarray(effect.size * np.exp(-d2 / (2 * SPOT_SIGMA_MM**2)))
    if effect.kind == "lean":
        return np.zeros_like(x_mm)
    return np.asarray(
        effect.size * named_columns(x_mm, y_mm, region)[..., NAMED.index(effect.kind)]
    )


def make_history(plan: Plan, rng: np.random.Generator) -> tuple[Bake, ...]:
    """A history as the plan says, a bake a day; which bakes are turned is chance."""
    turned = np.zeros(plan.bakes, bool)
    turned[rng.permutation(plan.bakes)[: plan.turned]] = True
    return tuple(_bake(plan, number, bool(turned[number]), rng) for number in range(plan.bakes))


def _bake(plan: Plan, number: int, turned: bool, rng: np.random.Generator) -> Bake:
    pitch_x, pitch_y = plan.width_mm / plan.columns, plan.depth_mm / plan.rows
    rows, columns = (a.ravel() for a in np.mgrid[: plan.rows, : plan.columns])
    x = (columns + 0.5) * pitch_x - plan.width_mm / 2 + rng.normal(0, PLACE_SPREAD_MM, rows.size)
    y = (rows + 0.5) * pitch_y - plan.depth_mm / 2 + rng.normal(0, PLACE_SPREAD_MM, rows.size)
    values = _values(plan, x, y, turned, rng)
    kept = rng.random(rows.size) >= plan.missing
    facts = BakeFacts(
        photo_sha256=rng.bytes(32).hex(),
        baked_at=FIRST_BAKE + timedelta(days=number),
        oven=plan.oven_name,
        rack=plan.rack,
        turn_deg=180 if turned else 0,
        flavour=FLAVOURS[int(rng.integers(len(FLAVOURS)))],
    )
    places = zip(rows[kept].tolist(), columns[kept].tolist(), strict=True)
    ids = tuple(f"{_letters(row)}{column + 1}" for row, column in places)
    return Bake(
        facts,
        BakeShells(
            ids,
            rows[kept].astype(np.int64),
            columns[kept].astype(np.int64),
            x[kept],
            y[kept],
            {name: v[kept] for name, v in values.items()},
        ),
    )


def _letters(row: int) -> str:
    return chr(ord("A") + row) if row < 26 else _letters(row // 26 - 1) + _letters(row % 26)


def _values(
    plan: Plan, x: Floats, y: Floats, turned: bool, rng: np.random.Generator
) -> dict[str, Floats]:
    """All measures at shells (S,): every typical one, the leans, and growth where piped."""
    way = -1.0 if turned else 1.0
    oven = sum((planted_at(e, x, y, plan.region) for e in plan.oven), np.zeros_like(x))
    hand = sum((planted_at(e, way * x, way * y, plan.region) for e in plan.hand), np.zeros_like(x))
    values: dict[str, Floats] = {}
    for name, (mean, spread) in TYPICAL.items():
        if name == "piped_diameter" and not plan.piped:
            continue
        own = plan.spread if name == plan.measure and plan.spread is not None else spread
        level = mean + rng.normal(0, plan.bake_spread * own)
        values[name] = level + own * _noise(plan, x, y, rng)
    for axis, name in enumerate(("lean_x", "lean_y")):
        planted = sum(_lean(e, axis) for e in plan.oven) + way * sum(
            _lean(e, axis) for e in plan.hand
        )
        values[name] = planted + LEAN_SPREAD_MM * _noise(plan, x, y, rng)
        values[name] += rng.normal(0, plan.bake_spread * LEAN_SPREAD_MM)
    if plan.piped:
        values["piped_diameter"] += hand
        values["diameter"] += oven + values["piped_diameter"] - TYPICAL["piped_diameter"][0]
        values["growth"] = values["diameter"] - values["piped_diameter"]
    elif plan.measure in values:
        values[plan.measure] = values[plan.measure] + oven + hand
    return values


def _lean(effect: Planted, axis: int) -> float:
    if effect.kind != "lean":
        return 0.0
    length = float(np.hypot(*effect.place_mm))
    return effect.size * effect.place_mm[axis] / length if length > 0 else 0.0


def _noise(plan: Plan, x: Floats, y: Floats, rng: np.random.Generator) -> Floats:
    """Variance 1 between shells, partly smooth."""
    if plan.tails is None:
        own = rng.normal(size=x.size)
    else:
        own = rng.standard_t(plan.tails, x.size) / np.sqrt(plan.tails / (plan.tails - 2))
    if plan.smooth_share <= 0:
        return np.asarray(own)
    d2 = (x[:, None] - x) ** 2 + (y[:, None] - y) ** 2
    root = np.linalg.cholesky(np.exp(-d2 / (2 * plan.smooth_mm**2)) + 1e-9 * np.eye(x.size))
    smooth = root @ rng.normal(size=x.size)
    return np.asarray(np.sqrt(1 - plan.smooth_share) * own + np.sqrt(plan.smooth_share) * smooth)
