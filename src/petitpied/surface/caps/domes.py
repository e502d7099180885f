"""All caps of a tray as domes of one kind: their common shading, and what each has beside it.

Every cap is brought to one small raster by its own rim, so that the same place of the raster is
the same part of the dome. Thirty domes under one light are thirty pictures of one thing: the
median over the shells is the shading that dome and light make; what a shell has beside it is its
own relief, or its own colour.
"""

from dataclasses import dataclass
from functools import cache, cached_property
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.camera.grey_strip import Tone
from petitpied.surface.caps.cap_patch import CapPatches
from petitpied.surface.caps.flat_light import FlatLight

Floats = NDArray[np.float64]
Maps = NDArray[np.float32]
Bytes = NDArray[np.uint8]

#: raster across a cap's larger diameter: 0.6 to 0.7 mm a cell
SIDE = 64
#: blue, green, red to brightness: mostly green, where cameras have least noise
BRIGHTNESS = np.array([0.1, 0.6, 0.3], np.float32)
#: used part of a cap: the rim itself and its curl shade differently
USED_REL = 0.88
#: fewest shells whose median shows the dome and not one shell's faults
LEAST_SHELLS = 5
#: the middle of a cap, which faces upward
MIDDLE_REL = 0.3
#: codes from here on are cut off
BRIGHTEST = 250
#: smoothing of the logarithms, cells: below, there is the camera's noise and sharpening
SMOOTH_CELLS = 0.8


def raster(side: int = SIDE) -> tuple[Maps, Maps, Maps]:
    """Place (x, y) of each cell (side, side), -1 to 1 over the cap, and distance to its middle."""
    axis = ((np.arange(side) + 0.5) / side * 2 - 1).astype(np.float32)
    x, y = np.meshgrid(axis, axis)
    return x, y, np.hypot(x, y)


X, Y, REACH = raster()
USED = REACH < USED_REL


def ring(inner_rel: float, outer_rel: float) -> NDArray[np.bool_]:
    """Cells (SIDE, SIDE) between two parts of the radius."""
    reach = REACH
    return np.asarray((reach > inner_rel) & (reach < outer_rel))


@dataclass(frozen=True)
class Domes:
    """Caps on the raster: ``log`` (S, SIDE, SIDE, 3), natural logarithm of light sent back relative
    to a white that faces upward there (blue, green, red); ``cut`` (S,) the share of each cap that
    is overexposed in some channel; ``radius_mm`` (S,)."""

    log: Maps
    cut: Floats
    radius_mm: Floats

    @cached_property
    def smooth(self) -> Maps:
        """`log` without the camera's noise."""
        flat = [cv2.GaussianBlur(tile, (0, 0), SMOOTH_CELLS) for tile in self.log]
        return np.asarray(flat, np.float32)

    @cached_property
    def brightness(self) -> Maps:
        """(S, SIDE, SIDE) relative to each cap's own median."""
        whole = self.smooth @ BRIGHTNESS
        return np.asarray(whole - np.median(whole[:, REACH < 0.6], axis=1)[:, None, None])

    @cached_property
    def mm_per_cell(self) -> float:
        return 2 * float(np.median(self.radius_mm)) / SIDE


