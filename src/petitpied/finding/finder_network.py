"""Run the finder's network: photo to maps that propose where shells are.

The network (`tests/training`, weights in ``finder.onnx``) is run by OpenCV on a reduced copy of
the photo. It only proposes; every size is measured in the full photo.
"""

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.photo.reduce import reduced

Maps = NDArray[np.float32]

#: the network's input, px (width, height); its maps have half that size
INPUT_PX = (768, 576)
STRIDE = 2
OFFSET_UNIT_PX = 64.0


@dataclass(frozen=True)
class FinderMaps:
    """Maps of shape (rows, columns), one cell every `cell_px` px of the photo.

    ``shell``, ``cap`` : probability that the cell shows a shell, a cap. ``middle``: (rows,
    columns, 2), the cell (x, y) where the cell's shell is thought to have its middle.
    """

    shell: Maps
    cap: Maps
    middle: Maps
    cell_px: float
    picture_bgr: NDArray[np.uint8]  # the photo reduced to the maps' grid

    def to_photo(self, cells: NDArray[np.float64]) -> NDArray[np.float64]:
        """Cell coordinates (..., 2), centre of cell (0, 0) being 0, to px of the photo."""
        return (cells + 0.5) * self.cell_px - 0.5


@cache
def _network() -> cv2.dnn.Net:
    weights = files("petitpied.finding").joinpath("finder.onnx").read_bytes()
    # the older of OpenCV's two engines: it alone takes Winograd's way through these convolutions,
    # a sixth faster (the dilated ones of the other networks are slower by it)
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8), cv2.dnn.ENGINE_CLASSIC)


def _sigmoid(logit: Maps) -> Maps:
    return np.asarray(1 / (1 + np.exp(-np.clip(logit, -30, 30))), np.float32)


def _planes(board: NDArray[np.uint8]) -> Maps:
    """A picture (H, W, 3) as the network takes it, (1, 3, H, W) from 0 to 1; ten times faster
    than OpenCV's function for it."""
    planes = np.empty((1, 3, *board.shape[:2]), np.float32)
    for plane, channel in zip(planes[0], cv2.split(board), strict=True):
        np.multiply(channel, np.float32(1 / 255), out=plane)
    return planes


def run_finder(pixels_bgr: NDArray[np.uint8]) -> FinderMaps:
    """Maps for a photo of shape (height, width, 3), uint8.

    The photo is fitted into the network's input, turned if it is upright, the rest left grey.
    """
    height, width = pixels_bgr.shape[:2]
    upright = height > width
    long_px, short_px = (height, width) if upright else (width, height)
    factor = min(INPUT_PX[0] / long_px, INPUT_PX[1] / short_px)
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    small = reduced(pixels_bgr, size)
    if upright:
        small = np.ascontiguousarray(small.transpose(1, 0, 2))
    board = np.full((INPUT_PX[1], INPUT_PX[0], 3), 114, np.uint8)
    board[: small.shape[0], : small.shape[1]] = small
    net = _network()
    net.setInput(_planes(board))
    out = np.asarray(net.forward(), np.float32)[0]
    rows, columns = (-(-n // STRIDE) for n in small.shape[:2])
    out = out[:, :rows, :columns]
    middle = np.empty((rows, columns, 2), np.float32)
    for axis, own in enumerate((np.arange(columns)[None], np.arange(rows)[:, None])):
        np.multiply(out[2 + axis], np.float32(OFFSET_UNIT_PX / STRIDE), out=middle[..., axis])
        middle[..., axis] += own
    shell, cap = _sigmoid(out[0]), _sigmoid(out[1])
    if upright:
        shell, cap = shell.T.copy(), cap.T.copy()
        middle = np.ascontiguousarray(middle.transpose(1, 0, 2)[..., ::-1])
    if upright:
        small = np.ascontiguousarray(small.transpose(1, 0, 2))
    rows, columns = shell.shape
    picture = cv2.resize(small, (columns, rows), interpolation=cv2.INTER_AREA)
    cell_px = STRIDE * width / size[0]
    return FinderMaps(
        shell, cap, middle, cell_px, np.asarray(picture, np.uint8)
    )
