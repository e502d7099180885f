"""A mesh as plain arrays, and the few ways the scenes make one. Frame tray, mm."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Mesh:
    """Vertices and quadrilaterals; optional colour and texture place of each vertex."""

    vertices_mm: Array  # (N, 3)
    quads: NDArray[np.int32]  # (M, 4)
    colour: Array | None = None  # (N, 4): linear red, green, blue, and a free mask
    uv: Array | None = None  # (N, 2), v upwards
    smooth: bool = True


def grid_quads(rows: int, columns: int, *, closed: bool) -> NDArray[np.int32]:
    """Quads of a grid of ``rows`` x ``columns`` vertices; ``closed`` joins last to first column."""
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(columns if closed else columns - 1),
                       indexing="ij")
    a = i * columns + j
    b = i * columns + (j + 1) % columns
    return np.stack([a, b, b + columns, a + columns], -1).reshape(-1, 4).astype(np.int32)


def loft(rings_mm: Array, *, cap_ends: bool = False) -> Mesh:
    """Closed rings (R, N, 3) joined one to the next; the ends may be drawn to their centres."""
    if cap_ends:
        first, last = (np.repeat(r.mean(0, keepdims=True), len(r), 0) for r in rings_mm[[0, -1]])
        rings_mm = np.concatenate([first[None], rings_mm, last[None]])
    rows, columns = rings_mm.shape[:2]
    return Mesh(rings_mm.reshape(-1, 3), grid_quads(rows, columns, closed=True))


def sheet(x_mm: Array, y_mm: Array, z_mm: Array) -> Mesh:
    """A rectangular sheet; ``z_mm`` of shape (len(y), len(x)); texture runs over its extent."""
    x, y = np.meshgrid(x_mm, y_mm)
    u = (x - x_mm[0]) / (x_mm[-1] - x_mm[0])
    v = 1 - (y - y_mm[0]) / (y_mm[-1] - y_mm[0])
    vertices = np.stack([x, y, z_mm], -1).reshape(-1, 3)
    return Mesh(vertices, grid_quads(len(y_mm), len(x_mm), closed=False),
                uv=np.stack([u, v], -1).reshape(-1, 2))


def rounded_rectangle(size_mm: tuple[float, float], radius_mm: float, offset_mm: float = 0.0,
                      per_corner: int = 16) -> Array:
    """Outline (N, 2) of the rectangle from (0, 0) to ``size_mm``, moved outwards by an offset."""
    w, h = size_mm
    radius = max(radius_mm + offset_mm, 0.01)
    angle = np.linspace(0, np.pi / 2, per_corner)
    corners = [((w - radius_mm, h - radius_mm), 0), ((radius_mm, h - radius_mm), np.pi / 2),
               ((radius_mm, radius_mm), np.pi), ((w - radius_mm, radius_mm), 1.5 * np.pi)]
    return np.concatenate([
        np.array(c) + radius * np.stack([np.cos(angle + a), np.sin(angle + a)], -1)
        for c, a in corners
    ])


def smooth_noise(rng: np.random.Generator, shape: tuple[int, int],
                 wavelength_px: float | tuple[float, float]) -> Array:
    """Periodic random field, mean 0, standard deviation 1, with about the wavelength(s) given
    (rows, columns)."""
    wy, wx = np.broadcast_to(wavelength_px, 2)
    fy = np.fft.fftfreq(shape[0])[:, None] * wy
    fx = np.fft.rfftfreq(shape[1])[None] * wx
    spectrum = np.fft.rfft2(rng.standard_normal(shape)) * np.exp(-((fy**2 + fx**2) * 2))
    spectrum[0, 0] = 0
    field = np.fft.irfft2(spectrum, shape)
    return field / (field.std() + 1e-12)


def sample_periodic(field: Array, x_px: Array, y_px: Array) -> Array:
    """Bilinear reading of a periodic field at columns ``x_px`` and rows ``y_px``."""
    h, w = field.shape
    x0, y0 = np.floor(x_px).astype(int), np.floor(y_px).astype(int)
    fx, fy = x_px - x0, y_px - y0
    x0, y0 = x0 % w, y0 % h
    x1, y1 = (x0 + 1) % w, (y0 + 1) % h
    top = field[y0, x0] * (1 - fx) + field[y0, x1] * fx
    return top * (1 - fy) + (field[y1, x0] * (1 - fx) + field[y1, x1] * fx) * fy


def srgb_to_linear(srgb: Array | tuple[float, ...] | list[int]) -> Array:
    """sRGB 0..255 to linear 0..1 (IEC 61966-2-1)."""
    c = np.asarray(srgb, float) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(linear: Array) -> Array:
    """Linear 0..1 to sRGB 0..255 (IEC 61966-2-1), not rounded."""
    c = np.clip(linear, 0, 1)
    return 255 * np.where(c <= 0.0031308, 12.92 * c, 1.055 * c ** (1 / 2.4) - 0.055)
