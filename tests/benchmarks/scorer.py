"""Compare inspection records with the truth of rendered and drawn scenes.

Truth files stand in a left-handed frame (x right, y towards the door, z up from the liner) with
its own ``world_to_camera``; a record stands in its own tray frame. Centres are matched in the
picture, lengths are compared as they are, directions after a rigid fit of the centres.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

Floats = NDArray[np.float64]
Json = dict[str, Any]

#: a find belongs to a shell if its centre lies within this share of the shell's radius
MATCH_REL = 0.6
#: a shell nearer to the picture's edge than this, px, is not whole
BORDER_PX = 2.0
#: record's name to truth's name of the same quantity
SAME = {
    "diameter_mm": "area_equiv_diameter_mm",
    "cap_diameter_mm": "cap_diameter_mm",
    "foot_diameter_mm": "foot_diameter_mm",
    "feret_min_mm": "min_feret_mm",
    "feret_max_mm": "max_feret_mm",
    "foot_spread_mm": "foot_spread_mm",
}
#: every column of errors, in the order of the table
ERRORS = (*SAME, "roundness_mm", "lean_x_mm", "lean_y_mm", "lean_radial_mm")


@dataclass
class SceneScore:
    """``rows``: a dict of errors a measured whole shell; ``u95``: the same of uncertainties."""

    name: str
    whole: int = 0
    found: int = 0
    false: int = 0
    rows: list[dict[str, float]] = field(default_factory=list)
    u95: list[dict[str, float]] = field(default_factory=list)


def project(truth: Json, points_mm: Floats) -> Floats:
    """Truth-frame points (N, 2) on the liner or (N, 3) to px (N, 2) (Brown-Conrady)."""
    points = np.asarray(points_mm, float)
    if points.shape[1] == 2:
        points = np.column_stack([points, np.zeros(len(points))])
    pose = np.asarray(truth["world_to_camera"], float)
    seen = points @ pose[:, :3].T + pose[:, 3]
    x, y = (seen[:, :2] / seen[:, 2:]).T
    k1, k2, p1, p2 = (float(truth["dist"].get(name, 0.0)) for name in ("k1", "k2", "p1", "p2"))
    r2 = x * x + y * y
    radial = 1 + k1 * r2 + k2 * r2 * r2
    bent = np.column_stack(
        [
            x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
            y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y,
        ]
    )
    k = np.asarray(truth["K"], float)
    return np.asarray(bent @ k[:2, :2].T + k[:2, 2], float)


def true_roundness(outline_mm: Floats) -> float:
    """Peak to valley about the algebraic least-squares circle, orders 2 to 15 (ISO 12181)."""
    p = np.asarray(outline_mm, float)
    system = np.column_stack([2 * p, np.ones(len(p))])
    centre = np.linalg.lstsq(system, (p**2).sum(axis=1), rcond=None)[0][:2]
    away = p - centre
    angle, radius = np.arctan2(away[:, 1], away[:, 0]), np.hypot(away[:, 0], away[:, 1])
    order = np.argsort(angle)
    grid = np.linspace(-np.pi, np.pi, 720, endpoint=False)
    spectrum = np.fft.rfft(np.interp(grid, angle[order], radius[order], period=2 * np.pi))
    spectrum[:2] = 0
    spectrum[16:] = 0
    return float(np.ptp(np.fft.irfft(spectrum, 720)))


@dataclass(frozen=True)
class TrueShells:
    """Where a scene's shells are in the picture: centres (N, 2), radii (N,), whole (N,)."""

    centre_px: Floats
    radius_px: Floats
    whole: NDArray[np.bool_]

    @staticmethod
    def of(truth: Json) -> "TrueShells":
        centres, radii, whole = [], [], []
        size = np.array([truth["width"], truth["height"]])
        for shell in truth["shells"]:
            centre = project(truth, np.array([shell["centre_mm"]]))[0]
            outline = project(truth, np.array(shell["outline_mm"]))
            centres.append(centre)
            radii.append(float(np.hypot(*(outline - centre).T).mean()))
            inside = (outline > BORDER_PX) & (outline < size - 1 - BORDER_PX)
            whole.append(bool(inside.all()))
        return TrueShells(np.reshape(centres, (-1, 2)), np.array(radii), np.array(whole, bool))

    def match(self, found_px: Floats) -> list[tuple[int, int]]:
        """(shell, find) pairs, each at most once, least total distance."""
        found_px = np.reshape(found_px, (-1, 2))
        gap = np.linalg.norm(self.centre_px[:, None] - found_px[None], axis=2)
        pairs = zip(*linear_sum_assignment(np.minimum(gap, 1e5)), strict=True)
        return [(int(i), int(j)) for i, j in pairs if gap[i, j] < MATCH_REL * self.radius_px[i]]


