"""What would make a size surer, and by how much: the covariance derived anew as if it were so.

Each remedy changes what is known (a second card's corners, a lens profile, another distance,
a second photo), the view's covariance or the heights' doubts follow from it, and the budget is
combined again. Nothing is a rule of thumb.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.view_slopes import place_in_world
from petitpied.contours.heights import (
    FOOT_EVIDENCE_U_MM,
    RIM_EVIDENCE_U_MM,
    TWO_PHOTOS,
    heights_from_ruler,
)
from petitpied.contours.triangulate import covariance_root
from petitpied.domain import card
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES, VIEW_ORDER, quantity_of
from petitpied.domain.view import PARAMETERS, View
from petitpied.sizing.budget import CARD_THICKNESS_U_MM, PRINT_SCALE_REL, scale_slopes
from petitpied.sizing.evidence import WITNESSES, fading

Floats = NDArray[np.float64]

#: scatter of a card's corners in a phone photo, px (0.1 to 0.3 in the tuning scenes)
CORNER_PX = 0.2
#: a lens profile: focal length to 0.1 %, its residual distortion 0.3 px at the picture's corner,
#: its principal point to 3 px (what a good set of 12 chart photos gives)
PROFILE_FOCAL_REL, PROFILE_CORNER_PX, PROFILE_CENTRE_PX = 0.001, 0.3, 3.0
#: a step back, by this factor, with as much zoom, where the camera stands lower than this, mm
FARTHER, NEAR_MM = 1.6, 1000.0
#: a remedy that gains less than this share is not worth a word
WORTH_REL = 0.02
#: contrast of a liner whose colour is well apart from the feet's, CIELAB difference (the
#: better third of the tuning scenes)
GOOD_CONTRAST = 25.0

_DEFINITION = list(OWN_CAUSES).index("outline definition")

_POSE = np.array([cause == "corner noise and pose" for cause in SHARED_CAUSES])
_SHARED = {cause: i for i, cause in enumerate(SHARED_CAUSES[: -len(VIEW_ORDER)])}


@dataclass(frozen=True)
class Remedy:
    """``words``: what to do; ``predicted``: the quantity as it would be known then."""

    words: str
    predicted: Quantity


def card_information(view: View, place: Floats, thickness_mm: float) -> Floats:
    """What a card of unknown place, about ``place`` (x mm, y mm, turn rad), would tell of the
    view: information (P, P) of `PARAMETERS`, its own three unknowns eliminated."""
    corners = card.inner_corners_mm()

    def seen(changed: View, at: Floats) -> Floats:
        return changed.project(place_in_world(corners, at), thickness_mm).ravel() / CORNER_PX

    def slopes(of: Callable[[Floats], Floats], steps: Floats) -> Floats:
        columns = [(of(d) - of(-d)) / (2 * s) for d, s in zip(np.diag(steps), steps, strict=True)]
        return np.column_stack(columns)

    sigma = np.sqrt(np.diag(view.covariance))
    steps = np.where(sigma > 0, 0.01 * sigma, 1e-9)
    by_view = slopes(lambda d: seen(view.perturbed(d), place), steps)
    by_view[:, sigma == 0] = 0.0
    by_place = slopes(lambda d: seen(view, place + d), np.array([0.01, 0.01, 1e-4]))
    known = np.linalg.solve(by_place.T @ by_place, by_place.T @ by_view)
    return np.asarray(by_view.T @ by_view - by_view.T @ by_place @ known, float)


def with_information(view: View, information: Floats) -> View:
    """The view as it would be known with further information (P, P), by Bayes' rule."""
    root = covariance_root(view.covariance)
    inner = np.eye(root.shape[1]) + root.T @ information @ root
    return replace(view, covariance=np.asarray(root @ np.linalg.solve(inner, root.T), float))


def _profile_information(view: View, record: Record) -> Floats:
    """What a lens profile tells of `PARAMETERS`."""
    corner_px = np.hypot(record.photo.width, record.photo.height) / 2
    focal_px = float(view.camera_matrix[0, 0])
    reach = corner_px / focal_px
    bend = PROFILE_CORNER_PX / focal_px
    sigma = {"f_rel": PROFILE_FOCAL_REL, "cx_px": PROFILE_CENTRE_PX, "cy_px": PROFILE_CENTRE_PX}
    sigma |= {name: bend / reach**power for name, power in (("k1", 3), ("k2", 5), ("k3", 7))}
    sigma |= {"p1": bend / reach**2, "p2": bend / reach**2}
    return np.diag([1 / sigma[name] ** 2 if name in sigma else 0.0 for name in PARAMETERS])


