"""One baked shell as geometry: cap outline, foot ring, dome. Frame tray, mm; numpy only.

The cap is a dome over an outline that is given as a Fourier row about the cap's centre; it is
widest at its rim, ``rim_z_mm`` above the liner, and curls under. The foot is a ring under it,
made of foam: rounded cells on a radius that wanders round the shell.
"""

from dataclasses import dataclass, field

import numpy as np

from tests.traced.forms import Form, dome_rho
from tests.traced.mesh import (
    Array,
    Mesh,
    grid_quads,
    sample_periodic,
    smooth_noise,
    srgb_to_linear,
)

GRAIN_PX_PER_MM = 6.0
FOOT_COLUMNS, FOOT_ROWS = 840, 24


@dataclass(frozen=True, slots=True)
class Crack:
    """An open fissure along a path in plan view; ends taper to nothing."""

    path_mm: Array  # (N, 2), tray
    half_width_mm: Array  # (N,)
    depth_mm: float
    kind: str


@dataclass(frozen=True, slots=True)
class Dimple:
    centre_mm: tuple[float, float]
    diameter_mm: float
    depth_mm: float
    steep: float = 0.72  # depth * exp(-(r / (steep * radius))^power)
    power: float = 4.0


@dataclass(frozen=True, slots=True)
class Topping:
    """A sprinkle, a bead or a thread on the cap, along a path in plan view."""

    kind: str
    path_mm: Array  # (N, 2), tray
    radius_mm: float
    colour_srgb: tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class FootProfile:
    """A foot's side: where it is widest (of its height), how far it falls back below and above,
    and how large its foam's cells are (1: as usual; 0 ruffles: a smooth band)."""

    widest_rel: float
    below_mm: float
    above_mm: float
    cell_rel: float = 1.0


@dataclass(frozen=True, slots=True)
class Shell:
    """What one shell is made of. Angles from +x towards +y (clockwise in the photo)."""

    id: int
    row: int
    col: int
    seed: int
    centre_mm: tuple[float, float]  # of the cap
    radius_mm: float  # of the cap
    waves: tuple[tuple[int, float, float], ...]  # (k, amplitude_rel, phase_rad) of the cap
    height_mm: float
    rim_z_mm: float
    foot_height_mm: float
    foot_spread_mm: float
    lean_mm: tuple[float, float]
    ruffle_mm: float
    flavour_srgb: tuple[int, int, int]
    browning: float
    cracks: tuple[Crack, ...] = ()
    dimples: tuple[Dimple, ...] = ()
    peak_mm: float = 0.0
    lumpy_mm: float = 0.0
    swirl_srgb: tuple[int, int, int] | None = None
    specks: int = 0
    teardrop: bool = False
    toppings: tuple[Topping, ...] = ()
    has_foot: bool = True
    touching: tuple[int, ...] = field(default=())
    form: Form | None = None  # None: round
    profile: FootProfile | None = None  # None: as all feet were before there were profiles
    dome: tuple[float, float] | None = None  # (1 - rho^a)^b; None: a little less than round

    def cap_radius_mm(self, angle_rad: Array) -> Array:
        """Cap outline about the cap's centre, with its fine unevenness."""
        r = np.ones_like(angle_rad) if self.form is None else self.form.radius_rel(angle_rad)
        for k, amplitude, phase in self.waves:
            r = r + amplitude * np.cos(k * (angle_rad - phase))
        rng = np.random.default_rng(self.seed + 11)
        fine = smooth_noise(rng, (1, 1024), (1, 28))[0]
        return self.radius_mm * r + 0.045 * sample_periodic(
            fine[None], angle_rad / (2 * np.pi) * 1024, np.zeros_like(angle_rad))

    @property
    def inner_mm(self) -> float:
        """Radius of the largest disc about the centre that lies within the form."""
        if self.form is None:
            return self.radius_mm
        turn = np.linspace(0, 2 * np.pi, 360)
        return self.radius_mm * float(self.form.radius_rel(turn).min())


