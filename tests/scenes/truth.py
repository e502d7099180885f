"""Truth file of a drawn scene: what is where, to compare measurements with."""

from typing import Any

import numpy as np

from petitpied.domain import card as definition
from tests.scenes.camera import project
from tests.scenes.cards import to_scene
from tests.scenes.description import (
    ANGLES,
    Camera,
    Crack,
    Floats,
    Outline,
    Scene,
    ShellShape,
    angles_rad,
)

STEP = 4  # every 4th of 720 angles is written: 180 vertices


def radius_about(outline: Outline, centre_mm: Floats) -> Floats:
    """The outline's radius table about another point inside it."""
    p = outline.points_mm() - centre_mm
    t = np.arctan2(p[:, 1], p[:, 0])
    order = np.argsort(t)
    return np.interp(
        (angles_rad() + np.pi) % (2 * np.pi) - np.pi,
        t[order],
        np.hypot(p[:, 0], p[:, 1])[order],
        period=2 * np.pi,
    )


def plan_outline(shell: ShellShape) -> tuple[Outline, Floats]:
    """Cap and foot together: outer edge in plan view, and the height of that edge (ANGLES,)."""
    middle = (np.asarray(shell.cap.centre_mm) + np.asarray(shell.foot.centre_mm)) / 2
    cap, foot = radius_about(shell.cap, middle), radius_about(shell.foot, middle)
    z = np.where(cap >= foot, shell.rim_mm, 0.55 * shell.foot_mm)
    return Outline((float(middle[0]), float(middle[1])), np.maximum(cap, foot)), z


def area_centroid(points_mm: Floats) -> tuple[float, Floats]:
    """Area and centroid of a polygon (N, 2)."""
    x, y = points_mm.T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y1 - x1 * y
    area = cross.sum() / 2
    centre = np.array([((x + x1) * cross).sum(), ((y + y1) * cross).sum()]) / (6 * area)
    return abs(float(area)), centre


def ferets(points_mm: Floats) -> tuple[float, float]:
    """Smallest and largest caliper width."""
    a = np.deg2rad(np.arange(0, 180, 0.5))
    width = np.ptp(points_mm @ np.stack([np.cos(a), np.sin(a)]), axis=0)
    return float(width.min()), float(width.max())


def cap_profile(shell: ShellShape, t: float) -> float:
    """Height of the smooth cap at ``t`` of its radius."""
    return float(shell.rim_mm + (shell.height_mm - shell.rim_mm) * (1 - t**shell.cap_power))


def foot_rounding(shell: ShellShape) -> list[tuple[float, float]]:
    """(inset from the foot's outline, height), mm, of the foot's rounded shoulder."""
    q = np.array([0.0, 0.01, 0.03, 0.08, 0.2, 0.5, 1.0])
    z = shell.foot_mm * (0.55 + 0.45 * np.sqrt(1 - (1 - q) ** 2))
    return [(float(a * shell.foot_round_mm), float(b)) for a, b in zip(q, z, strict=True)]


