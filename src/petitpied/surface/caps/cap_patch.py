"""Every cap of a photo in plan view, side by side in one picture, with the way back to the photo.

A cap is seen through the known camera as a dome over its rim: each place of the patch is looked up
where the camera sees that place of the dome. All caps together fill one mosaic, so that a filter
runs once a photo.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain.shell import Shell
from petitpied.domain.view import View

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

#: 0.2 mm: a crack of 0.5 mm is then 2.5 px wide, and most photos of a tray have 5 to 10 px a mm
MM_PER_PX = 0.2
#: seen around a cap, so that a filter near the rim has ground to stand on
MARGIN_MM = 2.0
#: the dome's middle stands above its rim by this part of the cap's diameter (common practice, no
#: source: shells are 10 to 13 mm high on rims of 4 to 6 mm). Off by half, a shell 150 mm from
#: below a camera 700 mm high has its middle moved by 0.7 mm, but no length on it by over 3 %.
DOME_REL = 0.15
#: nodes across a tile at which the camera is computed exactly; bilinear between (error below
#: 0.1 px: the dome's sag between nodes 4 mm apart is 0.1 mm, seen at a fifth of that at most)
NODES = 17


@dataclass(frozen=True)
class Cap:
    """A cap to be looked at: its rim (N, 2) in plan view, mm, and the rim's height."""

    outline_mm: Floats
    rim_height_mm: float

    @cached_property
    def centre_mm(self) -> Floats:
        """Middle (2,) of the outline's box."""
        low, high = self.outline_mm.min(axis=0), self.outline_mm.max(axis=0)
        return np.asarray((low + high) / 2, float)

    @cached_property
    def radius_mm(self) -> float:
        """Half the outline's longer side."""
        return float(np.ptp(self.outline_mm, axis=0).max()) / 2

    def height_mm(self, points_mm: Floats) -> Floats:
        """Height (N,) of the dome at plan places (N, 2); level beyond the rim."""
        reach = np.hypot(*(points_mm - self.centre_mm).T) / self.radius_mm
        dome = 2 * DOME_REL * self.radius_mm * np.clip(1 - reach**2, 0, None)
        return np.asarray(self.rim_height_mm + dome, float)


def cap_of(view: View, shell: Shell, rim_height_mm: float) -> Cap | None:
    """The cap of a measured shell; None where the shell has no cap outline."""
    if shell.cap_outline_px is None or len(shell.cap_outline_px) < 3:
        return None
    return Cap(view.to_plane(shell.cap_outline_px, rim_height_mm), rim_height_mm)


@dataclass(frozen=True)
class CapPatches:
    """Caps in plan view. Tiles of ``side_px`` lie row by row in the mosaic, ``columns`` a row.

    ``mosaic_bgr`` (H, W, 3); ``inside`` (H, W) is 255 on the caps. Tile pixel (0, 0) is the centre
    of the tile's first pixel; its axes are those of the view's frame (x right, y towards the
    door in the tray frame).
    """

    mosaic_bgr: Bytes
    inside: Bytes
    mm_per_px: float
    side_px: int
    columns: int
    caps: tuple[Cap, ...]
    view: View

    def window(self, index: int) -> tuple[slice, slice]:
        """Rows and columns of a cap's tile in the mosaic."""
        row, column = divmod(index, self.columns)
        s = self.side_px
        return slice(row * s, (row + 1) * s), slice(column * s, (column + 1) * s)

    def to_mm(self, index: int, tile_px: Floats) -> Floats:
        """Places (N, 2) of a tile to plan-view mm, frame of the view."""
        middle = (self.side_px - 1) / 2
        return np.asarray(
            self.caps[index].centre_mm + (np.asarray(tile_px, float) - middle) * self.mm_per_px
        )

    def to_photo_px(self, index: int, tile_px: Floats) -> Floats:
        """Places (N, 2) of a tile to photo px, over the dome."""
        places = self.to_mm(index, tile_px)
        return self.view.project(places, self.caps[index].height_mm(places))

    def to_tile_px(self, index: int, points_mm: Floats) -> Floats:
        """Plan-view mm (N, 2) to places of a tile."""
        offset = np.asarray(points_mm, float) - self.caps[index].centre_mm
        return np.asarray(offset / self.mm_per_px + (self.side_px - 1) / 2)

    @cached_property
    def inset_mm(self) -> NDArray[np.float32]:
        """Distance (H, W) of each place from its cap's rim, to 2 %; 0 outside."""
        distance: Any = cv2.distanceTransform(self.inside, cv2.DIST_L2, 5)
        return np.asarray(distance * np.float32(self.mm_per_px), np.float32)


