"""Scenes drawn from a seed: liners, lights, flavours, lenses, sizes and tilts as they come.

``z`` scenes are held out (figures only), so were ``y`` scenes until the networks for dimples and
cracks were chosen by them, ``w`` scenes until the edge network and the uncertainties learnt from
them, ``g`` scenes until two checks of the finder were mended on them,
and ``f`` scenes until the geometry of rings was tuned on them; ``t`` scenes are for tuning, ``v``
scenes for training, so are ``x`` scenes, most of whose feet have nearly the liner's colour; ``n``
scenes are bakes of one oven that does nothing to the shells, seen by a wide lens from near, and
``p`` scenes are bakes on which a spot came out larger and browner; the odd ones went in turned,
and the spot with them: it is the hand's, and among the unturned ones alone the oven's. ``c``
scenes are trays under three lights, the odd ones for tuning; ``a`` scenes are for training, with
dimples, cracks, peaks, lumps and toppings on most shells; ``u`` scenes lie on liners, in lights and
have colours that none of the others has, held out. Description only.
"""

import colorsys
from dataclasses import replace

import numpy as np

from tests.traced.camera import FILM_DIAGONAL_MM, Standpoint
from tests.traced.mesh import linear_to_srgb
from tests.traced.scenes import FLAVOURS_SRGB, TRAY_MM, Light, Scene, Spot
from tests.traced.shells import foot_linear

Rng = np.random.Generator
MAT_SRGB = ((205, 164, 122), (176, 182, 188), (226, 206, 196), (92, 120, 150), (60, 58, 60),
            (214, 212, 204))
INK_SRGB = ((124, 62, 40), (250, 246, 240), (170, 40, 48), (40, 48, 84), (150, 146, 140))
PAPER_SRGB = ((236, 234, 228), (184, 142, 96), (206, 178, 138), (222, 216, 200), (158, 116, 76))
PALE_SRGB = ((238, 236, 230), (214, 226, 236), (236, 214, 216), (222, 232, 214), (240, 228, 190),
             (150, 186, 196))
STRONG_SRGB = ((176, 40, 52), (40, 92, 150), (52, 120, 76), (90, 84, 80), (196, 132, 60))
UNLIKE_LINERS = ("checked_paper", "dotted_paper", "template", "ruled_mat", "foil", "enamel",
                 "slate", "well_mat")
UNLIKE_LIGHTS = ("flash", "", "bulb", "", "")
LINERS = ("white_parchment", "brown_parchment", "ring_mat", "black_mat", "bare_steel")
SIZES_PX = ((4032, 3024), (4032, 3024), (4624, 3468), (3264, 2448), (4000, 3000))
CORNERS = ("top left", "top right", "bottom left", "bottom right")
FACING = {"top left": "bottom right", "top right": "bottom left", "bottom left": "top right",
          "bottom right": "top left"}
#: of the pan with its rim, and a little of the table round it
SHOWN_MM = (500.0, 372.0)
SPOT = Spot((300.0, 105.0), 80.0, 1.2, 0.14)  # on an unturned tray


def one_of(rng: Rng, choices: tuple) -> object:  # type: ignore[type-arg]
    return choices[int(rng.integers(len(choices)))]


def stand_for(rng: Rng, focal_35mm: float, tilt_deg: float, size_px: tuple[int, int]) -> Standpoint:
    """A standpoint from which the whole pan is in the picture."""
    diagonal = float(np.hypot(*size_px))
    focal = focal_35mm / FILM_DIAGONAL_MM * diagonal
    need = max(SHOWN_MM[0] / size_px[0], SHOWN_MM[1] / size_px[1])
    slack = 1 + 0.010 * tilt_deg + (0.0 if focal_35mm > 30 else 0.02)
    bend = float(rng.uniform(-0.009, 0.009)) if focal_35mm < 40 else float(rng.uniform(-4, 6) / 1e3)
    return Standpoint(
        focal_35mm, float(focal * need * slack * rng.uniform(0.99, 1.06)), tilt_deg,
        float(rng.uniform(0, 360)), float(rng.uniform(-2, 2)),
        (float(rng.uniform(212, 218)), float(rng.uniform(150, 155))), bend, size_px)