def _far_place(record: Record, view: View) -> Floats:
    """Where a second card would lie: at the corner of the shells' field farthest from the
    cards, turned as the first."""
    places = np.array([s.centre_mm for s in record.shells if s.centre_mm is not None], float)
    low, high = places.min(axis=0), places.max(axis=0)
    corners = np.array([[x, y] for x in (low[0], high[0]) for y in (low[1], high[1])])
    cards = np.array([view.to_plane(c.corners_px).mean(axis=0) for c in record.cards])
    gap = np.hypot(*np.moveaxis(corners[:, None] - cards[None], 2, 0)).min(axis=1)
    middle = corners[int(gap.argmax())]
    edge = np.diff(view.to_plane(record.cards[0].corners_px[:2]), axis=0)[0]
    turn = float(np.arctan2(edge[1], edge[0]))
    half = place_in_world(np.array([[card.WIDTH_MM, card.HEIGHT_MM]]) / 2, np.array([0, 0, turn]))
    return np.array([*(middle - half[0]), turn])


def _with_view(quantity: Quantity, view: View, shell: Shell) -> Quantity:
    assert shell.centre_mm is not None
    slopes = scale_slopes(view, np.array([shell.centre_mm]))[0]
    shared = [*quantity.shared[: -len(VIEW_ORDER)], *(quantity.value * slopes)]
    return quantity_of(quantity.value, quantity.own, shared)


def _with_heights(quantity: Quantity, factors: dict[str, float]) -> Quantity:
    shared = list(quantity.shared)
    for cause, factor in factors.items():
        shared[_SHARED[cause]] *= factor
    return quantity_of(quantity.value, quantity.own, shared)


def _farther(record: Record, view: View, shell: Shell, quantity: Quantity) -> Quantity:
    """From `FARTHER` as far, zoomed as much: heights matter less; the view is known anew from
    the card alone, near and far, and its part changes as these two do."""
    axis = view.world_to_camera[2, :3]
    distance = -float(view.camera_centre_mm[2]) / float(axis[2])
    pose, matrix = view.world_to_camera.copy(), view.camera_matrix.copy()
    pose[2, 3] += (FARTHER - 1) * distance
    matrix[[0, 1], [0, 1]] *= FARTHER
    far = replace(view, camera_matrix=matrix, world_to_camera=pose)
    # what is known beforehand: the lens as now, the pose not at all (a metre, a radian)
    lens = np.array([name[0] not in "rt" for name in PARAMETERS])
    wide = np.where(lens, np.diag(view.covariance), 1.0)
    wide[[PARAMETERS.index(f"t{a}_mm") for a in "xyz"]] = 1e6
    # a lens zoomed by a factor bends its picture less by the same tangents of the field
    place = _first_place(record, view)
    alone = []
    for one in (view, far):
        blank = replace(one, covariance=np.diag(wide))
        fixed = _fixed_card_information(blank, place)
        alone.append(_with_view(quantity, with_information(blank, fixed), shell))
    before, after = (np.linalg.norm(q.shared[-len(VIEW_ORDER) :]) for q in alone)
    shared = np.array(quantity.shared)
    shared[-len(VIEW_ORDER) :] *= after / max(float(before), 1e-12)
    for cause in ("card thickness and flatness", "height of the cap rims", "height of the feet"):
        shared[_SHARED[cause]] /= FARTHER
    own = np.array(quantity.own)
    own[list(OWN_CAUSES).index("this shell's ring heights")] /= FARTHER
    return quantity_of(quantity.value, own.tolist(), shared.tolist())


def _first_place(record: Record, view: View) -> Floats:
    corners = view.to_plane(record.cards[0].corners_px, card.DEFAULT_THICKNESS_MM)
    edge = corners[1] - corners[0]
    return np.array([*corners[0], float(np.arctan2(edge[1], edge[0]))])


def _fixed_card_information(view: View, place: Floats) -> Floats:
    """What the card that fixes the frame tells of the view (P, P)."""
    corners = place_in_world(card.inner_corners_mm(), place)
    scale = np.sqrt(np.diag(view.covariance))
    steps = 1e-3 * np.minimum(np.where(scale > 0, scale, 0.0), 1e-2)
    columns = np.zeros((2 * len(corners), len(steps)))
    for index in np.nonzero(steps)[0]:
        change = np.zeros(len(steps))
        change[index] = steps[index]
        there, back = (
            view.perturbed(way * change).project(corners, card.DEFAULT_THICKNESS_MM).ravel()
            for way in (1, -1)
        )
        columns[:, index] = (there - back) / (2 * steps[index] * CORNER_PX)
    return np.asarray(columns.T @ columns, float)


