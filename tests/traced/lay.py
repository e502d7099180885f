"""Places cards and shells on a scene's tray. Pure; the random generator is the scene's own."""

from dataclasses import dataclass, replace

import numpy as np

from tests.traced.mesh import Array
from tests.traced.piped import apart, piped_tray
from tests.traced.scenes import TRAY_MM, Scene
from tests.traced.shells import FOOT_COLUMNS, Crack, Dimple, Shell, foot_mesh
from tests.traced.toppings import poured, strewn
from tests.traced.truth import rings_of

CARD_MM = (85.60, 53.98)  # ISO/IEC 7810 ID-1
CARD_INSET_MM = 10.0


@dataclass(frozen=True, slots=True)
class PlacedCard:
    letter: str
    origin_mm: tuple[float, float]
    rot_deg: float

    def corners_mm(self) -> Array:
        a = np.radians(self.rot_deg)
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        w, h = CARD_MM
        return np.array([(0, 0), (w, 0), (w, h), (0, h)]) @ turn.T + self.origin_mm


def place_cards(scene: Scene) -> tuple[PlacedCard, ...]:
    placed = []
    for letter, corner, turn in scene.cards:
        at_origin = PlacedCard(letter, (0.0, 0.0), turn).corners_mm()
        low, high = at_origin.min(0), at_origin.max(0)
        x = CARD_INSET_MM - low[0] if "left" in corner else TRAY_MM[0] - CARD_INSET_MM - high[0]
        y = CARD_INSET_MM - low[1] if "top" in corner else TRAY_MM[1] - CARD_INSET_MM - high[1]
        placed.append(PlacedCard(letter, (float(x), float(y)), turn))
    return tuple(placed)


def clear_of(place: Array, radius: float, cards: tuple[PlacedCard, ...],
             blocked: list[tuple[float, float, float]]) -> bool:
    """Is a disc clear of the cards' boxes and of blocked discs?"""
    for card in cards:
        c = card.corners_mm()
        gap = np.maximum(np.maximum(c.min(0) - place, place - c.max(0)), 0)
        if np.hypot(*gap) < radius:
            return False
    return all(np.hypot(place[0] - x, place[1] - y) > radius + r for x, y, r in blocked)


def lattice(scene: Scene) -> list[tuple[int, int, Array]]:
    """Row, column and piped place of every lattice site."""
    edge = scene.room_mm / 2 + 9
    columns = scene.columns - 0.5 if scene.stagger else scene.columns - 1.0
    step_x = (TRAY_MM[0] - 2 * edge) / columns
    step_y = (TRAY_MM[1] - 2 * edge) / (scene.rows - 1)
    if scene.stagger:
        return [(r, c, np.array([edge + step_x * (c + 0.5 * (r % 2)), edge + step_y * r]))
                for r in range(scene.rows) for c in range(scene.columns)]
    return [(r, c, np.array([edge + step_x * c, edge + step_y * r]))
            for r in range(scene.rows) for c in range(scene.columns)]


def bell(scene: Scene, place: Array) -> float:
    """Strength 0..1 of the scene's hot place here."""
    if scene.spot is None:
        return 0.0
    away = np.hypot(*np.subtract(place, scene.spot.centre_mm))
    return float(np.exp(-((away / scene.spot.sigma_mm) ** 2) / 2))


def plain_shell(scene: Scene, rng: np.random.Generator, site: tuple[int, int, Array],
                number: int) -> Shell:
    row, col, place = site
    jitter = np.clip(rng.normal(0, 1.3, 2), -2.4, 2.4)
    radius = scene.diameter_mm / 2 * np.clip(rng.normal(1, scene.diameter_sd_rel), 0.93, 1.07)
    waves = tuple((k, float(abs(rng.normal(0, a))), float(rng.uniform(0, 6.28)))
                  for k, a in ((2, 0.010), (3, 0.006), (4, 0.004), (5, 0.003), (6, 0.002),
                               (7, 0.0015)))
    along = place[0] / TRAY_MM[0]
    gain = bell(scene, place)
    radius = radius + (scene.spot.diameter_mm / 2 * gain if scene.spot else 0.0)
    lean, way = abs(rng.normal(0, 0.22)), rng.uniform(0, 6.28)
    return Shell(
        id=number, row=row, col=col, seed=scene.seed * 1000 + number * 17,
        centre_mm=(float(place[0] + jitter[0]), float(place[1] + jitter[1])),
        radius_mm=float(radius), waves=waves,
        height_mm=float(np.clip(rng.normal(11.7, 0.6), 10.2, 13.2)),
        rim_z_mm=float(np.clip(rng.normal(4.55, 0.28), 3.9, 5.2)),
        foot_height_mm=float(np.clip(rng.normal(3.15, 0.25), 2.5, 3.7)),
        foot_spread_mm=float(np.clip(rng.normal(1.05, 0.22), 0.5, 1.6)),
        lean_mm=(float(lean * np.cos(way)), float(lean * np.sin(way))),
        ruffle_mm=float(rng.uniform(0.75, 1.1)), flavour_srgb=scene.shell_srgb,
        browning=float(np.clip(scene.browning + scene.browning_slope * (along - 0.3)
                               + (scene.spot.browning * gain if scene.spot else 0.0)
                               + rng.normal(0, 0.025), 0, 0.8)),
        swirl_srgb=scene.swirl_srgb, specks=scene.specks)


