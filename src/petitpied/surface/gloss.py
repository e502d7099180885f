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

from petitpied.surface.domes import REACH, Domes, Shading

Floats = NDArray[np.float64]
Maps = NDArray[np.float32]

#: part of the cap that is looked at
LOOKED_REL = 0.8
#: mirrored light, relative to a white's: its spread over a tray's domes (glints apart), and what
#: a body's colour varies by from place to place, relative and absolute. On 173 traced trays, dark
#: shells under ceiling lamps then differ from their paint by 4.1 instead of 7.4 Delta E00
GLOSS_REL, VARIED_REL, VARIED_ABS = 0.03, 0.06, 0.003
#: gloss changes smoothly over a dome, cells; this share of a cap's cells has least of it
SMOOTH_CELLS, LEAST_SHARE = 2.5, 0.15
#: of a cell's light at most this share is gloss
MOST_REL = 0.8
ROUNDS = 2


def without_gloss(domes: Domes, shading: Shading) -> Maps:
    """Natural logarithm of light sent back (S, SIDE, SIDE, 3), blue-green-red, less what is
    mirrored; as it was where two colours are swirled, whose mixture looks like gloss."""
    if shading.swirled or not len(domes.log):
        return domes.log
    looked = REACH < LOOKED_REL
    light = np.exp(np.minimum(domes.smooth[:, looked], 1.0))
    level = domes.smooth[:, looked] - shading.common[looked][None, :, None]
    body: Floats = np.exp(np.median(level, axis=1)).astype(float)
    mirrored = np.zeros(light.shape[:2], np.float32)
    for _ in range(ROUNDS):
        mirrored = _above_least(_mirrored(light, np.median(body, axis=0)), looked)
        left = np.maximum(light - mirrored[..., None], (1 - MOST_REL) * light)
        own = np.log(left) - shading.common[looked][None, :, None]
        body = np.exp(np.median(own, axis=1)).astype(float)
    out = domes.log.copy()
    there = np.exp(np.minimum(out[:, looked], 1.0))
    left = np.maximum(there - mirrored[..., None], (1 - MOST_REL) * there)
    out[:, looked] = np.log(np.maximum(left, 1e-6))
    return out


def _mirrored(light: Maps, body: Floats) -> Maps:
    """White part (S, N) of light (S, N, 3) whose rest is a body's colour (3,), least squares with
    the spread of gloss as prior."""
    spread = VARIED_REL * body + VARIED_ABS
    own, white = body / spread, 1 / spread
    normal = np.array([[own @ own, own @ white], [own @ white, white @ white + GLOSS_REL**-2]])
    weight = np.linalg.solve(normal, np.stack([own, white]))[1] / spread
    return np.asarray(light @ weight.astype(np.float32), np.float32)


def _above_least(mirrored: Maps, looked: NDArray[np.bool_]) -> Maps:
    """Gloss (S, N), smooth over each dome, beyond that of the cells with least of it."""
    share = cv2.GaussianBlur(looked.astype(np.float32), (0, 0), SMOOTH_CELLS)[looked]
    smooth = np.empty_like(mirrored)
    for index, own in enumerate(mirrored):
        whole = np.zeros(looked.shape, np.float32)
        whole[looked] = own
        smooth[index] = cv2.GaussianBlur(whole, (0, 0), SMOOTH_CELLS)[looked] / share
    least = np.quantile(smooth, LEAST_SHARE, axis=1, keepdims=True)
    return np.asarray(np.maximum(smooth - least, 0), np.float32)
