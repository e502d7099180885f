"""Run the edge network: along each ray from a shell's middle, where its edges may lie.

The network (`tests/training`, weights in ``edges.onnx``) is run by OpenCV on the photo sampled
along rays about the coarse outlines. It proposes which of a ray's changes of colour is the outer
edge and which the cap's; the edges themselves are measured in the photo.
"""

from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.finding.liner import LinerLight, log_colour
from petitpied.finding.ray_strips import RAYS, sample_along_rays

Floats = NDArray[np.float64]

#: samples of a ray, between these shares of the coarse radius
SAMPLES, FROM_REL, TO_REL = 96, 0.79, 1.21
#: rays wrapped round at both ends; shells at a time, always as many, since OpenCV sets a network up
#: anew for every other number, which takes as long as a few shells; the network's strides
PAD, SHELLS, RAY_STRIDE, SAMPLE_STRIDE = 16, 6, 4, 4
#: of the scores' exponentials a ray's sum is a single precision's number up to here
MOST_SCORE = np.float32(80)


@dataclass(frozen=True)
class EdgeProposals:
    """Probabilities (S, RAYS, SAMPLES) of the outer and of the cap's edge along each ray, over
    ``part_rel`` (SAMPLES,) of the ``coarse_px`` radius (S, RAYS); they add up to 1 a ray."""

    outer: NDArray[np.float32]
    cap: NDArray[np.float32]
    part_rel: Floats
    coarse_px: Floats

    @cached_property
    def outer_px(self) -> Floats:
        """Expected radius of the outer edge (S, RAYS)."""
        return np.asarray(self.coarse_px * (self.outer @ self.part_rel), float)

    @cached_property
    def cap_px(self) -> Floats:
        """Expected radius of the cap's edge (S, RAYS)."""
        return np.asarray(self.coarse_px * (self.cap @ self.part_rel), float)

    def certainty(self) -> Floats:
        """Mean over rays of the likeliest place's probability of the outer edge (S,)."""
        return np.asarray(self.outer.max(axis=2).mean(axis=1), float)

    def only(self, which: NDArray[np.bool_]) -> "EdgeProposals":
        """Those of the shells ``which`` (S,)."""
        return EdgeProposals(
            self.outer[which], self.cap[which], self.part_rel, self.coarse_px[which]
        )

    def replaced(self, at: NDArray[np.intp], other: "EdgeProposals") -> "EdgeProposals":
        """The same with the shells numbered ``at`` taken from ``other``, in their order."""
        outer, cap, coarse = self.outer.copy(), self.cap.copy(), self.coarse_px.copy()
        outer[at], cap[at], coarse[at] = other.outer, other.cap, other.coarse_px
        return EdgeProposals(outer, cap, self.part_rel, coarse)


@cache
def _network() -> cv2.dnn.Net:
    weights = files("petitpied.contours").joinpath("edges.onnx").read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))


def _empty_board() -> NDArray[np.float32]:
    """The network's input (SHELLS, 16, (RAYS + 2 PAD) / 2 + 1, SAMPLES / 2), in squares of two
    rays and two samples: log colours against the liner's, still zero, and the place along the
    ray; the row of zeros makes even rays the second of their squares."""
    half, turn = RAYS // 2, PAD // 2
    board = np.zeros((SHELLS, 4, 2, 2, half + PAD + 1, SAMPLES // 2), np.float32)
    place = np.linspace(-1, 1, SAMPLES, dtype=np.float32)
    for ray in (0, 1):
        rows = slice(ray, ray + half + 2 * turn)
        board[:, 3, 1 - ray, :, rows] = np.stack([place[::2], place[1::2]])[:, None]
    return board


def _put_strips(strips: NDArray[np.uint8], light: Floats, board: NDArray[np.float32]) -> None:
    """Up to SHELLS strips (S, RAYS, SAMPLES, 3) into the board, against the liner's brightness
    ``light`` (S, 3); rays wrapped round by PAD at both ends."""
    shells, half, turn = len(strips), RAYS // 2, PAD // 2
    codes = np.empty((shells, 3, 2, 2, half, SAMPLES // 2), np.uint8)
    for channel, ray, sample in product(range(3), (0, 1), (0, 1)):
        codes[:, channel, ray, sample] = strips[:, ray::2, sample::2, channel]
    level = light.astype(np.float32)[:, :, None, None, None]
    for ray in (0, 1):
        rows = board[:shells, :3, 1 - ray, :, ray : ray + half + 2 * turn]
        own = rows[..., turn:-turn, :]
        np.subtract(log_colour(codes[:, :, ray]), level, out=own)
        rows[..., :turn, :], rows[..., -turn:, :] = own[..., -turn:, :], own[..., :turn, :]


def _to_probabilities(out: NDArray[np.float32], both: NDArray[np.float32]) -> None:
    """The network's output (S, 16, rays, samples) as probabilities, into ``both`` (2, S, RAYS,
    SAMPLES)."""
    out = out[:, :, PAD // RAY_STRIDE : -PAD // RAY_STRIDE]
    shells, _, rays, quarter = out.shape
    scores = out.reshape(shells, 2, RAY_STRIDE, SAMPLE_STRIDE, rays, quarter)
    for kind in (0, 1):
        own = both[kind].reshape(shells, rays, RAY_STRIDE, quarter, SAMPLE_STRIDE)
        own[:] = scores[:, kind].transpose(0, 3, 1, 4, 2)
        rows = both[kind]
        np.exp(np.clip(rows, -MOST_SCORE, MOST_SCORE, out=rows), out=rows)
        rows *= 1 / (rows @ np.ones(SAMPLES, np.float32))[..., None]


def propose_edges(
    pixels_bgr: NDArray[np.uint8], centre_px: Floats, coarse_px: Floats, light: LinerLight
) -> EdgeProposals:
    """Where the edges of S shells may lie.

    Parameters
    ----------
    pixels_bgr : ndarray of shape (height, width, 3), uint8
        The photo, frame px.
    centre_px, coarse_px : ndarray (S, 2), (S, RAYS)
        Middles and coarse outlines; these may be off by a tenth of the radius.
    light : LinerLight
        The liner's brightness, which colours are compared with.
    """
    size = np.array([pixels_bgr.shape[1], pixels_bgr.shape[0]])
    level = light.at(centre_px / size)
    part = np.linspace(FROM_REL, TO_REL, SAMPLES)
    net, board = _network(), _empty_board()
    both = np.empty((2, len(centre_px), RAYS, SAMPLES), np.float32)
    for first in range(0, len(centre_px), SHELLS):
        these = slice(first, first + SHELLS)
        reach = coarse_px[these, :, None] * part
        strips = sample_along_rays(pixels_bgr, centre_px[these], reach)
        # behind the last shells stand earlier ones once more
        _put_strips(strips, level[these], board)
        net.setInput(board.reshape(SHELLS, 16, *board.shape[4:]))
        out = np.asarray(net.forward(), np.float32)[: len(strips)]
        _to_probabilities(out, both[:, these])
    return EdgeProposals(both[0], both[1], part, coarse_px)
