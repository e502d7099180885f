"""Training caps for the relief network: what it takes of each cap, and its true dimples and peak.

``python -m tests.training.relief_data FOLDER... --out relief_traced.npz`` inspects the scenes of
folders (picture and truth side by side, `tests.traced`). ``python -m tests.training.relief_data
--drawn 90 --seed 8000 --out relief_drawn.npz`` draws trays of domes under one lamp, tray n from
seed 8,000 + n, with what looks like relief and is none: specks, sprinkles, beads, swirls, cracks,
lumps, bumps. What the network takes is what `petitpied.surface.relief.relief_network` hands to it.

The file's arrays, of each cap: ``cap`` (N, 4, 4, CELLS, CELLS), brightness beside the dome, its
weight, red and blue tint, each as four places a cell; ``tray`` (N,), ``radius_mm`` (N,);
``dimples`` (N, 3, 4): place (x, y) in parts of the radius, diameter, depth, mm, NaN where none;
``peak`` (N, 2) place; ``decorated`` (N,) whether something lies on it. Of each tray: ``common``
(T, 4, CELLS, CELLS), ``light`` (T, 2), ``names`` (T,).
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.camera.grey_strip import fit_tone, read_strips
from petitpied.domain.errors import ReadingError
from petitpied.domain.settings import Settings
from petitpied.surface.caps.domes import SIDE, Domes, see_domes, shading_of
from petitpied.surface.caps.flat_light import CardLight, flat_light
from petitpied.surface.caps.light_direction import light_direction
from petitpied.surface.relief.relief_network import CELLS, planes
from tests.surface.lit_domes import FINE, RADIUS_MM, axis_mm
from tests.training.crack_data import Inspected, Truth, inspected, plan_to_plan, scenes_in

Floats = NDArray[np.float64]
Arrays = dict[str, NDArray[Any]]
Rng = np.random.Generator

#: dimples of a cap that are kept; no scene has more
MOST_DIMPLES = 3
#: the fine raster on which domes are drawn, mm
X, Y = np.meshgrid(axis_mm(SIDE * FINE), axis_mm(SIDE * FINE))
STEP_MM = float(X[0, 1] - X[0, 0])
#: what a drawn cap may have on it; dimples twice as often as the rest
KINDS = (
    *("none", "dimple", "dimple", "bump", "lumpy", "peak"),
    *("specks", "sprinkle", "bead", "crack", "both"),
)
#: "both" is a dimple and, more often than not, something beside it: these shares of them
BOTH_SPECKS, BOTH_SPRINKLED = 0.3, 0.5
#: light that a black place still sends back to the camera
STRAY = 0.004


def taken(domes: Domes) -> Arrays | None:
    """What the network takes of a tray's caps, by the package's own functions; None where the light
    shows no relief."""
    shading = shading_of(domes)
    light = light_direction(shading)
    if not light.shows_relief:
        return None
    given = planes(shading, light).reshape(len(domes.log), 7, 4, CELLS, CELLS)
    return {
        "cap": given[:, :4].astype(np.float16),
        "radius_mm": domes.radius_mm.astype(np.float32),
        "common": given[0, 4][None],
        "light": given[0, 5:, 0, 0, 0][None],
    }


def domes_of(scene: Inspected) -> Domes:
    """The caps of a traced scene, as `petitpied.surface.tray_surface` sees them."""
    pixels, record, view = scene.photo.pixels_bgr, scene.record, scene.patches.view
    strips, _ = read_strips(pixels, record.cards)
    tone, level = fit_tone(strips)
    px = np.array([s.place_px for s in strips]).reshape(-1, 2)
    places = view.to_plane(px, Settings().card_thickness_mm) if strips else np.zeros((0, 2))
    on_cards = CardLight(places, level)
    light = flat_light(pixels, view, record.shells, record.cards, tone, on_cards)
    return see_domes(scene.patches, tone, light)


def true_relief(scene: Inspected, truth: Truth) -> Arrays:
    """True dimples, peak and decoration of the caps of a scene that have a true shell; ``known``
    (S,) says of all caps which."""
    dimples, peaks, decorated = [], [], []
    for cap, shell in zip(scene.patches.caps, scene.truths, strict=True):
        if shell is None:
            continue

        def place(centre_mm: Sequence[float], cap: Any = cap) -> Floats:
            there = plan_to_plan(truth, scene.patches.view, np.array([centre_mm], float))[0]
            return np.asarray((there - cap.centre_mm) / cap.radius_mm, float)

        marks = [
            (*place(d["centre_mm"]), d["diameter_mm"], d["depth_mm"])
            for d in shell.get("dimples") or ()
        ]
        dimples.append(padded(marks))
        middle = shell.get("cap_centre_mm", shell["centre_mm"])
        peaks.append(place(middle) if shell.get("peak") else np.full(2, np.nan))
        decorated.append(bool(shell.get("toppings")))
    return {
        "known": np.array([shell is not None for shell in scene.truths]),
        "dimples": np.array(dimples, np.float32).reshape(-1, MOST_DIMPLES, 4),
        "peak": np.array(peaks, np.float32).reshape(-1, 2),
        "decorated": np.array(decorated, bool),
    }


def padded(marks: Sequence[Sequence[float]]) -> Floats:
    """Dimples as (MOST_DIMPLES, 4), NaN where there are fewer."""
    out = np.full((MOST_DIMPLES, 4), np.nan)
    for row, mark in zip(out, marks, strict=False):
        row[:] = mark
    return out


@dataclass(frozen=True)
class Tray:
    """What all caps of a drawn tray have in common.

    ``lamp``, ``shine`` (3,): unit vectors to the lamp, and halfway between it and the camera above;
    ``sky``: part of the light from all round; ``gloss`` strength and ``sharp`` exponent of the
    glint; ``colour``, ``second`` (3,): parts of blue, green, red light sent back; ``power``,
    ``shoulder``, ``tall_mm``: the dome's shape; ``swirled``: whether both colours show.
    """

    lamp: Floats
    shine: Floats
    sky: float
    gloss: float
    sharp: int
    colour: Floats
    second: Floats
    power: float
    shoulder: float
    tall_mm: float
    swirled: bool


def drawn_tray(rng: Rng) -> Tray:
    azimuth, elevation = rng.uniform(0, 2 * np.pi), np.deg2rad(rng.uniform(25, 65))
    flat = np.array([np.cos(azimuth), np.sin(azimuth)]) * np.cos(elevation)
    lamp = np.array([*flat, np.sin(elevation)])
    half = lamp + np.array([0.0, 0.0, 1.0])
    return Tray(
        lamp=lamp,
        shine=half / np.linalg.norm(half),
        sky=rng.uniform(0.15, 0.6),
        gloss=float(rng.choice([0, 0, 0.03, 0.15, 0.5]) * rng.uniform(0.5, 1.5)),
        sharp=int(rng.choice([8, 20, 60])),
        colour=np.exp(rng.uniform(-3, -0.1, 3) * rng.uniform(0.2, 1)),
        power=rng.uniform(2, 2.8),
        shoulder=rng.uniform(0.5, 0.65),
        tall_mm=rng.uniform(5.5, 8.5),
        second=np.exp(rng.uniform(-2, -0.05, 3)),
        swirled=bool(rng.random() < 0.25),
    )


def uneven(rng: Rng, wave_mm: float) -> NDArray[np.float32]:
    """Smooth noise on the fine raster, standard deviation 1, with waves of about that length."""
    grain: Any = rng.standard_normal(X.shape).astype(np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), wave_mm / STEP_MM / 2.5)
    return np.asarray(grain / grain.std(), np.float32)


def somewhere(rng: Rng, within_rel: float) -> Floats:
    """A place (2,), mm, within a part of the radius, all of it alike."""
    angle = rng.uniform(0, 6.28)
    way = np.array([np.cos(angle), np.sin(angle)])
    return way * (within_rel * np.sqrt(rng.random())) * RADIUS_MM


def _along(place_mm: Floats, angle: float) -> tuple[Floats, Floats]:
    """Way along and across a direction from a place, mm, at each place of the raster."""
    x, y, c, s = X - place_mm[0], Y - place_mm[1], np.cos(angle), np.sin(angle)
    return x * c + y * s, y * c - x * s


class DrawnCap:
    """A cap in the making: height in mm, colour, and what else changes its light (``lift``), on
    the fine raster; and what is true of it."""

    def __init__(self, rng: Rng, tray: Tray, number: int) -> None:
        self.rng, self.tray = rng, tray
        reach = np.clip(np.hypot(X, Y) / RADIUS_MM, 0, 0.995)
        tall = tray.tall_mm * (1 + 0.06 * rng.standard_normal())
        self.height = tall * (1 - reach**tray.power) ** tray.shoulder
        self.height = self.height + 0.06 * uneven(rng, 9) + 0.015 * uneven(rng, 2.5)
        self.kind = str(rng.choice(KINDS))
        self.lift: Floats = np.ones(X.shape)
        self.dimples: list[tuple[float, ...]] = []
        self.peak = np.full(2, np.nan)
        self._with_relief()
        self._with_colours(number)
        self._with_decoys()

    def _hole(self, diameter_mm: float, depth_mm: float, place_mm: Floats, form: Floats) -> None:
        """``form``: how steep its wall is, and how wide its floor."""
        reach = np.hypot(X - place_mm[0], Y - place_mm[1]) / (diameter_mm / 2)
        self.height = self.height - depth_mm * np.exp(-((reach / form[1]) ** form[0]))

    def _with_relief(self) -> None:
        rng = self.rng
        if self.kind in ("dimple", "both"):
            for _ in range(1 + int(rng.random() < 0.15)):
                diameter, depth = rng.uniform(5, 11), rng.uniform(0.6, 2.1)
                form = np.array([rng.choice([2, 3, 4, 6]), rng.uniform(0.6, 0.82)])
                place = somewhere(rng, 0.65)
                self._hole(diameter, depth, place, form)
                self.dimples.append((*(place / RADIUS_MM), diameter, depth))
        elif self.kind == "bump":
            diameter, height = rng.uniform(4, 11), rng.uniform(0.4, 1.6)
            place = somewhere(rng, 0.65)
            form = np.array([rng.choice([2, 4]), rng.uniform(0.6, 0.8)])
            self._hole(diameter, -height, place, form)
        elif self.kind == "lumpy":
            self.height = self.height + rng.uniform(0.1, 0.22) * uneven(rng, rng.uniform(3, 6))
        elif self.kind == "peak":
            place = somewhere(rng, 0.08)
            reach = np.hypot(X - place[0], Y - place[1])
            tip = 0.6 * np.exp(-((reach / 0.9) ** 2)) + 0.4 * np.exp(-((reach / 2.6) ** 2))
            self.height = self.height + rng.uniform(0.8, 1.5) * tip
            self.peak = place / RADIUS_MM

    def _with_colours(self, number: int) -> None:
        """A little uneven, as if browned to one side; a swirl's arms."""
        rng, tray = self.rng, self.tray
        colour = np.broadcast_to(tray.colour, (*X.shape, 3))
        mottled = 0.03 * uneven(rng, 8)
        lean = 0.12 * rng.random() * (X * np.cos(number) + Y * np.sin(number)) / RADIUS_MM
        self.colour = colour * np.exp(mottled + lean)[..., None]
        if tray.swirled:
            turns = rng.integers(1, 4) * np.arctan2(Y, X) + np.hypot(X, Y) / rng.uniform(4, 9)
            arm = np.sin(turns + rng.uniform(0, 6) + 0.4 * uneven(rng, 12))
            self._laid(0.85 / (1 + np.exp(-arm / 0.15)), tray.second)

    def _laid(self, share: Floats, colour: Floats) -> None:
        share = np.clip(share, 0, 1)[..., None]
        self.colour = self.colour * (1 - share) + colour * share

    def _with_decoys(self) -> None:
        rng, both = self.rng, self.kind == "both"
        if self.kind == "specks" or (both and rng.random() < BOTH_SPECKS):
            for _ in range(int(rng.integers(3, 14))):
                place = somewhere(rng, 0.8)
                away = np.hypot(X - place[0], Y - place[1])
                self._laid(1.4 - away / rng.uniform(0.25, 0.7), self.tray.colour * 0.2)
        if self.kind in ("sprinkle", "bead") or (both and rng.random() < BOTH_SPRINKLED):
            colours = [np.exp(rng.uniform(-3.5, -0.05, 3)) for _ in range(3)]
            for _ in range(int(rng.integers(2, 14))):
                self._sprinkled(colours)
        if self.kind == "crack":
            self._cracked()

    def _sprinkled(self, colours: Sequence[Floats]) -> None:
        """A bar with round ends, or a bead, that is lit on one side and throws a shadow."""
        rng, lamp = self.rng, self.tray.lamp
        place, angle = somewhere(rng, 0.75), rng.uniform(0, 3.14)
        along, across = _along(place, angle)
        half_mm = 0.0 if self.kind == "bead" else rng.uniform(1.2, 3.8)
        round_mm = rng.uniform(0.45, 1.1)
        c, s = np.cos(angle), np.sin(angle)
        lit_along, lit_across = lamp[0] * c + lamp[1] * s, lamp[1] * c - lamp[0] * s
        beyond = np.maximum(np.abs(along + 1.2 * lit_along) - half_mm, 0)
        shaded = np.hypot(beyond, across + 1.2 * lit_across)
        self.lift = self.lift * (1 - 0.4 * np.clip((round_mm - shaded) / 0.4 + 0.5, 0, 1))
        edge = np.hypot(np.maximum(np.abs(along) - half_mm, 0), across)
        share = np.clip((round_mm - edge) / 0.3 + 0.5, 0, 1)
        self._laid(share, colours[int(rng.integers(3))])
        self.lift = np.where(share > 0.5, 1 + 0.4 * across * lit_across / round_mm, self.lift)

    def _cracked(self) -> None:
        """A dark line, a little bent, with brighter lips."""
        rng = self.rng
        along, across = _along(somewhere(rng, 0.5), rng.uniform(0, 6.28))
        across = across - rng.normal(0, 0.05) * along**2
        half_wide_mm, half_long_mm = rng.uniform(0.3, 0.8), rng.uniform(3, 8)
        there = np.abs(along) < half_long_mm
        inside = np.clip((half_wide_mm - np.abs(across)) / 0.3 + 0.5, 0, 1) * there
        lip = np.exp(-(((np.abs(across) - half_wide_mm - 0.5) / 0.6) ** 2)) * there
        self.lift = self.lift * (1 - 0.7 * inside) * (1 + 0.15 * lip)

    def seen(self) -> NDArray[np.float64]:
        """Logarithm of light (SIDE, SIDE, 3) that a camera sees: Lambert's law and an even sky, a
        glint (Blinn 1977, from memory), some codes cut off, some unsharpness, noise."""
        rng, tray = self.rng, self.tray
        dy, dx = np.gradient(self.height, STEP_MM)
        steep = np.sqrt(1 + dx * dx + dy * dy)
        facing, glint = (
            np.maximum(-dx * way[0] - dy * way[1] + way[2], 0) / steep
            for way in (tray.lamp, tray.shine)
        )
        light = (1 - tray.sky) * facing / tray.lamp[2] + tray.sky / steep
        sent = (light * np.clip(self.lift, 0.1, 2))[..., None] * self.colour
        sent = sent + tray.gloss * (glint**tray.sharp)[..., None] * rng.uniform(0.6, 1.2)
        seen: Any = sent.reshape(SIDE, FINE, SIDE, FINE, 3).mean(axis=(1, 3))
        seen = np.minimum(seen, rng.choice([1.5, 1.5, 1.0]))
        blur_cells = rng.uniform(0, 0.8)
        if blur_cells > 0.2:
            seen = cv2.GaussianBlur(seen, (0, 0), blur_cells)
        seen = seen * np.exp(rng.uniform(0.005, 0.025) * rng.standard_normal(seen.shape))
        return np.asarray(np.log(seen + STRAY))


