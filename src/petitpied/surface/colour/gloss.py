"""What caps mirror of lamps and windows, taken out of their colour.

Dichromatic reflection (Shafer, "Using color to separate reflection components", 1985): a cap sends
back its body's colour, more or less of it as its slope turns to the light, and on top of it a
mirrored part that has the lamp's colour, here white. Where the body's own colour is known the two
are told apart cell by cell; the cells of a cap with least gloss stand for those with none. A grey
or pale body cannot be told from its gloss, which hardly counts there.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.surface.caps.domes import BRIGHTNESS, LEAST_SHELLS, MIDDLE_REL, REACH, Domes, Shading

Floats = NDArray[np.float64]
Maps = NDArray[np.float32]

#: part of the cap that is looked at: beyond, the shoulder falls away from the camera
LOOKED_REL = 0.8
LOOKED = REACH < LOOKED_REL
#: mirrored light, relative to a white's: its spread over a tray's domes (glints apart), and what
#: a body's colour varies by from place to place, relative and absolute (TUNING.md)
GLOSS_REL, VARIED_REL, VARIED_ABS = 0.03, 0.06, 0.003
#: gloss changes smoothly over a dome, cells; this share of a cap's cells has least of it
SMOOTH_CELLS, LEAST_SHARE = 2.5, 0.15
#: of a cell's light at most this share is gloss
MOST_REL = 0.8
ROUNDS = 2


def without_gloss(domes: Domes, shading: Shading) -> tuple[Maps, Maps]:
    """Natural logarithm of light sent back (S, N, 3), blue-green-red, less what is mirrored, over
    the cells nearer to the middle than `LOOKED_REL`; and the shading (N,) that the caps then share,
    0 in the middle. Where two colours are swirled, whose mixture looks like gloss, both are as
    they were."""
    log, common = domes.log[:, LOOKED], shading.common[LOOKED]
    if shading.swirled or len(log) < LEAST_SHELLS:
        return log, common
    left = domes.smooth[:, LOOKED]
    light = np.exp(np.minimum(left, 1.0))
    for _ in range(ROUNDS):
        body = np.exp(np.median(left - common[None, :, None], axis=1)).astype(float)
        mirrored = _above_least(_mirrored(light, body))
        left = _less(light, mirrored)
        common = _shared(left)
    return _less(np.exp(np.minimum(log, 1.0)), mirrored), common


def _less(light: Maps, mirrored: Maps) -> Maps:
    """Logarithm of light (S, N, 3) less mirrored light (S, N)."""
    left = np.maximum(light - mirrored[..., None], (1 - MOST_REL) * light)
    return np.asarray(np.log(np.maximum(left, 1e-6)), np.float32)


def _shared(log: Maps) -> Maps:
    """Brightness (N,) that caps share, 0 in the middle."""
    bright = log @ BRIGHTNESS
    bright = np.median(bright - np.median(bright, axis=1, keepdims=True), axis=0)
    return np.asarray(bright - bright[REACH[LOOKED] < MIDDLE_REL].mean(), np.float32)


def _mirrored(light: Maps, body: Floats) -> Maps:
    """White part (S, N) of light (S, N, 3) whose rest is the cap's own colour (S, 3), least squares
    with the spread of gloss as prior."""
    spread = VARIED_REL * body + VARIED_ABS
    own, white = body / spread, 1 / spread
    both, alone = (own * white).sum(axis=1), (white * white).sum(axis=1) + GLOSS_REL**-2
    size = (own * own).sum(axis=1)
    weight = (size[:, None] * white - both[:, None] * own) / (size * alone - both**2)[:, None]
    return np.asarray(np.einsum("snc,sc->sn", light, (weight / spread).astype(np.float32)))


def _above_least(mirrored: Maps) -> Maps:
    """Gloss (S, N), smooth over each dome, beyond that of the cells with least of it."""
    share = cv2.GaussianBlur(LOOKED.astype(np.float32), (0, 0), SMOOTH_CELLS)[LOOKED]
    smooth = np.empty_like(mirrored)
    for index, own in enumerate(mirrored):
        whole = np.zeros(LOOKED.shape, np.float32)
        whole[LOOKED] = own
        smooth[index] = cv2.GaussianBlur(whole, (0, 0), SMOOTH_CELLS)[LOOKED] / share
    least = np.quantile(smooth, LEAST_SHARE, axis=1, keepdims=True)
    return np.asarray(np.maximum(smooth - least, 0), np.float32)
