"""Random surroundings of the shells: liners, trays, light, camera, decoys and cards."""

from typing import Any

import numpy as np

from tests.scenes.camera import look_at, matrix
from tests.scenes.decoys import PAINTERS as DECOYS
from tests.scenes.description import (
    Camera,
    Card,
    Colour,
    Decoy,
    Floats,
    Lamp,
    Light,
    ShellShape,
    Surface,
    Tray,
)
from tests.scenes.shapes import vary

Options = dict[str, Any]

LINERS: dict[str, tuple[str, tuple[Colour, ...]]] = {
    "white_parchment": ("parchment", ((236, 234, 228), (222, 220, 216), (244, 240, 228))),
    "brown_parchment": (
        "parchment",
        ((186, 134, 84), (160, 128, 96), (140, 118, 98), (206, 164, 112)),
    ),
    "tan_mat": ("mat", ((206, 164, 112), (222, 190, 150), (190, 140, 96))),
    "dark_mat": ("mat", ((46, 46, 48), (70, 68, 66), (30, 28, 30), (88, 90, 94))),
    "colour_mat": (
        "mat",
        ((170, 40, 44), (60, 110, 160), (214, 120, 150), (90, 140, 90), (230, 226, 218)),
    ),
    "metal": ("metal", ((186, 186, 188), (140, 140, 144), (96, 92, 90), (206, 202, 196))),
    "enamel": ("enamel", ((34, 38, 52), (226, 226, 224), (60, 66, 74))),
    "cloth": ("cloth", ((40, 40, 60), (28, 28, 30), (90, 40, 44), (200, 196, 186))),
    "plain": ("plain", ((236, 236, 236), (120, 116, 112), (52, 50, 50), (200, 190, 176))),
    "wood": ("wood", ((190, 140, 92), (120, 80, 52), (214, 180, 136))),
    "stone": ("stone", ((222, 220, 216), (70, 72, 76), (170, 160, 150))),
}
LINER_WEIGHTS = {
    "white_parchment": 4,
    "brown_parchment": 3,
    "tan_mat": 2,
    "dark_mat": 2,
    "colour_mat": 2,
    "metal": 1.5,
    "enamel": 0.7,
    "cloth": 0.7,
    "plain": 1,
    "wood": 0.7,
    "stone": 0.7,
}


def pick(rng: np.random.Generator, weights: dict[str, float]) -> str:
    p = np.array(list(weights.values()), float)
    return str(rng.choice(list(weights), p=p / p.sum()))


def surface_of(rng: np.random.Generator, name: str, options: Options) -> Surface:
    kind, colours = LINERS[name]
    colour = vary(rng, colours[rng.integers(len(colours))], 9)
    folds = rng.choice([0.0, rng.uniform(0.3, 3.0)], p=[0.6, 0.4]) if kind == "parchment" else 0.0
    if "folds" in options:
        folds = rng.uniform(1.0, 6.0)
    if options.get("tidy"):
        folds = 0.0
    stains = (
        rng.poisson(options["stains"])
        if "stains" in options
        else rng.poisson(rng.choice([0, 3, 10]))
    )
    if kind == "cloth":
        stains = 0
    style = options.get(
        "print",
        rng.choice(
            ["none", "rings", "discs", "wells", "text", "grid", "logo"],
            p=[0.35, 0.3, 0.08, 0.05, 0.08, 0.08, 0.06],
        ),
    )
    return Surface(
        kind,
        colour,
        second=vary(rng, colour if rng.random() < 0.5 else (120, 100, 80), 40),
        gloss=float(rng.uniform(0.3, 0.9) if kind == "metal" else rng.uniform(0.0, 0.12)),
        rough=float(rng.uniform(0.12, 0.35) if kind == "metal" else rng.uniform(0.2, 0.6)),
        bump_mm=float(10 ** rng.uniform(-2.2, -1.0)),
        folds_mm=float(folds),
        print_kind=str(style) if kind in ("mat", "plain") or "print" in options else "none",
        print_colour=vary(rng, ((60, 50, 44), (240, 236, 228), (150, 30, 40))[rng.integers(3)], 15),
        stains=int(stains),
        scratches=int(rng.poisson(25 if kind == "metal" else 1)),
        seed=int(rng.integers(2**31)),
    )