def drawn(seed: int) -> Arrays | None:
    """The file's arrays of one drawn tray; None where its light shows no relief."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(8, 22))
    tray = drawn_tray(rng)
    caps, log = [], []
    for number in range(count):
        caps.append(DrawnCap(rng, tray, number))
        log.append(caps[-1].seen())
    told = taken(Domes(np.array(log, np.float32), np.zeros(count), np.full(count, RADIUS_MM)))
    return told and told | {
        "dimples": np.array([padded(cap.dimples) for cap in caps], np.float32),
        "peak": np.array([cap.peak for cap in caps], np.float32),
        "decorated": np.array([cap.kind in ("sprinkle", "bead") for cap in caps]),
    }


def traced(scene: Inspected, truth: Truth) -> Arrays | None:
    """The file's arrays of one traced scene."""
    told = taken(domes_of(scene))
    if told is None:
        return None
    true = true_relief(scene, truth)
    known = true.pop("known")
    return told | true | {name: told[name][known] for name in ("cap", "radius_mm")}


def joined(parts: dict[str, Arrays]) -> Arrays:
    """The arrays of trays by their names as a file's."""
    if not parts:
        raise SystemExit("no tray: name folders with pictures and their truth, or --drawn COUNT")
    every = list(parts.values())
    both = {name: np.concatenate([part[name] for part in every]) for name in every[0]}
    both["tray"] = np.repeat(np.arange(len(every)), [len(part["cap"]) for part in every])
    return both | {"names": np.array(list(parts))}


def collect(folders: Sequence[Path], count: int, seed: int) -> Arrays:
    parts: dict[str, Arrays] = {}
    for photo, truth in scenes_in(folders):
        try:
            scene = inspected(photo, truth)
        except ReadingError as error:
            print(f"{photo.name}: {error}", flush=True)
            continue
        told = scene and traced(scene, truth)
        if told:
            parts[Path(photo.name).stem] = told
            print(f"{photo.name}: {len(told['cap'])} caps", flush=True)
    for number in range(seed, seed + count):
        told = drawn(number)
        if told:
            parts[f"drawn_{number}"] = told
    return joined(parts)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="*", metavar="FOLDER")
    parser.add_argument("--drawn", type=int, default=0, metavar="COUNT", help="trays to be drawn")
    parser.add_argument("--seed", type=int, default=8000, help="of the first drawn tray")
    parser.add_argument("--out", type=Path, default=Path("relief_traced.npz"))
    options = parser.parse_args()
    told = collect(options.folders, options.drawn, options.seed)
    np.savez(options.out, **told)
    dimpled = int(np.isfinite(told["dimples"][:, 0, 0]).sum())
    print(f"{options.out}: {len(told['cap'])} caps, {dimpled} with dimples")


if __name__ == "__main__":
    main()
