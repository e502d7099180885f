"""Two photos of one tray from different places: one record, with every shell's height.

The photos are joined by their shells (the tray may have been moved between them; the card only
gives each photo its scale). Tops are found by `cap_sweep`, rims and feet by the rays through
their outlines' middles; sizes are the means of both photos.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.contours.cap_sweep import CapTops, sweep_caps
from petitpied.contours.heights import FOOT_EVIDENCE_U_MM, RIM_EVIDENCE_U_MM, TWO_PHOTOS
from petitpied.contours.triangulate import Level, ViewPair, height_slopes, settled, triangulate
from petitpied.domain.errors import ShellsError
from petitpied.domain.photo import Photo
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.same_tray import Registration, register
from petitpied.domain.settings import Settings
from petitpied.domain.shell import Shell
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES, quantity_of
from petitpied.inspection.one_photo import inspect_photo
from petitpied.sizing.outline import areas_and_centroids

Floats = NDArray[np.float64]

#: parallax, mm a mm of height, below which heights drown: places agree to 0.1 mm, and a height
#: should be known to a millimetre
LEAST_PARALLAX = 0.1
#: heights at which the rays through rims and feet are taken to be rings, mm (any will do that
#: is near: a millimetre moves an outline's middle by less than its noise)
RIM_NEAR_MM, FOOT_NEAR_MM = 4.5, 1.7
#: where a foot is widest, mm above the liner: 0.9 and 1.7 in the two kinds of tuning scenes
FOOT_LEVEL_MM, FOOT_LEVEL_U_MM = 1.3, 0.4
#: scatter of single feet (tuning pair) and of a card's corners, mm of height: 0.05 mm of place
#: over the usual parallax
FOOT_NOISE_MM, CARD_NOISE_MM = 0.5, 0.2
#: a card farther off its place than this, mm, was moved between the photos
CARD_MOVED_MM = 1.5
#: a top's height where none was found, mm: only the views' doubts are looked up there
USUAL_TOP_MM = 12.0
NOT_MATCHED = "its top does not look alike in both photos"
NOT_AGAIN = "the shell was not found again in the second photo"
#: averaged over both photos
_AVERAGED = (
    *("diameter_mm", "cap_diameter_mm", "foot_diameter_mm", "feret_min_mm", "feret_max_mm"),
    *("roundness_mm", "circularity", "aspect_ratio", "foot_spread_mm"),
)
#: own causes that are the shell's and not the photo's: they do not average out
_LASTING = np.array([cause == "outline definition" for cause in OWN_CAUSES])
#: shared causes that are new in each photo
_ANEW = np.array([cause == "corner noise and pose" for cause in SHARED_CAUSES])


def inspect_two(first: Photo, second: Photo, settings: Settings) -> Record:
    """One record, named after the first photo, in its frame.

    Raises
    ------
    ShellsError
        If the photos are one, are not of the same tray, or were taken from the same place.
    CardError, ShellsError
        As `inspect_photo`, for either.
    """
    if first.sha256 == second.sha256:
        raise _no_pair(first, second, "they are one and the same file", "take a second photo")
    records = [inspect_photo(photo, settings) for photo in (first, second)]
    seen = [[i for i, s in enumerate(r.shells) if s.centre_mm is not None] for r in records]
    joined = register(*(_centres(r, i) for r, i in zip(records, seen, strict=True)))
    if joined is None:
        raise _no_pair(
            first,
            second,
            "their shells do not lie in the same places",
            "give two photos of one tray whose shells were not moved in between",
        )
    views = [r.view for r in records]
    assert views[0] is not None
    assert views[1] is not None
    pair = ViewPair(views[0], views[1], joined)
    shells = [
        (records[0].shells[seen[0][i]], records[1].shells[seen[1][j]]) for i, j in joined.pairs
    ]
    raised = _raised(pair, shells, settings.card_thickness_mm)
    parallax = float(np.median(raised.parallax))
    if parallax < LEAST_PARALLAX:
        raise _no_pair(
            first,
            second,
            f"they were taken from nearly the same place: a height of 10 mm shows as "
            f"{10 * parallax:.1f} mm and {10 * LEAST_PARALLAX:.0f} mm is needed",
            "take the second one from a third of the height farther to a side",
        )
    greys = [np.asarray(cv2.cvtColor(p.pixels_bgr, cv2.COLOR_BGR2GRAY), np.float32)
             for p in (first, second)]  # fmt: skip
    radii = np.array([s.cap_diameter_mm.value / 2 for s, _ in shells if s.cap_diameter_mm])
    tops = sweep_caps(pair, (greys[0], greys[1]), raised.centres_mm, radii)
    return _record(records, pair, shells, raised, tops)


def _no_pair(first: Photo, second: Photo, why: str, next_step: str) -> ShellsError:
    what = f"{first.name} and {second.name} cannot be joined"
    return ShellsError(what=what, why=why, next_step=next_step)


def _centres(record: Record, index: Sequence[int]) -> Floats:
    return np.array([record.shells[i].centre_mm for i in index], float).reshape(-1, 2)


@dataclass(frozen=True)
class _Raised:
    """Of S shells: plan centres, heights of cap rims and feet (nan where none), parallax;
    ``card_mm``: height of the cards' printed faces."""

    centres_mm: Floats
    rim_mm: Floats
    foot_mm: Floats
    parallax: Floats
    card_mm: float