def tray_of(rng: np.random.Generator, extent_mm: Floats, options: Options) -> Tray:
    w, d = extent_mm + rng.uniform(6, 90, 2)
    steel = ((196, 196, 198), (150, 150, 154), (60, 58, 58), (34, 32, 34), (120, 104, 88))[
        rng.integers(5)
    ]
    inset = rng.uniform(-4, 12, 4) if rng.random() < 0.7 else rng.uniform(-60, 10, 4)
    return Tray(
        float(w),
        float(d),
        present=bool(options.get("tray", rng.random() < 0.75)),
        rim_mm=float(rng.uniform(4, 28)),
        wall_mm=float(rng.uniform(4, 14)),
        roll_mm=float(rng.uniform(2, 8)),
        corner_mm=float(rng.uniform(3, 30)),
        colour=vary(rng, steel, 8),
        gloss=float(rng.uniform(0.1, 0.8)),
        liner_inset_mm=tuple(float(v) for v in inset),
        liner_turn_deg=float(rng.normal(0, 1.5)),
        curl_mm=0.0
        if options.get("tidy")
        else float(rng.choice([0, rng.uniform(2, 20)], p=[0.7, 0.3])),
    )


def light_of(rng: np.random.Generator) -> Light:
    """A lamp or two, a window, a ceiling; warm or cold."""

    def lamp(strength: float) -> Lamp:
        warm = rng.uniform(-1, 1)
        colour = (255 - 30 * max(-warm, 0), 240 - 12 * abs(warm), 255 - 70 * max(warm, 0))
        return Lamp(
            float(rng.uniform(0, 360)),
            float(rng.choice([rng.uniform(12, 35), rng.uniform(30, 75)])),
            strength,
            float(rng.choice([rng.uniform(0.3, 2), rng.uniform(2, 9), rng.uniform(8, 20)])),
            colour,
        )

    hard = rng.random() < 0.3
    lamps = [lamp(float(rng.uniform(0.7, 1.3) if hard else rng.uniform(0.15, 0.8)))]
    if rng.random() < 0.4:
        lamps.append(lamp(float(rng.uniform(0.1, 0.6))))
    red, blue = (float(v) for v in rng.uniform(218, 255, 2))
    sky = (red, float(min(255.0, 0.5 * (red + blue) + rng.uniform(-3, 5))), blue)
    return Light(
        tuple(lamps),
        sky=float(rng.uniform(0.15, 0.5) if hard else rng.uniform(0.4, 0.9)),
        sky_colour=sky,
        falloff=float(rng.uniform(1.0, 2.4)),
        falloff_deg=float(rng.uniform(0, 360)),
        shades=int(rng.choice([0, 1, 2], p=[0.65, 0.25, 0.1])),
        shade_soft_mm=float(rng.uniform(3, 60)),
        seed=int(rng.integers(2**31)),
    )


def camera_of(
    rng: np.random.Generator,
    tray: Tray,
    shells: list[ShellShape],
    options: Options,
    size_px: tuple[int, int],
) -> Camera:
    w, h = size_px
    if rng.random() < 0.2 and not options.get("tidy"):
        w, h = h, w
    focal = float(rng.choice([rng.uniform(24, 30), rng.uniform(24, 80), rng.uniform(48, 56)]))
    zoom = float(rng.uniform(*options.get("zoom", (0.75, 1.5))))
    if options.get("tidy"):
        zoom = float(rng.uniform(1.05, 1.25))
    field = np.array([w, h]) / np.hypot(w, h) * 43.27 / focal  # view per distance
    want = np.array([tray.width_mm, tray.depth_mm]) * zoom
    distance = float(np.clip(max(want / field), 150, 1300))
    lo, hi = options.get("tilt", (0, 15) if rng.random() < 0.85 else (10, 30))
    half = np.rad2deg(np.arctan(np.hypot(*field) / 2))
    tilt = float(min(rng.uniform(lo, hi), 66 - half))
    roll = (
        float(rng.normal(0, 4))
        if options.get("tidy") or rng.random() < 0.6
        else float(rng.uniform(-180, 180))
    )
    middle = np.array([tray.width_mm, tray.depth_mm]) / 2
    if shells and zoom < 0.7:
        middle = np.asarray(shells[rng.integers(len(shells))].foot.centre_mm)
    elif not options.get("tidy"):
        middle = middle + rng.normal(0, 0.12, 2) * (tray.width_mm, tray.depth_mm)
    # mostly tilted about the picture's x axis, as people hold a camera
    lean = (
        float(180 - roll + rng.normal(0, 15)) if rng.random() < 0.7 else float(rng.uniform(0, 360))
    )
    m = matrix(w, h, focal, rng.normal(0, 0.004, 2) * w)
    wb = np.exp(rng.normal(0, 0.05, 3))
    scale = max(w, h) / 1024
    return Camera(
        w,
        h,
        focal,
        m,
        (
            float(rng.normal(0, 0.03)),
            float(rng.normal(0, 0.01)),
            float(rng.normal(0, 4e-4)),
            float(rng.normal(0, 4e-4)),
        ),
        look_at((float(middle[0]), float(middle[1])), distance, tilt, lean, roll),
        tilt,
        roll,
        blur_px=float(
            rng.uniform(0.3, 0.9)
            if options.get("tidy")
            else rng.choice([rng.uniform(0.2, 0.8), rng.uniform(0.6, 2.2)], p=[0.75, 0.25])
        )
        * scale**0.5,
        motion_px=0.0
        if options.get("tidy")
        else float(rng.choice([0, rng.uniform(1, 6)], p=[0.88, 0.12])),
        motion_deg=float(rng.uniform(0, 180)),
        noise=float(10 ** rng.uniform(-2.6, -1.4)),
        white_balance=(float(wb[0]), 1.0, float(wb[2])),
        exposure=float(np.exp(rng.normal(0, 0.28))),
        contrast=float(rng.uniform(0, 0.5)),
        saturation=float(rng.uniform(0.75, 1.3)),
        sharpen=float(rng.uniform(0, 0.9)),
        vignette=float(rng.uniform(0, 0.35)),
        jpeg_quality=int(rng.integers(60, 97)),
        grey=bool(options.get("grey", rng.random() < 0.03)),
    )