def _value(quantity: Any, key: str = "value") -> float:
    if quantity is None:
        return float("nan")
    return float(quantity[key]) if isinstance(quantity, dict) else float(quantity)


def rigid_turn(source: Floats, target: Floats) -> Floats:
    """Rotation (2, 2) that turns ``source`` (N, 2) onto ``target``, without mirroring (Kabsch)."""
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    u, _, vt = np.linalg.svd(a.T @ b)
    flip = np.diag([1.0, float(np.sign(np.linalg.det(u @ vt)))])
    return np.asarray((u @ flip @ vt).T, float)


def _vector(size: float, direction_deg: float) -> Floats:
    a = np.deg2rad(direction_deg)
    return size * np.array([np.cos(a), np.sin(a)])


def score(truth: Json, record: Json) -> SceneScore:
    """Finds and errors of one scene; shells cut by the picture's edge count for nothing."""
    shells, true = truth["shells"], TrueShells.of(truth)
    seen = record["shells"]
    pairs = true.match(np.array([s["centre_px"] for s in seen], float))
    matched = {j for _, j in pairs}
    result = SceneScore(truth["image"], int(true.whole.sum()))
    result.found = sum(bool(true.whole[i]) for i, _ in pairs)
    measured = [s["diameter_mm"] is not None for s in seen]
    result.false = sum(m and j not in matched for j, m in enumerate(measured))
    pairs = [(i, j) for i, j in pairs if true.whole[i] and measured[j]]
    if len(pairs) < 3:
        return result
    turn = rigid_turn(
        np.array([seen[j]["centre_mm"] for _, j in pairs]),
        np.array([shells[i]["centre_mm"] for i, _ in pairs]),
    )
    pose = np.asarray(truth["world_to_camera"], float)
    nadir = (-pose[:, :3].T @ pose[:, 3])[:2]
    for i, j in pairs:
        errors, u95 = _errors(shells[i], seen[j], turn, nadir)
        result.rows.append(errors)
        result.u95.append(u95)
    return result


def _errors(
    true: Json, seen: Json, turn: Floats, nadir: Floats
) -> tuple[dict[str, float], dict[str, float]]:
    away = np.asarray(true["centre_mm"], float) - nadir
    errors = {"away_mm": float(np.hypot(*away))}
    u95 = {}
    for name, name_there in SAME.items():
        is_there = true.get(name_there)
        errors[name] = _value(seen[name]) - (float("nan") if is_there is None else is_there)
        u95[name] = _value(seen[name], "u95")
    errors["roundness_mm"] = _value(seen["roundness_mm"]) - true_roundness(true["outline_mm"])
    u95["roundness_mm"] = _value(seen["roundness_mm"], "u95")
    lean = turn @ _vector(_value(seen["lean_mm"]), _value(seen["lean_dir_deg"]))
    off = lean - _vector(true["lean_mm"], true["lean_dir_deg"])
    errors["lean_x_mm"], errors["lean_y_mm"] = float(off[0]), float(off[1])
    errors["lean_radial_mm"] = float(off @ away / max(float(np.hypot(*away)), 1e-9))
    return errors, u95


@dataclass(frozen=True)
class ErrorStats:
    """Of one quantity: slope against the distance from the camera's foot point, per 100 mm;
    ``coverage``: share of errors within the stated expanded uncertainty."""

    count: int
    mean: float
    rms: float
    slope_per_100mm: float
    coverage: float


def statistics(scores: list[SceneScore], name: str) -> ErrorStats | None:
    """Statistics of one column of `ERRORS` over scenes; None with fewer than three values."""
    error = np.array([row[name] for s in scores for row in s.rows])
    away = np.array([row["away_mm"] for s in scores for row in s.rows])
    u95 = np.array([u.get(name, np.nan) for s in scores for u in s.u95])
    known = np.isfinite(error)
    if known.sum() < 3:
        return None
    error, away, u95 = error[known], away[known], u95[known]
    slope = float(np.polyfit(away, error, 1)[0] * 100) if np.ptp(away) > 1 else float("nan")
    told = np.isfinite(u95)
    inside = float((np.abs(error[told]) <= u95[told]).mean()) if told.any() else float("nan")
    return ErrorStats(
        len(error), float(error.mean()), float(np.sqrt((error**2).mean())), slope, inside
    )
