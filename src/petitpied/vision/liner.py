"""How much a colour speaks for shell rather than liner, learnt from the photo itself.

Light, liner and flavour differ from photo to photo. The liner's brightness is modelled over the
tray by a smooth surface; colours are taken relative to it, so that a light that falls off
cancels. Where shells lie is roughly known from the finder: colours inside and around them give
two histograms, and their ratio is the evidence (Bayes). Colours seen in both, or in neither,
say nothing.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Maps = NDArray[np.float32]
Masks = NDArray[np.bool_]

#: bins a channel, over this range of the natural logarithm of the ratio to the liner
BINS, LOG_RANGE = 28, (-2.1, 1.4)
#: fewest cells to learn from: a surface of six terms and a histogram want some hundreds
LEAST_CELLS = 400
#: and most: more of them tell nothing new
LEARN_CELLS = 15_000
#: histograms are smoothed by this many bins: sensor noise and texture, about 10 % a channel
SMOOTH_BINS = 0.9
#: share of the liner that may lie in shade (the narrow shadow round a foot is seen too rarely
#: to be learnt), and the deepest shade, bins: 1.75 in the logarithm, a sixth of the light
SHADE_REL, DEEPEST_BINS = 0.5, 14
#: one pixel never speaks louder than this (natural logarithm of the ratio)
LOUDEST = 2.5
#: weight of an even histogram mixed in: colours hardly ever seen say nothing
EVEN_REL = 0.02


@dataclass(frozen=True)
class LinerModel:
    """Evidence for "shell" by colour: look-up ``table`` (BINS, BINS, BINS), natural logarithm
    of the likelihood ratio, over colour relative to the smooth ``surface`` (6, 3)."""

    table: Maps
    surface: Floats

    def evidence(self, bgr: NDArray[np.uint8], x_rel: Floats, y_rel: Floats) -> Maps:
        """Log likelihood ratio (...) of colours (..., 3) at places 0..1 of the picture; the
        places may have fewer samples along the last axis (1: one place for all samples)."""
        light = (_terms(x_rel, y_rel) @ self.surface).astype(np.float32)
        return np.asarray(self.table.ravel()[_flat_bin(_log_colour(bgr) - light)])


#: natural logarithm of linear light (gamma 2.2, near enough for ratios), floor at the noise
_LOG = (2.2 * np.log((np.arange(256) + 4.0) / 255.0)).astype(np.float32)


def _log_colour(bgr: NDArray[np.uint8]) -> Maps:
    return np.asarray(_LOG[bgr])


def _terms(x_rel: Floats, y_rel: Floats) -> Floats:
    x, y = np.asarray(x_rel, float) - 0.5, np.asarray(y_rel, float) - 0.5
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def _flat_bin(log: Maps) -> NDArray[np.int32]:
    """Brightness and two colour differences to one bin number (...)."""
    blue, green, red = log[..., 0], log[..., 1], log[..., 2]
    low, high = LOG_RANGE
    scale = np.float32(BINS / (high - low))
    number = np.zeros(log.shape[:-1], np.int32)
    for value in (
        (blue + green + red) / 3,
        np.float32(1.2) * (red - green) - np.float32(0.3),
        np.float32(1.2) * (blue - green) - np.float32(0.3),
    ):
        number *= BINS
        number += np.clip((value - np.float32(low)) * scale, 0, BINS - 1).astype(np.int32)
    return number


def _surface(log: Maps, terms: Floats) -> Floats:
    """Smooth liner brightness (6, 3): least squares, reweighted against stains and shadows."""
    weight = np.ones(len(log))
    fit: Floats = np.zeros((6, 3))
    ridge = 1e-3 * len(log) * np.diag([1e-3, 1, 1, 2, 2, 2])
    for _ in range(4):
        normal = (terms * weight[:, None]).T @ terms + ridge
        fit = np.asarray(np.linalg.solve(normal, (terms * weight[:, None]).T @ log), float)
        rest = (log - terms @ fit).mean(axis=1)
        spread = 1.4826 * float(np.median(np.abs(rest))) + 1e-3
        weight = 1 / (1 + (rest / (2 * spread)) ** 2)
    return fit


def _histogram(flat: NDArray[np.int32]) -> Floats:
    counts = np.bincount(flat, minlength=BINS**3).reshape(BINS, BINS, BINS).astype(float)
    for _ in range(3):  # smooth along the first axis, then turn the next one to the front
        flat_counts = counts.reshape(BINS, -1)
        smooth = cv2.GaussianBlur(
            flat_counts, (1, 7), 0.1, sigmaY=SMOOTH_BINS, borderType=cv2.BORDER_CONSTANT
        )
        counts = np.ascontiguousarray(
            np.asarray(smooth, float).reshape(BINS, BINS, BINS).transpose(1, 2, 0)
        )
    return np.asarray(counts / max(counts.sum(), 1e-9), float)


def _shaded(histogram: Floats) -> Floats:
    """The same colours in shade: darker by any amount, the less likely the darker."""
    shaded = np.zeros_like(histogram)
    weights = np.exp(-np.arange(1, DEEPEST_BINS + 1) / (0.5 * DEEPEST_BINS))
    for step, weight in enumerate(weights / weights.sum(), 1):
        shaded[:-step] += weight * histogram[step:]
    return shaded


def learn_liner(picture_bgr: NDArray[np.uint8], inside: Masks, around: Masks) -> LinerModel:
    """Learn from a reduced picture (H, W, 3) and two masks (H, W): in shells, around them.

    Too few cells of either teach nothing: every colour is then no evidence.
    """
    rows, columns = inside.shape
    grid_y, grid_x = np.nonzero(around)
    shell_y, shell_x = np.nonzero(inside)
    if min(len(grid_y), len(shell_y)) < LEAST_CELLS:
        return LinerModel(np.zeros((BINS, BINS, BINS), np.float32), np.zeros((6, 3)))
    step_around = max(1, len(grid_y) // LEARN_CELLS)
    step_shell = max(1, len(shell_y) // LEARN_CELLS)
    grid_y, grid_x = grid_y[::step_around], grid_x[::step_around]
    shell_y, shell_x = shell_y[::step_shell], shell_x[::step_shell]
    terms = _terms(grid_x / columns, grid_y / rows)
    log = _log_colour(picture_bgr[grid_y, grid_x])
    surface = _surface(log, terms)
    liner = _histogram(_flat_bin((log - terms @ surface).astype(np.float32)))
    shell_terms = _terms(shell_x / columns, shell_y / rows)
    shell_log = _log_colour(picture_bgr[shell_y, shell_x]) - shell_terms @ surface
    shell = _histogram(_flat_bin(shell_log.astype(np.float32)))
    liner = (1 - SHADE_REL) * liner + SHADE_REL * _shaded(liner)
    even = EVEN_REL * float(max(liner.max(), shell.max()))
    table = np.log((shell + even) / (liner + even))
    return LinerModel(np.clip(table, -LOUDEST, LOUDEST).astype(np.float32), surface)
