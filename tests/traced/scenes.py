"""The named scenes of a made-up kitchen, the Atelier Brume: what lies on each tray, and how the
photo is taken. Description only; ``lay.py`` places the shells."""

from dataclasses import dataclass

from tests.traced.camera import Standpoint

FLAVOURS_SRGB = {
    "rose": (238, 168, 176), "chocolate": (92, 59, 43), "lemon": (250, 216, 112),
    "violet": (190, 160, 206), "vanilla": (246, 230, 192), "pistachio": (184, 204, 130),
    "raspberry": (206, 72, 104), "coffee": (176, 128, 88), "coconut": (246, 242, 232),
    "orange": (244, 168, 96), "blueberry": (120, 124, 172), "black_tea": (206, 178, 142),
}
TRAY_MM = (430.0, 305.0)  # floor of a half-sheet pan


@dataclass(frozen=True, slots=True)
class Light:
    """``style``: window, ceiling, sun, mixed, flash or bulb; the azimuth is where it comes from."""

    style: str
    azimuth_deg: float


@dataclass(frozen=True, slots=True)
class Spot:
    """What a hot place does to the shells near it, as a bell round ``centre_mm`` (tray)."""

    centre_mm: tuple[float, float]
    sigma_mm: float
    diameter_mm: float  # gain of the cap's diameter at the centre
    browning: float


@dataclass(frozen=True, slots=True)
class Piping:
    """How the shells of one tray differ from the usual ones: what was piped, feet and domes."""

    form: str = "round"  # round, oval, heart, teardrop: of all but the odd ones
    aspect: tuple[float, float] = (1.0, 1.0)  # of ovals, from and to
    direction_deg: float | None = None  # None: any way, else all about this one
    odd: tuple[str, ...] = ()  # forms of single shells among the others
    foot_height_mm: float = 3.2
    foot_spread_mm: float = 1.1
    widest_rel: float = 0.4  # of the foot's height
    fall_back_mm: tuple[float, float] = (0.5, 0.5)  # of the foot's side below and above
    ruffle_mm: float = 0.9
    cell_rel: float = 1.0
    dome: tuple[float, float] = (2.4, 0.55)  # (1 - rho^a)^b
    dome_mm: float = 7.0  # above the rim
    room_rel: float = 1.0  # place that a shell needs, over the nominal diameter


@dataclass(frozen=True, slots=True)
class Holes:
    """Of a perforated mat, or the gaps of a rack: ``across_mm`` is a hole's or a wire's width."""

    across_mm: float
    pitch_mm: float
    staggered: bool = False


@dataclass(frozen=True, slots=True)
class Scene:
    name: str
    seed: int
    flavour: str
    diameter_mm: float
    rows: int
    columns: int
    liner: str  # white_parchment, ..., bare_steel: see `tests.traced.liners`
    table: str  # wood, dark_wood, stone, cloth
    light: Light
    stand: Standpoint
    cards: tuple[tuple[str, str, float], ...]  # letter, corner of the tray, turn in degrees
    stagger: bool = False
    diameter_sd_rel: float = 0.028
    cracked: int = 0
    dimpled: int = 0
    touching: int = 0
    oval: int = 0
    teardrop: int = 0
    leaning: int = 0
    peaked: int = 0
    lumpy: int = 0
    swirl_srgb: tuple[int, int, int] | None = None
    specks: int = 0
    browning: float = 0.10
    browning_slope: float = 0.0  # from the tray's left edge to its right edge
    decoys: tuple[str, ...] = ()  # crumbs, spoon, tip, towel
    orientation: int = 1  # EXIF
    liner_srgb: tuple[int, int, int] | None = None  # else the liner's usual colour
    ink_srgb: tuple[int, int, int] | None = None  # of rings printed on a mat
    sprinkled: int = 0  # shells with sprinkles on them
    drizzled: int = 0  # shells with a thread of chocolate over them
    hidden_feet: int = 0  # shells whose foot lies under the cap
    footless: int = 0  # shells that rose no foot: the cap's rim is on the liner
    spot: Spot | None = None
    turn_deg: int = 0  # of the tray in the oven
    any_dimples: bool = False  # of all kinds of wall, shallow and small ones too
    flavour_srgb: tuple[int, int, int] | None = None  # else the flavour's usual colour
    piping: Piping | None = None  # None: rounds as they all were at first
    holes: Holes | None = None  # of liners perforated_mat and wire_rack
    gloss: float | None = None  # of the caps, 0 matt to 1.6 glossy; None: as the light usually had
    shot: int = 0  # which of several photos of one tray: other white balance, tones, noise

    @property
    def shell_srgb(self) -> tuple[int, int, int]:
        return self.flavour_srgb or FLAVOURS_SRGB[self.flavour]

    @property
    def room_mm(self) -> float:
        """Diameter of the disc that each shell is given."""
        return self.diameter_mm * (self.piping.room_rel if self.piping else 1.0)