def cap_patches(
    pixels_bgr: Bytes, view: View, caps: Sequence[Cap], mm_per_px: float = MM_PER_PX
) -> CapPatches:
    """The caps (at least one) of a photo in one mosaic.

    Tiles are as large as the largest cap with `MARGIN_MM` needs. Where a patch is coarser than half
    the photo, the photo is reduced by areas first, so that nothing is skipped.
    """
    side = 2 * (max(cap.radius_mm for cap in caps) + MARGIN_MM)
    side_px = int(np.ceil(side / mm_per_px))
    columns = int(np.ceil(np.sqrt(len(caps))))
    rows = -(-len(caps) // columns)
    maps = np.full((rows * side_px, columns * side_px, 2), -1e4, np.float32)
    inside = np.zeros(maps.shape[:2], np.uint8)
    patches = CapPatches(
        np.zeros((0, 0, 3), np.uint8), inside, mm_per_px, side_px, columns, tuple(caps), view
    )
    node = np.linspace(0, side_px - 1, NODES)
    nodes = np.column_stack([axis.ravel() for axis in np.meshgrid(node, node)])
    places = np.concatenate([patches.to_mm(i, nodes) for i in range(len(caps))])
    heights = np.concatenate(
        [cap.height_mm(part) for cap, part in zip(caps, np.split(places, len(caps)), strict=True)]
    )
    seen = view.project(places, heights).reshape(len(caps), NODES, NODES, 2)
    photo, shrink = _reduced(pixels_bgr, mm_per_px * view.px_per_mm(caps[0].centre_mm))
    seen = (seen + 0.5) / shrink - 0.5
    between = _between(side_px)
    for index, cap in enumerate(caps):
        window = patches.window(index)
        for axis in (0, 1):
            maps[(*window, axis)] = between @ seen[index, ..., axis].astype(np.float32) @ between.T
        outline = np.round(patches.to_tile_px(index, cap.outline_mm) * 16).astype(np.int32)
        tile: Any = inside[window]
        cv2.fillPoly(tile, [outline], 255, cv2.LINE_8, 4)
    mosaic = cv2.remap(photo, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[call-overload]
    return CapPatches(
        np.asarray(mosaic, np.uint8), inside, mm_per_px, side_px, columns, tuple(caps), view
    )


def _between(side_px: int) -> NDArray[np.float32]:
    """Linear interpolation (side_px, NODES) from the nodes to every pixel of a tile's side."""
    at = np.arange(side_px) * (NODES - 1) / max(side_px - 1, 1)
    weight = np.clip(1 - np.abs(at[:, None] - np.arange(NODES)), 0, 1)
    return np.asarray(weight, np.float32)


def _reduced(pixels_bgr: Bytes, photo_px_per_patch_px: float) -> tuple[Bytes, int]:
    shrink = max(1, int(photo_px_per_patch_px))
    if shrink == 1:
        return pixels_bgr, 1
    height, width = pixels_bgr.shape[:2]
    size = (width // shrink, height // shrink)
    cut = pixels_bgr[: size[1] * shrink, : size[0] * shrink]
    return np.asarray(cv2.resize(cut, size, interpolation=cv2.INTER_AREA), np.uint8), shrink
