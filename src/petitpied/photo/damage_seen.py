"""Damage that no decoder tells, seen in the picture: where the code of a picture breaks, the rest
of it, row by row, is brighter, darker or elsewhere, and a seam of one row's width shows that no
lens and no edge of a real thing can draw."""

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float64]

#: rows between seams that a JPEG, WebP or HEIC can show (blocks of 8 and more, ITU-T T.81)
BLOCK_ROWS = 8
#: the picture's width is judged in so many parts, by every so manieth column
PARTS, EVERY = 16, 12
#: a step of that many grey levels is a seam, if those before and after it are smaller by that
#: factor: a real edge, spread by a lens over 0.5 px and more, has a third of its step beside it
LEAST_STEP, SHARPER = 2.5, 4.0
#: the same of tints (blue and red against green)
LEAST_TINT_STEP, TINT_SHARPER = 4.0, 6.0
#: parts of one seam: on 35 good photos, some of them poor JPEGs, at most 5 of 16 parts of one row
#: of blocks looked like one, and 7 where the next row of blocks was counted too
MOST_BY_CHANCE, MOST_OF_TWO = 8, 10
#: tiles for garbled parts: side, px, by every so manieth column; a step of the noise, grey levels;
#: so many tiles must have it; steps elsewhere count so much against it
TILE_PX, TILE_EVERY, NOISE_STEP, TILES, NATURAL = 128, 3, 12, 3, 4.0
#: places of a tile with such a step: on 17 good photos saved anew at quality 60 and 40 the third
#: tile has at most 0.024 and 0.061, of those garbled by damage most have 0.05 and 0.1 and more
MOST_WEBP_REL, MOST_HEIC_REL = 0.03, 0.09


def seam_row(pixels_bgr: Pixels, every_row: bool = False) -> int | None:
    """The first row of a picture (H, W, 3) from which on it was decoded from damaged data.

    Parameters
    ----------
    every_row : bool
        Seams may lie at any row (pictures that were stored row by row), not at blocks' only.

    Returns
    -------
    int or None
        None where no seam shows.
    """
    height = len(pixels_bgr)
    first, stride = (3, 1) if every_row else (BLOCK_ROWS, BLOCK_ROWS)
    rows = np.arange(first, height - 3, stride)
    if not len(rows) or pixels_bgr.shape[1] < PARTS * EVERY:
        return None
    few = pixels_bgr[:, EVERY // 2 :: EVERY].astype(np.int16)
    before, at, after = (_steps(few, rows + shift, 1) for shift in (-1, 0, 1))
    seams = (at >= LEAST_STEP) & (at > SHARPER * np.maximum(before, after))
    # colour is stored at half the rows, and spread over two when it is put back
    tint = few[:, :, ::2] - few[:, :, 1:2]
    spread = ((-2, 1), (1, 3), (2, 1))
    before, at, after = (_steps(tint, rows + shift, far) for shift, far in spread)
    seams |= (at >= LEAST_TINT_STEP) & (at > TINT_SHARPER * np.maximum(before, after))
    count = seams.sum(axis=1)
    # a seam that begins within a row of blocks goes on at the next row, left of there; blocks
    # are 8 or 16 rows high
    both = count.copy()
    for step in (1,) if every_row else (1, 2):
        both[:-step] = np.maximum(both[:-step], (seams[:-step] | seams[step:]).sum(axis=1))
    found = np.flatnonzero((count > MOST_BY_CHANCE) | (both > MOST_OF_TWO))
    return int(rows[found[0]]) if len(found) else None


def _steps(columns: NDArray[np.int16], rows: NDArray[np.int_], far: int) -> Floats:
    """Steps (R, PARTS) to each of ``rows`` from the row ``far`` before: medians, largest colour."""
    steps = columns[rows] - columns[rows - far]
    width = steps.shape[1] // PARTS
    parts = steps[:, : width * PARTS].reshape(len(rows), PARTS, width, -1)
    middle = np.partition(parts, width // 2, axis=2)[:, :, width // 2]
    return np.asarray(np.abs(middle).max(axis=2), float)


def is_garbled(pixels_bgr: Pixels, most_rel: float) -> bool:
    """Whether parts of a picture (H, W, 3) are the noise that a decoder makes of damaged data.

    Such noise has steps of a single row's width where blocks meet, and hardly any between. Judged
    by tiles; ``most_rel`` is the share of a good tile's places that may have one.
    """
    few = pixels_bgr[:, 1::TILE_EVERY].astype(np.int16)
    rows = np.arange(BLOCK_ROWS, len(few) - BLOCK_ROWS, BLOCK_ROWS)
    per_tile, width = TILE_PX // BLOCK_ROWS, TILE_PX // TILE_EVERY
    down, across = len(rows) // per_tile, few.shape[1] // width
    if down * across < TILES:
        return False
    met, between = (
        _sharp(few, rows + shift)[: down * per_tile, : across * width]
        .reshape(down, per_tile, across, width)
        .mean(axis=3)
        for shift in (0, BLOCK_ROWS // 2 - 1)
    )
    noise = met - NATURAL * between
    # one row of steps alone may be the edge of a thing, drawn or cut
    noise = (noise.sum(axis=1) - noise.max(axis=1)) / (per_tile - 1)
    worst = np.sort(noise.ravel())
    return bool(worst[-TILES] > most_rel)


def _sharp(columns: NDArray[np.int16], rows: NDArray[np.int_]) -> NDArray[np.bool_]:
    """Whether there is a step of one row's width at each of ``rows``, column by column."""
    before, at, after = (
        np.abs(columns[rows + shift] - columns[rows + shift - 1]).max(axis=2)
        for shift in (-1, 0, 1)
    )
    return np.asarray((at >= NOISE_STEP) & (at > 3 * np.maximum(before, after)), bool)