def decoys_of(
    rng: np.random.Generator, tray: Tray, shells: list[ShellShape], options: Options
) -> tuple[Decoy, ...]:
    low, high = options.get("decoys", (0, 4))
    out = []
    skins = ((232, 190, 164), (198, 146, 112), (120, 80, 58), (90, 60, 44))
    for _ in range(0 if options.get("tidy") else int(rng.integers(low, high + 1))):
        kind = str(rng.choice(list(DECOYS)))
        size = float(
            rng.uniform(60, 180)
            if kind in ("spoon", "knife", "hand", "towel", "wires")
            else rng.uniform(15, 100)
        )
        for _ in range(8):
            at = rng.uniform(-0.3, 1.3, 2) * (tray.width_mm, tray.depth_mm)
            gap = min(
                (
                    float(np.hypot(*(at - s.foot.centre_mm))) - s.cap.radius_mm.mean()
                    for s in shells
                ),
                default=1e3,
            )
            clear = {
                "crumbs": 0,
                "paper": 20,
                "cap": 18,
                "screw": 14,
                "tip": 24,
                "egg": 32,
                "fruit": 14,
                "glare": -20,
                "egg_shell": 26,
            }.get(kind, 0.5 * size)
            if gap > clear:
                break
        else:
            if rng.random() < 0.75:
                continue
        colour: Colour = tuple(rng.uniform(10, 250) * 0.6 + 0.4 * rng.uniform(10, 250, 3))
        if kind == "hand":
            colour = vary(rng, skins[rng.integers(4)], 10)
        elif kind in ("spoon", "tip", "knife", "wires", "screw"):
            colour = vary(rng, (190, 190, 192), 20)
        elif kind in ("egg", "egg_shell", "paper"):
            colour = vary(rng, ((244, 240, 232), (214, 170, 130))[rng.integers(2)], 8)
        elif kind == "crumbs" and shells:
            colour = shells[0].colour
        lift = (
            float(rng.uniform(6, 14))
            if kind in ("spoon", "hand", "towel", "knife") and rng.random() < 0.6
            else 0.0
        )
        out.append(
            Decoy(
                kind,
                (float(at[0]), float(at[1])),
                size,
                float(rng.uniform(0, 360)),
                colour,
                lift,
                int(rng.integers(2**31)),
            )
        )
    return tuple(out)


def cards_of(
    rng: np.random.Generator, tray: Tray, shells: list[ShellShape], options: Options
) -> tuple[Card, ...]:
    """Cards where shells leave room (or off the lattice's lower edge)."""
    wanted = (
        int(rng.choice([1, 2, 3], p=[0.6, 0.3, 0.1]))
        if options.get("cards")
        else int(rng.random() < 0.08)
    )
    cards: list[Card] = []
    for letter in rng.permutation(list("ABCD"))[:wanted]:
        for _ in range(150):
            turn = (
                float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 6))
                if rng.random() < 0.7
                else float(rng.uniform(0, 360))
            )
            a = np.deg2rad(turn)
            along, down = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
            middle = rng.uniform(0, 1, 2) * (tray.width_mm, tray.depth_mm)
            others = [
                (np.asarray(s.foot.centre_mm), float(s.foot.radius_mm.max()) + 3) for s in shells
            ]
            others += [(np.asarray(c.origin_mm), 110.0) for c in cards]
            reach = 42.8 * np.abs(along) + 27 * np.abs(down)
            size = np.array([tray.width_mm, tray.depth_mm])
            free = bool((middle > reach + 1).all() and (middle < size - reach - 1).all())
            for at, r in others:
                u, v = abs((at - middle) @ along), abs((at - middle) @ down)
                free &= bool(np.hypot(max(u - 42.8, 0), max(v - 27, 0)) > r)
            if free:
                origin = middle - 42.8 * along - 26.99 * down
                cards.append(Card(str(letter), (float(origin[0]), float(origin[1])), turn))
                break
    return tuple(cards)
