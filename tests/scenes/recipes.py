"""Recipes of scenes: named kinds with very wide ranges, for training and for benchmarks."""

from dataclasses import replace
from typing import Any

import numpy as np

from tests.scenes.camera import look_at, matrix, project
from tests.scenes.decoys import PAINTERS as DECOYS
from tests.scenes.description import (
    ANGLES,
    Camera,
    Card,
    Colour,
    Decoy,
    Floats,
    Lamp,
    Light,
    Outline,
    Scene,
    ShellShape,
    Surface,
    Tray,
)
from tests.scenes.shapes import FLAVOURS, coin, dough, macaron, vary

Options = dict[str, Any]

#: kind: (weight in "any", fixed choices)
KINDS: dict[str, tuple[float, Options]] = {
    "plain": (3, {}),
    "white_on_white": (3, {"liner": ("white_parchment",), "flavour": ("white", "vanilla")}),
    "chocolate_on_dark": (3, {"liner": ("dark_mat",), "flavour": ("chocolate", "dark", "black")}),
    "yellow_on_tan": (
        2,
        {"liner": ("tan_mat", "brown_parchment"), "flavour": ("yellow", "caramel", "vanilla")},
    ),
    "ring_mat": (3, {"liner": ("tan_mat", "dark_mat", "colour_mat"), "print": "rings"}),
    "disc_mat": (2, {"liner": ("tan_mat", "dark_mat", "colour_mat"), "print": "discs"}),
    "well_mat": (1.5, {"liner": ("colour_mat", "dark_mat", "tan_mat"), "print": "wells"}),
    "text_mat": (1.5, {"liner": ("tan_mat", "colour_mat", "dark_mat"), "print": "text"}),
    "metal": (2, {"liner": ("metal",)}),
    "enamel": (1, {"liner": ("enamel",)}),
    "wrinkled": (3, {"liner": ("white_parchment", "brown_parchment"), "folds": 1.0}),
    "greasy": (2, {"liner": ("brown_parchment",), "stains": 25}),
    "dough": (
        4,
        {
            "shell": "dough",
            "liner": ("brown_parchment", "white_parchment", "metal"),
            "tilt": (5, 45),
        },
    ),
    "cookies": (
        4,
        {
            "shell": "cookie",
            "liner": ("brown_parchment", "white_parchment", "metal"),
            "tilt": (0, 45),
        },
    ),
    "coins": (2, {"shell": "coin", "liner": ("cloth", "dark_mat", "plain"), "tray": False}),
    "grey": (1.5, {"grey": True}),
    "crowded": (3, {"count": (40, 100), "pitch": (1.02, 1.25)}),
    "touching": (2, {"pitch": (0.96, 1.06), "count": (8, 50)}),
    "sparse": (1.5, {"count": (1, 8), "pitch": (1.5, 2.6)}),
    "oblique": (2, {"tilt": (20, 45)}),
    "close": (2, {"zoom": (0.25, 0.7)}),
    "kitchen": (3, {"decoys": (4, 12)}),
    "decorated": (3, {"decorated": True}),
    "empty": (1, {"count": (0, 0), "decoys": (2, 10), "stains": 15}),
    "card": (2, {"cards": True, "tilt": (0, 10)}),
    "measured": (0, {"cards": True, "tilt": (0, 12), "tidy": True}),
}

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


def _pick(rng: np.random.Generator, weights: dict[str, float]) -> str:
    p = np.array(list(weights.values()), float)
    return str(rng.choice(list(weights), p=p / p.sum()))


def _surface(rng: np.random.Generator, name: str, options: Options) -> Surface:
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