def see_domes(patches: CapPatches, tone: Tone, light: FlatLight) -> Domes:
    """The caps of ``patches`` on the raster, tones undone, each under the light of its place."""
    middle = (patches.side_px - 1) / 2
    tiles = np.empty((len(patches.caps), SIDE, SIDE, 3), np.uint8)
    for index, cap in enumerate(patches.caps):
        step = 2 * cap.radius_mm / patches.mm_per_px / SIDE
        tile: Any = patches.mosaic_bgr[patches.window(index)]
        if step > 1.5:  # the mean of what a cell covers, not one pixel of it
            tile = cv2.blur(tile, (round(step), round(step)))
        start = middle - step * (SIDE - 1) / 2
        way = np.array([[step, 0, start], [0, step, start]])
        tiles[index] = cv2.warpAffine(
            tile,
            way,
            (SIDE, SIDE),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
    table = tone.table()
    log = np.stack([table[tiles[..., c], c] for c in range(3)], axis=-1)
    centres = np.array([cap.centre_mm for cap in patches.caps])
    log -= light.at(centres).astype(np.float32)[:, None, None]
    cut = (tiles[:, USED].max(axis=-1) >= BRIGHTEST).mean(axis=1)
    return Domes(log, np.asarray(cut, float), np.array([cap.radius_mm for cap in patches.caps]))


@dataclass(frozen=True)
class Shading:
    """What dome and light make, and what is left.

    ``common`` (SIDE, SIDE): logarithm of brightness, 0 in the middle; ``rest`` (S, SIDE, SIDE)
    likewise of each cap beside it, 0 where ``weight`` (0 to 1) is 0; ``tint`` (S, SIDE, SIDE, 2)
    of a place beside what is smooth over its cap: red and blue against green, logarithms.
    ``swirled``: two colours were told apart and their seams left out.
    """

    common: Maps
    rest: Maps
    weight: Maps
    tint: Maps
    swirled: bool = False


#: a cap's dome may differ from the common one by these powers of place, up to the third in all:
#: height, shoulder, lean, and light that changes over the tray
POWERS = tuple((i, j) for i in range(4) for j in range(4 - i))
#: spread of tint over a cap, beyond smooth changes, from which on two colours may be swirled: one
#: flavour has 0.01 to 0.05 on most tuning scenes, and up to 0.08 where it is dark and shines
SWIRL_TINT = 0.05
#: and its kurtosis: 1 for two colours, 1.8 for all mixtures alike, 3 for one colour and noise
SWIRL_KURTOSIS = 2.4
#: steps of the swirl's mixture
MIXTURES = 6
#: where the mixture changes by more than this share a cell, the camera's coarser colour raster
#: (4:2:0) does not fit its brightness
SEAM_STEP = 0.12


def shading_of(domes: Domes) -> Shading:
    """Common shading and each cap's own rest; swirled colours are taken out by their tint."""
    bright, weight = domes.brightness, np.broadcast_to(USED, domes.brightness.shape).astype("f4")
    common = _median_dome(bright)
    tint = _tint(domes)
    swirled = _is_swirled(tint)
    if swirled:
        mixture, seam = _mixture(tint)
        steps = _mixture_steps(mixture)
        for _ in range(3):
            bright = domes.brightness - _by_mixture(domes.brightness - common, mixture, steps)
            common = _median_dome(bright)
        weight = weight * seam
    rest = _without_own_dome(bright - common, weight)
    return Shading(common, rest, weight, tint, swirled)


def _median_dome(bright: Maps) -> Maps:
    """Median over the shells; of too few, a smooth surface."""
    # each cell's shells side by side: the median is then found three times as fast
    middle = np.median(np.ascontiguousarray(bright.reshape(len(bright), -1).T), axis=1)
    middle = middle.reshape(SIDE, SIDE)
    if len(bright) < LEAST_SHELLS:
        middle[USED] -= _without_own_dome(middle[None], USED[None].astype("f4"))[0][USED]
    smooth = np.asarray(cv2.GaussianBlur(middle, (0, 0), 1.0), np.float32)
    return np.asarray(smooth - smooth[REACH < MIDDLE_REL].mean(), np.float32)


def _tint(domes: Domes) -> Maps:
    """Red and blue against green (S, SIDE, SIDE, 2), less what is smooth over a cap or common."""
    log = domes.smooth
    tint = np.stack([log[..., 2] - log[..., 1], log[..., 0] - log[..., 1]], axis=-1)
    level = np.median(tint[:, USED], axis=1)
    flat = (tint - level[:, None, None]).reshape(len(tint), -1, 2)
    basis = _orthogonal()
    inside = flat[:, USED.ravel()]
    inside -= basis @ (basis.T @ inside)
    out = np.zeros_like(flat)
    out[:, USED.ravel()] = inside
    return np.asarray(out.reshape(tint.shape), np.float32)


@cache
def _basis() -> Maps:
    """(SIDE * SIDE, powers)"""
    return np.stack([(X**i * Y**j).ravel() for i, j in POWERS], axis=-1)


@cache
def _orthogonal() -> Maps:
    """`_basis` on the used cells, orthonormal."""
    return np.asarray(np.linalg.qr(_basis()[USED.ravel()])[0], np.float32)


@cache
def _squares() -> tuple[Floats, Floats]:
    """`_basis` on the used cells (N, K), and the products of its columns (N, K * K)."""
    basis = _basis()[USED.ravel()].astype(float)
    return basis, (basis[:, :, None] * basis[:, None, :]).reshape(len(basis), -1)


def _is_swirled(tint: Maps) -> bool:
    """Do most caps show two colours?"""
    inside = tint[:, REACH < 0.7].astype(float)
    inside -= inside.mean(axis=1, keepdims=True)
    covariance = np.einsum("snc,snd->scd", inside, inside) / inside.shape[1]
    along = np.einsum("snc,sc->sn", inside, np.linalg.eigh(covariance)[1][..., -1])
    variance = (along**2).mean(axis=1)
    kurtosis = (along**4).mean(axis=1) / np.maximum(variance, 1e-12) ** 2
    spread = np.sqrt(np.trace(covariance, axis1=1, axis2=2))
    return bool(np.median(spread) > SWIRL_TINT and np.median(kurtosis) < SWIRL_KURTOSIS)


def _mixture(tint: Maps) -> tuple[Maps, Maps]:
    """Share 0..1 of the swirl's second colour, and the weight of cells off the seams."""
    inside = tint[:, USED].reshape(-1, 2).astype(float)
    axis = np.linalg.eigh(np.cov(inside.T))[1][:, -1]
    along = (tint @ axis).astype(np.float32)
    low, high = np.percentile(along[:, USED], [3, 97])
    share = np.clip((along - low) / max(high - low, 1e-6), 0, 1).astype(np.float32)
    step = [
        np.hypot(cv2.Sobel(s, cv2.CV_32F, 1, 0) / 8, cv2.Sobel(s, cv2.CV_32F, 0, 1) / 8)
        for s in share
    ]
    seam = np.clip(1.5 - np.asarray(step, np.float32) / SEAM_STEP, 0, 1)
    return np.asarray(share, np.float32), np.asarray(seam, np.float32)


def _mixture_steps(mixture: Maps) -> tuple[tuple[float, NDArray[np.intp]], ...]:
    """Middle of each step of the mixture, and the cells (flat) in it, where it has enough."""
    cells = np.flatnonzero(np.broadcast_to(USED & (REACH < 0.8), mixture.shape))
    share = mixture.ravel()[cells]
    steps = []
    for low, high in pairwise(np.linspace(0, 1, MIXTURES + 1)):
        chosen = cells[(share >= low) & (share <= high)]
        if len(chosen) > 50:
            steps.append(((low + high) / 2, chosen))
    return tuple(steps)


def _by_mixture(
    rest: Maps, mixture: Maps, steps: tuple[tuple[float, NDArray[np.intp]], ...]
) -> Maps:
    """Brightness (S, SIDE, SIDE) that the mixture alone explains: medians by its steps."""
    if len(steps) < 2:
        return np.zeros_like(rest)
    levels = [float(np.median(rest.ravel()[cells])) for _, cells in steps]
    return np.interp(mixture, [middle for middle, _ in steps], levels).astype(np.float32)


def _without_own_dome(rest: Maps, weight: Maps) -> Maps:
    """Rest less the smooth part of each cap: least squares, reweighted against marks."""
    used = USED.ravel()
    basis, squares = _squares()
    y = rest.reshape(len(rest), -1)[:, used].astype(float)
    given = weight.reshape(len(weight), -1)[:, used].astype(float)
    trust = given.copy()
    count = basis.shape[1]
    for _ in range(3):
        normal = (trust @ squares).reshape(-1, count, count) + 1e-3 * np.eye(count)
        fit = np.linalg.solve(normal, ((trust * y) @ basis)[..., None])[..., 0]
        left = y - fit @ basis.T
        spread = 1.4826 * np.median(np.abs(left), axis=1, keepdims=True) + 1e-4
        trust = given / (1 + (left / (2 * spread)) ** 2)
    out = np.zeros((len(rest), SIDE * SIDE), np.float32)
    out[:, used] = left * (given > 0)
    return out.reshape(rest.shape)
