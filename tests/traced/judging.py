"""Trays to fit the uncertainty on and others to judge it by, in photo size, 28 to 36 shells each.

``fit`` and ``held`` are rounds on feet widest at 0.2 to 0.75 of their height, with domes from
pointed to flat-topped and ruffles from none to coarse: each of the three runs through its whole
range once over a set, in an order of its own. ``held`` has other seeds, sizes, colours and liners,
and feet a little lower and higher; it, ``forms_held``, ``pairs``, ``mats`` and ``cracks`` are for
figures only. Description only.
"""

import colorsys
from dataclasses import dataclass, replace

import numpy as np

from tests.traced.scenes import Light, Scene
from tests.traced.varied import INK_SRGB, PALE_SRGB, STRONG_SRGB, stand_for
from tests.traced.widened import feet_of, stand_of, widened

WIDEST_REL = (0.2, 0.75)
COARSEST_MM = 1.5


@dataclass(frozen=True, slots=True)
class Habits:
    """What one set's makers do; ``strides`` order widest, dome, ruffle (coprime to the count)."""

    liners: tuple[str, ...]
    strides: tuple[int, int, int]
    foot_height_mm: tuple[float, float]
    any_colour: bool
    sizes_mm: tuple[float, float]
    lights: tuple[str, ...] = ()


FIT = Habits(("white_parchment", "brown_parchment", "black_mat", "ring_mat", "bare_steel"),
             (5, 7, 11), (2.5, 5.0), False, (38.0, 46.0))
HELD = Habits(("white_parchment", "ring_mat", "checked_paper", "black_mat", "brown_parchment",
               "dotted_paper", "bare_steel"), (5, 7, 11), (2.3, 5.4), True, (36.0, 47.0),
              ("window", "ceiling", "sun", "mixed", "flash", "bulb"))
#: main form and the single ones among it
FORM_TRAYS = (("oval", ("round",) * 7 + ("heart",)), ("heart", ("round",) * 6 + ("oval",) * 3),
              ("round", ("oval",) * 7 + ("heart", "heart", "teardrop", "teardrop")),
              ("teardrop", ("round",) * 6 + ("heart", "oval")), ("oval", ("round",) * 3),
              ("round", ("oval",) * 9 + ("teardrop",)))


def rounds(name: str, seed: int, count: int, habits: Habits) -> Scene:
    """Tray ``name`` (two letters and its number, from 1) of a set of ``count``."""
    rng = np.random.default_rng(seed + 40)
    number = int(name[2:])
    at = [((number * s) % count + rng.uniform(0, 1)) / count for s in habits.strides]
    liner = habits.liners[number % len(habits.liners)]
    scene = widened(name, seed, form="round", liner=liner)
    piping = feet_of(rng, WIDEST_REL[0] + at[0] * (WIDEST_REL[1] - WIDEST_REL[0]),
                     float(rng.uniform(*habits.foot_height_mm)), at[1], COARSEST_MM * at[2])
    scene = replace(scene, piping=piping, stand=stand_of(rng, number),
                    diameter_mm=float(rng.uniform(*habits.sizes_mm)))
    if habits.any_colour:
        hue, full = rng.uniform(0, 1), rng.uniform(0.05, 0.7)
        value = rng.uniform(0.22, 0.98, 2).max()
        r, g, b = (int(255 * v) for v in colorsys.hsv_to_rgb(hue, full, value))
        scene = replace(scene, flavour_srgb=(r, g, b))
    if habits.lights:
        scene = replace(scene, light=Light(habits.lights[number % len(habits.lights)],
                                           scene.light.azimuth_deg))
    if liner in ("checked_paper", "dotted_paper"):
        scene = replace(scene, liner_srgb=PALE_SRGB[int(rng.integers(len(PALE_SRGB)))],
                        ink_srgb=(*INK_SRGB, *STRONG_SRGB)[int(rng.integers(10))])
    return scene