def _second_photo(quantity: Quantity, record: Record) -> Quantity:
    rim, foot = record.heights_mm.get("cap_rim"), record.heights_mm.get("foot")
    factors = {}
    if rim is not None and rim.u > RIM_EVIDENCE_U_MM:
        factors["height of the cap rims"] = RIM_EVIDENCE_U_MM / rim.u
    if foot is not None and foot.u > FOOT_EVIDENCE_U_MM:
        factors["height of the feet"] = FOOT_EVIDENCE_U_MM / foot.u
    known = _with_heights(quantity, factors)
    own = np.array(known.own)
    own[np.arange(len(own)) != _DEFINITION] /= np.sqrt(2)
    shared = np.where(_POSE, np.array(known.shared) / np.sqrt(2), known.shared)
    return quantity_of(known.value, own.tolist(), shared.tolist())


def _ruler(quantity: Quantity, record: Record) -> Quantity:
    rim = record.heights_mm.get("cap_rim")
    told = heights_from_ruler(12.0).cap_rim_u_mm
    if rim is None or rim.u <= told:
        return quantity
    return _with_heights(quantity, {"height of the cap rims": told / rim.u})


def _other_liner(quantity: Quantity, name: str) -> Quantity:
    known = WITNESSES[name]
    scene = _SHARED["edge evidence of this scene"]
    own, shared = list(quantity.own), list(quantity.shared)
    good = float(fading(GOOD_CONTRAST, known.fading))
    own[_DEFINITION] = min(own[_DEFINITION], known.own * good)
    shared[scene] = min(shared[scene], known.scene * good)
    return quantity_of(quantity.value, own, shared)


def remedies(record: Record, shell: Shell, name: str) -> tuple[Remedy, ...]:
    """What would make a size surer, the best first; only what gains `WORTH_REL` or more.

    ``name``: a field of `Shell` with its contributions, of a size in millimetres.
    """
    quantity: Quantity | None = getattr(shell, name)
    view = record.view
    if quantity is None or view is None or shell.centre_mm is None or not quantity.shared:
        return ()
    tried = []
    if 0 < len(record.cards) < len(card.LETTERS):
        place = _far_place(record, view)
        told = card_information(view, place, card.DEFAULT_THICKNESS_MM)
        tried.append(("another card at the far corner",
                      _with_view(quantity, with_information(view, told), shell)))  # fmt: skip
    if record.scale_source == "cards":
        told = _profile_information(view, record)
        tried.append(("a lens profile (petitpied lens)",
                      _with_view(quantity, with_information(view, told), shell)))  # fmt: skip
    if -float(view.camera_centre_mm[2]) < NEAR_MM and record.cards:
        tried.append((f"{FARTHER:g} times as far away, with as much zoom",
                      _farther(record, view, shell, quantity)))  # fmt: skip
    if not record.heights_source.startswith(TWO_PHOTOS):
        tried.append(("a second photo from another side (--same-tray)",
                      _second_photo(quantity, record)))  # fmt: skip
        tried.append(("the shells' height by a ruler (--shell-height)", _ruler(quantity, record)))
    tried.append(("a liner whose colour is farther from the feet's", _other_liner(quantity, name)))
    worth = [Remedy(w, q) for w, q in tried if q.u95 < (1 - WORTH_REL) * quantity.u95]
    return tuple(sorted(worth, key=lambda r: r.predicted.u95))


def inputs_of(record: Record) -> dict[str, tuple[float, str]]:
    """Standard uncertainties of the causes' own inputs, with their units, where the cause is
    not already given in the size's unit."""
    inputs = {
        "card print": (PRINT_SCALE_REL, ""),
        "card thickness and flatness": (CARD_THICKNESS_U_MM, "mm"),
    }
    for cause, ring in (("height of the cap rims", "cap_rim"), ("height of the feet", "foot")):
        height = record.heights_mm.get(ring)
        if height is not None:
            inputs[cause] = (height.u, "mm")
    if record.view is not None:
        sigma = np.sqrt(np.diag(record.view.covariance))
        inputs["focal length and principal point"] = (float(sigma[PARAMETERS.index("f_rel")]), "")
        inputs["corner noise and pose"] = (CORNER_PX, "px")
    return inputs
