"""One step of the ring fits: weighted ridge regression of all shells, with what they share.

A ring's radius is a Fourier series fitted with Cauchy weights (Holland & Welsch 1977). The ridge
is a normal prior: on the size of the harmonics, and of a foot on its place and width about its
cap. What all shells of a tray have in common (how blunt the domes are, how high the cap rims
lie over the feet, which way a draught leans them) is solved for together with every shell's
own: normal equations in bordered form, the shells eliminated first (Schur complement; Golub &
Van Loan, Matrix Computations, 3.2.11 in the 3rd edition; section from memory).
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from petitpied.contours.ring_geometry import Rings, Seen
from petitpied.numerics.medians import medians

Floats = NDArray[np.float64]

#: prior of a cap's harmonic k, relative to the radius: HARMONIC_REL / (k - 1)^1.5; of any of a
#: foot's against its cap's: RUFFLE_REL. From out-of-round shells of tuning scenes (TUNING.md)
HARMONIC_REL, RUFFLE_REL = 0.02, 0.006
#: a foot's harmonic within this many spreads is that of a round shell (2.2 hold 9 in 10 of them,
#: two components a harmonic: Rayleigh)
ROUND_SIGMAS = 2.2
#: spread of the harmonics of forms from the second on, relative to the radius (ellipses down to
#: half as wide as long, hearts: geometry), and scatter of edges with which a fit starts
FORM_REL, START_REL = (0.25, 0.12, 0.10, 0.05, 0.05, 0.03), 0.01
#: how blunt the domes of a tray are, `petitpied.contours.ring_geometry.Geometry.cap_bulge`: what
#: it is before the photo is asked, and its spread. Silhouettes of the tuning scenes' two makers:
#: 0.9 and 2.6
BLUNTNESS, BLUNTNESS_SIGMA = 2.0, 2.0
#: within which range a tray's may be found
BLUNTNESS_RANGE = (0.3, 5.0)
#: mean lean of a tray (a draught), relative to the radius: standard uncertainty beforehand
DRAUGHT_SIGMA_REL = 0.03
#: neighbouring rays share ruffles and smoothing: one independent value every four rays
RAYS_A_VALUE = 4.0
#: edge scatter below this does not lower the weight of a ray (relative to the radius)
SCATTER_FLOOR_REL = 0.003
CAUCHY_SCALE = 2.385


@dataclass(frozen=True)
class TrayFeet:
    """How feet go round their caps on this tray, relative to the cap's radius.

    The width's mean and spread, and the spread of the leans: where a cap hides its foot, the
    shells that show theirs say what it is like. Before any has been seen: wide.
    """

    spread: float = 0.05
    spread_sigma: float = 0.05
    lean_sigma: float = 0.03


#: a tray's own spreads are known from this many shells' worth of the wide ones, and never
#: narrower than this
WIDE_SHELLS, NARROWEST_REL = 1.0, 0.006


@dataclass(frozen=True)
class Update:
    """Rings after a step, their normal matrices (S, P, P), the edges' scatter (S,)."""

    ring: Rings
    normal: Floats
    scatter: Floats


@dataclass(frozen=True)
class Parallax:
    """Error of the cap rims' height over the feet as the leans show it, mm, and its standard
    uncertainty; the tray's mean lean (2,), mm."""

    height_mm: float
    u_mm: float
    draught_mm: Floats


@dataclass(frozen=True)
class _Prior:
    """Normal prior of S rings: radius and centre shift (S, 3), harmonics (S, 2, K - 1) and
    their precisions (S, 3), (S, 2 (K - 1))."""

    target: Floats
    precision: Floats
    harmonics: Floats
    harmonic_precision: Floats


@dataclass(frozen=True)
class _Normal:
    """Normal equations: matrix (S, P, P), right side (S, P), weights of the points (S, N),
    robust scatter (S,)."""

    matrix: Floats
    moment: Floats
    weight: Floats
    scatter: Floats


