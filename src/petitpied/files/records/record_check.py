"""What a record from outside must hold beyond its schema: bounded texts, possible numbers.

`check_texts` comes before anything else looks at the parsed JSON; `check_possible` after.
"""

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.possible import LARGEST_U, POSSIBLE
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.domain.view import View

Floats = NDArray[np.float64]

LONGEST_TEXT = 2_000
LONGEST_ID = 20
#: entries of any list but an outline, and points of an outline (ours have up to 360)
MOST_ENTRIES, MOST_POINTS = 2_000, 5_000
#: the largest trays that are sold (600 x 400 mm) take 260 shells of 25 mm; two of them in a photo
MOST_SHELLS = 600
MOST_ROWS = 200
#: far beyond what any photo and tray can give, and still drawn without harm
FARTHEST_PX, FARTHEST_MM, LARGEST_REL = 100_000.0, 10_000.0, 10.0
#: no photo is read that is larger or longer (`petitpied.photo.decode`)
MOST_PIXELS, LONGEST_SIDES_REL = 51_000_000, 8.0
OUTLINES = frozenset({"outline_px", "cap_outline_px", "path_px"})


def check_texts(parsed: Any) -> None:
    """Bounds of texts and lists of a parsed JSON file, before its schema is looked at.

    Raises
    ------
    ValueError
        If a text is too long or no proper Unicode, or a list too long.
    """
    waiting = [parsed]
    while waiting:
        value = waiting.pop()
        if isinstance(value, str):
            _check_text(value)
        elif isinstance(value, list):
            if len(value) > MOST_ENTRIES:
                raise ValueError(f"a list in it has {len(value)} entries, at most {MOST_ENTRIES}")
            waiting.extend(value)
        elif isinstance(value, dict):
            if len(value) > MOST_ENTRIES:
                raise ValueError(f"a part of it has {len(value)} names, at most {MOST_ENTRIES}")
            for name, part in value.items():
                _check_text(name)
                if name in OUTLINES and isinstance(part, list):
                    if len(part) > MOST_POINTS:
                        raise ValueError(f"an outline has {len(part)} points")
                else:
                    waiting.append(part)


def _check_text(text: str) -> None:
    if len(text) > LONGEST_TEXT:
        raise ValueError(f"a text in it has {len(text)} letters, at most {LONGEST_TEXT}")
    if not text.isascii() and any("\ud800" <= c <= "\udfff" for c in text):
        raise ValueError("a text in it is no proper Unicode")


def check_possible(record: Record) -> None:
    """Numbers that a photo of a tray can give, and an id for each shell.

    Raises
    ------
    ValueError
        What is not possible, and of which shell.
    """
    photo = record.photo
    sides = sorted((photo.width, photo.height))
    if sides[0] * sides[1] > MOST_PIXELS or sides[1] > LONGEST_SIDES_REL * sides[0]:
        raise ValueError(f"no photo of {photo.width} x {photo.height} pixels is ever measured")
    if record.px_per_mm is not None and record.px_per_mm > 1000:
        raise ValueError("its scale is beyond any photo's")
    if len(record.shells) > MOST_SHELLS:
        raise ValueError(f"it has {len(record.shells)} shells, at most {MOST_SHELLS}")
    if record.view is not None:
        _check_view(record.view)
    for card in record.cards:
        _check_near(card.corners_px, FARTHEST_PX, "a card outside of any photo")
    for name, height in record.heights_mm.items():
        if not -50 <= height.value <= 200 or not _sure(height):
            raise ValueError(f"its height {name[:20]!r} is beyond any shell's")
    ids: set[str] = set()
    for shell in record.shells:
        strange = "its id twice" if shell.id in ids else _strange(shell)
        if strange:
            raise ValueError(f"its shell {shell.id[:LONGEST_ID]!r} has {strange}")
        ids.add(shell.id)


def _check_view(view: View) -> None:
    """A camera: finite, of some focal length, and a pose that is a turn and a shift."""
    (fx, _, cx), (_, fy, cy), last = view.camera_matrix
    if not (1 <= fx <= 1e7 and 1 <= fy <= 1e7 and max(abs(cx), abs(cy)) <= FARTHEST_PX):
        raise ValueError("its camera has no possible focal length or centre")
    if not np.array_equal(last, (0, 0, 1)) or np.abs(view.dist).max() > 1e6:
        raise ValueError("its camera is none")
    turn, shift = view.world_to_camera[:, :3], view.world_to_camera[:, 3]
    if np.abs(turn @ turn.T - np.eye(3)).max() > 1e-3 or np.linalg.det(turn) < 0:
        raise ValueError("its camera's pose is no turn")
    if np.abs(shift).max() > FARTHEST_MM or view.camera_centre_mm[2] >= 0:
        raise ValueError("its camera is not above a tray")
    covariance = view.covariance
    if covariance.ndim != 2 or covariance.shape[0] != covariance.shape[1]:
        raise ValueError("its covariance is not square")
    if (np.diag(covariance) < 0).any() or np.abs(covariance).max() > 1e12:
        raise ValueError("its covariance is none")


def _strange(shell: Shell) -> str:
    """What of a shell no photo of a tray can give; "" where there is nothing."""
    if not 0 < len(shell.id) <= LONGEST_ID or not shell.id.isprintable():
        return "no proper id"
    if not (0 <= shell.place.row < MOST_ROWS and 0 <= shell.place.column < MOST_ROWS):
        return "a row or column outside of any tray"
    try:
        _check_places(shell)
    except ValueError as fault:
        return str(fault)
    for name, (low, high) in POSSIBLE.items():
        quantity = shell.quantity(name)
        if quantity is not None and not (low <= quantity.value <= high and _sure(quantity)):
            return f"a {name} of {quantity.value:.4g} ± {quantity.u95:.2g}"
    if shell.sizes.diameter_rel is not None and not 0 < shell.sizes.diameter_rel <= LARGEST_REL:
        return f"a diameter of {shell.sizes.diameter_rel:.4g} times the median"
    return ""


def _sure(quantity: Quantity) -> bool:
    return 0 <= quantity.u <= LARGEST_U


def _check_places(shell: Shell) -> None:
    cap = shell.place.cap_outline_px
    for outline in (shell.place.outline_px, *([] if cap is None else [cap])):
        if len(outline) < 3:
            raise ValueError("an outline that is none")
        _check_near(outline, FARTHEST_PX, "an outline outside of any photo")
    _check_near(shell.place.centre_px, FARTHEST_PX, "a place outside of any photo")
    if shell.place.centre_mm is not None:
        _check_near(shell.place.centre_mm, FARTHEST_MM, "a place outside of any tray")
    for crack in shell.surface.cracks or ():
        _check_near(crack.path_px, FARTHEST_PX, "a crack outside of any photo")
    surface = shell.surface
    peaks = () if surface.peak is None else (surface.peak,)
    marks = (*(surface.dimples or ()), *(surface.pinholes or ()), *peaks)
    for mark in marks:
        _check_near(mark.centre_px, FARTHEST_PX, "a mark outside of any photo")
        _check_near(mark.centre_mm, FARTHEST_MM, "a mark outside of any tray")


def _check_near(places: Floats | Iterable[float], farthest: float, strange: str) -> None:
    if np.abs(np.asarray(places, float)).max() > farthest:
        raise ValueError(strange)
