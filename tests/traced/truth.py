"""The exact truth of a scene, from the same meshes that are rendered. numpy only."""

from typing import Any

import numpy as np

from tests.traced.camera import Camera
from tests.traced.mesh import Array, Mesh, linear_to_srgb
from tests.traced.shells import FOOT_COLUMNS, Shell, cap_columns

OUTLINE_POINTS = 300
SILHOUETTE_POINTS = 300


def rounded(values: Any, digits: int = 3) -> Any:
    return np.round(np.asarray(values, float), digits).tolist()


def polar_outline(rings: Array, centre: Array, count: int) -> tuple[Array, Array]:
    """Farthest reach from ``centre`` in ``count`` directions of closed star-shaped rings.

    ``rings`` has shape (R, N, 2 or 3). Returns the radius (count,) and the index of the ring
    that reaches it.
    """
    ask = np.arange(count) * 2 * np.pi / count
    reach = np.empty((len(rings), count))
    for i, ring in enumerate(rings):
        offset = ring[:, :2] - centre
        angle = np.arctan2(offset[:, 1], offset[:, 0])
        order = np.argsort(angle)
        reach[i] = np.interp(ask, angle[order], np.hypot(*offset[order].T), period=2 * np.pi)
    return reach.max(0), reach.argmax(0)


def area_centroid(outline: Array) -> tuple[float, Array]:
    """Area and centroid of a closed polygon (N, 2)."""
    x, y = (outline - outline.mean(0)).T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y1 - x1 * y
    area = cross.sum() / 2
    centroid = np.array([((x + x1) * cross).sum(), ((y + y1) * cross).sum()]) / (6 * area)
    return abs(float(area)), centroid + outline.mean(0)


def caliper_widths(outline: Array) -> tuple[float, float]:
    angle = np.radians(np.arange(0, 180, 0.5))
    width = np.ptp(outline @ np.stack([np.cos(angle), np.sin(angle)]), axis=0)
    return float(width.min()), float(width.max())


def rings_of(mesh: Mesh, columns: int) -> Array:
    return mesh.vertices_mm.reshape(-1, columns, 3)


def plan_outline(rings: Array, centre: Array) -> tuple[Array, Array, Array]:
    """Plan outline (N, 2), its heights (N,), and its radius about ``centre`` (N,)."""
    radius, ring = polar_outline(rings, centre, OUTLINE_POINTS)
    angle = np.arange(OUTLINE_POINTS) * 2 * np.pi / OUTLINE_POINTS
    outline = centre + radius[:, None] * np.stack([np.cos(angle), np.sin(angle)], -1)
    return outline, rings[:, :, 2].mean(1)[ring], radius


def silhouette_px(camera: Camera, parts: list[Array]) -> Array:
    """Outer edge (N, 2) of a shell as this camera sees it, neighbours ignored."""
    seen = [camera.project(p.reshape(-1, 3)).reshape(*p.shape[:2], 2) for p in parts]
    centre = seen[0][-1].mean(0)
    radius = np.max([polar_outline(s, centre, SILHOUETTE_POINTS)[0] for s in seen], axis=0)
    angle = np.arange(SILHOUETTE_POINTS) * 2 * np.pi / SILHOUETTE_POINTS
    return centre + radius[:, None] * np.stack([np.cos(angle), np.sin(angle)], -1)


def cracks_of(shell: Shell, cap: Mesh) -> list[dict[str, Any]]:
    """The shell's cracks; ``polyline_z_mm`` is the height of the lips, not of the bottom."""
    out = []
    for c in shell.cracks:
        away = np.hypot(*(cap.vertices_mm[None, :, :2] - c.path_mm[:, None]).transpose(2, 0, 1))
        lips = np.where(away < 1.6, cap.vertices_mm[None, :, 2], 0).max(1)
        steps = np.hypot(*np.diff(c.path_mm, axis=0).T)
        mean = (c.half_width_mm[1:] + c.half_width_mm[:-1]) @ steps / steps.sum()
        out.append({"kind": c.kind, "polyline_mm": rounded(c.path_mm),
                    "polyline_z_mm": rounded(lips, 2),
                    "length_mm": round(float(steps.sum()), 2),
                    "width_mm": round(float(2 * c.half_width_mm.max()), 2),
                    "mean_width_mm": round(float(mean), 2), "depth_mm": round(c.depth_mm, 2)})
    return out


def form_truth(shell: Shell) -> dict[str, Any]:
    """What the shell was piped as; the direction is of an oval's long axis, or of the point."""
    if shell.form is None:
        return {"kind": "teardrop" if shell.teardrop else "round"}
    form = shell.form
    return {"kind": form.kind, "direction_deg": round(float(np.degrees(form.direction_rad)) % 360,
                                                      2),
            **({"aspect": round(form.aspect, 4)} if form.kind == "oval" else {})}