def mixed_forms(name: str, seed: int) -> Scene:
    """Ovals of aspect 0.55 to 0.95, hearts and tear-drops with rounds among them."""
    number = int(name[2:])
    form, odd = FORM_TRAYS[(number - 1) % len(FORM_TRAYS)]
    liners = ("white_parchment", "ring_mat", "brown_parchment", "black_mat", "bare_steel")
    scene = widened(name, seed, form=form, liner=liners[(number + seed) % len(liners)])
    piping = scene.piping
    assert piping is not None
    room = {"round": 1.06, "oval": 1.16}.get(form, piping.room_rel)
    return replace(scene, touching=0, piping=replace(
        piping, form=form, odd=odd, aspect=(0.55, 0.95), room_rel=room,
        foot_spread_mm=min(max(piping.foot_spread_mm, -0.2), 2.0)))


def pair(name: str, seed: int, focal_35mm: float, **given: object) -> tuple[Scene, Scene]:
    """One tray from two places, the axis some 14 to 18 degrees apart."""
    scene = replace(widened(name, seed, form="round", liner=str(given.pop("liner"))), **given)
    rng = np.random.default_rng(seed + 60)
    way = float(rng.uniform(0, 360))
    shots = []
    for shot, (tilt, turn) in enumerate(((float(rng.uniform(2, 4)), 180.0),
                                         (float(rng.uniform(11, 14)), 0.0))):
        stand = stand_for(rng, focal_35mm, tilt, scene.stand.size_px)
        shots.append(replace(scene, name=f"{name}{'ab'[shot]}", shot=shot, stand=replace(
            stand, tilt_direction_deg=(way + turn) % 360)))
    return shots[0], shots[1]


def decorated(name: str, seed: int, liner: str, **given: object) -> Scene:
    """Cracks, dimples of every kind, sprinkles, threads, peaks and lumps on most shells."""
    rng = np.random.default_rng(seed + 80)
    return replace(widened(name, seed, form="round", liner=liner), any_dimples=True, **{
        "cracked": int(rng.integers(7, 11)), "dimpled": int(rng.integers(6, 10)),
        "sprinkled": int(rng.integers(3, 7)), "drizzled": int(rng.integers(2, 5)),
        "peaked": int(rng.integers(2, 5)), "lumpy": int(rng.integers(1, 4)), **given})


PAIRS = (
    ("chocolate", 26.0, {"liner": "brown_parchment", "flavour": "chocolate", "gloss": 1.6,
                         "light": Light("window", 130.0)}),
    ("vanilla", 35.0, {"liner": "white_parchment", "flavour": "vanilla", "gloss": 0.1,
                       "cracked": 0, "dimpled": 0, "specks": 0, "light": Light("ceiling", 40.0)}),
    ("mocha", 35.0, {"liner": "ring_mat", "flavour": "chocolate", "gloss": 1.3,
                     "flavour_srgb": (70, 44, 34), "light": Light("ceiling", 250.0)}),
    ("coconut", 26.0, {"liner": "black_mat", "flavour": "coconut", "gloss": 0.6,
                       "cracked": 0, "dimpled": 0, "specks": 0, "light": Light("mixed", 310.0)}),
)
PAIRS_HELD = (
    ("cocoa", 35.0, {"liner": "white_parchment", "flavour": "chocolate", "gloss": 1.5,
                     "flavour_srgb": (60, 38, 28), "light": Light("window", 300.0)}),
    ("almond", 26.0, {"liner": "brown_parchment", "flavour": "coconut", "gloss": 0.1,
                      "flavour_srgb": (244, 236, 220), "cracked": 0, "dimpled": 0, "specks": 0,
                      "light": Light("mixed", 90.0)}),
    ("night", 26.0, {"liner": "bare_steel", "flavour": "blueberry", "gloss": 1.4,
                     "flavour_srgb": (52, 50, 74), "light": Light("ceiling", 160.0)}),
    ("mint", 35.0, {"liner": "ring_mat", "flavour": "pistachio", "gloss": 0.4,
                    "flavour_srgb": (206, 232, 214), "cracked": 0, "dimpled": 0, "specks": 0,
                    "light": Light("sun", 220.0)}),
)
CRACKS = (("white_parchment", {}), ("black_mat", {"specks": 8}),
          ("brown_parchment", {"swirl_srgb": (250, 240, 225)}),
          ("ring_mat", {"flavour": "chocolate", "gloss": 1.2, "light": Light("ceiling", 75.0)}))
