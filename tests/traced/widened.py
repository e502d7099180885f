"""Scenes with what our others lack: forms, feet, domes, ruffles and mats as other makers have them.

Description only. ``oa`` to ``oz`` names: ``of`` and ``og`` trays of ovals, hearts and tear-drops
(training, held out), ``ft`` and ``fh`` trays of rounds on feet of every profile, ``mt`` and ``mh``
trays on perforated mats, racks, printed rings, dark mats and bare metal. The held-out sets are for
figures only.
"""

from dataclasses import replace

import numpy as np

from tests.traced.camera import Standpoint
from tests.traced.scenes import FLAVOURS_SRGB, TRAY_MM, Holes, Light, Piping, Scene
from tests.traced.varied import (
    CORNERS,
    FACING,
    INK_SRGB,
    MAT_SRGB,
    PAPER_SRGB,
    one_of,
    stand_for,
)

Rng = np.random.Generator
SIZES_PX = ((3264, 2448), (3264, 2448), (3648, 2736), (4032, 3024))
HOLED_SRGB = ((205, 164, 122), (58, 56, 58), (150, 152, 156), (176, 96, 70), (222, 214, 200))
HOLES = (Holes(2.0, 4.0), Holes(2.0, 4.0, staggered=True), Holes(1.5, 3.0), Holes(3.0, 6.0),
         Holes(2.5, 5.0, staggered=True))
#: wires and their distances of cooling racks; common practice, no source
RACKS = (Holes(2.0, 10.0), Holes(2.4, 14.0), Holes(1.8, 8.0))
FORMS = ("oval", "heart", "oval", "teardrop", "oval", "round")
ROOM_REL = {"oval": 1.22, "heart": 1.18, "teardrop": 1.24, "round": 1.0}
MAT_LINERS = ("perforated_mat", "wire_rack", "perforated_mat", "ring_mat", "black_mat",
              "bare_steel")


def drawn_feet(rng: Rng) -> Piping:
    """Feet and domes of one maker: flared to undercut, pointed to nearly flat, smooth to coarse."""
    widest = float(rng.uniform(0.2, 0.75))
    height = float(rng.uniform(2.5, 5.0))
    blunt = float(rng.uniform(0, 1))
    ruffle = float(rng.choice([0.0, 0.25, 0.6, 0.9, 1.2, 1.5]))
    return feet_of(rng, widest, height, blunt, ruffle)


def feet_of(rng: Rng, widest: float, height: float, blunt: float, ruffle: float) -> Piping:
    """``widest`` is a share of the height in mm, ``blunt`` 0 for a pointed dome to 1 for flat."""
    return Piping(
        foot_height_mm=height, foot_spread_mm=float(rng.uniform(-0.5, 3.0)), widest_rel=widest,
        fall_back_mm=(float(rng.uniform(0.5, 1.0) * height * widest * 0.7),
                      float(rng.uniform(0.4, 1.0) * height * (1 - widest) * 0.7)),
        ruffle_mm=ruffle, cell_rel=float(rng.uniform(0.7, 1.7)),
        dome=(1.55 + 4.0 * blunt**1.5, 0.72 - 0.3 * blunt**0.6),
        dome_mm=float(rng.uniform(5.0, 8.0)))


def stand_of(rng: Rng, number: int) -> Standpoint:
    """26, 35 and 52 mm in turn, from 390 to 760 mm, tilted by up to 13 degrees."""
    focal = (26.0, 52.0, 35.0)[number % 3]
    tilt = float(rng.uniform(0, 13) if rng.random() < 0.5 else rng.uniform(0, 4))
    size = SIZES_PX[int(rng.integers(len(SIZES_PX)))]
    near = stand_for(rng, focal, tilt, size)
    nearest, farthest = {26.0: (0.99, 1.2), 35.0: (0.99, 1.15), 52.0: (0.93, 0.97)}[focal]
    return replace(near, height_mm=float(np.clip(near.height_mm * rng.uniform(nearest, farthest),
                                                 390, 760)))


