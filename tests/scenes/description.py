"""What is in a scene: plain frozen values, lengths in mm.

Frame of a scene, the same as its truth file's: origin at the tray interior's top-left corner as
seen in the photo, x right, y down, z UP from the liner's top (left-handed).
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Colour = tuple[float, float, float]  # sRGB, 0 to 255

#: angles of every radius table: t = 2 pi i / ANGLES, from +x towards +y
ANGLES = 720


def angles_rad() -> Floats:
    """The angles (ANGLES,) of a radius table."""
    return np.arange(ANGLES) * (2 * np.pi / ANGLES)


@dataclass(frozen=True, eq=False)
class Outline:
    """A closed star-shaped curve: radius table (ANGLES,) about a centre, plan view."""

    centre_mm: tuple[float, float]
    radius_mm: Floats

    def points_mm(self) -> Floats:
        """Vertices (ANGLES, 2)."""
        t = angles_rad()
        return np.asarray(self.centre_mm) + self.radius_mm[:, None] * np.column_stack(
            [np.cos(t), np.sin(t)]
        )


@dataclass(frozen=True, eq=False)
class Crack:
    """An open fissure in the cap: centre line (N, 2) and greatest opening."""

    path_mm: Floats
    width_mm: float
    depth_mm: float
    kind: str = "radial"
    inner_rel: float = 0.55  # brightness of its inside over the cap's


@dataclass(frozen=True, eq=False)
class Topping:
    """A thin thing that lies on a cap: along a path (N, 2), so wide and so high."""

    kind: str  # hair, sprinkle, crumb
    path_mm: Floats
    width_mm: float
    height_mm: float
    colour: Colour


@dataclass(frozen=True)
class Dimple:
    """A round local depression (depth > 0) or peak (depth < 0)."""

    centre_mm: tuple[float, float]
    diameter_mm: float
    depth_mm: float


@dataclass(frozen=True, eq=False)
class ShellShape:
    """One shell (or dough piece, or coin): two outlines and a height profile.

    The cap falls from ``height_mm`` at its middle to ``rim_mm`` at the cap outline, then goes
    straight down; the foot is ``foot_mm`` high, ``0.55 foot_mm`` at its outline, where it goes
    straight down. ``cap_power`` 2 is a lens-like dome, 10 a flat top.
    """

    row: int
    column: int
    kind: str  # "macaron", "dough", "cookie", "coin"
    cap: Outline
    foot: Outline
    height_mm: float
    rim_mm: float
    foot_mm: float
    cap_power: float
    colour: Colour
    foot_colour: Colour
    has_foot: bool = True
    browning: float = 0.0
    second_colour: Colour | None = None
    swirl: float = 0.0  # turns of the swirl; 0: half and half
    specks: int = 0
    speck_colour: Colour = (60.0, 40.0, 30.0)
    speck_mm: float = 0.6
    dust: float = 0.0  # covered part, 0 to 1
    bump_mm: float = 0.05
    lumps_mm: float = 0.0
    gloss: float = 0.1
    rough: float = 0.4
    cracks: tuple[Crack, ...] = ()
    dimples: tuple[Dimple, ...] = ()
    toppings: tuple[Topping, ...] = ()
    teardrop: bool = False
    foot_round_mm: float = 0.6
    seed: int = 0


@dataclass(frozen=True)
class Surface:
    """Liner, mat, table: a named texture with its colours."""

    kind: str
    colour: Colour
    second: Colour = (120.0, 110.0, 100.0)
    gloss: float = 0.05
    rough: float = 0.5
    bump_mm: float = 0.02
    folds_mm: float = 0.0
    print_kind: str = "none"  # rings, discs, wells, text, grid, logo
    print_colour: Colour = (90.0, 60.0, 40.0)
    print_centres_mm: tuple[tuple[float, float], ...] = ()
    print_radius_mm: float = 22.0
    stains: int = 0
    scratches: int = 0
    seed: int = 0


@dataclass(frozen=True)
class Tray:
    """Tray interior size; ``rim_mm`` high walls, none when ``present`` is False."""

    width_mm: float
    depth_mm: float
    present: bool = True
    rim_mm: float = 18.0
    wall_mm: float = 9.0
    roll_mm: float = 6.0
    corner_mm: float = 14.0
    colour: Colour = (190.0, 190.0, 192.0)
    gloss: float = 0.6
    liner_inset_mm: tuple[float, float, float, float] = (3.0, 3.0, 3.0, 3.0)  # l, t, r, b
    liner_turn_deg: float = 0.0
    curl_mm: float = 0.0


@dataclass(frozen=True)
class Lamp:
    """A light at infinity; ``softness`` is its angular radius."""

    azimuth_deg: float
    elevation_deg: float
    strength: float
    softness_deg: float
    colour: Colour = (255.0, 255.0, 255.0)


@dataclass(frozen=True)
class Light:
    """All light: lamps, sky, a smooth change over the tray, shade of things out of view."""

    lamps: tuple[Lamp, ...]
    sky: float = 0.5
    sky_colour: Colour = (255.0, 255.0, 255.0)
    falloff: float = 1.5  # brightest over darkest
    falloff_deg: float = 0.0
    shades: int = 0
    shade_soft_mm: float = 15.0
    seed: int = 0


@dataclass(frozen=True, eq=False)
class Camera:
    """Pinhole camera with Brown-Conrady distortion (k1, k2, p1, p2) and the picture's faults."""

    width_px: int
    height_px: int
    focal_35mm_mm: float
    camera_matrix: Floats
    dist: tuple[float, float, float, float]
    world_to_camera: Floats  # (3, 4), det of the rotation -1
    tilt_deg: float
    roll_deg: float
    blur_px: float = 0.6  # sigma
    motion_px: float = 0.0
    motion_deg: float = 0.0
    noise: float = 0.01
    white_balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    exposure: float = 1.0
    contrast: float = 0.2
    saturation: float = 1.05
    sharpen: float = 0.4
    vignette: float = 0.15
    jpeg_quality: int = 92
    grey: bool = False

    @property
    def centre_mm(self) -> Floats:
        """Where the camera is (3,)."""
        m = self.world_to_camera
        return np.asarray(-m[:, :3].T @ m[:, 3])


@dataclass(frozen=True)
class Decoy:
    """Something that is not a shell."""

    kind: str
    centre_mm: tuple[float, float]
    size_mm: float
    turn_deg: float
    colour: Colour
    lift_mm: float = 0.0
    seed: int = 0


@dataclass(frozen=True)
class Card:
    """A reference card on the liner; origin is the card's top-left corner."""

    letter: str
    origin_mm: tuple[float, float]
    turn_deg: float
    scale: float = 1.0
    height_mm: float = 0.3
    brightness: float = 0.85


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything that is drawn."""

    name: str
    kind: str
    seed: int
    tray: Tray
    liner: Surface
    table: Surface
    light: Light
    camera: Camera
    shells: tuple[ShellShape, ...]
    decoys: tuple[Decoy, ...] = ()
    cards: tuple[Card, ...] = ()
    notes: dict[str, Any] = field(default_factory=dict)


def random_scene(
    rng: np.random.Generator, kind: str = "any", size_px: tuple[int, int] = (1024, 768)
) -> Scene:
    """A scene of a named kind (see `tests.scenes.recipes.KINDS`), or of any kind."""
    from tests.scenes.recipes import make_scene  # recipes are written in these values

    return make_scene(rng, kind, size_px)