CRACKS_HELD = (("brown_parchment", {"specks": 6}), ("ring_mat", {}),
               ("white_parchment", {"swirl_srgb": (120, 70, 60), "light": Light("mixed", 200.0)}),
               ("black_mat", {"flavour": "coffee", "gloss": 1.0, "light": Light("ceiling", 10.0)}))
MATS = ("perforated_mat", "wire_rack")
#: drawn in turn until a tray held 28 to 36 shells, all of them in the picture with the cards
SEEDS: dict[str, tuple[int, ...]] = {
    "fit": (310_310, 310_014, 310_021, 310_230, 310_035, 310_143, 310_150, 310_056, 310_265,
            310_070, 310_077, 310_286, 310_091, 310_098, 310_105, 310_112),
    "held": (320_209, 320_014, 320_021, 320_129, 320_035, 320_042, 320_150, 320_157, 320_164,
            320_373, 320_077, 320_084),
    "forms_fit": (330_007, 330_014, 330_021, 330_028, 330_035, 330_042),
    "forms_held": (340_007, 340_014, 340_122, 340_331, 340_035, 340_042),
    "pairs": (350_007, 350_014, 350_021, 350_129),
    "mats": (360_007, 360_014, 360_021, 360_331, 360_035, 360_042),
    "cracks": (370_108, 370_115, 370_021, 370_331),
    "pairs_held": (380_007, 380_014, 380_021, 380_331),
    "mats_held": (390_108, 390_014, 390_122, 390_129, 390_136, 390_042),
    "cracks_held": (400_007, 400_014, 400_122, 400_028),
}


def set_of(kind: str, seeds: tuple[int, ...]) -> tuple[Scene, ...]:
    """The trays of a set; a pair gives two scenes."""
    out: list[Scene] = []
    for i, seed in enumerate(seeds, 1):
        out.extend(scenes_of(kind, i, seed))
    return tuple(out)


def scenes_of(kind: str, i: int, seed: int) -> tuple[Scene, ...]:
    """Tray ``i`` of a set, counted from 1."""
    if kind in ("fit", "held"):
        fit = kind == "fit"
        return (rounds(f"{'ra' if fit else 'rb'}{i:02d}", seed, 16 if fit else 12,
                       FIT if fit else HELD),)
    if kind in ("forms_fit", "forms_held"):
        return (mixed_forms(f"{'fa' if kind == 'forms_fit' else 'fb'}{i:02d}", seed),)
    if kind in ("pairs", "pairs_held"):
        letters, shown = ("pr", PAIRS) if kind == "pairs" else ("ps", PAIRS_HELD)
        word, focal, given = shown[i - 1]
        return tuple(replace(s, name=f"{letters}{i:02d}_{word}_{s.name[-1]}")
                     for s in pair(f"{letters}{i:02d}", seed, focal, **given))
    if kind in ("mats", "mats_held"):
        letters = "mr" if kind == "mats" else "ms"
        return (widened(f"{letters}{i:02d}", seed, form="round", liner=MATS[(i - 1) % 2]),)
    letters, shown = ("cr", CRACKS) if kind == "cracks" else ("cs", CRACKS_HELD)
    liner, more = shown[i - 1]
    return (decorated(f"{letters}{i:02d}", seed, liner, **more),)


JUDGING = {kind: set_of(kind, seeds) for kind, seeds in SEEDS.items()}
