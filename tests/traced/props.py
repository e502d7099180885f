"""Everything on and round the tray but the shells: pan, liner, card, table, decoys. Meshes only."""

import numpy as np

from tests.traced.lay import CARD_MM, PlacedCard
from tests.traced.mesh import Array, Mesh, grid_quads, loft, rounded_rectangle, sheet, smooth_noise
from tests.traced.scenes import TRAY_MM
from tests.traced.textures import CARD_PICTURE_MM

FLOOR_Z_MM = -0.6
RIM_Z_MM = 20.0
RIM_OFFSET_MM = 12.4
CORNER_RADIUS_MM = 12.0
TABLE_Z_MM = -2.0
CARD_THICKNESS_MM = 0.3
CARD_CORNER_MM = 3.18


def pan_walls(floor_z_mm: float = FLOOR_Z_MM) -> Mesh:
    """Wall, rolled rim and outside of the pan; the floor is a sheet of its own."""
    sunk = floor_z_mm - FLOOR_Z_MM
    roll = np.linspace(np.pi, -0.35 * np.pi, 15)
    profile = [(-1.5, floor_z_mm + 0.02), (-0.6, floor_z_mm + 0.15), (0.2, floor_z_mm + 0.9),
               (5.0, 15.0), (5.4, 16.4)]
    profile += [(8.9 + 3.5 * np.cos(a), 16.5 + 3.5 * np.sin(a)) for a in roll]
    profile += [(8.0, 12.0), (5.5, 8.0), (1.0, TABLE_Z_MM + sunk + 0.1)]
    rings = np.stack([
        np.column_stack([rounded_rectangle(TRAY_MM, CORNER_RADIUS_MM, offset, 24),
                         np.full(96, z)]) for offset, z in profile])
    return loft(rings)


def pan_floor(z_mm: float) -> Mesh:
    x, y = np.linspace(-0.5, TRAY_MM[0] + 0.5, 3), np.linspace(-0.5, TRAY_MM[1] + 0.5, 3)
    return sheet(x, y, np.full((3, 3), z_mm))


def liner_sheet(rng: np.random.Generator, inset_mm: float, *, curls: bool) -> Mesh:
    """The liner; its top is z = 0 but for a border that may curl up a little."""
    x = np.linspace(inset_mm, TRAY_MM[0] - inset_mm, 216)
    y = np.linspace(inset_mm, TRAY_MM[1] - inset_mm, 152)
    z = np.zeros((len(y), len(x)))
    if curls:
        edge = np.minimum(np.minimum(x - x[0], x[-1] - x)[None],
                          np.minimum(y - y[0], y[-1] - y)[:, None])
        wave = np.clip(1.2 + smooth_noise(rng, z.shape, 40.0), 0, 3)
        z = wave * np.clip(1 - edge / 9.0, 0, 1) ** 2
    return sheet(x, y, z)


def wire_rack(wire_mm: float, pitch_mm: float) -> list[Mesh]:
    """A rack that fills the pan: thin wires across, tops at z = 0, on three thick ones."""
    def wire(start: tuple[float, float, float], end: tuple[float, float, float], across: float
             ) -> Mesh:
        a = np.arange(14) * 2 * np.pi / 14
        way = np.subtract(end, start) / np.linalg.norm(np.subtract(end, start))
        side = np.cross(way, [0.0, 0.0, 1.0])
        rim = across / 2 * (np.cos(a)[:, None] * side + np.sin(a)[:, None] * np.array([0, 0, 1.0]))
        return loft(np.stack([rim + start, rim + end]), cap_ends=True)

    x0, x1, y0, y1 = 5.0, TRAY_MM[0] - 5.0, 5.0, TRAY_MM[1] - 5.0
    z = -wire_mm / 2
    wires = [wire((float(x), y0, z), (float(x), y1, z), wire_mm)
             for x in np.arange(x0, x1, pitch_mm)]
    low = -wire_mm - 1.6
    wires += [wire((x0, float(y), low), (x1, float(y), low), 3.2)
              for y in np.linspace(y0 + 6, y1 - 6, 4)]
    wires += [wire((float(x), y0, z), (float(x), y1, z), 3.2) for x in (x0, x1)]
    return wires


def table_sheet(size_mm: tuple[float, float], z_mm: float = TABLE_Z_MM) -> Mesh:
    cx, cy = TRAY_MM[0] / 2, TRAY_MM[1] / 2
    x = np.linspace(cx - size_mm[0] / 2, cx + size_mm[0] / 2, 3)
    y = np.linspace(cy - size_mm[1] / 2, cy + size_mm[1] / 2, 3)
    return sheet(x, y, np.full((3, 3), z_mm))