def make_crack(rng: np.random.Generator, shell: Shell) -> Crack:
    kind = ("radial", "across", "shoulder")[rng.integers(3)]
    length = rng.uniform(9, 20)
    start, turn = rng.uniform(0, 6.28), rng.choice([-1.0, 1.0])
    from_centre = shell.inner_mm * {"radial": 0.35, "across": 0.3, "shoulder": 0.72}[kind]
    heading = start + {"radial": 0.0, "across": np.pi * 0.9, "shoulder": np.pi / 2 * turn}[kind]
    step, drift = 0.35, 0.0
    place = np.array([np.cos(start), np.sin(start)]) * from_centre
    path = [place]
    for _ in range(int(length / step)):
        drift = 0.8 * drift + rng.normal(0, 0.11)
        bend = step / from_centre * turn if kind == "shoulder" else 0.0
        heading += drift * 0.6 + bend
        place = place + step * np.array([np.cos(heading), np.sin(heading)])
        if np.hypot(*place) > 0.90 * shell.inner_mm:
            break
        path.append(place)
    t = np.linspace(0, 1, len(path))
    wobble = 1 + 0.25 * np.sin(rng.uniform(0, 6.28) + t * rng.uniform(8, 16))
    half = rng.uniform(0.4, 0.85) * np.sin(np.pi * np.clip(t, 0, 1)) ** 0.6 * wobble
    return Crack(np.array(path) + shell.centre_mm, np.maximum(half, 0),
                 float(rng.uniform(1.2, 2.1)), kind)


def make_any_dimple(rng: np.random.Generator, shell: Shell) -> Dimple:
    """Of any wall, shallow and small ones too; further out on the cap."""
    way, far = rng.uniform(0, 6.28), rng.uniform(0, 0.66) * shell.inner_mm
    return Dimple((float(shell.centre_mm[0] + far * np.cos(way)),
                   float(shell.centre_mm[1] + far * np.sin(way))),
                  float(rng.uniform(5.0, 11.0)), float(rng.uniform(0.6, 2.1)),
                  float(rng.uniform(0.6, 0.82)), float(rng.choice([2, 3, 4, 6])))


def make_dimple(rng: np.random.Generator, shell: Shell) -> Dimple:
    way, far = rng.uniform(0, 6.28), rng.uniform(0.1, 0.5) * shell.inner_mm
    return Dimple((float(shell.centre_mm[0] + far * np.cos(way)),
                   float(shell.centre_mm[1] + far * np.sin(way))),
                  float(rng.uniform(6.5, 9.0)), float(rng.uniform(1.1, 1.9)))


def lengthen(rng: np.random.Generator, shell: Shell, *, teardrop: bool) -> Shell:
    way = float(rng.uniform(0, 6.28))
    extra = (((2, 0.055, way), (3, 0.045, way), (4, 0.02, way)) if teardrop
             else ((2, float(rng.uniform(0.05, 0.075)), way),))
    return replace(shell, waves=shell.waves + extra, teardrop=teardrop)


def give_faults(scene: Scene, rng: np.random.Generator, shells: list[Shell]) -> list[Shell]:
    """Hands the scene's faults out to shells drawn at random, each kind without repeats."""
    def drawn(count: int) -> list[int]:
        return [int(i) for i in rng.choice(len(shells), min(count, len(shells)), replace=False)]

    for n, i in enumerate(drawn(scene.oval + scene.teardrop)):
        shells[i] = lengthen(rng, shells[i], teardrop=n >= scene.oval)
    for i in drawn(scene.leaning):
        size, way = rng.uniform(1.2, 2.4), rng.uniform(0, 6.28)
        shells[i] = replace(shells[i], lean_mm=(size * np.cos(way), size * np.sin(way)))
    for i in drawn(scene.peaked):
        shells[i] = replace(shells[i], peak_mm=float(rng.uniform(0.9, 1.4)))
    for i in drawn(scene.lumpy):
        shells[i] = replace(shells[i], lumpy_mm=float(rng.uniform(0.12, 0.2)))
    return shells


