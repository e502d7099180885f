"""Draws a scene: plan-view layers, light, perspective with relief, and a phone-like picture.

``python -m tests.scenes.drawn OUT_DIR --count N --seed S --kind any --width 1024 --labels``
writes NAME.jpg, NAME.json (truth) and NAME.labels.png (16 bit, shell number from 1).
"""

import argparse
import json
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.scenes.camera import Hits, to_ground, trace
from tests.scenes.cards import draw_card
from tests.scenes.decoys import draw_decoy
from tests.scenes.description import Scene, random_scene
from tests.scenes.finish import develop
from tests.scenes.noise import TILE_PX, tile
from tests.scenes.plan import Plan
from tests.scenes.recipes import KINDS
from tests.scenes.shading import Lit, shade, wall_light
from tests.scenes.surfaces import draw_liner, draw_table, draw_tray
from tests.scenes.truth import truth

Map = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Drawn:
    """A picture, uint8 (H, W, 3) blue-green-red, and the shell each pixel's centre sees,
    uint16 (H, W): 0 none, else its place in ``scene.shells`` plus 1; ``caps`` (H, W): whether
    it sees a cap (rim, dome or shoulder) and not a foot."""

    picture_bgr: NDArray[np.uint8]
    labels: NDArray[np.uint16]
    caps: NDArray[np.bool_]


def plan_for(scene: Scene, supersample: float, fineness: float) -> Plan:
    """A raster over the ground in view; ``fineness`` raster cells a (sub)pixel at mid-picture."""
    c = scene.camera
    u = np.linspace(-4, c.width_px + 3, 17)
    v = np.linspace(-4, c.height_px + 3, 17)
    edge = np.vstack(
        [np.column_stack([u, np.full(17, y)]) for y in (v[0], v[-1])]
        + [np.column_stack([np.full(17, x), v]) for x in (u[0], u[-1])]
    )
    ground = to_ground(c, edge)
    low, high = ground.min(0) - 4, ground.max(0) + 4
    middle = np.array(
        [[c.width_px / 2 - 0.5, c.height_px / 2], [c.width_px / 2 + 0.5, c.height_px / 2]]
    )
    a, b = to_ground(c, middle)
    mm = float(np.hypot(*(b - a))) / (supersample * fineness)
    most = 3.2 * (c.width_px * supersample * fineness) * (c.height_px * supersample * fineness)
    size = (high - low) / mm
    if size.prod() > most:
        mm *= float(np.sqrt(size.prod() / most))
    w, h = (int(np.ceil(v)) for v in (high - low) / mm)
    return Plan((float(low[0]), float(low[1])), mm, (w, h))


def lay_out(scene: Scene, plan: Plan) -> None:
    """Put everything on the plan."""
    draw_table(plan, scene.table)
    if scene.tray.present:
        draw_tray(plan, scene.tray, scene.seed)
    draw_liner(plan, scene.tray, scene.liner)
    for card in scene.cards:
        draw_card(plan, card)
    for number, shell in enumerate(scene.shells, 1):
        plan.add_shell(shell, number)
    for decoy in scene.decoys:  # last: shells stand on the liner, not on what lies over them
        draw_decoy(plan, decoy)


def _wall_directions(plan: Plan) -> Map:
    """Outward direction of the nearest edge (H, W, 2), from the slope of its radial offset."""
    edge = np.where(
        plan.shell[..., 0] > -3 * plan.mm_per_px, plan.shell[..., 0], plan.shell[..., 1]
    )
    gx = cv2.Sobel(edge, cv2.CV_32F, 1, 0, ksize=3)
    gy = cv2.Sobel(edge, cv2.CV_32F, 0, 1, ksize=3)
    size = np.sqrt(gx * gx + gy * gy) + np.float32(1e-6)
    return np.dstack([-gx / size, -gy / size])


def _sample(layer: Map, x: Map, y: Map) -> Map:
    return cv2.remap(layer, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)