def _batch(rng: np.random.Generator, options: Options) -> ShellShape:
    """What the shells of a batch share; ``foot.radius_mm[0]`` carries the foot's spread, and
    ``lumps_mm`` the rate of faults."""
    kind = options.get("shell", "macaron")
    flavour = str(rng.choice(options.get("flavour", list(FLAVOURS))))
    colour = vary(rng, FLAVOURS[flavour], 12)
    if kind in ("dough", "cookie"):
        colour = vary(
            rng,
            ((226, 206, 160), (214, 176, 124), (190, 140, 90), (120, 80, 56))[rng.integers(4)],
            10,
        )
    if kind == "coin":
        colour = vary(
            rng,
            ((150, 146, 140), (170, 130, 70), (120, 80, 50), (200, 196, 186))[rng.integers(4)],
            12,
        )
    nothing = Outline((0.0, 0.0), np.full(ANGLES, float(rng.uniform(-0.2, 2.4))))
    tan = np.array([200.0, 160.0, 104.0])
    foot_colour = 0.6 * np.asarray(colour) + 0.4 * tan * rng.uniform(0.6, 1.2)
    fancy = options.get("decorated", rng.random() < 0.15)
    look = ShellShape(
        0,
        0,
        kind,
        nothing,
        nothing,
        height_mm=float(rng.uniform(8.5, 16)),
        rim_mm=float(rng.uniform(3, 6.5)),
        foot_mm=float(rng.uniform(1.4, 3.6)),
        cap_power=float(rng.uniform(1.9, 4.5)),
        colour=colour,
        foot_colour=tuple(np.clip(foot_colour, 5, 250)),
        browning=float(rng.choice([0, rng.uniform(0, 0.5)])),
        bump_mm=float(10 ** rng.uniform(-2.3, -1.2)),
        lumps_mm=float(rng.choice([0.1, 0.6, 1.5], p=[0.5, 0.35, 0.15])),
        gloss=float(rng.choice([rng.uniform(0, 0.06), rng.uniform(0.05, 0.3)])),
        rough=float(rng.uniform(0.18, 0.5)),
    )
    if options.get("has_foot") is False or rng.random() < 0.07:
        look = replace(look, has_foot=False)
    if fancy and kind == "macaron":
        look = _decorate(rng, look)
    if kind == "cookie":
        look = replace(
            look,
            specks=int(rng.integers(6, 40)),
            speck_mm=float(rng.uniform(1.5, 6)),
            speck_colour=(54, 36, 30),
            height_mm=float(rng.uniform(9, 20)),
            bump_mm=float(rng.uniform(0.05, 0.25)),
        )
    if kind == "dough":
        look = replace(
            look, height_mm=float(rng.uniform(9, 22)), bump_mm=float(rng.uniform(0.05, 0.25))
        )
    if kind == "coin":
        look = replace(look, gloss=float(rng.uniform(0.2, 0.8)), rough=0.2, bump_mm=0.06)
    return look


def _decorate(rng: np.random.Generator, look: ShellShape) -> ShellShape:
    style = rng.integers(5)
    other = FLAVOURS[str(rng.choice(list(FLAVOURS)))]
    if style == 0:
        return replace(look, second_colour=other, swirl=0.0)
    if style == 1:
        return replace(look, second_colour=other, swirl=float(rng.uniform(0.2, 1.2)))
    if style == 2:
        return replace(
            look,
            specks=int(rng.integers(10, 90)),
            speck_mm=float(rng.uniform(0.3, 1.6)),
            speck_colour=vary(rng, other, 30),
        )
    if style == 3:
        return replace(look, dust=float(rng.uniform(0.05, 0.4)), speck_colour=(84, 54, 36))
    return replace(look, second_colour=vary(rng, look.colour, 18), swirl=float(rng.uniform(0, 1)))