SAMPLES = (
    Scene("rose_white_parchment", 31, "rose", 42, 5, 7, "white_parchment", "wood",
          Light("window", 205), Standpoint(50, 735, 1.2, 40, 0.8, (216, 153), 0.003),
          (("A", "bottom right", 1.5),), dimpled=1, cracked=1, oval=2, decoys=("crumbs",)),
    Scene("chocolate_black_mat", 32, "chocolate", 46, 5, 6, "black_mat", "stone",
          Light("ceiling", 250), Standpoint(50, 740, 2.0, 200, -1.1, (214, 152), 0.002),
          (("A", "top left", -2.0),), cracked=3, leaning=2, oval=1, decoys=("crumbs",),
          orientation=3),
    Scene("lemon_ring_mat", 33, "lemon", 40, 5, 8, "ring_mat", "cloth",
          Light("window", 330), Standpoint(50, 740, 2.4, 120, 1.6, (217, 150), 0.010),
          (("A", "bottom left", 0.6),), cracked=2, teardrop=1, oval=2, lumpy=2,
          decoys=("tip",)),
    Scene("two_cards_violet", 34, "violet", 37, 5, 8, "brown_parchment", "stone",
          Light("mixed", 170), Standpoint(56, 825, 2.8, 300, -0.7, (215, 154), 0.004),
          (("A", "bottom right", 0.8), ("B", "top left", -1.2)), swirl_srgb=(226, 206, 230),
          browning=0.12, browning_slope=0.3, stagger=True),
    Scene("side_light_vanilla_cracked", 35, "vanilla", 45, 4, 7, "white_parchment", "dark_wood",
          Light("sun", 215), Standpoint(50, 735, 1.4, 10, 1.2, (214, 152), 0.004),
          (("A", "top right", 90.5),), cracked=9, touching=2, dimpled=3, specks=14,
          browning=0.16, stagger=True, decoys=("spoon",)),
    Scene("wide_close_pistachio", 36, "pistachio", 41, 5, 7, "bare_steel", "wood",
          Light("window", 25), Standpoint(24, 400, 9.0, 155, -2.0, (212, 150), 0.006),
          (("A", "bottom left", 2.2),), leaning=6, peaked=4, lumpy=3, stagger=True,
          decoys=("crumbs", "towel")),
)