def _colours(scene: Scene, plan: Plan, lit: Lit, hits: Hits) -> Map:
    """Linear colour (H', W', 3) of every hit."""
    x, y, z = hits.x, hits.y, hits.height_mm
    out = _sample(lit.ground, x, y)
    four = cv2.remap(plan.shell, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    base = cv2.remap(plan.base, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    tolerance = np.float32(0.12)
    # at a wall the hit lies within a hair of the edge, on either side of it
    hair = np.float32(0.6 * plan.mm_per_px)
    above = z > base + np.float32(0.03)
    near_cap = four[..., 0] > -hair
    near_foot = four[..., 1] > -hair
    on_cap = above & (four[..., 0] > 0) & (z > four[..., 2] - tolerance)
    on_foot = above & ~on_cap & near_foot & ~(near_cap & (z > four[..., 3] + tolerance))
    on_cap_wall = above & ~on_cap & ~on_foot & near_cap
    index = np.flatnonzero(on_cap | on_foot | on_cap_wall)
    if len(index) == 0:
        return out
    n = -(-len(index) // 1024) * 1024
    pad = np.append(index, np.full(n - len(index), index[-1]))
    px, py = x.ravel()[pad].reshape(-1, 1024), y.ravel()[pad].reshape(-1, 1024)
    cap = _sample(lit.cap, px, py).reshape(-1, 3)[: len(index)]
    foot = _sample(lit.foot, px, py).reshape(-1, 3)[: len(index)]
    direction = cv2.remap(_wall_directions(plan), px, py, cv2.INTER_LINEAR).reshape(-1, 2)[
        : len(index)
    ]
    four, z = four.reshape(-1, 4)[index], z.ravel()[index]
    up = np.clip(z / np.maximum(four[:, 2], 0.5), 0, 1)
    wall = wall_light(scene.light, (direction[:, 0], direction[:, 1]), up)
    wall *= _wall_grain(px.ravel()[: len(index)], py.ravel()[: len(index)], z, plan.mm_per_px)
    albedo = _sample(plan.cap_colour, px, py).reshape(-1, 3)[: len(index)]
    foot_albedo = _sample(plan.foot_colour, px, py).reshape(-1, 3)[: len(index)]
    is_wall = on_cap_wall.ravel()[index][:, None]
    is_foot = on_foot.ravel()[index][:, None]
    foot_wall = is_foot & (four[:, 1] < hair)[:, None] & (z < four[:, 3] - 0.1)[:, None]
    colour = np.where(is_wall, albedo * wall, np.where(is_foot, foot, cap))
    colour = np.where(foot_wall, foot_albedo * wall, colour)
    out.reshape(-1, 3)[index] = colour
    return out


def _wall_grain(x: Map, y: Map, z: Map, mm: float) -> Map:
    """Mottled tone (N, 1) of walls, by place along the wall and height."""
    t = tile(1.0, 0)
    u = ((x + 0.7 * y) * np.float32(mm * 2.5)).astype(np.int32) % TILE_PX
    v = (z * np.float32(4.0)).astype(np.int32) % TILE_PX
    return 1 + np.float32(0.07) * t[v, u][:, None]


def label_map(plan: Plan, hits: Hits) -> tuple[NDArray[np.uint16], NDArray[np.bool_]]:
    """The shell that each ray sees (one ray a pixel: its centre), and whether its cap."""
    nearest = cv2.remap(
        plan.label, hits.x, hits.y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT
    )
    base = cv2.remap(plan.base, hits.x, hits.y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    four = cv2.remap(plan.shell, hits.x, hits.y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    hair = np.float32(0.01 * plan.mm_per_px)  # the march ends within a hair of a wall
    edge = np.maximum(four[..., 0], four[..., 1])
    # what floats above the ground beside an edge is its wall
    on_wall = (edge > -np.float32(0.6 * plan.mm_per_px)) & (hits.height_mm > base + 0.5)
    inside = (edge > -hair) | on_wall
    covered = base > np.maximum(four[..., 2], four[..., 3]) + 0.02
    on_shell = inside & ~covered & (hits.height_mm > base + 0.005)
    labels = np.where(on_shell, nearest, 0).astype(np.uint16)
    hair_cap = np.float32(0.6 * plan.mm_per_px)
    caps = (labels > 0) & (four[..., 0] > -hair_cap)
    caps &= (four[..., 0] > hair_cap) | (hits.height_mm > four[..., 3] + np.float32(0.12))
    return labels, caps


def draw(
    scene: Scene, supersample: float = 1.5, fineness: float = 0.75, step_cells: float = 1.6
) -> Drawn:
    """Draw a scene.

    ``supersample`` rays a pixel side, ``fineness`` plan cells a ray at mid-picture and
    ``step_cells`` as in `trace`: the defaults for training (1, 1 is quicker, a little jagged);
    1.5, 1 and 0.5 where edges must be exact (tests, benchmarks).
    """
    cv2.setNumThreads(1)
    c = scene.camera
    plan = plan_for(scene, supersample, fineness)
    lay_out(scene, plan)
    lit = shade(plan, scene.light, scene.camera.centre_mm)
    hits = trace(c, plan, supersample, step_cells)
    colours = _colours(scene, plan, lit, hits)
    if supersample != 1:
        hits = trace(c, plan, 1.0, step_cells)
    if colours.shape[:2] != (c.height_px, c.width_px):
        colours = cv2.resize(colours, (c.width_px, c.height_px), interpolation=cv2.INTER_AREA)
    picture = develop(colours, c, np.random.default_rng([scene.seed, 77]))
    return Drawn(picture, *label_map(plan, hits))


def seeded_scene(seed: int, number: int, kind: str, size_px: tuple[int, int]) -> Scene:
    """Scene ``number`` of a series."""
    scene = random_scene(np.random.default_rng([seed, number]), kind, size_px)
    return replace(scene, name=f"{scene.kind}_{seed}_{number:05d}", seed=seed * 100003 + number)


def save(scene: Scene, drawn: Drawn, folder: Path, labels: bool) -> None:
    """Write picture (with its 35-mm focal length in EXIF), truth and labels."""
    name = f"{scene.name}.jpg"
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Drawn", "Scene"
    exif.get_ifd(0x8769)[0xA405] = round(scene.camera.focal_35mm_mm)
    rgb = np.ascontiguousarray(drawn.picture_bgr[..., ::-1])
    Image.fromarray(rgb).save(folder / name, quality=scene.camera.jpeg_quality, exif=exif)
    (folder / f"{scene.name}.json").write_text(json.dumps(truth(scene, name)))
    if labels:
        cv2.imwrite(str(folder / f"{scene.name}.labels.png"), drawn.labels)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--count", type=int, default=1)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", default="any", choices=["any", *KINDS])
    parser.add_argument("--width", type=int, default=1024)
    parser.add_argument("--labels", action="store_true")
    parser.add_argument("--supersample", type=float, default=1.5)
    parser.add_argument("--fineness", type=float, default=0.75)
    parser.add_argument("--step-cells", type=float, default=1.6)
    a = parser.parse_args()
    a.folder.mkdir(parents=True, exist_ok=True)
    for number in range(a.first, a.first + a.count):
        scene = seeded_scene(a.seed, number, a.kind, (a.width, a.width * 3 // 4))
        save(scene, draw(scene, a.supersample, a.fineness, a.step_cells), a.folder, a.labels)


if __name__ == "__main__":
    main()