def tan_of(colour: Array, amount: float | Array) -> Array:
    """A linear colour baked towards tan; ``amount`` 0..1."""
    toast = srgb_to_linear((196, 150, 96))
    a = np.asarray(amount)[..., None]
    return colour * (1 - a) + (0.55 * toast + 0.45 * toast * colour / max(colour.max(), 1e-3)) * a


def distance_to_path(xy_mm: Array, path_mm: Array, width_mm: Array) -> tuple[Array, Array]:
    """Distance of each point (N, 2) to the nearest path place, and the width there."""
    best, width = np.full(len(xy_mm), np.inf), np.zeros(len(xy_mm))
    for a, b, wa, wb in zip(path_mm, path_mm[1:], width_mm, width_mm[1:], strict=False):
        t = np.clip((xy_mm - a) @ (b - a) / max((b - a) @ (b - a), 1e-9), 0, 1)
        d = np.hypot(*(xy_mm - a - t[:, None] * (b - a)).T)
        nearer = d < best
        best = np.where(nearer, d, best)
        width = np.where(nearer, wa + t * (wb - wa), width)
    return best, width


def surface_offsets(shell: Shell, xy_mm: Array, inside: Array) -> tuple[Array, Array]:
    """What the dome gains in height at plan places (N, 2), mm, and how much is crack (0..1)."""
    rng = np.random.default_rng(shell.seed + 5)
    local = (xy_mm - shell.centre_mm + 40) * GRAIN_PX_PER_MM
    fade = 1 - inside**10
    z = np.zeros(len(xy_mm))
    for wavelength_mm, height_mm in ((9, 0.07), (2.2, 0.022), (3.4, shell.lumpy_mm)):
        noise = smooth_noise(rng, (512, 512), wavelength_mm * GRAIN_PX_PER_MM)
        z += height_mm * fade * sample_periodic(noise, local[:, 0], local[:, 1])
    for d in shell.dimples:
        q = np.hypot(*(xy_mm - d.centre_mm).T) / (d.diameter_mm / 2)
        z -= d.depth_mm * np.exp(-((q / d.steep) ** d.power))
    if shell.peak_mm:
        q = np.hypot(*(xy_mm - shell.centre_mm).T)
        z += shell.peak_mm * (0.6 * np.exp(-((q / 0.9) ** 2)) + 0.4 * np.exp(-((q / 2.6) ** 2)))
    mask = np.zeros(len(xy_mm))
    for crack in shell.cracks:
        distance, half = distance_to_path(xy_mm, crack.path_mm, crack.half_width_mm)
        ragged = 0.1 * sample_periodic(
            smooth_noise(rng, (512, 512), 4.0), local[:, 0], local[:, 1])
        open_ = np.clip((half + ragged * (half > 0.08) - distance) / 0.22 + 0.5, 0, 1)
        open_ *= half > 0.02
        z += 0.16 * np.exp(-(((distance - half - 0.5) / 0.7) ** 2)) * np.clip(half / 0.3, 0, 1)
        z -= crack.depth_mm * open_ * np.clip(0.35 + half / 0.6, 0, 1)
        mask = np.maximum(mask, open_)
    return z, mask


def cap_columns(shell: Shell) -> int:
    """Vertices in each ring of the cap; cracks need a finer mesh."""
    return 720 if shell.cracks else 400