def shell_truth(shell: Shell, cap: Mesh, foot: Mesh, camera: Camera) -> dict[str, Any]:
    """One entry of the truth's ``shells``."""
    cap_rings, foot_rings = rings_of(cap, cap_columns(shell)), rings_of(foot, FOOT_COLUMNS)
    wide = cap_rings[-60:]  # the dome's upper rings are never the outline
    around = np.asarray(shell.centre_mm)
    cap_line, cap_z, cap_r = plan_outline(wide, around)
    foot_line, foot_z, foot_r = plan_outline(foot_rings, around)
    is_foot = (foot_r > cap_r) & shell.has_foot
    line = np.where(is_foot[:, None], foot_line, cap_line)
    area, centre = area_centroid(line)
    cap_area, cap_centre = area_centroid(cap_line)
    foot_area, foot_centre = area_centroid(foot_line)
    lean = foot_centre - cap_centre
    feret = caliper_widths(line)
    cap_rgb = cap.colour[:, :3].mean(0) if cap.colour is not None else np.zeros(3)
    return {
        "id": shell.id, "row": shell.row, "col": shell.col,
        "centre_mm": rounded(centre), "cap_centre_mm": rounded(cap_centre),
        "outline_mm": rounded(line), "outline_z_mm": rounded(np.where(is_foot, foot_z, cap_z), 2),
        "cap_outline_mm": rounded(cap_line), "cap_outline_z_mm": rounded(cap_z, 2),
        "foot_outline_mm": rounded(foot_line), "foot_outline_z_mm": rounded(foot_z, 2),
        "silhouette_px": rounded(silhouette_px(
            camera, [cap_rings, foot_rings] if shell.has_foot else [cap_rings]), 2),
        "area_equiv_diameter_mm": round(float(np.sqrt(4 * area / np.pi)), 4),
        "cap_diameter_mm": round(float(np.sqrt(4 * cap_area / np.pi)), 4),
        "foot_diameter_mm": round(float(np.sqrt(4 * foot_area / np.pi)), 4),
        "min_feret_mm": round(feret[0], 4), "max_feret_mm": round(feret[1], 4),
        "foot_spread_mm": round(float((foot_r - cap_r).mean()), 4),
        "lean_mm": round(float(np.hypot(*lean)), 4),
        "lean_dir_deg": round(float(np.degrees(np.arctan2(lean[1], lean[0]))), 3),
        "height_mm": round(float(cap.vertices_mm[:, 2].max()), 4),
        "cap_edge_z_mm": round(float(cap_z.mean()), 4),
        "foot_h_mm": round(shell.foot_height_mm, 4), "base_z_mm": 0, "has_foot": shell.has_foot,
        "foot_hidden": shell.has_foot and bool(is_foot.mean() < 0.1),
        "form": form_truth(shell),
        "toppings": sorted({t.kind for t in shell.toppings}),
        "cracks": cracks_of(shell, cap),
        "dimples": [{"centre_mm": rounded(d.centre_mm), "diameter_mm": round(d.diameter_mm, 2),
                     "depth_mm": round(d.depth_mm, 2)} for d in shell.dimples],
        "peak": {"centre_mm": rounded(shell.centre_mm), "height_mm": round(shell.peak_mm, 2)}
        if shell.peak_mm else None,
        "lumpy": round(shell.lumpy_mm, 3), "pinholes": [], "touching": list(shell.touching),
        "decoy_specks": shell.specks, "decoy_swirl": shell.swirl_srgb is not None,
        "teardrop": shell.teardrop,
        "cap_albedo_srgb": [round(v) for v in linear_to_srgb(cap_rgb)],
        "flavour_srgb": list(shell.flavour_srgb), "browning": round(shell.browning, 3),
    }


def camera_truth(camera: Camera) -> dict[str, Any]:
    """The truth's entries about the camera."""
    k1, k2, p1, p2 = camera.distortion
    u, v = camera.centre_px
    return {
        "K": [[camera.focal_px, 0.0, u], [0.0, camera.focal_px, v], [0.0, 0.0, 1.0]],
        "dist": {"model": "opencv Brown-Conrady: xd = x (1 + k1 r^2 + k2 r^4), u = fx xd + cx",
                 "k1": k1, "k2": k2, "p1": p1, "p2": p2},
        "world_to_camera": rounded(camera.world_to_camera, 9),
        "tilt_deg": round(camera.tilt_deg, 4),
        "camera_height_mm": round(float(camera.place_mm[2]), 3),
        "camera_mm": rounded(camera.place_mm), "focal_35mm": camera.focal_35mm,
    }


def card_truth(letter: str, origin_mm: tuple[float, float], rot_deg: float, z_mm: float,
               corners_card_mm: Array) -> dict[str, Any]:
    a = np.radians(rot_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    corners = corners_card_mm @ turn.T + np.asarray(origin_mm)
    return {"id": letter, "scale": 1.0, "rot_deg": rot_deg, "origin_mm": list(origin_mm),
            "z_mm": z_mm, "corners_mm": [[*p, z_mm] for p in corners.tolist()], "note": ""}