@cache
def _product_places(order: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Where the products of two of a basis's terms (P, P) stand among half the sums of cos m t,
    of sin m t, and of their opposites, m from 0 to twice the ``order``: the first addend
    (P, P) and the second."""
    sums = 2 * order + 1
    upper = list(range(2, order + 1))
    of_cos, of_sin = [0, 1, *upper], [1, *upper]
    # the basis: 1, cos t, sin t, cos 2t, ..., sin 2t, ...
    kind = np.array([0, 0, 1, *[0] * len(upper), *[1] * len(upper)])
    term = np.array([*of_cos[:2], of_sin[0], *upper, *upper])
    apart, both = term[:, None] - term, term[:, None] + term
    alike, sines = kind[:, None] == kind, kind[:, None] & kind
    # cos a cos b and sin a sin b: cos(a - b) +- cos(a + b); sin a cos b: sin(a + b) + sin(a - b)
    signed = np.where(kind[:, None] == 1, apart, -apart)
    first = np.where(alike, np.abs(apart), sums + np.abs(signed) + 2 * sums * (signed < 0))
    second = np.where(alike, both + 2 * sums * sines, sums + both)
    return first.astype(np.intp), second.astype(np.intp)


def _products(basis: Floats, weight: Floats) -> Floats:
    """Weighted sums (S, P, P) over the points of products of two of the basis's terms, from those
    of cos m t and sin m t up to twice its order: a sixth of the work of multiplying them out.

    ``basis`` (P, S, N), ``weight`` (S, N).
    """
    order = len(basis) // 2
    cos, sin = [0, 1, *range(3, 2 + order)], [2, *range(2 + order, 1 + 2 * order)]
    low = _sums(basis, weight)
    by_cos, by_sin = (_sums(basis, weight * basis[highest[-1]]) for highest in (cos, sin))
    # m beyond the order as the sum of it and of m less it
    sums = np.concatenate(
        [
            low[:, cos],
            by_cos[:, cos[1:]] - by_sin[:, sin],
            np.zeros((len(low), 1)),
            low[:, sin],
            by_sin[:, cos[1:]] + by_cos[:, sin],
        ],
        axis=1,
    )
    halves = np.concatenate([sums, -sums], axis=1) / 2
    first, second = _product_places(order)
    return np.asarray(halves[:, first] + halves[:, second], float)


def _scatter(residual: Floats, weight: Floats, radius: Floats) -> Floats:
    """Robust standard deviation a shell (S,) of residuals (S, N) that count."""
    counts = weight > 0
    number = counts.sum(axis=1)
    # those that do not count sort behind all others
    rising = np.sort(np.where(counts, np.abs(residual), np.inf), axis=1)
    each, half = np.arange(len(rising)), number // 2
    median = (rising[each, np.maximum(number - 1, 0) // 2] + rising[each, half]) / 2
    spread = np.where(number >= 8, 1.4826 * median, 1.4826 * 0.01 * radius)
    return np.maximum(spread, SCATTER_FLOOR_REL * radius)


def _cap_prior(ring: Rings, foot: Rings, bare: NDArray[np.bool_]) -> _Prior:
    """No say in size and place; the form is the foot's, or, without a foot (S,), hardly any other
    than the edges show: then a term's spread is its own size, if that is larger (empirical Bayes;
    Efron & Morris 1973)."""
    shells, _, count = ring.harmonics.shape
    sigma = HARMONIC_REL / np.arange(1, count + 1) ** 1.5 * ring.radius[:, None]
    own = np.hypot(ring.harmonics[:, 0], ring.harmonics[:, 1])
    sigma = np.where(bare[:, None], np.maximum(sigma, own), sigma)
    # the foot's as far as it is more than a round shell's (Stein's factor)
    feet = foot.harmonics[:, :, :count]
    part = 1 - (ROUND_SIGMAS * sigma) ** 2 / np.maximum((feet**2).sum(axis=1), 1e-12)
    form = np.where(bare[:, None, None], 0.0, feet * np.maximum(part, 0.0)[:, None])
    none = np.zeros((shells, 3))
    return _Prior(none, none, form, np.tile(1 / sigma**2, (1, 2)))


def _foot_prior(foot: Rings, cap: Rings, known: TrayFeet, expected_mm: Floats) -> _Prior:
    """A foot goes round its cap, with its shape, as wide as the tray's, not far off its middle.

    ``expected_mm`` (S, 2): lean that all feet of the tray have here. A shell that leans far
    out of the tray's spread is held less (Cauchy weight).
    """
    shells, _, count = foot.harmonics.shape
    radius = cap.radius[:, None]
    sigma = np.array([known.spread_sigma, known.lean_sigma, known.lean_sigma]) * radius
    away = foot.centre - cap.centre - expected_mm
    far = np.hypot(*away.T) / (CAUCHY_SCALE * known.lean_sigma * cap.radius)
    precision = 1 / sigma**2
    precision[:, 1:] /= (1 + far**2)[:, None]
    target = np.column_stack([cap.radius * (1 + known.spread), cap.centre - foot.centre])
    harmonic = np.full((shells, 2 * count), RUFFLE_REL) * radius
    like_cap = np.zeros((shells, 2, count))
    like_cap[:, :, : cap.harmonics.shape[2]] = cap.harmonics
    return _Prior(target, precision, like_cap, 1 / harmonic**2)


def _normal(ring: Rings, seen: Seen, weight: Floats, less: Floats, prior: _Prior) -> _Normal:
    """``less`` (S, N) is taken off the points' reach."""
    reach = seen.reach - less
    residual = reach - seen.radius
    scatter = _scatter(residual, weight, ring.radius)
    w = weight / (1 + (residual / (CAUCHY_SCALE * scatter[:, None])) ** 2)
    w = w / scatter[:, None] ** 2 / RAYS_A_VALUE
    matrix = _products(seen.basis, w)
    moment = _sums(seen.basis, w * reach)
    precision = np.concatenate([prior.precision, prior.harmonic_precision], axis=1)
    target = np.concatenate([prior.target, prior.harmonics.reshape(len(w), -1)], axis=1)
    each = np.arange(precision.shape[1])
    matrix[:, each, each] += precision
    moment += precision * target
    return _Normal(matrix, moment, w, scatter)