def card_plate(card: PlacedCard) -> Mesh:
    """The card as a thin plate; its top carries the print, by exact place."""
    outline = rounded_rectangle(CARD_MM, CARD_CORNER_MM)
    middle = np.repeat(np.array([CARD_MM]) / 2, len(outline), 0)
    plan = np.stack([middle, outline, outline])
    a = np.radians(card.rot_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    height = np.array([CARD_THICKNESS_MM, CARD_THICKNESS_MM, 0.0])
    z = np.broadcast_to(height[:, None, None], (*plan.shape[:2], 1))
    vertices = np.concatenate([plan @ turn.T + card.origin_mm, z], -1)
    uv = plan / CARD_PICTURE_MM
    uv[..., 1] = 1 - uv[..., 1]
    return Mesh(vertices.reshape(-1, 3), grid_quads(3, len(outline), closed=True),
                uv=uv.reshape(-1, 2), smooth=False)


def crumb(rng: np.random.Generator, place_mm: Array, radius_mm: float) -> Mesh:
    """A rough lump resting on the liner."""
    lat, lon = np.linspace(0.05, np.pi - 0.05, 12), np.arange(18) * 2 * np.pi / 18
    rough = 1 + 0.28 * smooth_noise(rng, (12, 18), 5.0)
    squash = rng.uniform(0.6, 1.0)
    r = radius_mm * rough
    level = r * np.sin(lat)[:, None]
    rings = np.stack([level * np.cos(lon), level * np.sin(lon), squash * r * np.cos(lat)[:, None]],
                     -1)
    rings += np.array([*place_mm, -0.05 - rings[..., 2].min()])
    return loft(rings, cap_ends=True)


def turned(rings: Array, place_mm: tuple[float, float, float], direction_deg: float) -> Array:
    a = np.radians(direction_deg)
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    return rings @ turn.T + place_mm


def piping_tip(place_mm: tuple[float, float], direction_deg: float) -> Mesh:
    """A round steel nozzle lying on its side, 34 mm long."""
    angle = np.arange(48) * 2 * np.pi / 48
    profile = [(-17, 8.2), (-17, 9.0), (-15.5, 9.3), (-14.5, 8.9), (17, 3.6), (17, 3.1), (12, 3.4),
               (-16, 8.2)]
    rings = np.stack([np.stack([np.full(48, x), r * np.cos(angle),
                                9.3 + r * np.sin(angle)], -1) for x, r in profile])
    # lying on the liner: the axis falls towards the narrow end
    rings[..., 2] -= 5.0 * (rings[..., 0] + 15.5) / 32.5
    return loft(turned(rings, (*place_mm, 0.0), direction_deg))


def spoon(place_mm: tuple[float, float, float], direction_deg: float) -> Mesh:
    """A steel teaspoon, 140 mm; the bowl first, hollow side up."""
    along = np.concatenate([np.linspace(0, 44, 26), np.linspace(47, 140, 30)])
    bowl = 15.5 * np.sqrt(np.clip(1 - ((along - 22) / 23.5) ** 2, 0, 1))
    handle = 2.4 + 2.6 * np.clip((along - 70) / 60, 0, 1) ** 1.5
    half = np.where(along < 43, np.maximum(bowl, np.where(along > 30, 2.6, 0.3)), handle)
    keel = 1.0 + 5.0 * np.exp(-(((along - 55) / 30) ** 2)) * (along > 40)
    across = np.linspace(-1, 1, 17)
    depth = np.where(along < 44, 6.0 * np.clip(bowl / 15.5, 0, 1) ** 1.3, 0.0)
    z = (7.0 - keel * 0.2)[:, None] - depth[:, None] * (1 - across[None] ** 2)
    top = np.stack([np.broadcast_to(along[:, None], z.shape), half[:, None] * across, z], -1)
    under = top[:, ::-1] - [0, 0, 0.9]
    return loft(turned(np.concatenate([top, under], 1), place_mm, direction_deg), cap_ends=True)


def towel(rng: np.random.Generator, corner_mm: tuple[float, float], direction_deg: float,
          height_mm: float) -> Mesh:
    """A folded kitchen towel whose edge reaches into the picture."""
    x, y = np.linspace(0, 260, 200), np.linspace(-130, 130, 200)
    fold = 1.6 * smooth_noise(rng, (200, 200), (60.0, 40.0))
    hem = np.clip(x / 5.0, 0, 1)[None] ** 0.5
    z = height_mm * hem + fold * hem
    flat = sheet(x, y, z)
    wobble = 2.5 * np.sin(flat.vertices_mm[:, 1] / 37) + 1.2 * np.sin(flat.vertices_mm[:, 1] / 11)
    vertices = flat.vertices_mm + np.stack([wobble, 0 * wobble, 0 * wobble], -1)
    return Mesh(turned(vertices, (*corner_mm, TABLE_Z_MM), direction_deg), flat.quads, uv=flat.uv)
