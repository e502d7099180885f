"""Exact derivatives of what a view shows by its parameters and by the cards' places."""

import numpy as np
from numpy.typing import NDArray

from petitpied.domain import card
from petitpied.domain.view import PARAMETERS, View, distort

Floats = NDArray[np.float64]

#: middle of the card, frame card
MIDDLE_MM = np.array([card.WIDTH_MM, card.HEIGHT_MM]) / 2


def place_in_world(points_mm: Floats, place: Floats) -> Floats:
    """Card points (N, 2), frame card, to the world frame; ``place`` of all (P,) or of each
    (N, P): x, y mm, turn rad, and where it has a fourth number the logarithm of the card's
    scale."""
    scale = np.exp(place[..., 3]) if place.shape[-1] > 3 else 1.0
    c, s = scale * np.cos(place[..., 2]), scale * np.sin(place[..., 2])
    x, y = points_mm.T
    return np.stack([c * x - s * y + place[..., 0], s * x + c * y + place[..., 1]], axis=1)


def rise_mm(points_mm: Floats, place: Floats) -> Floats:
    """How far card points (N, 2), frame card, stand up above the card's middle; ``place`` of all
    (P,) or of each (N, P): where it has six numbers the last two are the card's slopes along its
    x and y axis."""
    if place.shape[-1] < 6:
        return np.zeros(len(points_mm))
    return np.asarray(((points_mm - MIDDLE_MM) * place[..., 4:6]).sum(axis=1), float)


def distortion_slopes(ideal: Floats, dist: Floats) -> tuple[Floats, Floats]:
    """Derivatives of `petitpied.domain.view.distort` at ideal points (N, 2): by the point
    (N, 2, 2), and by the five parameters of ``dist`` (N, 2, 5)."""
    k1, k2, p1, p2, k3 = dist.tolist()
    x, y = ideal.T.copy()
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    grows = 2 * (k1 + r2 * (2 * k2 + r2 * 3 * k3))
    by_point = np.empty((len(ideal), 2, 2))
    by_point[:, 0, 0] = radial + grows * x * x + 2 * p1 * y + 6 * p2 * x
    by_point[:, 1, 1] = radial + grows * y * y + 6 * p1 * y + 2 * p2 * x
    by_point[:, 0, 1] = by_point[:, 1, 0] = grows * x * y + 2 * (p1 * x + p2 * y)
    by_dist = np.empty((len(ideal), 2, 5))
    powers = r2[:, None] ** np.array([1, 2, 3])
    by_dist[:, :, [0, 1, 4]] = ideal[:, :, None] * powers[:, None]
    by_dist[:, 0, 2], by_dist[:, 1, 2] = 2 * x * y, r2 + 2 * y * y
    by_dist[:, 0, 3], by_dist[:, 1, 3] = r2 + 2 * x * x, by_dist[:, 0, 2]
    return by_point, by_dist


def seen_slopes(view: View, seen: Floats) -> tuple[Floats, Floats]:
    """Derivatives of pixels (N, 2) by camera points ``seen`` (N, 3): (N, 2, 3); and by
    `PARAMETERS` (N, 2, 14), the pose's columns left at zero."""
    ideal = seen[:, :2] / seen[:, 2:]
    focal = np.diag(view.camera_matrix)[:2]
    by_ideal, by_dist = distortion_slopes(ideal, view.dist)
    by_point = np.empty((len(ideal), 2, 3))
    by_point[:, :, :2] = by_ideal * (focal[:, None] / seen[:, 2, None, None])
    by_point[:, :, 2] = -(by_point[:, :, :2] * ideal[:, None]).sum(axis=2)
    by_lens = np.zeros((len(ideal), 2, len(PARAMETERS)))
    by_lens[:, :, 0] = focal * distort(ideal, view.dist)
    by_lens[:, :, [1, 8, 11, 12, 13]] = focal[:, None] * by_dist
    by_lens[:, 0, 9] = by_lens[:, 1, 10] = 1.0
    return by_point, by_lens


def _moved_slopes(view: View, seen: Floats) -> tuple[Floats, Floats]:
    """As `seen_slopes`, with the pose's columns filled as `View.perturbed` moves it."""
    rotation, shift = view.world_to_camera[:, :3], view.world_to_camera[:, 3]
    centre = view.camera_centre_mm
    pivot = rotation @ (centre + rotation[2] * (-centre[2] / rotation[2, 2])) + shift
    by_point, by_view = seen_slopes(view, seen)
    # a small turn r about the pivot moves a point by r x a, a = point - pivot, and so a pixel
    # with the slope s by s . (r x a) = r . (a x s)
    ax, ay, az = (seen - pivot).T[:, :, None]
    sx, sy, sz = by_point.transpose(2, 0, 1)
    by_view[:, :, 2], by_view[:, :, 3] = ay * sz - az * sy, az * sx - ax * sz
    by_view[:, :, 4] = ax * sy - ay * sx
    by_view[:, :, 5:8] = by_point
    return by_point, by_view


def plane_slopes(view: View, points_mm: Floats) -> Floats:
    """How the places (N, 2) of the liner that fixed pixels show move with the view: derivatives
    (N, 2, 14) by `PARAMETERS` as `View.perturbed` changes them.

    Implicit differentiation: the pixel stays, so what the view's change does to it the place's
    move undoes.
    """
    rotation, shift = view.world_to_camera[:, :3], view.world_to_camera[:, 3]
    by_point, by_view = _moved_slopes(view, points_mm @ rotation[:, :2].T + shift)
    (a, b), (c, d) = (by_point @ rotation[:, :2]).transpose(1, 2, 0)[..., None]
    first, second = by_view[:, 0], by_view[:, 1]
    moves = np.stack([b * second - d * first, c * first - a * second], axis=1)
    return np.asarray(moves / (a * d - b * c)[:, None], float)


def card_slopes(
    view: View, points_mm: Floats, place: Floats, thickness_mm: float
) -> tuple[Floats, Floats]:
    """Derivatives of cards' pixels (N, 2): by `PARAMETERS` as `View.perturbed` moves them
    (N, 2, 14), and by the card's own place, the logarithm of its scale and its slopes (N, 2, 6).

    ``points_mm`` (N, 2), frame card; ``place`` of one card (3,) to (6,), or of each point's card
    (N, 3) to (N, 6): x, y mm, turn rad, and further as in `place_in_world` and `rise_mm`.
    """
    rotation, shift = view.world_to_camera[:, :3], view.world_to_camera[:, 3]
    at = place_in_world(points_mm, place)
    height = thickness_mm + rise_mm(points_mm, place)
    by_point, by_view = _moved_slopes(view, np.column_stack([at, -height]) @ rotation.T + shift)
    by_space = by_point @ rotation
    by_world, up = by_space[:, :, :2], -by_space[:, :, 2]
    away = at - place[..., :2]
    by_place = np.empty((len(at), 2, 6))
    by_place[:, :, :2] = by_world
    by_place[:, :, 2] = by_world[:, :, 1] * away[:, :1] - by_world[:, :, 0] * away[:, 1:]
    by_place[:, :, 3] = by_world[:, :, 0] * away[:, :1] + by_world[:, :, 1] * away[:, 1:]
    by_place[:, :, 4:] = up[:, :, None] * (points_mm - MIDDLE_MM)[:, None]
    return by_view, by_place
