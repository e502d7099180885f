"""Photos of the chart as a set: do they belong together, do they suffice, what to add."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.lens.calibrate import Calibration, Corners, calibrate
from petitpied.camera.lens.chart import ChartSighting
from petitpied.camera.lens.turns import stored_size, to_stored, turn_matrix
from petitpied.domain import card
from petitpied.domain.errors import LensError
from petitpied.domain.lens import LensProfile
from petitpied.domain.view import rotation_matrix

Floats = NDArray[np.float64]

#: fewest photos: each gives two bounds on the lens, and it has seven unknowns; twice as many
#: let a bad one show (common practice: 10 to 20)
MIN_PHOTOS = 8
#: cells (columns, rows) of the picture's field, and the share of them that must be covered
CELLS, MIN_COVERAGE_REL = (8, 6), 0.7
#: photos whose charts' normals all lie within this were taken from one place
ONE_PLACE_DEG = 8.0
#: the chart must lean this far both ways about either axis, as a range, or the focal length
#: cannot be told from the distance (common practice, no source)
LEAN_RANGE_DEG = 25.0
#: largest standard uncertainty of the focal length, relative
MAX_FOCAL_U_REL = 0.003
#: reprojection error beyond which no one lens fits: one pixel of a 12-megapixel photo, and at
#: least half a pixel
MAX_RMS_OF_DIAGONAL, MAX_RMS_LEAST_PX = 1 / 5040, 0.5
#: the chart's squares wider than high by this: printed or shown out of shape
STRETCH_REFUSE_REL, SIGNIFICANT = 0.004, 4.0
#: a square may differ by this from what a card beside the chart says: marker corners are good to
#: half a pixel in some 50
SCALE_REFUSE_REL = 0.03

CORNER_NAMES = {
    (-1, -1): "upper left corner",
    (1, -1): "upper right corner",
    (-1, 1): "lower left corner",
    (1, 1): "lower right corner",
}


@dataclass(frozen=True)
class ChartPhoto:
    """One photo of the set: name, the header's facts of the lens, size and orientation of the
    upright picture, and the chart in it, or why it cannot be used."""

    name: str
    camera: str | None
    focal_mm: float | None
    focal_35mm_mm: float | None
    digital_zoom: float | None
    size_px: tuple[int, int]
    orientation: int
    chart: ChartSighting | str


def profile_of(photos: Sequence[ChartPhoto], square_mm: float) -> LensProfile:
    """The lens that took the photos.

    Parameters
    ----------
    photos : sequence of ChartPhoto
    square_mm : float
        Side of the chart's squares as printed or shown.

    Raises
    ------
    LensError
        Mixed cameras, zooms or sizes; a chart out of shape or of another size than said; too few
        usable photos, all from one place, too little tilt, a part of the field not covered.
    """
    _check_one_camera(photos)
    seen = [(p, p.chart) for p in photos if isinstance(p.chart, ChartSighting)]
    _check_enough(photos, len(seen))
    _check_size_by_card(seen, square_mm)
    first = seen[0][0]
    size = stored_size(*first.size_px, first.orientation)
    corners = [
        Corners(c.points_squares, to_stored(c.points_px, p.size_px, p.orientation)) for p, c in seen
    ]
    cells = _covered(corners, size)
    lens = calibrate(corners, size)
    _check_places(lens)
    _check_stretch(lens)
    _check_fit(lens, [p.name for p, _ in seen], size)
    _check_field(cells, first.orientation)
    _check_leans(lens)
    return LensProfile(
        camera=first.camera,
        focal_mm=first.focal_mm,
        focal_35mm_mm=first.focal_35mm_mm,
        width_px=size[0],
        height_px=size[1],
        focal_px=lens.focal_px,
        centre_px=lens.centre_px,
        dist=(*map(float, lens.dist),),  # type: ignore[arg-type]
        covariance=lens.covariance,
        rms_px=lens.rms_px,
        coverage_rel=float(cells.mean()),
        photos=len(seen),
        distance_mm=square_mm * float(np.median(_distances(lens))),
        digital_zoom=first.digital_zoom,
    )


def _check_one_camera(photos: Sequence[ChartPhoto]) -> None:
    first = photos[0]
    for other in photos[1:]:
        pairs = (
            (first.camera, other.camera, "by different cameras"),
            (first.focal_mm, other.focal_mm, "with different lenses of the camera"),
            (first.focal_35mm_mm, other.focal_35mm_mm, "with different zooms"),
            (
                stored_size(*first.size_px, first.orientation),
                stored_size(*other.size_px, other.orientation),
                "in different sizes",
            ),
        )
        for one, two, how in pairs:
            if one != two:
                raise LensError(
                    what=f"the photos were taken {how}",
                    why=f"{first.name} says {_said(one)} and {other.name} says {_said(two)}",
                    next_step="make a profile for each lens, zoom and picture size from photos "
                    "taken alike",
                )


def _said(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, tuple):
        return " x ".join(map(str, value))
    return f"{value} mm" if isinstance(value, float) else str(value)


def _check_enough(photos: Sequence[ChartPhoto], usable: int) -> None:
    if usable >= MIN_PHOTOS:
        return
    faults = [f"{p.name}: {p.chart}" for p in photos if isinstance(p.chart, str)]
    left = "" if len(faults) <= 3 else f", and {len(faults) - 3} more"
    why = f"{usable} of {len(photos)} can be used and at least {MIN_PHOTOS} are needed"
    raise LensError(
        what="too few photos of the lens chart",
        why=why + (f" ({'; '.join(faults[:3])}{left})" if faults else ""),
        next_step=f"add {MIN_PHOTOS - usable} or more sharp photos with most of the chart in view",
    )


def _check_size_by_card(seen: Sequence[tuple[ChartPhoto, ChartSighting]], square_mm: float) -> None:
    for photo, chart in seen:
        by_card = chart.square_by_card_mm
        if by_card is not None and abs(by_card / square_mm - 1) > SCALE_REFUSE_REL:
            raise LensError(
                what="the lens chart has another size than said",
                why=f"against the card beside it in {photo.name} its squares measure "
                f"{by_card:.1f} mm and not {square_mm:.1f} mm",
                next_step="print the chart at 100 %, or give the true size with --square-mm",
            )


def _covered(corners: Sequence[Corners], size_px: tuple[int, int]) -> NDArray[np.bool_]:
    """Which cells (rows, columns) of the field hold a corner."""
    cells = np.zeros(CELLS[::-1], bool)
    points = np.concatenate([c.px for c in corners])
    place = ((points + 0.5) / np.array(size_px) * CELLS).astype(int)
    x, y = np.clip(place, 0, np.array(CELLS) - 1).T
    cells[y, x] = True
    return cells


def _normals(lens: Calibration) -> Floats:
    """Normals (P, 3) of the charts, camera frame."""
    return np.array([rotation_matrix(r)[:, 2] for r in lens.rotations])


def _distances(lens: Calibration) -> Floats:
    """Distance of the charts' middles from the camera (P,), squares."""
    middle = np.array([*np.array(card.LENS_CHART.squares) / 2, 0.0])
    places = [
        rotation_matrix(r) @ middle + s for r, s in zip(lens.rotations, lens.shifts, strict=True)
    ]
    return np.asarray(np.linalg.norm(places, axis=1), float)