def _middles_px(shells: Sequence[tuple[Shell, Shell]], pair: ViewPair, name: str) -> list[Floats]:
    """Where both photos show the middles of an outline: two of (S, 2)."""
    height = RIM_NEAR_MM if name == "cap_outline_px" else FOOT_NEAR_MM
    result = []
    for which, view in enumerate((pair.first, pair.second)):
        outlines = [view.to_plane(getattr(s[which], name), height)[None] for s in shells]
        middles = np.concatenate([areas_and_centroids(outline)[1] for outline in outlines])
        result.append(view.project(middles, height))
    return result


def _raised(pair: ViewPair, shells: Sequence[tuple[Shell, Shell]], card_mm: float) -> _Raised:
    join = pair.second_to_first
    first = np.array([s.centre_mm for s, _ in shells], float)
    second = join.to_first(np.array([s.centre_mm for _, s in shells], float))
    rim = triangulate(pair, *_middles_px(shells, pair, "cap_outline_px"))
    outline = triangulate(pair, *_middles_px(shells, pair, "outline_px"))
    has_foot = np.array([a.foot_diameter_mm is not None for a, _ in shells])
    foot = np.where(has_foot, outline.height_mm, np.nan)
    rim_mm = np.where(has_foot, rim.height_mm, np.nan)
    return _Raised((first + second) / 2, rim_mm, foot, rim.parallax, card_mm)


def _both(a: Quantity | None, b: Quantity | None) -> Quantity | None:
    """Mean of one shell's size in two photos; one alone where the other does not tell."""
    if a is None or b is None:
        return a
    if not a.own or not b.own:
        u_own = float(np.hypot(a.u_own, b.u_own) / 2)
        return Quantity((a.value + b.value) / 2, u_own, (a.u_shared + b.u_shared) / 2)
    mean_own = (np.array(a.own) + b.own) / 2
    own = np.where(_LASTING, mean_own, np.hypot(a.own, b.own) / 2)
    mean = (np.array(a.shared) + b.shared) / 2
    # each photo's pose is its own; the sign is the first's, which only differences see
    anew = np.copysign(np.hypot(a.shared, b.shared) / 2, a.shared)
    shared = np.where(_ANEW, anew, mean)
    return quantity_of((a.value + b.value) / 2, own.tolist(), shared.tolist())


def _lean(a: Shell, b: Shell, turn_deg: float) -> tuple[Quantity | None, float | None]:
    """Mean lean as a vector, in the first photo's frame."""
    if a.lean_mm is None or b.lean_mm is None or a.lean_dir_deg is None or b.lean_dir_deg is None:
        return a.lean_mm, a.lean_dir_deg
    angles = np.deg2rad([a.lean_dir_deg, b.lean_dir_deg + turn_deg])
    size = np.array([a.lean_mm.value, b.lean_mm.value])
    x, y = (size * np.cos(angles)).mean(), (size * np.sin(angles)).mean()
    mean = _both(a.lean_mm, b.lean_mm)
    assert mean is not None
    return replace(mean, value=float(np.hypot(x, y))), float(np.rad2deg(np.arctan2(y, x)))


def _merged(a: Shell, b: Shell, turn_deg: float, height: Quantity | None) -> Shell:
    sizes = {name: _both(getattr(a, name), getattr(b, name)) for name in _AVERAGED}
    lean, direction = _lean(a, b, turn_deg)
    missing = tuple(item for item in a.missing if item[0] != "height_mm")
    if height is None:
        missing += (("height_mm", NOT_MATCHED),)
    changed: dict[str, object] = {**sizes, "lean_mm": lean, "lean_dir_deg": direction}
    return replace(a, **changed, height_mm=height, missing=missing)  # type: ignore[arg-type]