def cap_mesh(shell: Shell) -> Mesh:
    """Dome, rim and the curl under the rim. Vertices in rings from the centre outwards."""
    columns, rings = cap_columns(shell), 190 if shell.cracks else 72
    angle = np.arange(columns) * 2 * np.pi / columns
    rng = np.random.default_rng(shell.seed + 1)
    radius = shell.cap_radius_mm(angle)
    rim_z = shell.rim_z_mm + sum(
        0.13 / k * rng.standard_normal() * np.cos(k * angle + rng.uniform(0, 6.3))
        for k in (1, 2, 3, 4))
    rho = np.sin(np.linspace(0, 1, rings) * np.pi / 2)[:, None]
    power, shoulder = rng.uniform(2.1, 2.7), rng.uniform(0.5, 0.6)
    if shell.dome is not None:
        power, shoulder = shell.dome
    out = rho if shell.form is None or shell.form.kind == "oval" else dome_rho(radius, rho)
    dome = (shell.height_mm - rim_z) * (1 - out**power) ** shoulder
    x, y = (shell.centre_mm[i] + rho * radius * f(angle) for i, f in ((0, np.cos), (1, np.sin)))
    inside = np.broadcast_to(rho, x.shape).ravel()
    gain, crack = surface_offsets(shell, np.stack([x.ravel(), y.ravel()], -1), inside)
    z = np.maximum(rim_z + dome + gain.reshape(x.shape), 1.0)
    under = np.linspace(0, np.pi / 2, 9)[1:, None]
    curl_mm = 1.15
    r_under = np.concatenate([radius - curl_mm * (1 - np.cos(under)), radius[None] - 4.0])
    z_under = np.concatenate([rim_z - curl_mm * np.sin(under), rim_z[None] - curl_mm])
    x = np.concatenate([x, shell.centre_mm[0] + r_under * np.cos(angle)])
    y = np.concatenate([y, shell.centre_mm[1] + r_under * np.sin(angle)])
    vertices = np.stack([x, y, np.concatenate([z, z_under])], -1).reshape(-1, 3)
    below = len(vertices) - len(inside)
    colour = cap_colour(shell, vertices, np.concatenate([inside, np.ones(below)]),
                        np.concatenate([crack, np.zeros(below)]))
    return Mesh(vertices, grid_quads(len(x), columns, closed=True), colour)


def cap_colour(shell: Shell, vertices_mm: Array, inside: Array, crack: Array) -> Array:
    """Linear colour of cap vertices (N, 4); the fourth channel is 1 inside a crack."""
    rng = np.random.default_rng(shell.seed + 3)
    local = (vertices_mm[:, :2] - shell.centre_mm + 40) * GRAIN_PX_PER_MM
    blotch = sample_periodic(smooth_noise(rng, (512, 512), 70), local[:, 0], local[:, 1])
    fine = sample_periodic(smooth_noise(rng, (512, 512), 7), local[:, 0], local[:, 1])
    side = rng.uniform(0, 2 * np.pi)
    across = (vertices_mm[:, :2] - shell.centre_mm) @ [np.cos(side), np.sin(side)]
    brown = np.clip(shell.browning * (1 + 0.25 * blotch + 0.3 * across / shell.radius_mm)
                    + 0.10 * inside**14, 0, 1)
    base = np.repeat(srgb_to_linear(shell.flavour_srgb)[None], len(inside), 0)
    if shell.swirl_srgb is not None:
        offset = vertices_mm[:, :2] - shell.centre_mm
        drift = sample_periodic(smooth_noise(rng, (512, 512), 110), local[:, 0], local[:, 1])
        turn = (np.arctan2(offset[:, 1], offset[:, 0]) + rng.uniform(2.2, 4.6) * inside
                + 0.45 * drift)
        wave = np.sin(int(rng.integers(1, 4)) * turn) + 0.35 * blotch
        band = np.clip(0.45 + 1.1 * wave * np.clip(3 * inside, 0, 1), 0, 0.85)[:, None]
        base = base * (1 - band) + srgb_to_linear(shell.swirl_srgb) * band
    toast = tan_of(base, brown)
    toast = toast * (1 + 0.03 * blotch + 0.018 * fine)[:, None]
    if shell.specks:
        where = rng.normal(0, 0.45 * shell.radius_mm, (shell.specks, 2)) + shell.centre_mm
        size = rng.uniform(0.2, 0.55, shell.specks)
        for place, half in zip(where, size, strict=True):
            dark = np.clip(1.4 - np.hypot(*(vertices_mm[:, :2] - place).T) / half, 0, 1)
            toast = toast * (1 - 0.75 * dark[:, None])
    inner = (0.8 * toast + 0.12 * srgb_to_linear((214, 170, 110)))
    toast = toast * (1 - crack[:, None]) + inner * crack[:, None]
    return np.concatenate([np.clip(toast, 0, 0.95), crack[:, None]], 1)