def silhouette_px(camera: Camera, shell: ShellShape) -> Floats:
    """What the camera sees of a shell (ANGLES / 2, 2), px: the hull in angle of its rings."""
    rings = [(shell.foot, 1.0, 0.0)]
    for inset, z in foot_rounding(shell):
        inner = Outline(shell.foot.centre_mm, shell.foot.radius_mm - inset)
        rings.append((inner, 1.0, z))
    low = 0.0 if not shell.has_foot else min(shell.foot_mm, shell.rim_mm)
    rings += [(shell.cap, 1.0, z) for z in np.linspace(low, shell.rim_mm, 7)]
    rings += [(shell.cap, t, cap_profile(shell, t)) for t in (0.97, 0.9, 0.8, 0.6, 0.4)]
    middle = project(camera, np.array([[*shell.cap.centre_mm, shell.rim_mm / 2]]))[0]
    grid = np.linspace(-np.pi, np.pi, ANGLES // 2, endpoint=False)
    far = np.zeros(len(grid))
    for outline, scale, z in rings:
        ring = outline.points_mm()[::2]
        p = np.asarray(outline.centre_mm) + scale * (ring - outline.centre_mm)
        q = project(camera, np.column_stack([p, np.full(len(p), z)])) - middle
        # a ring that does not enclose the middle is widened by segments, its far side counts
        t = np.arctan2(q[:, 1], q[:, 0])
        order = np.argsort(t)
        r = np.interp(grid, t[order], np.hypot(q[:, 0], q[:, 1])[order], period=2 * np.pi)
        if np.ptp(np.diff(np.unwrap(t))) < 3:
            far = np.maximum(far, r)
    return middle + far[:, None] * np.column_stack([np.cos(grid), np.sin(grid)])


def _rounded(values: Any, digits: int = 3) -> Any:
    return np.round(np.asarray(values, float), digits).tolist()


def shell_truth(scene: Scene, number: int, shell: ShellShape) -> dict[str, Any]:
    """One shell's entry; ``number`` from 0 is its label less 1."""
    outline, z = plan_outline(shell)
    points = outline.points_mm()
    area, centre = area_centroid(points)
    cap_area, cap_centre = area_centroid(shell.cap.points_mm())
    foot_area, foot_centre = area_centroid(shell.foot.points_mm())
    lean = foot_centre - cap_centre
    spread = radius_about(shell.foot, cap_centre) - radius_about(shell.cap, cap_centre)
    least, most = ferets(points)
    dimples = [d for d in shell.dimples if d.depth_mm > 0]
    peaks = [d for d in shell.dimples if d.depth_mm < 0]
    return {
        "id": number,
        "label": number + 1,
        "kind": shell.kind,
        "row": shell.row,
        "col": shell.column,
        "centre_mm": _rounded(centre),
        "cap_centre_mm": _rounded(cap_centre),
        "outline_mm": _rounded(points[::STEP]),
        "outline_z_mm": _rounded(z[::STEP], 2),
        "cap_outline_mm": _rounded(shell.cap.points_mm()[::STEP]),
        "cap_outline_z_mm": _rounded(np.full(ANGLES // STEP, shell.rim_mm), 2),
        "foot_outline_mm": _rounded(shell.foot.points_mm()[::STEP]),
        "foot_outline_z_mm": _rounded(np.full(ANGLES // STEP, 0.55 * shell.foot_mm), 2),
        "silhouette_px": _rounded(silhouette_px(scene.camera, shell)[::2], 2),
        "area_equiv_diameter_mm": round(2 * np.sqrt(area / np.pi), 4),
        "cap_diameter_mm": round(2 * np.sqrt(cap_area / np.pi), 4),
        "foot_diameter_mm": round(2 * np.sqrt(foot_area / np.pi), 4),
        "min_feret_mm": round(least, 4),
        "max_feret_mm": round(most, 4),
        "foot_spread_mm": round(float(spread.mean()), 4) if shell.has_foot else None,
        "lean_mm": round(float(np.hypot(*lean)), 4),
        "lean_dir_deg": round(float(np.rad2deg(np.arctan2(lean[1], lean[0]))), 4),
        "height_mm": round(shell.height_mm, 4),
        "cap_edge_z_mm": round(shell.rim_mm, 4),
        "foot_h_mm": round(shell.foot_mm, 4),
        "base_z_mm": 0,
        "has_foot": shell.has_foot,
        "cracks": [_crack_truth(c) for c in shell.cracks],
        "dimples": [
            {
                "centre_mm": _rounded(d.centre_mm),
                "diameter_mm": d.diameter_mm,
                "depth_mm": d.depth_mm,
            }
            for d in dimples
        ],
        "peak": {
            "centre_mm": _rounded(peaks[0].centre_mm),
            "diameter_mm": peaks[0].diameter_mm,
            "height_mm": -peaks[0].depth_mm,
        }
        if peaks
        else None,
        "lumpy": shell.lumps_mm,
        "touching": _touching(scene, number),
        "decoy_specks": shell.specks,
        "decoy_toppings": sorted({t.kind for t in shell.toppings}),
        "decoy_swirl": shell.second_colour is not None,
        "teardrop": shell.teardrop,
        "cap_albedo_srgb": _rounded(shell.colour, 1),
        "browning": round(shell.browning, 4),
    }


def _crack_truth(crack: Crack) -> dict[str, Any]:
    steps = np.hypot(*np.diff(crack.path_mm, axis=0).T)
    n = len(crack.path_mm)
    taper = np.sin(np.pi * (np.arange(n - 1) + 0.75) / (n + 0.5)) ** 0.5
    return {
        "kind": crack.kind,
        "polyline_mm": _rounded(crack.path_mm),
        "length_mm": round(float(steps.sum()), 3),
        "width_mm": round(crack.width_mm, 3),
        "mean_width_mm": round(float(crack.width_mm * taper.mean()), 3),
        "depth_mm": round(crack.depth_mm, 3),
    }


def _touching(scene: Scene, number: int) -> list[int]:
    """Shells whose outlines overlap this one's, by radius along the line of centres."""
    me, _ = plan_outline(scene.shells[number])
    out = []
    for j, other in enumerate(scene.shells):
        gap = np.subtract(other.foot.centre_mm, me.centre_mm)
        distance = float(np.hypot(*gap))
        if j == number or distance > me.radius_mm.max() + other.foot.radius_mm.max() + 3:
            continue
        them, _ = plan_outline(other)
        a = round(float(np.arctan2(gap[1], gap[0])) / (2 * np.pi) * ANGLES) % ANGLES
        if me.radius_mm[a] + them.radius_mm[(a + ANGLES // 2) % ANGLES] >= distance - 0.05:
            out.append(j)
    return out


def truth(scene: Scene, picture_name: str) -> dict[str, Any]:
    """The whole truth of a scene, ready for JSON."""
    c, tray = scene.camera, scene.tray
    k1, k2, p1, p2 = c.dist
    w, d = tray.width_mm, tray.depth_mm
    corners = [[0, 0, 0], [w, 0, 0], [w, d, 0], [0, d, 0]]
    outline = definition.outline_corners_mm()
    return {
        "image": picture_name,
        "width": c.width_px,
        "height": c.height_px,
        "seed": scene.seed,
        "recipe": scene.kind,
        "units": "mm",
        "pixel_convention": "(0,0) is the centre of the first pixel",
        "K": _rounded(c.camera_matrix, 4),
        "dist": {"model": "opencv Brown-Conrady", "k1": k1, "k2": k2, "p1": p1, "p2": p2},
        "world_to_camera": _rounded(c.world_to_camera, 9),
        "tilt_deg": c.tilt_deg,
        "roll_deg": c.roll_deg,
        "camera_height_mm": float(c.centre_mm[2]),
        "camera_mm": _rounded(c.centre_mm),
        "focal_35mm": round(c.focal_35mm_mm),
        "liner": scene.liner.kind,
        "tray": {
            "interior_mm": [w, d],
            "corners_mm": corners,
            "present": tray.present,
            "rim_z_mm": tray.rim_mm,
            "corner_radius_mm": tray.corner_mm,
        },
        "cards": [
            {
                "id": card.letter,
                "scale": card.scale,
                "rot_deg": card.turn_deg,
                "origin_mm": list(card.origin_mm),
                "z_mm": card.height_mm,
                "corners_mm": _rounded(to_scene(card, outline), 4),
            }
            for card in scene.cards
        ],
        "shells": [shell_truth(scene, i, s) for i, s in enumerate(scene.shells)],
        "decoys": [{"kind": x.kind, "centre_mm": list(x.centre_mm)} for x in scene.decoys],
    }