def add_surface(scene: Scene, rng: np.random.Generator, shells: list[Shell]) -> list[Shell]:
    """Cracks and dimples, after the shells have their last place."""
    order = rng.permutation(len(shells))
    for i in order[:scene.cracked]:
        count = 1 + int(rng.random() < 0.25)
        shells[i] = replace(shells[i], cracks=tuple(make_crack(rng, shells[i])
                                                    for _ in range(count)))
    for i in order[scene.cracked:scene.cracked + scene.dimpled]:
        make = make_any_dimple if scene.any_dimples else make_dimple
        shells[i] = replace(shells[i], dimples=(make(rng, shells[i]),))
    return shells


def add_toppings(scene: Scene, rng: np.random.Generator, shells: list[Shell]) -> list[Shell]:
    """Sprinkles, threads, and shells whose foot lies under the cap or never rose."""
    order = [int(i) for i in rng.permutation(len(shells))]
    for i in order[:scene.sprinkled]:
        shells[i] = replace(shells[i], toppings=tuple(strewn(rng, shells[i])))
    for i in order[scene.sprinkled:scene.sprinkled + scene.drizzled]:
        shells[i] = replace(shells[i], toppings=tuple(poured(rng, shells[i])))
    plain = [i for i in reversed(order) if not shells[i].touching]
    for i in plain[:scene.hidden_feet]:
        shells[i] = replace(shells[i], foot_spread_mm=-float(rng.uniform(1.9, 2.6)),
                            lean_mm=(0.0, 0.0))
    for i in plain[scene.hidden_feet:scene.hidden_feet + scene.footless]:
        shells[i] = replace(shells[i], has_foot=False, foot_spread_mm=-2.5, lean_mm=(0.0, 0.0),
                            rim_z_mm=1.25, foot_height_mm=0.8,
                            height_mm=shells[i].height_mm - 3.0)
    return shells


def make_touch(rng: np.random.Generator, shells: list[Shell], pairs: int) -> list[Shell]:
    """Moves right-hand neighbours until the two foot rings just meet."""
    done: set[int] = set()
    for i in rng.permutation(len(shells)):
        a = shells[i]
        j = next((n for n, s in enumerate(shells) if s.row == a.row and s.col == a.col + 1), None)
        if pairs == 0:
            break
        if j is None or {int(i), j} & done:
            continue
        b = shells[j]
        way = np.subtract(b.centre_mm, a.centre_mm)
        way = way / np.hypot(*way)
        reach = 0.0
        for shell, sign in ((a, 1.0), (b, -1.0)):
            ring = rings_of(foot_mesh(shell), FOOT_COLUMNS)[..., :2] - shell.centre_mm
            near = np.abs(ring @ [-way[1], way[0]]) < 3.0
            foot = (sign * ring @ way)[near].max()
            reach += max(float(foot), shell.radius_mm)
        new = np.asarray(a.centre_mm) + way * (reach - 0.15)
        shells[i] = replace(a, touching=(b.id,))
        shells[j] = replace(b, centre_mm=(float(new[0]), float(new[1])), touching=(a.id,))
        done |= {int(i), j}
        pairs -= 1
    return shells


def lay_tray(scene: Scene) -> tuple[list[Shell], tuple[PlacedCard, ...],
                                    list[tuple[float, float, float]]]:
    """Shells, cards, and the discs (x, y, radius) kept free for things on the liner."""
    rng = np.random.default_rng(scene.seed)
    cards = place_cards(scene)
    sites = lattice(scene)
    free = [s for s in sites if clear_of(s[2], scene.room_mm / 2 + 5, cards, [])]
    middle = [s for s in free if s[1] > 0]
    blocked = []
    for kind in scene.decoys:
        if kind == "tip":
            place = middle[int(rng.integers(len(middle)))][2]
            blocked.append((float(place[0]), float(place[1]), 20.0))
    shells: list[Shell] = []
    for site in free:
        if clear_of(site[2], 12.0, (), blocked):
            shells.append(plain_shell(scene, rng, site, len(shells)))
    if scene.piping is not None:
        shells = apart(piped_tray(scene.piping, scene.seed, shells))
    shells = give_faults(scene, rng, shells)
    shells = make_touch(rng, shells, scene.touching)
    shells = add_toppings(scene, np.random.default_rng(scene.seed + 77),
                          add_surface(scene, rng, shells))
    return shells, cards, blocked