def _sums(basis: Floats, values: Floats) -> Floats:
    """Sums (S, P) over the points of the basis's terms (P, S, N) times ``values`` (S, N)."""
    return np.asarray((basis.transpose(1, 0, 2) @ values[..., None])[..., 0], float)


def _solve_bordered(
    normal: _Normal, border: Floats, corner: Floats, right: Floats
) -> tuple[Floats, Floats, Floats]:
    """Every shell's own unknowns (S, P), the shared ones (G,), and the latter's information
    (G, G): the minimum of the sum over shells of ``x' N x / 2 - m x - x' B g``, plus
    ``g' A g / 2 - a g``, with ``border`` B (S, P, G), ``corner`` A (G, G), ``right`` a (G,)."""
    solved = np.linalg.solve(normal.matrix, np.concatenate([normal.moment[..., None], border], 2))
    alone, moved = solved[..., 0], solved[..., 1:]
    information = corner - np.einsum("spg,sph->gh", border, moved)
    shared = np.linalg.solve(information, right + np.einsum("spg,sp->g", border, alone))
    return np.asarray(alone + moved @ shared, float), shared, information


def _moved(ring: Rings, solved: Floats) -> Rings:
    """The rings with radius, shift and harmonics as ``solved`` (S, P)."""
    order = 1 + ring.harmonics.shape[2]
    harmonics = np.stack([solved[:, 3 : 2 + order], solved[:, 2 + order :]], axis=1)
    return replace(
        ring, centre=ring.centre + solved[:, 1:3], radius=solved[:, 0], harmonics=harmonics
    )


def _updated(ring: Rings, normal: _Normal, solved: Floats) -> Update:
    return Update(_moved(ring, solved), normal.matrix, normal.scatter)


def shaped(ring: Rings, seen: Seen, weight: Floats) -> Rings:
    """Rings through their points by weighted least squares, whatever their form: where fits start.

    ``weight`` (S, N). The harmonics are held by `FORM_REL` only, wide enough for any form.
    """
    count = ring.harmonics.shape[2]
    known = np.array([*FORM_REL, *[FORM_REL[-1]] * count])[:count]
    precision = np.concatenate([np.zeros(3), np.tile(1 / known**2, 2)]) / START_REL**-2
    matrix = _products(seen.basis, weight)
    each = np.arange(len(precision))
    matrix[:, each, each] += precision / RAYS_A_VALUE + 1e-9
    solved = np.linalg.solve(matrix, _sums(seen.basis, weight * seen.reach)[..., None])[..., 0]
    return _moved(ring, np.asarray(solved, float))


