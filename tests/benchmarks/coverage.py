"""Do the 95 % intervals cover the truth? And what are edges worth as witnesses?

The figures of `petitpied.sizing.evidence.WITNESSES` are fitted here: errors of a scene's shells
are one draw for the scene and one a shell, beside what the budget already knows (maximum
likelihood of that normal model); the scene's part is at least what the means of whole scenes
show, and the shell's part is then scaled so that the intervals cover 95 % of the tuning scenes'
errors. Left-one-out coverage says how it fares on a scene that is not among them.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize

from petitpied.domain.errors import ReadingError
from petitpied.domain.quantity import coverage_factor_95
from petitpied.domain.settings import Settings
from petitpied.domain.shell import Shell
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo
from petitpied.sizing import evidence
from tests.benchmarks.scorer import SAME, TrueShells, true_roundness

Floats = NDArray[np.float64]
Json = dict[str, Any]

_DEFINITION = list(OWN_CAUSES).index("outline definition")
_EDGES = list(OWN_CAUSES).index("edge points")
_SCENE = SHARED_CAUSES.index("edge evidence of this scene")
#: powers of contrast that are tried
FADINGS = (0.0, 0.5, 1.0, 1.5, 2.0)
#: shares of the edge points' scatter that are tried
EDGE_SHARES = (1.0, 0.7, 0.5, 0.3)
#: sizes that hang on how ruffles are made: each maker's scenes have the same say in their figures
EQUAL_SAY = ("foot_diameter_mm", "feret_min_mm", "feret_max_mm", "aspect_ratio")
#: parts in which scenes are left out of the fit
PARTS = 10
#: a shell this many robust standard deviations from its scene went astray
ASTRAY = 5.0
#: degrees of freedom of most sizes (28 scenes, two large causes)
TYPICAL_DOF = 60.0
#: logarithms of the figures to half a per cent
TOLERANCE = {"xatol": 5e-3, "fatol": 5e-3}


@dataclass(frozen=True)
class Errors:
    """One quantity of one scene, N shells: errors, stated u95, and the parts of u (N,): what
    edges have no share in, and the edge points' scatter as found; ``contrast`` (N,) of the
    outlines, ``scene_contrast`` their median."""

    scene: str
    error: Floats
    u95: Floats
    own: Floats
    edges: Floats
    shared: Floats
    has_foot: NDArray[np.bool_]
    contrast: Floats
    scene_contrast: float


def _true_values(shell: Json) -> dict[str, float | None]:
    outline = np.array(shell["outline_mm"], float)
    step = np.roll(outline, -1, axis=0) - outline
    nxt = np.roll(outline, -1, axis=0)
    area = abs(float((outline[:, 0] * nxt[:, 1] - outline[:, 1] * nxt[:, 0]).sum())) / 2
    around = _smoothed_perimeter(outline)
    assert len(step) == len(outline)
    truth = {name: shell.get(there) for name, there in SAME.items()}
    truth |= {
        "roundness_mm": true_roundness(shell["outline_mm"]),
        "aspect_ratio": shell["min_feret_mm"] / shell["max_feret_mm"],
        "circularity": float(np.sqrt(4 * np.pi * area) / around),
        "lean_mm": shell.get("lean_mm"),
        "height_mm": shell.get("height_mm"),
    }
    if not shell.get("has_foot", True):
        truth |= dict.fromkeys(("foot_diameter_mm", "foot_spread_mm", "lean_mm"))
    return truth


def _smoothed_perimeter(outline: Floats) -> float:
    """Length of the outline smoothed to 15 undulations, as circularity takes it."""
    centre = outline.mean(axis=0)
    away = outline - centre
    angle, radius = np.arctan2(away[:, 1], away[:, 0]), np.hypot(away[:, 0], away[:, 1])
    order = np.argsort(angle)
    grid = np.linspace(-np.pi, np.pi, 720, endpoint=False)
    spectrum = np.fft.rfft(np.interp(grid, angle[order], radius[order], period=2 * np.pi))
    spectrum[16:] = 0
    smooth = np.fft.irfft(spectrum, 720)
    x, y = smooth * np.cos(grid), smooth * np.sin(grid)
    return float(np.hypot(np.roll(x, -1) - x, np.roll(y, -1) - y).sum())


def scene_errors(picture: Path) -> dict[str, Errors]:
    """Errors of one scene by quantity; {} where it cannot be inspected."""
    truth = json.loads(picture.with_suffix(".json").read_text())
    photo = decode_photo(picture.read_bytes(), picture.name)
    try:
        record = inspect_photo(photo, Settings())
    except ReadingError:
        return {}
    true = TrueShells.of(truth)
    seen = [s for s in record.shells if s.diameter_mm is not None]
    pairs = true.match(np.array([s.centre_px for s in seen]))
    pairs = [(i, j) for i, j in pairs if true.whole[i]]
    each = evidence.outline_contrasts(photo.pixels_bgr, seen).tolist()
    contrast = {s.id: c for s, c in zip(seen, each, strict=True)}
    return by_quantity(
        picture.stem, [(_true_values(truth["shells"][i]), seen[j]) for i, j in pairs], contrast
    )


def by_quantity(
    scene: str, pairs: Sequence[tuple[dict[str, float | None], Shell]], contrast: dict[str, float]
) -> dict[str, Errors]:
    """Errors of matched (truth, shell) pairs by quantity."""
    median = float(np.median(list(contrast.values()))) if contrast else evidence.USUAL_CONTRAST
    found = {}
    for name in (*evidence.WITNESSES, "height_mm"):
        rows = []
        for truth, shell in pairs:
            quantity, true = getattr(shell, name), truth.get(name)
            if quantity is None or true is None:
                continue
            own, shared = np.array(quantity.own), np.array(quantity.shared)
            edge = 0.0
            if len(own):
                edge = own[_EDGES] / max(evidence.WITNESSES[name].edges, 1e-9)
                own[[_DEFINITION, _EDGES]], shared[_SCENE] = 0.0, 0.0
            known = (float(np.linalg.norm(own)), edge, float(np.linalg.norm(shared)))
            error = quantity.value - true
            rows.append((error, quantity.u95, *known, shell.foot_diameter_mm is not None,
                         contrast[shell.id]))  # fmt: skip
        if rows:
            error, u95, own_u, edges, shared_u, foot, mine = np.array(rows, float).T
            known_of = (own_u, edges, shared_u, foot > 0)
            found[name] = Errors(scene, error, u95, *known_of, mine, median)
    return found


def _parts(scene: Errors, known: evidence.Witness) -> tuple[Floats, Floats]:
    """Standard uncertainties (N,) of a shell's own and of the scene's part."""
    own = known.own * evidence.fading(scene.contrast, known.fading)
    mine = np.sqrt(scene.own**2 + (known.edges * scene.edges) ** 2 + own**2)
    common = known.scene * float(evidence.fading(scene.scene_contrast, known.fading))
    return mine, np.hypot(scene.shared, common)


def _minus_log_likelihood(scenes: Sequence[Errors], known: evidence.Witness) -> float:
    """Of errors that have one normal draw a shell and one a scene (rank-one update); shells
    gone astray altogether are left out: no normal figure holds for them."""
    total = 0.0
    for scene in scenes:
        away = np.abs(scene.error - np.median(scene.error))
        good = away <= ASTRAY * max(1.4826 * float(np.median(away)), 1e-6)
        mine, all_of = (part[good] for part in _parts(scene, known))
        error, weight = scene.error[good], 1 / mine**2
        inner = 1 + float((all_of**2 * weight).sum())
        along = float((all_of * weight * error).sum())
        total += float((error**2 * weight).sum()) - along**2 / inner
        total += float(2 * np.log(mine).sum()) + np.log(inner)
    return 0.5 * total


def _covered(scenes: Sequence[Errors], known: evidence.Witness) -> float:
    factor = coverage_factor_95(TYPICAL_DOF)
    inside = [np.abs(s.error) <= factor * np.hypot(*_parts(s, known)) for s in scenes]
    return float(np.concatenate(inside).mean())


def _scene_by_means(scenes: Sequence[Errors], known: evidence.Witness) -> float:
    """The scene's figure from what the means of whole scenes are off by, beyond what is known:
    a tray's mean must have a right uncertainty, too (medians, for shells gone astray)."""
    excess = []
    for scene in scenes:
        mine, _ = _parts(scene, known)
        chance = float((mine**2).sum()) / len(mine) ** 2
        fade = float(evidence.fading(scene.scene_contrast, known.fading))
        off = float(np.median(scene.error)) ** 2 - float((scene.shared**2).mean()) - chance
        excess.append(off / fade**2)
    return float(np.sqrt(max(float(np.mean(excess)), 0.0)))