HELD_OUT = (
    Scene("h01", 71, "raspberry", 38, 5, 7, "white_parchment", "stone",
          Light("mixed", 60), Standpoint(35, 560, 4.5, 250, 1.1, (214, 151), -0.006),
          (("A", "top right", 3.0),), cracked=2, touching=1, oval=2, stagger=True,
          decoys=("crumbs",)),
    Scene("h02", 72, "coconut", 48, 4, 7, "white_parchment", "cloth",
          Light("window", 120), Standpoint(52, 770, 1.8, 80, -1.4, (215, 152), 0.002),
          (("A", "bottom left", -0.9),), dimpled=2, cracked=1, browning=0.05, peaked=2,
          decoys=("tip",)),
    Scene("h03", 73, "black_tea", 43, 5, 7, "brown_parchment", "dark_wood",
          Light("sun", 300), Standpoint(26, 430, 7.0, 30, 1.5, (216, 152), -0.008),
          (("A", "bottom right", 1.1),), cracked=4, leaning=4, specks=10, browning=0.2),
    Scene("h04", 74, "blueberry", 35, 5, 8, "black_mat", "wood",
          Light("window", 240), Standpoint(48, 730, 3.0, 190, -0.6, (214, 153), 0.007),
          (("B", "top left", 1.7), ("C", "bottom right", -2.2)), lumpy=2, touching=2,
          teardrop=1, decoys=("crumbs",)),
    Scene("h05", 75, "orange", 50, 4, 7, "ring_mat", "stone",
          Light("ceiling", 140), Standpoint(30, 480, 5.0, 330, 0.9, (216, 151), 0.009),
          (("A", "top left", -1.0),), cracked=2, oval=3, leaning=2, browning_slope=0.25,
          decoys=("spoon", "crumbs")),
    Scene("h06", 76, "coffee", 44, 4, 7, "bare_steel", "cloth",
          Light("mixed", 10), Standpoint(65, 960, 1.0, 100, 2.0, (215, 152), 0.001),
          (("D", "bottom left", 0.4),), swirl_srgb=(238, 214, 180), dimpled=2, cracked=2,
          stagger=True, decoys=("crumbs", "tip")),
)
#: looked at for the last figures only: nothing was chosen by them
FINAL = (
    Scene("k01", 91, "rose", 39, 5, 7, "brown_parchment", "stone",
          Light("window", 70), Standpoint(52, 760, 1.5, 20, -0.9, (216, 152), 0.004),
          (("A", "bottom left", 1.4),), cracked=2, leaning=2, stagger=True, decoys=("crumbs",)),
    Scene("k02", 92, "chocolate", 44, 5, 6, "black_mat", "wood",
          Light("mixed", 310), Standpoint(52, 750, 2.2, 160, 1.2, (213, 151), -0.003),
          (("A", "top right", -1.1),), cracked=3, dimpled=1, oval=1, specks=6),
    Scene("k03", 93, "pistachio", 42, 5, 7, "white_parchment", "cloth",
          Light("ceiling", 200), Standpoint(26, 410, 6.0, 240, 0.7, (215, 153), 0.003),
          (("A", "bottom right", 2.0),), leaning=4, peaked=2, decoys=("crumbs", "tip")),
    Scene("k04", 94, "lemon", 41, 5, 7, "white_parchment", "dark_wood",
          Light("sun", 150), Standpoint(50, 735, 1.0, 300, -1.3, (214, 152), 0.005),
          (("A", "top left", 0.9),), cracked=5, touching=2, dimpled=2, stagger=True),
    Scene("k05", 95, "raspberry", 36, 5, 8, "ring_mat", "stone",
          Light("window", 260), Standpoint(52, 770, 2.6, 100, 1.8, (216, 152), -0.004),
          (("A", "bottom right", -1.6),), cracked=2, oval=2, lumpy=1, browning_slope=0.2),
    Scene("k06", 96, "vanilla", 45, 4, 7, "brown_parchment", "wood",
          Light("mixed", 20), Standpoint(52, 745, 10.0, 40, 0.5, (214, 151), 0.002),
          (("A", "top left", -0.7), ("B", "bottom right", 1.2)), cracked=1, leaning=2,
          decoys=("spoon",)),
)
#: made when the six before had been looked at: for figures only
THIRD = (
    Scene("m01", 111, "lemon", 41, 5, 7, "brown_parchment", "stone",
          Light("window", 95), Standpoint(52, 750, 1.8, 70, 0.8, (216, 152), 0.003),
          (("A", "bottom right", -1.2),), cracked=5, dimpled=4, specks=6, decoys=("crumbs",)),
    Scene("m02", 112, "raspberry", 44, 5, 6, "black_mat", "cloth",
          Light("sun", 250), Standpoint(50, 740, 1.5, 200, -1.0, (214, 152), -0.003),
          (("A", "bottom left", 0.8),), cracked=6, dimpled=2, touching=1, decoys=("tip",)),
    Scene("m03", 113, "vanilla", 39, 5, 8, "ring_mat", "wood",
          Light("ceiling", 30), Standpoint(48, 720, 3.0, 280, 1.1, (215, 153), 0.006),
          (("A", "top right", 1.9),), cracked=4, dimpled=3, oval=2,
          swirl_srgb=(206, 150, 170)),
    Scene("m04", 114, "rose", 43, 5, 7, "white_parchment", "dark_wood",
          Light("window", 215), Standpoint(52, 760, 11.0, 30, 0.9, (214, 152), 0.004),
          (("A", "bottom right", 1.1), ("C", "top left", -1.7)), cracked=3, dimpled=4, peaked=2,
          browning=0.14, browning_slope=0.25),
    Scene("m05", 114, "rose", 43, 5, 7, "white_parchment", "dark_wood",
          Light("mixed", 60), Standpoint(52, 750, 11.0, 205, -1.2, (216, 153), 0.004),
          (("A", "bottom right", 1.1), ("C", "top left", -1.7)), cracked=3, dimpled=4, peaked=2,
          browning=0.14, browning_slope=0.25),
    Scene("m06", 116, "coffee", 42, 5, 7, "brown_parchment", "stone",
          Light("mixed", 300), Standpoint(25, 405, 5.0, 140, 1.4, (215, 152), -0.005),
          (("A", "bottom left", -1.0), ("B", "top right", 2.1)), cracked=3, leaning=5, lumpy=2,
          stagger=True),
    Scene("m07", 117, "chocolate", 46, 4, 7, "bare_steel", "wood",
          Light("window", 160), Standpoint(60, 880, 2.2, 320, -0.8, (214, 151), 0.002),
          (("A", "top left", -0.6),), cracked=6, dimpled=3, specks=8, decoys=("crumbs",)),
    Scene("m08", 118, "blueberry", 37, 5, 8, "white_parchment", "stone",
          Light("ceiling", 110), Standpoint(50, 740, 2.0, 90, 0.7, (216, 153), 0.003),
          (("A", "bottom right", 2.3),), cracked=4, touching=2, browning_slope=0.3,
          decoys=("spoon",)),
    Scene("m09", 119, "pistachio", 45, 4, 7, "brown_parchment", "wood",
          Light("window", 20), Standpoint(52, 755, 9.0, 100, 1.3, (214, 152), 0.002),
          (("A", "top right", -0.9),), cracked=2, leaning=2, teardrop=1, lumpy=2),
    Scene("m10", 119, "pistachio", 45, 4, 7, "brown_parchment", "wood",
          Light("window", 20), Standpoint(52, 755, 9.0, 280, -0.7, (216, 151), 0.002),
          (("A", "top right", -0.9),), cracked=2, leaning=2, teardrop=1, lumpy=2),
)