def _check_places(lens: Calibration) -> None:
    normals = _normals(lens)
    widest = float(np.rad2deg(np.arccos(np.clip((normals @ normals.T).min(), -1, 1))))
    if widest < ONE_PLACE_DEG:
        raise LensError(
            what="all photos of the chart were taken from one place",
            why=f"the chart's tilt differs by {widest:.0f} degrees at most and "
            f"{LEAN_RANGE_DEG:.0f} or more are needed",
            next_step="walk round the chart and photograph it from each side, tilted by 20 to 40 "
            "degrees, and some from straight above",
        )


def _check_fit(lens: Calibration, names: list[str], size_px: tuple[int, int]) -> None:
    limit = max(MAX_RMS_LEAST_PX, MAX_RMS_OF_DIAGONAL * float(np.hypot(*size_px)))
    if lens.rms_px <= limit:
        return
    by_photo = [float(np.sqrt((r**2).sum(axis=1).mean())) for r in lens.residuals_px]
    worst = int(np.argmax(by_photo))
    raise LensError(
        what="the photos of the chart do not fit one lens",
        why=f"corners are {lens.rms_px:.1f} pixels off (root mean square), {by_photo[worst]:.1f} "
        f"in {names[worst]}, and at most {limit:.1f} is allowed",
        next_step="keep the chart flat, use one lens at one zoom for all photos, or leave that "
        "photo out",
    )


def _check_stretch(lens: Calibration) -> None:
    if abs(lens.stretch_rel) > max(STRETCH_REFUSE_REL, SIGNIFICANT * lens.stretch_u_rel):
        raise LensError(
            what="the lens chart is printed or shown at a wrong scale",
            why=f"its squares are {100 * lens.stretch_rel:+.1f} % wider than high",
            next_step="print it anew at 100 %, without 'fit to page', or show it without "
            "stretching, and retake",
        )


def _check_field(cells: NDArray[np.bool_], orientation: int) -> None:
    """Corners of the picture by name, as the first photo shows them."""
    half_x, half_y = CELLS[0] // 4, CELLS[1] // 3
    missing = []
    for (x, y), name in CORNER_NAMES.items():
        stored_x, stored_y = np.array([x, y]) @ turn_matrix(orientation)
        rows = slice(0, half_y) if stored_y < 0 else slice(-half_y, None)
        columns = slice(0, half_x) if stored_x < 0 else slice(-half_x, None)
        if not cells[rows, columns].any():
            missing.append(name)
    if not missing and cells.mean() >= MIN_COVERAGE_REL:
        return
    where = f"nothing of it in the {' and the '.join(missing)}" if missing else "gaps between"
    raise LensError(
        what="the chart does not cover the picture",
        why=f"it was seen in {cells.mean():.0%} of the field ({where}), and at least "
        f"{MIN_COVERAGE_REL:.0%} with all four corners are needed",
        next_step="add photos with the chart in "
        + (f"the {' and the '.join(missing)}" if missing else "each corner and at each edge")
        + ", and some that it fills",
    )


def _check_leans(lens: Calibration) -> None:
    lean = np.ptp(np.rad2deg(np.arcsin(np.clip(_normals(lens)[:, :2], -1, 1))), axis=0)
    focal_u = float(np.sqrt(lens.covariance[0, 0]))
    if lean.min() >= LEAN_RANGE_DEG and focal_u <= MAX_FOCAL_U_REL:
        return
    if lean.min() < LEAN_RANGE_DEG:
        way = "left and right" if lean[0] < lean[1] else "up and down"
        why = (
            f"its tilt {way} varies by {lean.min():.0f} degrees and {LEAN_RANGE_DEG:.0f} are needed"
        )
        step = f"add photos from the {'sides' if lean[0] < lean[1] else 'near and the far side'}"
    else:
        why = f"the focal length is known to {100 * focal_u:.1f} % only"
        step = "add sharp photos from all sides"
    raise LensError(
        what="the photos of the chart are too much alike",
        why=why,
        next_step=f"{step}, with the chart tilted by 20 to 40 degrees",
    )