def lattice(
    rng: np.random.Generator, count: int, pitch_mm: float, jitter_rel: float
) -> list[tuple[int, int, Floats]]:
    """(row, column, place (2,)) of a square, staggered or irregular lattice, some places empty."""
    columns = max(1, round(np.sqrt(count * rng.uniform(0.6, 2.2))))
    rows = max(1, -(-count // columns))
    style = rng.integers(4)
    stagger = 0.5 if style in (1, 2) else 0.0
    row_pitch = pitch_mm * (0.87 if style == 1 else rng.uniform(0.95, 1.3))
    missing = rng.choice([0.0, 0.1, 0.35], p=[0.5, 0.35, 0.15])
    out = []
    for r in range(rows):
        for c in range(columns):
            if rng.random() < missing:
                continue
            at = np.array([(c + stagger * (r % 2)) * pitch_mm, r * row_pitch])
            out.append((r, c, at + rng.normal(0, jitter_rel * pitch_mm, 2)))
    return out[: max(count, 0)]


def _shells(rng: np.random.Generator, look: ShellShape, options: Options) -> list[ShellShape]:
    low, high = options.get("count", (5, 60))
    if high == 0:
        return []
    count = int(round(np.exp(rng.uniform(np.log(max(low, 1)), np.log(high)))))
    size = float(np.clip(rng.normal(42, 9), 15, 80))
    if look.kind != "macaron":
        size = float(rng.uniform(35, 80)) if look.kind != "coin" else float(rng.uniform(16, 32))
    if options.get("tidy"):
        size = float(rng.uniform(35, 48))
    scatter = float(rng.choice([0.015, 0.04, 0.15], p=[0.4, 0.4, 0.2]))
    pitch = size * float(rng.uniform(*options.get("pitch", (1.1, 1.8)))) + 2.0
    tight = pitch < 1.12 * size
    jitter = float(rng.choice([0.005, 0.02, 0.06])) if not tight else 0.01
    maker = {"macaron": macaron, "dough": dough, "cookie": dough, "coin": coin}[look.kind]
    looks = [look]
    if rng.random() < 0.12 and look.kind == "macaron":
        looks += [
            replace(_batch(rng, options), foot_mm=look.foot_mm)
            for _ in range(int(rng.integers(1, 4)))
        ]
    shells: list[ShellShape] = []
    close = 0.93 if "pitch" in options and options["pitch"][0] < 1 else 1.02
    for r, c, at in lattice(rng, count, pitch, jitter):
        d = float(np.clip(size * np.exp(rng.normal(0, scatter)), 13, 84))
        near = [
            s
            for s in shells
            if np.hypot(*(at - s.foot.centre_mm)) < close * (d / 2 + s.cap.radius_mm.mean())
        ]
        if near and rng.random() > 0.25:
            continue
        if any(
            np.hypot(*(at - s.foot.centre_mm)) < 0.8 * (d / 2 + s.cap.radius_mm.mean())
            for s in near
        ):
            continue
        own = looks[r % len(looks)] if rng.random() < 0.95 else looks[rng.integers(len(looks))]
        shells.append(replace(maker(rng, at, d, own), row=r, column=c))
    return shells


def _moved(shell: ShellShape, shift: Floats) -> ShellShape:
    def at(p: tuple[float, float]) -> tuple[float, float]:
        return (float(p[0] + shift[0]), float(p[1] + shift[1]))

    return replace(
        shell,
        cap=Outline(at(shell.cap.centre_mm), shell.cap.radius_mm),
        foot=Outline(at(shell.foot.centre_mm), shell.foot.radius_mm),
        cracks=tuple(replace(c, path_mm=c.path_mm + shift) for c in shell.cracks),
        dimples=tuple(replace(d, centre_mm=at(d.centre_mm)) for d in shell.dimples),
    )


def _tray(rng: np.random.Generator, extent_mm: Floats, options: Options) -> Tray:
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


def _light(rng: np.random.Generator) -> Light:
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
    return Light(
        tuple(lamps),
        sky=float(rng.uniform(0.15, 0.5) if hard else rng.uniform(0.4, 0.9)),
        sky_colour=(float(rng.uniform(225, 255)), 244.0, float(rng.uniform(215, 255))),
        falloff=float(rng.uniform(1.0, 2.4)),
        falloff_deg=float(rng.uniform(0, 360)),
        shades=int(rng.choice([0, 1, 2], p=[0.65, 0.25, 0.1])),
        shade_soft_mm=float(rng.uniform(3, 60)),
        seed=int(rng.integers(2**31)),
    )


def _camera(
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


def _decoys(
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


def _cards(
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


def make_scene(rng: np.random.Generator, kind: str, size_px: tuple[int, int]) -> Scene:
    """Sample a scene of a kind."""
    if kind == "any":
        kind = _pick(rng, {k: v[0] for k, v in KINDS.items()})
    options = dict(KINDS[kind][1])
    look = _batch(rng, options)
    shells = _shells(rng, look, options)
    points = (
        np.array([s.foot.centre_mm for s in shells])
        if shells
        else np.array([[0, 0], [200.0, 150.0]])
    )
    far = max((float(s.cap.radius_mm.max()) for s in shells), default=20.0)
    extent = np.ptp(points, axis=0) + 2 * far + 4
    tray = _tray(rng, extent, options)
    if options.get("cards"):  # room for the card beside the shells
        tray = replace(tray, depth_mm=tray.depth_mm + 62)
    shift = (
        far
        + 2
        - points.min(0)
        + rng.uniform(0, 1, 2) * np.maximum((tray.width_mm, tray.depth_mm) - extent, 0)
    )
    if options.get("cards"):
        shift[1] = far + 4 - points[:, 1].min()
    shells = [_moved(s, shift) for s in shells]
    name = str(rng.choice(options["liner"])) if "liner" in options else _pick(rng, LINER_WEIGHTS)
    liner = _surface(rng, name, options)
    if liner.print_kind in ("rings", "discs", "wells"):
        places = points + shift + rng.normal(0, 2.5, 2)
        spare = rng.uniform(0, 1, (int(rng.integers(0, 12)), 2)) * (tray.width_mm, tray.depth_mm)
        places = np.vstack([places, spare]) if rng.random() < 0.5 else places
        radius = float(
            np.mean([s.cap.radius_mm.mean() for s in shells]) if shells else 20
        ) * rng.uniform(0.7, 1.3)
        liner = replace(
            liner,
            print_centres_mm=tuple((float(p[0]), float(p[1])) for p in places),
            print_radius_mm=radius,
        )
    table = _surface(
        rng,
        str(
            rng.choice(
                ["wood", "stone", "cloth", "plain", "metal"], p=[0.35, 0.25, 0.15, 0.2, 0.05]
            )
        ),
        {"tidy": True},
    )
    table = replace(table, print_kind="none")
    camera = _camera(rng, tray, shells, options, size_px)
    cards = _cards(rng, tray, shells, options)
    seen = [s for s in shells if _in_view(camera, s)]
    return Scene(
        "scene",
        kind,
        0,
        tray,
        liner,
        table,
        _light(rng),
        camera,
        tuple(seen),
        _decoys(rng, tray, shells, options),
        cards,
    )


def _in_view(camera: Camera, shell: ShellShape) -> bool:
    p = shell.foot.points_mm()[::12]
    q = np.vstack(
        [project(camera, np.column_stack([p, np.full(len(p), z)])) for z in (0.0, shell.rim_mm)]
    )
    inside = (
        (q[:, 0] > -0.5)
        & (q[:, 1] > -0.5)
        & (q[:, 0] < camera.width_px - 0.5)
        & (q[:, 1] < camera.height_px - 0.5)
    )
    return bool(inside.any())
