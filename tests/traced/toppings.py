"""What a baker strews or pours over a cap: sprinkles, beads, a thread of chocolate. numpy only.

None of it is a crack. Frame tray, mm.
"""

import numpy as np

from tests.traced.mesh import Array, Mesh, grid_quads, smooth_noise, srgb_to_linear
from tests.traced.shells import Shell, Topping, cap_columns

SPRINKLE_SRGB = ((62, 38, 26), (250, 246, 238), (226, 96, 128), (120, 170, 120), (244, 200, 90),
                 (90, 90, 96))
AROUND = 10  # vertices round a tube


def surface_z_mm(cap: Mesh, columns: int, xy_mm: Array) -> Array:
    """Height of the cap's dome at plan places (N, 2), by its nearest vertices."""
    rings = cap.vertices_mm[: len(cap.vertices_mm) - 9 * columns]
    away = ((rings[None, :, :2] - xy_mm[:, None]) ** 2).sum(-1)
    near = np.argpartition(away, 3, axis=1)[:, :3]
    return rings[near, 2].mean(1)


def tube(path_mm: Array, radius_mm: Array) -> Array:
    """Rings (N, AROUND, 3) of a round tube along a path (N, 3)."""
    along = np.gradient(path_mm, axis=0)
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-9)
    side = np.cross(along, [0.0, 0.0, 1.0])
    side /= np.maximum(np.linalg.norm(side, axis=1, keepdims=True), 1e-9)
    up = np.cross(side, along)
    a = np.arange(AROUND) * 2 * np.pi / AROUND
    rim = np.cos(a)[None, :, None] * side[:, None] + np.sin(a)[None, :, None] * up[:, None]
    return path_mm[:, None] + rim * radius_mm[:, None, None]


def strewn(rng: np.random.Generator, shell: Shell) -> list[Topping]:
    """Sprinkles of one kind: bars of a few mm, or beads."""
    beads = bool(rng.random() < 0.35)
    several = bool(rng.random() < 0.4)
    colours = rng.permutation(len(SPRINKLE_SRGB))[: 3 if several else 1]
    out = []
    for _ in range(int(rng.integers(3, 16))):
        far = 0.72 * shell.inner_mm * np.sqrt(rng.uniform(0, 1))
        way, heading = rng.uniform(0, 2 * np.pi, 2)
        middle = np.array([np.cos(way), np.sin(way)]) * far + shell.centre_mm
        length = 0.05 if beads else float(rng.uniform(3.0, 7.5))
        half = np.array([np.cos(heading), np.sin(heading)]) * length / 2
        path = middle + np.linspace(-1, 1, 9)[:, None] * half
        radius = float(rng.uniform(0.6, 1.1) if beads else rng.uniform(0.45, 0.75))
        out.append(Topping("bead" if beads else "sprinkle", path, radius,
                           SPRINKLE_SRGB[colours[int(rng.integers(len(colours)))]]))
    return out


def poured(rng: np.random.Generator, shell: Shell) -> list[Topping]:
    """One to four threads of chocolate, roughly side by side, each across part of the cap."""
    way, out = rng.uniform(0, 2 * np.pi), []
    ahead, aside = (np.array([np.cos(a), np.sin(a)]) for a in (way, way + np.pi / 2))
    for _ in range(int(rng.integers(1, 5))):
        offset = rng.uniform(-0.6, 0.6) * shell.inner_mm
        reach = 0.8 * np.sqrt(shell.inner_mm**2 - offset**2)
        t = np.linspace(-reach, reach * rng.uniform(0.2, 1), 60)
        bend = 0.9 * smooth_noise(rng, (1, 60), (1, 30))[0]
        path = shell.centre_mm + t[:, None] * ahead + (offset + bend)[:, None] * aside
        out.append(Topping("thread", path, float(rng.uniform(0.45, 0.9)),
                           SPRINKLE_SRGB[int(rng.integers(2))]))
    return out


def topping_mesh(shell: Shell, cap: Mesh) -> Mesh:
    """All toppings of a shell as one mesh, half sunk into the dome."""
    vertices, quads, colours, count = [], [], [], 0
    for thing in shell.toppings:
        z = surface_z_mm(cap, cap_columns(shell), thing.path_mm)
        if thing.kind != "thread":  # stiff: it lies on the dome as a bar
            z = np.linspace(z[0], z[-1], len(z)) if thing.kind == "sprinkle" else z
        sunk = 0.55 if thing.kind != "thread" else 0.1
        path = np.column_stack([thing.path_mm, z + sunk * thing.radius_mm])
        end = np.sin(np.linspace(0, np.pi / 2, 5))
        if thing.kind == "bead":
            t = np.linspace(-1, 1, 9)
            path[:, :2] = path[4, :2] + np.outer(t * thing.radius_mm, [1.0, 0.0])
            width = thing.radius_mm * np.sqrt(np.maximum(1 - t**2, 1e-4))
        else:
            width = np.full(len(path), thing.radius_mm)
            width[:5], width[-5:] = thing.radius_mm * end, thing.radius_mm * end[::-1]
        rings = tube(path, np.maximum(width, 0.02))
        vertices.append(rings.reshape(-1, 3))
        quads.append(grid_quads(len(path), AROUND, closed=True) + count)
        colours.append(np.tile([*srgb_to_linear(thing.colour_srgb), 0.0], (rings[..., 0].size, 1)))
        count += rings[..., 0].size
    return Mesh(np.concatenate(vertices), np.concatenate(quads).astype(np.int32),
                np.concatenate(colours))
