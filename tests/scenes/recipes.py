"""Recipes of scenes: named kinds with very wide ranges, for training and for benchmarks."""

from dataclasses import replace

import numpy as np

from tests.scenes.camera import project
from tests.scenes.description import (
    ANGLES,
    Camera,
    Floats,
    Outline,
    Scene,
    ShellShape,
)
from tests.scenes.shapes import FLAVOURS, coin, dough, macaron, vary
from tests.scenes.surroundings import (
    LINER_WEIGHTS,
    Options,
    camera_of,
    cards_of,
    decoys_of,
    light_of,
    pick,
    surface_of,
    tray_of,
)
from tests.scenes.toppings import dressed

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
    "surface": (
        0,
        {
            "cards": True,
            "tilt": (0, 12),
            "tidy": True,
            "dressed": True,
            "count": (14, 36),
            "pitch": (1.05, 1.3),
        },
    ),
}


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
            ((150, 146, 140), (150, 116, 70), (104, 74, 50), (96, 90, 84))[rng.integers(4)],
            14,
        )
    nothing = Outline((0.0, 0.0), np.full(ANGLES, float(rng.uniform(-0.2, 2.4))))
    tan = np.array([200.0, 160.0, 104.0])
    foot_colour = 0.6 * np.asarray(colour) + 0.4 * tan * rng.uniform(0.6, 1.2)
    fancy = options.get("decorated", rng.random() < (0.45 if options.get("dressed") else 0.15))
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
        look = replace(look, gloss=float(rng.uniform(0.03, 0.3)), rough=0.3, bump_mm=0.06)
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
    count = round(np.exp(rng.uniform(np.log(max(low, 1)), np.log(high))))
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
    habit = int(rng.integers(2**31)) if options.get("dressed") else 0
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
        shell = replace(maker(rng, at, d, own), row=r, column=c)
        if options.get("dressed"):
            shell = dressed(rng, shell, np.random.default_rng(habit))
        shells.append(shell)
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
        toppings=tuple(replace(t, path_mm=t.path_mm + shift) for t in shell.toppings),
    )


def make_scene(rng: np.random.Generator, kind: str, size_px: tuple[int, int]) -> Scene:
    """Sample a scene of a kind."""
    if kind == "any":
        kind = pick(rng, {k: v[0] for k, v in KINDS.items()})
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
    tray = tray_of(rng, extent, options)
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
    name = str(rng.choice(options["liner"])) if "liner" in options else pick(rng, LINER_WEIGHTS)
    liner = surface_of(rng, name, options)
    if liner.print_kind in ("rings", "discs", "wells"):
        size = float(np.mean([s.cap.radius_mm.mean() for s in shells])) if shells else 20.0
        # hand and print do not agree: every shell lies off its ring, by its own amount
        uneven = rng.normal(0, rng.uniform(0.01, 0.16) * size, points.shape)
        places = points + shift + rng.normal(0, 0.1 * size, 2) + uneven
        spare = rng.uniform(0, 1, (int(rng.integers(0, 12)), 2)) * (tray.width_mm, tray.depth_mm)
        places = np.vstack([places, spare]) if rng.random() < 0.5 else places
        radius = size * (rng.uniform(1.05, 1.6) if rng.random() < 0.6 else rng.uniform(0.7, 1.3))
        liner = replace(
            liner,
            print_centres_mm=tuple((float(p[0]), float(p[1])) for p in places),
            print_radius_mm=radius,
            print_colour=vary(rng, look.colour, 20) if rng.random() < 0.3 else liner.print_colour,
        )
    table = surface_of(
        rng,
        str(
            rng.choice(
                ["wood", "stone", "cloth", "plain", "metal"], p=[0.35, 0.25, 0.15, 0.2, 0.05]
            )
        ),
        {"tidy": True},
    )
    table = replace(table, print_kind="none")
    camera = camera_of(rng, tray, shells, options, size_px)
    cards = cards_of(rng, tray, shells, options)
    seen = [s for s in shells if _in_view(camera, s)]
    return Scene(
        "scene",
        kind,
        0,
        tray,
        liner,
        table,
        light_of(rng),
        camera,
        tuple(seen),
        decoys_of(rng, tray, shells, options),
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