def foam(rng: np.random.Generator, arc_mm: Array, z_mm: Array, around_mm: float,
         size_rel: float = 1.0, top_mm: float = 4.2) -> Array:
    """Rounded cells over (arc, height): 1 on a cell's crown, 0 in the creases. Shape as given."""
    count = int(around_mm / 0.62 / size_rel**2)
    cells = np.stack([rng.uniform(0, around_mm, count * 3),
                      rng.uniform(-0.4, top_mm, count * 3)], -1)
    radius = rng.uniform(0.42, 1.0, len(cells)) * np.where(cells[:, 1] < 1.2, 1.15, 0.9) * size_rel
    out = np.zeros(arc_mm.shape)
    columns = arc_mm.shape[1]
    step_mm = around_mm / columns
    for (s, z), r in zip(cells, radius, strict=True):
        reach = int(r / step_mm) + 1
        near = np.arange(int(s / step_mm) - reach, int(s / step_mm) + reach + 1)
        ds = near * step_mm - s
        q = (ds[None] ** 2 + (1.15 * (z_mm[:, near % columns] - z)) ** 2) / r**2
        bump = r * np.sqrt(np.clip(1 - q, 0, 1))
        out[:, near % columns] = np.maximum(out[:, near % columns], bump)
    return out


def profiled_foot_mesh(shell: Shell, profile: FootProfile) -> Mesh:
    """The foot by its profile: as far round any form as round a circle, and its mean farthest
    reach beyond the cap is ``foot_spread_mm``."""
    rng = np.random.default_rng(shell.seed + 2)
    angle = np.arange(FOOT_COLUMNS) * 2 * np.pi / FOOT_COLUMNS
    up = np.linspace(0, 1, FOOT_ROWS)[:, None]
    cap = shell.radius_mm * _foot_form(shell, angle)
    slope = (np.roll(cap, -1) - np.roll(cap, 1)) / (2 * angle[1])
    aslant = np.clip(cap / np.hypot(cap, slope), 0.62, 1)  # steps along the ray, not across the rim
    arc = np.concatenate([[0], np.cumsum(np.hypot(cap, slope))]) * angle[1]
    wander = sum(0.30 / np.sqrt(k) * rng.standard_normal() * np.cos(k * angle + rng.uniform(0, 6.3))
                 for k in (2, 3, 4, 5, 7))
    height = shell.foot_height_mm * (1 + 0.06 * wander)
    level = np.arange(FOOT_COLUMNS) / FOOT_COLUMNS * arc[-1]  # cells are as large all round
    there = np.interp(level, arc, np.arange(FOOT_COLUMNS + 1))
    cells = foam(rng, np.broadcast_to(level, (FOOT_ROWS, FOOT_COLUMNS)),
                 up * np.interp(there, np.arange(FOOT_COLUMNS), height, period=FOOT_COLUMNS),
                 arc[-1], profile.cell_rel, shell.foot_height_mm + 0.6)
    back = arc[:-1] / arc[-1] * FOOT_COLUMNS
    cells = np.stack([np.interp(back, np.arange(FOOT_COLUMNS), row, period=FOOT_COLUMNS)
                      for row in cells]) / max(profile.cell_rel, 1)
    w = profile.widest_rel
    away = np.where(up < w, (w - up) / w, (up - w) / (1 - w))
    bulge = -np.where(up < w, profile.below_mm, profile.above_mm) * away**2
    rough = min(shell.ruffle_mm / 0.9, 1.3)
    folds = smooth_noise(rng, (1, FOOT_COLUMNS), (1, 15 * profile.cell_rel))[0]
    strength = shell.ruffle_mm * (0.4 + 0.6 * np.exp(-(((up - w) / 0.4) ** 2)))
    offset = (bulge + 0.42 * wander + (0.03 + 0.13 * rough) * folds * (1 - 0.6 * away)
              + strength * (cells - 0.62) * 1.25)
    offset += shell.foot_spread_mm - offset.max(0).mean()
    tuck = np.clip((up - 0.88) / 0.12, 0, 1)
    offset = offset * (1 - tuck) - 2.5 * tuck
    radius = np.maximum(cap + offset / aslant, 0.3 * cap)
    x = shell.centre_mm[0] + shell.lean_mm[0] + radius * np.cos(angle)
    y = shell.centre_mm[1] + shell.lean_mm[1] + radius * np.sin(angle)
    vertices = np.stack([x, y, up * height + 0.35 * tuck], -1).reshape(-1, 3)
    return Mesh(vertices, grid_quads(FOOT_ROWS, FOOT_COLUMNS, closed=True),
                foot_colour(shell, cells, up))