def grid_for(rng: Rng, diameter_mm: float) -> tuple[int, int]:
    """Rows and columns that leave air between shells of this size."""
    step = diameter_mm + 4.5 + float(rng.uniform(5, 14))
    return (max(3, int((TRAY_MM[1] - diameter_mm - 18) // step) + 1),
            max(4, int((TRAY_MM[0] - diameter_mm - 18) // step) + 1))


def varied(name: str, seed: int) -> Scene:
    """Any tray: one or two cards, any lens, all faults."""
    rng = np.random.default_rng(seed)
    number = int(name[1:])
    wide, two = number % 4 == 3, number % 4 in (0, 3)
    focal = float(rng.uniform(24, 28)) if wide else float(rng.choice([26, 35, 48, 52, 65, 77]))
    tilt = float(rng.uniform(0.5, 8 if wide else 5))
    diameter = float(rng.uniform(29, 58) if number % 5 == 0 else rng.uniform(35, 48))
    rows, columns = grid_for(rng, diameter)
    corner = str(one_of(rng, CORNERS))
    cards = [(str(one_of(rng, ("A", "B"))), corner, float(rng.normal(0, 1.6)))]
    if two:
        cards.append((str(one_of(rng, ("C", "D"))), FACING[corner], float(rng.normal(0, 1.6))))
    liner = LINERS[int(rng.integers(len(LINERS)))]
    mat = MAT_SRGB[int(rng.integers(len(MAT_SRGB)))]
    paper = PAPER_SRGB[int(rng.integers(len(PAPER_SRGB)))]
    return Scene(
        name, seed, str(one_of(rng, tuple(FLAVOURS_SRGB))), diameter, rows, columns, liner,
        str(one_of(rng, ("wood", "dark_wood", "stone", "cloth"))),
        Light(str(one_of(rng, ("window", "ceiling", "sun", "mixed"))), float(rng.uniform(0, 360))),
        stand_for(rng, focal, tilt, SIZES_PX[int(rng.integers(len(SIZES_PX)))]), tuple(cards),
        stagger=bool(rng.integers(2)), diameter_sd_rel=float(rng.uniform(0.018, 0.035)),
        cracked=int(rng.integers(2, 7)), dimpled=int(rng.integers(0, 4)),
        touching=int(rng.integers(0, 2)), oval=int(rng.integers(0, 3)),
        teardrop=int(rng.integers(0, 2)), leaning=int(rng.integers(0, 4)),
        peaked=int(rng.integers(0, 3)), lumpy=int(rng.integers(0, 3)),
        swirl_srgb=FLAVOURS_SRGB[str(one_of(rng, tuple(FLAVOURS_SRGB)))]
        if rng.random() < 0.25 else None,
        specks=int(rng.integers(4, 14)) if rng.random() < 0.3 else 0,
        browning=float(rng.uniform(0.04, 0.22)),
        browning_slope=float(rng.uniform(0.2, 0.35)) if rng.random() < 0.4 else 0.0,
        decoys=tuple(d for d, p in (("crumbs", 0.5), ("spoon", 0.2), ("tip", 0.2), ("towel", 0.15))
                     if rng.random() < p),
        liner_srgb=mat if liner == "ring_mat" else paper if "parchment" in liner else None,
        ink_srgb=INK_SRGB[int(rng.integers(len(INK_SRGB)))] if liner == "ring_mat" else None,
        sprinkled=int(rng.integers(3, 8)) if rng.random() < 0.5 else 0,
        drizzled=int(rng.integers(2, 5)) if rng.random() < 0.3 else 0,
        hidden_feet=2 if number % 3 == 1 else 0, footless=2 if number % 3 == 1 else 0)


def bake(name: str, seed: int, spot: Spot | None) -> Scene:
    """One bake of 5 by 7 shells seen by a wide lens from near; odd numbers were turned."""
    rng = np.random.default_rng(seed)
    turned = spot is not None and int(name[1:]) % 2 == 1
    if spot is not None and turned:
        spot = Spot((TRAY_MM[0] - spot.centre_mm[0], TRAY_MM[1] - spot.centre_mm[1]),
                    spot.sigma_mm, spot.diameter_mm, spot.browning)
    liner = str(one_of(rng, ("white_parchment", "brown_parchment", "black_mat", "bare_steel")))
    paper = PAPER_SRGB[int(rng.integers(len(PAPER_SRGB)))]
    focal = float(rng.uniform(24, 28))
    return Scene(
        name, seed, str(one_of(rng, tuple(FLAVOURS_SRGB))), float(rng.uniform(40, 43)), 5, 7, liner,
        str(one_of(rng, ("wood", "dark_wood", "stone", "cloth"))),
        Light(str(one_of(rng, ("window", "ceiling", "mixed"))), float(rng.uniform(0, 360))),
        stand_for(rng, focal, float(rng.uniform(0.5, 7)), (4032, 3024)),
        (("A", "bottom right", float(rng.normal(0, 1.5))),),
        cracked=int(rng.integers(0, 4)), browning=float(rng.uniform(0.10, 0.18)),
        liner_srgb=paper if "parchment" in liner else None, spot=spot,
        turn_deg=180 if turned else 0)


def alike(name: str, seed: int) -> Scene:
    """Any tray, and in three of four the liner has nearly the feet's colour."""
    rng = np.random.default_rng(seed + 300)
    scene, kind = varied(name, seed), int(name[1:]) % 4
    if kind == 0:
        return scene
    if kind == 1:
        flavour = str(one_of(rng, ("chocolate", "coffee", "blueberry", "raspberry")))
        return replace(scene, flavour=flavour, liner="black_mat")
    foot = foot_linear(scene.shell_srgb, scene.browning)
    tint = np.exp(rng.normal(0, 0.12) + rng.normal(0, 0.04, 3))
    r, g, b = (int(v) for v in np.clip(linear_to_srgb(foot * tint), 0, 250))
    return replace(scene, liner="white_parchment", liner_srgb=(r, g, b))


def faulty(name: str, seed: int) -> Scene:
    """Any tray, with many of the faults and decorations that a cap can have."""
    rng = np.random.default_rng(seed + 900)
    return replace(
        varied(name, seed), any_dimples=True, dimpled=int(rng.integers(6, 11)),
        cracked=int(rng.integers(5, 9)), peaked=int(rng.integers(2, 6)),
        lumpy=int(rng.integers(2, 6)), sprinkled=int(rng.integers(3, 9)),
        drizzled=int(rng.integers(2, 6)))


def unlike(name: str, seed: int) -> Scene:
    """A tray on a liner, in a light and of a colour that nothing was trained or tuned on."""
    rng = np.random.default_rng(seed + 1200)
    scene, number = varied(name, seed), int(name[1:])
    base = PALE_SRGB[int(rng.integers(len(PALE_SRGB)))]
    ink = STRONG_SRGB[int(rng.integers(len(STRONG_SRGB)))]
    hue, full, value = rng.uniform(0, 1), rng.uniform(0.05, 0.75), rng.uniform(0.2, 0.98, 2).max()
    r, g, b = (int(255 * v) for v in colorsys.hsv_to_rgb(hue, full, value))
    style = UNLIKE_LIGHTS[number % len(UNLIKE_LIGHTS)] or scene.light.style
    return replace(
        scene, liner=UNLIKE_LINERS[number % len(UNLIKE_LINERS)], liner_srgb=base, ink_srgb=ink,
        flavour_srgb=(r, g, b), light=Light(style, scene.light.azimuth_deg))


def under_lights(name: str, seed: int) -> tuple[Scene, ...]:
    """One tray under three lights, each photographed anew from elsewhere; on every second tray a
    spot came out browner."""
    rng = np.random.default_rng(seed + 600)
    scene = replace(varied(name, seed), browning_slope=0.0, swirl_srgb=None)
    if int(name[1:]) // 2 % 2:
        scene = replace(scene, spot=SPOT)
    shots = []
    for shot, style in enumerate(("window", "ceiling", "mixed")):
        near = stand_for(rng, scene.stand.focal_35mm, float(rng.uniform(0.5, 5)),
                         scene.stand.size_px)
        light = Light(style, float(rng.uniform(0, 360)))
        shots.append(replace(scene, name=f"{name}{'abc'[shot]}", stand=near, light=light,
                             shot=shot))
    return tuple(shots)


VARIED_HELD_OUT = tuple(varied(f"f{i:02d}", 40_000 + 7 * i) for i in range(1, 19))
VARIED_FIGURES = tuple(varied(f"g{i:02d}", 90_000 + 7 * i) for i in range(1, 25))
VARIED_LATER = tuple(varied(f"y{i:02d}", 120_000 + 7 * i) for i in range(1, 73))
VARIED_LAST = tuple(varied(f"z{i:02d}", 140_000 + 7 * i) for i in range(1, 73))
FAULTY_TRAINING = tuple(faulty(f"a{i:02d}", 150_000 + 7 * i) for i in range(1, 69))
VARIED_FRESH = tuple(varied(f"w{i:02d}", 100_000 + 7 * i) for i in range(1, 41))
ALIKE_TRAINING = tuple(alike(f"x{i:02d}", 110_000 + 7 * i) for i in range(1, 69))
VARIED_TRAINING = tuple(varied(f"v{i:02d}", 80_000 + 7 * i) for i in range(1, 61))
VARIED_TUNING = tuple(varied(f"t{i:02d}", 50_000 + 7 * i) for i in range(1, 25))
UNLIKE = tuple(unlike(f"u{i:02d}", 160_000 + 7 * i) for i in range(1, 37))
NULL_BAKES = tuple(bake(f"n{i:02d}", 60_000 + 7 * i, None) for i in range(1, 49))
TWO_LIGHTS = tuple(shot for i in range(1, 13)
                   for shot in under_lights(f"c{i:02d}", 130_000 + 7 * i))
SPOT_BAKES = tuple(bake(f"p{i:02d}", 70_000 + 7 * i, SPOT) for i in range(1, 25))