def _cards(records: Sequence[Record], pair: ViewPair, card_mm: float) -> tuple[Floats, Floats]:
    """Corners of cards that lie in both photos at the same place of the tray: plan places
    (M, 2) and triangulated heights (M,)."""
    first, second = ({c.id: c.corners_px for c in r.cards} for r in records)
    places, heights = [np.zeros((0, 2))], [np.zeros(0)]
    for letter in sorted(first.keys() & second.keys()):
        found = triangulate(pair, first[letter], second[letter])
        if np.abs(found.gap_mm).max() < CARD_MOVED_MM:
            places.append(pair.first.to_plane(first[letter], card_mm))
            heights.append(found.height_mm)
    return np.concatenate(places), np.concatenate(heights)


def _errors(
    records: Sequence[Record], pair: ViewPair, raised: _Raised, level_mm: float
) -> tuple[Floats, Floats]:
    """What heights of tops are wrong by, (S,) mm, and what stays uncertain, by `settled`."""
    shells = len(raised.centres_mm)
    places, found = _cards(records, pair, raised.card_mm)
    near = height_slopes(pair, np.concatenate([raised.centres_mm, places]), FOOT_NEAR_MM, shells)
    feet = Level(near[:, :shells], raised.foot_mm - FOOT_LEVEL_MM, FOOT_LEVEL_U_MM, FOOT_NOISE_MM)
    cards = (
        Level(near[:, shells:], found - raised.card_mm, 0.0, CARD_NOISE_MM) if len(found) else None
    )
    return settled(feet, cards, height_slopes(pair, raised.centres_mm, level_mm))


def _heights(tops: CapTops, error: Floats, shared: Floats) -> list[Quantity | None]:
    rows = zip(tops.height_mm - error, tops.u_mm, shared, strict=True)
    return [Quantity(float(h), float(u), float(s)) if np.isfinite(h) else None for h, u, s in rows]


def _mean_height(heights_mm: Floats, evidence_u_mm: float) -> Quantity | None:
    """Tray's mean of a ring height, from the shells that show it."""
    known = heights_mm[np.isfinite(heights_mm)]
    if len(known) < 3:
        return None
    # median and its scatter: single outlines go astray
    scatter = 1.4826 * float(np.median(np.abs(known - np.median(known))))
    own = 1.25 * scatter / np.sqrt(len(known))
    return Quantity(float(np.median(known)), float(own), evidence_u_mm)


def _record(
    records: Sequence[Record],
    pair: ViewPair,
    shells: Sequence[tuple[Shell, Shell]],
    raised: _Raised,
    tops: CapTops,
) -> Record:
    turn: Registration = pair.second_to_first
    known_mm = tops.height_mm[np.isfinite(tops.height_mm)]
    level_mm = float(np.median(known_mm)) if len(known_mm) else USUAL_TOP_MM
    error, shared_u = _errors(records, pair, raised, level_mm)
    raised = replace(raised, rim_mm=raised.rim_mm - error, foot_mm=raised.foot_mm - error)
    heights = _heights(tops, error, shared_u)
    merged = {
        a.id: _merged(a, b, turn.turn_deg, height)
        for (a, b), height in zip(shells, heights, strict=True)
    }
    first, second = records
    known = [q for q in heights if q is not None]
    shared = {
        "cap_rim": _mean_height(raised.rim_mm, RIM_EVIDENCE_U_MM),
        "foot": _mean_height(raised.foot_mm, FOOT_EVIDENCE_U_MM),
        "top": _mean_height(np.array([q.value for q in known]), 0.0),
    }
    other = tuple(f"second photo: {w}" for w in second.warnings if w not in first.warnings)
    return replace(
        first,
        shells=_with_relative([merged.get(s.id, _alone(s)) for s in first.shells]),
        heights_mm=first.heights_mm | {n: q for n, q in shared.items() if q is not None},
        heights_source=f"{TWO_PHOTOS}: {first.photo.file}, {second.photo.file}",
        warnings=(*first.warnings, *other),
    )


def _alone(shell: Shell) -> Shell:
    if shell.not_measured is not None:
        return shell
    missing = tuple((n, NOT_AGAIN if n == "height_mm" else why) for n, why in shell.missing)
    return replace(shell, missing=missing)


def _with_relative(shells: Sequence[Shell]) -> tuple[Shell, ...]:
    median = float(np.median([s.diameter_mm.value for s in shells if s.diameter_mm is not None]))
    return tuple(
        replace(s, diameter_rel=s.diameter_mm.value / median) if s.diameter_mm else s
        for s in shells
    )