def _foot_form(shell: Shell, angle: Array) -> Array:
    """The cap's form without its fine unevenness, its waves a little less."""
    base = np.ones_like(angle) if shell.form is None else shell.form.radius_rel(angle)
    for k, amplitude, phase in shell.waves:
        base = base + 0.85 * amplitude * np.cos(k * (angle - phase))
    return base


def foot_mesh(shell: Shell) -> Mesh:
    """The foot: rings from the liner upwards; the last one tucks under the cap."""
    if shell.profile is not None:
        return profiled_foot_mesh(shell, shell.profile)
    rng = np.random.default_rng(shell.seed + 2)
    angle = np.arange(FOOT_COLUMNS) * 2 * np.pi / FOOT_COLUMNS
    up = np.linspace(0, 1, FOOT_ROWS)[:, None]
    base = _foot_form(shell, angle)
    wander = sum(0.30 / np.sqrt(k) * rng.standard_normal() * np.cos(k * angle + rng.uniform(0, 6.3))
                 for k in (2, 3, 4, 5, 7))
    folds = smooth_noise(rng, (1, FOOT_COLUMNS), (1, 15))[0]
    # the crowns stand out by about ruffle_mm beyond the mean, so the mean is set back by it
    mean = shell.radius_mm * base + shell.foot_spread_mm + 0.42 * wander
    height = shell.foot_height_mm * (1 + 0.06 * wander)
    z = up * height
    arc = np.broadcast_to(angle * shell.radius_mm, z.shape)
    cells = foam(rng, arc, z, 2 * np.pi * shell.radius_mm)
    bulge = -0.55 * (np.abs(up - 0.38) / 0.62) ** 2.2
    strength = shell.ruffle_mm * np.clip(1.25 - up, 0.3, 1)
    radius = (mean + bulge + 0.16 * folds * (1 - 0.6 * up) + strength * (cells - 0.62) * 1.25
              - 0.35 * (up < 0.02))
    tuck = np.clip((up - 0.86) / 0.14, 0, 1)
    radius = radius * (1 - tuck) + (shell.radius_mm * base - 2.5) * tuck
    x = shell.centre_mm[0] + shell.lean_mm[0] + radius * np.cos(angle)
    y = shell.centre_mm[1] + shell.lean_mm[1] + radius * np.sin(angle)
    vertices = np.stack([x, y, z + 0.35 * tuck], -1).reshape(-1, 3)
    return Mesh(vertices, grid_quads(FOOT_ROWS, FOOT_COLUMNS, closed=True),
                foot_colour(shell, cells, up))


def foot_light(flavour_srgb: tuple[int, int, int]) -> Array:
    """Linear colour of an unbaked foot: lighter than the cap."""
    cap = srgb_to_linear(flavour_srgb)
    return 0.52 * cap + 0.48 * (0.55 * cap.max() + 0.45) * srgb_to_linear((244, 214, 168))


def foot_linear(flavour_srgb: tuple[int, int, int], browning: float) -> Array:
    """About the mean linear colour of a baked foot."""
    tan = tan_of(foot_light(flavour_srgb)[None, None], np.full((1, 1), 0.19 + 0.7 * browning))
    return np.asarray(tan, float).reshape(-1)[:3]


def foot_colour(shell: Shell, cells: Array, up: Array) -> Array:
    """Linear colour of foot vertices (N, 4): lighter and tanner than the cap, dark in creases."""
    light = foot_light(shell.flavour_srgb)
    tan = tan_of(light[None, None], np.clip(0.10 + 0.7 * shell.browning + 0.18 * (1 - up), 0, 1)
                 * np.ones_like(cells))
    shade = 0.84 + 0.26 * np.clip(cells, 0, 0.8) / 0.8
    rgb = np.clip(tan * shade[..., None], 0, 0.95).reshape(-1, 3)
    return np.concatenate([rgb, np.ones((len(rgb), 1))], 1)