def fit_witness(
    scenes: Sequence[Errors],
    fadings: Sequence[float] = FADINGS,
    edges: Sequence[float] = EDGE_SHARES,
) -> evidence.Witness:
    """Figures of one quantity from its errors in several scenes."""
    error = np.concatenate([s.error for s in scenes])
    start = np.log([1.4826 * float(np.median(np.abs(error))) / 2] * 2)
    best: tuple[float, evidence.Witness] | None = None
    for power, share in product(fadings, edges):

        def witness(x: Floats, power: float = power, share: float = share) -> evidence.Witness:
            return evidence.Witness(float(np.exp(x[0])), float(np.exp(x[1])), power, share)

        def cost(x: Floats) -> float:
            return _minus_log_likelihood(scenes, witness(x))

        fit = minimize(cost, start, method="Nelder-Mead", options=TOLERANCE)
        if best is None or fit.fun < best[0] - 2:  # two units: a figure that is worth having
            best = (float(fit.fun), witness(fit.x))
    assert best is not None
    known = replace(best[1], scene=max(best[1].scene, _scene_by_means(scenes, best[1])))

    def scaled(factor: float) -> evidence.Witness:
        return replace(known, own=factor * known.own)

    def short(factor: float) -> float:
        return _covered(scenes, scaled(factor)) - 0.95

    low, high = 0.05, 8.0
    if not short(low) < 0 < short(high):
        return known
    return scaled(float(brentq(short, low, high, xtol=1e-3)))