def cap_step(
    about: tuple[Rings, Rings, NDArray[np.bool_]],
    seen: Seen,
    weight: Floats,
    less: tuple[Floats, Floats],
    bluntness: float,
) -> tuple[Update, float]:
    """One step of all caps and of what they share, how blunt the domes are.

    ``about``: the caps, the feet, and which shells (S,) have none. ``less``: the bulge
    (S, N) at this ``bluntness``, which is taken off the points' reach, and its slope over it. The
    rim on the near side says where a cap is, its silhouette on the far side how steep the
    dome's flank is.
    """
    ring, bulge, growth = about[0], *less
    normal = _normal(ring, seen, weight, bulge, _cap_prior(*about))
    weighted_growth = normal.weight * growth
    precision = 1 / BLUNTNESS_SIGMA**2
    beforehand = precision * (BLUNTNESS - bluntness)
    solved, shared, _ = _solve_bordered(
        normal,
        -_sums(seen.basis, weighted_growth)[..., None],
        np.array([[float((weighted_growth * growth).sum()) + precision]]),
        np.array([float((weighted_growth * (seen.reach - bulge)).sum()) + beforehand]),
    )
    blunter = float(np.clip(bluntness + float(shared[0]), *BLUNTNESS_RANGE))
    return _updated(ring, normal, solved), blunter


def foot_step(
    foot: Rings,
    seen: Seen,
    weight: Floats,
    less: Floats,
    about: tuple[Rings, Floats, TrayFeet],
    before: Parallax,
    height_u_mm: float,
) -> tuple[Update, Parallax]:
    """One step of all feet, of the tray's mean lean, and of the cap rims' height over them.

    ``about``: the caps, the slant (S, 2) under which the camera sees each, and what is known of
    the tray's feet. With a wrong height, caps seem to lean away from the camera's foot point
    or towards it, the more the farther they are from it; ``height_u_mm`` is the height's
    standard uncertainty beforehand.
    """
    cap, slant, known = about
    expected = before.draught_mm + before.height_mm * slant
    prior = _foot_prior(foot, cap, known, expected)
    normal = _normal(foot, seen, weight, less, prior)
    shells, size = normal.moment.shape
    # a lean is own + draught + height * slant
    shared = np.zeros((shells, 2, 3))
    shared[:, 0, 0], shared[:, 1, 0] = slant.T
    shared[:, 0, 1] = shared[:, 1, 2] = 1.0
    held = prior.precision[:, 1:, None] * shared
    border = np.zeros((shells, size, 3))
    border[:, 1:3] = held
    draught_u = DRAUGHT_SIGMA_REL * float(medians(cap.radius))
    beforehand = np.array([max(height_u_mm, 1e-3), draught_u, draught_u])
    corner = np.einsum("scg,sch->gh", shared, held) + np.diag(1 / beforehand**2)
    right = -np.einsum("scg,sc->g", held, prior.target[:, 1:])
    solved, found, information = _solve_bordered(normal, border, corner, right)
    u_mm = float(np.sqrt(np.linalg.inv(information)[0, 0]))
    return _updated(foot, normal, solved), Parallax(float(found[0]), u_mm, found[1:])


def tray_feet(cap: Rings, foot: Rings, weight: Floats, expected_mm: Floats) -> TrayFeet:
    """What the tray's feet have in common, from the rings as they stand.

    ``weight`` (S,): how well each foot shows, 0 to 1; ``expected_mm`` (S, 2) as above. Spreads
    are root mean squares of deviations, cut off at the wide spreads' double, drawn towards the
    wide ones as if `WIDE_SHELLS` shells had them.
    """
    wide = TrayFeet()
    if weight.sum() < 1.0:
        return wide
    width = foot.radius / cap.radius - 1
    lean = (foot.centre - cap.centre - expected_mm) / cap.radius[:, None]

    def sigma(deviation: Floats, beforehand: float) -> float:
        square = np.minimum(deviation**2, (2 * beforehand) ** 2)
        total = float((weight * square).sum()) + WIDE_SHELLS * beforehand**2
        return max(float(np.sqrt(total / (float(weight.sum()) + WIDE_SHELLS))), NARROWEST_REL)

    rising = np.argsort(width)
    middle = np.searchsorted(np.cumsum(weight[rising]), weight.sum() / 2)
    spread = float(width[rising[min(int(middle), len(width) - 1)]])
    leans = np.sqrt((lean**2).mean(axis=1))
    return TrayFeet(
        spread, sigma(width - spread, wide.spread_sigma), sigma(leans, wide.lean_sigma)
    )