def grid_of(room_mm: float, rng: Rng) -> tuple[int, int]:
    step = room_mm + 6.0 + float(rng.uniform(0, 4))
    return (max(3, int((TRAY_MM[1] - room_mm - 18) // step) + 1),
            max(4, int((TRAY_MM[0] - room_mm - 18) // step) + 1))


def widened(name: str, seed: int, *, form: str, liner: str) -> Scene:
    """A tray with feet and domes as they come, of the form and on the liner given."""
    rng = np.random.default_rng(seed)
    number = int(name[2:])
    piping = drawn_feet(rng)
    aspect = float(rng.uniform(0.5, 0.9))
    odd = tuple(str(k) for k in rng.choice(["oval", "oval", "heart", "teardrop"], 3))
    many = form == "round"
    room = ROOM_REL[form]
    if form == "oval":
        room = 0.5 * (1 + aspect**-0.5) if rng.random() < 0.3 else aspect**-0.5
    piping = replace(
        piping, form=form, room_rel=room,
        aspect=(aspect, min(aspect + 0.05, 1.0)) if rng.random() < 0.5 else (0.5, 1.0),
        direction_deg=float(rng.uniform(0, 360)) if rng.random() < 0.4 else None,
        odd=odd[: int(rng.integers(0, 4))] if many else ("round",) * int(rng.integers(0, 4)),
        foot_spread_mm=piping.foot_spread_mm if many else max(piping.foot_spread_mm, -0.2))
    # 28 to 36 shells beside a card
    diameter = float(rng.uniform(38, 46)) if many else float(rng.uniform(43, 47)) / room
    rows, columns = grid_of(diameter * room + max(2 * piping.foot_spread_mm - 2, 0)
                            + 2 * len(piping.odd) * many, rng)
    corner = str(one_of(rng, CORNERS))
    cards = [(str(one_of(rng, ("A", "B"))), corner, float(rng.normal(0, 1.6)))]
    if number % 4 == 0:
        cards.append((str(one_of(rng, ("C", "D"))), FACING[corner], float(rng.normal(0, 1.6))))
    plain = rng.random() < 0.4
    mat = MAT_SRGB[int(rng.integers(len(MAT_SRGB)))]
    paper = PAPER_SRGB[int(rng.integers(len(PAPER_SRGB)))]
    holed = HOLED_SRGB[int(rng.integers(len(HOLED_SRGB)))]
    racked = liner == "wire_rack"
    holes = (one_of(rng, RACKS) if racked else one_of(rng, HOLES)
             if liner == "perforated_mat" else None)
    return Scene(
        name, seed, str(one_of(rng, tuple(FLAVOURS_SRGB))), diameter, rows, columns, liner,
        str(one_of(rng, ("wood", "dark_wood", "stone", "cloth"))),
        Light(str(one_of(rng, ("window", "ceiling", "sun", "mixed"))), float(rng.uniform(0, 360))),
        stand_of(rng, number), tuple(cards), stagger=bool(rng.integers(2)) and many,
        diameter_sd_rel=float(rng.uniform(0.018, 0.035)),
        cracked=0 if plain else int(rng.integers(0, 4)),
        dimpled=0 if plain else int(rng.integers(0, 3)),
        leaning=int(rng.integers(0, 4)), peaked=0 if plain else int(rng.integers(0, 3)),
        lumpy=0 if plain else int(rng.integers(0, 3)),
        touching=int(rng.integers(0, 2)) if many else 0,
        specks=int(rng.integers(4, 14)) if rng.random() < 0.2 and not plain else 0,
        browning=float(rng.uniform(0.04, 0.22)),
        decoys=("crumbs",) if rng.random() < 0.4 and not racked else (),
        liner_srgb=(mat if liner == "ring_mat" else holed if liner == "perforated_mat"
                    else paper if "parchment" in liner else None),
        ink_srgb=INK_SRGB[int(rng.integers(len(INK_SRGB)))] if liner == "ring_mat" else None,
        piping=piping, holes=holes)  # type: ignore[arg-type]


def forms(letters: str, first_seed: int, count: int) -> tuple[Scene, ...]:
    liners = ("white_parchment", "ring_mat", "brown_parchment", "black_mat", "bare_steel")
    return tuple(widened(f"{letters}{i:02d}", first_seed + 7 * i, form=FORMS[(i - 1) % len(FORMS)],
                         liner=liners[i % len(liners)]) for i in range(1, count + 1))


def feet(letters: str, first_seed: int, count: int) -> tuple[Scene, ...]:
    liners = ("white_parchment", "brown_parchment", "black_mat", "ring_mat")
    return tuple(widened(f"{letters}{i:02d}", first_seed + 7 * i, form="round",
                         liner=liners[i % len(liners)]) for i in range(1, count + 1))


def mats(letters: str, first_seed: int, count: int) -> tuple[Scene, ...]:
    return tuple(widened(f"{letters}{i:02d}", first_seed + 7 * i,
                         form="round" if i % 4 else "oval",
                         liner=MAT_LINERS[(i - 1) % len(MAT_LINERS)]) for i in range(1, count + 1))


WIDENED = {
    "first_forms": tuple(replace(s, stand=replace(s.stand, size_px=(2400, 1800)))
                         for s in forms("oq", 209_000, 6)),
    "forms_training": forms("of", 210_000, 24), "forms_held_out": forms("og", 220_000, 18),
    "feet_training": feet("ft", 230_000, 18), "feet_held_out": feet("fh", 240_000, 14),
    "mats_training": mats("mt", 250_000, 12), "mats_held_out": mats("mh", 260_000, 12),
}