def _without_ruffles(name: str, scenes: Sequence[Errors]) -> tuple[list[Errors], float]:
    """Errors of a size that ruffles change without its mean over scenes, on shells with a foot,
    and that mean as `petitpied.sizing.evidence.RUFFLES` has it; other sizes as they are."""
    if name not in evidence.RUFFLES:
        return list(scenes), 0.0
    means = [float(np.median(s.error[s.has_foot])) for s in scenes if s.has_foot.sum() > 5]
    short = -float(np.mean(means))
    moved = [replace(s, error=s.error + short * s.has_foot) for s in scenes]
    return moved, evidence.RUFFLES[name] + short


def _gathered(pictures: Sequence[Path]) -> dict[str, list[Errors]]:
    found: dict[str, list[Errors]] = {}
    for picture in pictures:
        for name, errors in scene_errors(picture).items():
            found.setdefault(name, []).append(errors)
    return found


def coverage_lines(title: str, pictures: Sequence[Path]) -> Iterator[str]:
    """A table of coverage, a row a quantity."""
    yield f"\n## Coverage of the 95 % intervals, {title}\n"
    yield "| size | scenes | shells | mean error | RMS | median u95 | covered | least of a scene |"
    yield "|---|---|---|---|---|---|---|---|"
    for name, scenes in _gathered(pictures).items():
        error, u95 = (np.concatenate([getattr(s, n) for s in scenes]) for n in ("error", "u95"))
        inside = [float((np.abs(s.error) <= s.u95).mean()) for s in scenes]
        share = float((np.abs(error) <= u95).mean())
        places = 4 if float(np.median(u95)) < 0.05 else 2
        cells = [name, str(len(scenes)), str(len(error)), f"{error.mean():+.{places}f}"]
        cells += [f"{np.sqrt((error**2).mean()):.{places}f}", f"{np.median(u95):.{places}f}"]
        yield f"| {' | '.join([*cells, f'{share:.3f}', f'{min(inside):.2f}'])} |"


def _with_equal_say(scenes: Sequence[Errors], fewer: set[str]) -> list[Errors]:
    """Scenes of the maker of ``fewer`` as often as makes up for the others' number."""
    few = [s for s in scenes if s.scene in fewer]
    more = [s for s in scenes if s.scene not in fewer]
    return more + few * max(1, round(len(more) / max(len(few), 1)))


def calibration_lines(pictures: Sequence[Path], fewer: Sequence[Path]) -> Iterator[str]:
    """The fitted figures as they stand in `petitpied.sizing.evidence`, and how they fare on
    scenes that are left out; ``fewer``: those of the maker with fewer scenes."""
    names = {picture.stem for picture in fewer}
    gathered = _gathered(pictures)
    yield f"\n## Witnesses, fitted on {len(pictures)} scenes\n\n```"
    yield "WITNESSES: dict[str, Witness] = {"
    left_out, tips = {}, {}
    for name, found in gathered.items():
        if name not in evidence.WITNESSES:
            continue
        evened = _with_equal_say(found, names) if name in EQUAL_SAY else found
        scenes, tip = _without_ruffles(name, evened)
        if name in evidence.RUFFLES:
            tips[name] = round(tip, 5 if abs(tip) < 0.02 else 2)
        known = fit_witness(scenes)
        digits = 5 if known.own < 0.02 else 3
        values = f"{known.own:.{digits}f}, {known.scene:.{digits}f}, {known.fading:g}"
        yield f'    "{name}": Witness({values}, {known.edges:g}),'
        inside = []
        each = sorted({scene.scene for scene in scenes})
        for part in range(PARTS):
            out = set(each[part::PARTS])
            rest = [s for s in scenes if s.scene not in out]
            known_less = fit_witness(rest, (known.fading,), (known.edges,))
            inside += [
                (_covered([s], known_less), len(s.error)) for s in scenes if s.scene in out
            ]
        left_out[name] = sum(s * n for s, n in inside) / sum(n for _, n in inside)
    yield f"}}\nRUFFLES = {tips}\n```\n"
    yield "Coverage of scenes left out of the fit: " + ", ".join(
        f"{name} {share:.3f}" for name, share in left_out.items()
    )
