"""Colour, browning, dimples, peaks, lumps and pinholes of all shells of one photo."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from petitpied.camera.grey_strip import fit_tone, read_strips
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import SeenCard
from petitpied.domain.shell import Shell
from petitpied.domain.surface import Colour, Reference, SurfaceMark, TrayColour
from petitpied.domain.view import View
from petitpied.surface.caps.cap_patch import CapPatches
from petitpied.surface.caps.domes import Domes, Shading, see_domes, shading_of
from petitpied.surface.caps.flat_light import CardLight, FlatLight, flat_light
from petitpied.surface.caps.light_direction import LightDirection, light_direction
from petitpied.surface.colour.browning import (
    browning,
    browning_way,
    edge_browning,
    evenness,
    tray_reference,
)
from petitpied.surface.colour.cap_colour import (
    MOST_CUT_REL,
    cap_colours,
    colour_of,
    is_black_and_white,
)
from petitpied.surface.relief.dimples import Relief, find_relief, without_cracked
from petitpied.surface.relief.lumps import find_pinholes, lumpiness, lumpiness_quantity

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

NO_SIDE_LIGHT = "the light comes from all sides alike and shows no relief"
BLACK_AND_WHITE = "the photo is black and white"
LIGHTER_THAN_WHITE = "by the cards the caps are lighter than white: their light is not the cards'"
SPECKLED = "the shells have dark specks all over, which look the same"
#: more of a cap than this overexposed is said
SAID_CUT_REL = 0.1


@dataclass(frozen=True)
class Scene:
    """The photo, how it sees the tray, its cards (printed face ``card_thickness_mm`` above the
    liner), all shells found, and the baker's reference colour, if any."""

    pixels_bgr: Bytes
    view: View
    cards: tuple[SeenCard, ...]
    card_thickness_mm: float
    shells: tuple[Shell, ...]
    reference: Reference | None = None


@dataclass(frozen=True)
class TraySurface:
    """The shells with all that was seen, how colours were taken, and warnings."""

    shells: tuple[Shell, ...]
    colour: TrayColour
    warnings: tuple[str, ...]


def tray_surface(scene: Scene, patches: CapPatches, seen: Sequence[int]) -> TraySurface:
    """Every shell with its surface; ``seen``: which shells the caps of ``patches`` belong to.

    Cracks that shells already have are told apart from dimples.
    """
    strips, faults = read_strips(scene.pixels_bgr, scene.cards)
    tone, level = fit_tone(strips)
    places_px = np.array([s.place_px for s in strips]).reshape(-1, 2)
    places = scene.view.to_plane(places_px, scene.card_thickness_mm) if strips else np.zeros((0, 2))
    light = flat_light(
        scene.pixels_bgr, scene.view, scene.shells, scene.cards, tone, CardLight(places, level)
    )
    domes = see_domes(patches, tone, light)
    shading = shading_of(domes)
    toward = light_direction(shading)
    shells = list(scene.shells)
    _with_relief(shells, seen, patches, (domes, shading, toward))
    direction = toward.dir_deg if toward.shows_relief else None
    if is_black_and_white(scene.pixels_bgr):
        _without_colour(shells, seen)
        none = TrayColour(False, f"none: {BLACK_AND_WHITE}", "tray median", None, direction)
        return TraySurface(tuple(shells), none, (f"{BLACK_AND_WHITE}: no colours, no browning",))
    colour, warnings = _with_colour(shells, seen, scene.reference, (domes, shading, light))
    source = f"{_named(tuple(s.letter for s in strips))}; over the tray: {light.source}"
    if not colour.absolute:
        why = LIGHTER_THAN_WHITE if strips else "; ".join(faults) or "no grey strip is in view"
        source = f"no grey strip: differences within the tray only; over the tray: {light.source}"
        warnings.append(f"colours are compared within the tray only: {why}")
    return TraySurface(
        tuple(shells),
        replace(colour, source=source, light_dir_deg=direction),
        tuple(warnings),
    )


def _named(letters: tuple[str, ...]) -> str:
    kind = "strip" if len(letters) == 1 else "strips"
    return f"grey {kind} of card {' and '.join(letters)}"


def _with_relief(
    shells: list[Shell],
    seen: Sequence[int],
    patches: CapPatches,
    given: tuple[Domes, Shading, LightDirection],
) -> None:
    """Dimples, peak, lumpiness and pinholes of the shells, in place."""
    domes, shading, toward = given
    radius, cell = domes.radius_mm, domes.mm_per_cell
    cracks = [_crack_paths(shells[i], patches, cap) for cap, i in enumerate(seen)]
    dimples, peaks = (
        without_cracked(marks, cracks, radius)
        for marks in find_relief(shading, toward, radius, cell)
    )
    spots = find_pinholes(shading, cell)
    holes = without_cracked(spots.holes, cracks, radius, longest_rel=0.0)
    holes = tuple(h for h in holes if not _is_part_of(h, (*dimples, *peaks), radius))
    heights, u_own = lumpiness(shading, toward, cell)

    def marks_of(found: Sequence[Relief], cap: int) -> tuple[SurfaceMark, ...]:
        return tuple(_mark(mark, patches) for mark in found if mark.cap == cap)

    for cap, index in enumerate(seen):
        shell = shells[index]
        missing = dict(shell.missing)
        if spots.speckled:
            missing["pinholes"] = SPECKLED
        if not toward.shows_relief:
            missing |= dict.fromkeys(("dimples", "peak", "lumpiness_mm"), NO_SIDE_LIGHT)
        peak = marks_of(peaks, cap)
        shells[index] = replace(
            shell,
            dimples=marks_of(dimples, cap) if toward.shows_relief else None,
            peak=peak[0] if peak else None,
            pinholes=None if spots.speckled else marks_of(holes, cap),
            lumpiness_mm=lumpiness_quantity(float(heights[cap]), float(u_own[cap]))
            if toward.shows_relief
            else None,
            missing=tuple(missing.items()),
        )


def _is_part_of(hole: Relief, marks: Sequence[Relief], radius_mm: Floats) -> bool:
    """Is a dark spot the wall of a dimple, or a peak's shaded side?"""
    return any(
        mark.cap == hole.cap
        and np.hypot(*(mark.place - hole.place)) * radius_mm[hole.cap]
        < mark.diameter_mm.value / 2 + hole.diameter_mm.value
        for mark in marks
    )


def _crack_paths(shell: Shell, patches: CapPatches, cap: int) -> list[Floats]:
    """Centre lines (N, 2) of a shell's cracks in parts of the cap's radius about its middle."""
    dome = patches.caps[cap]
    paths = []
    for crack in shell.cracks or ():
        height = np.full(len(crack.path_px), dome.rim_height_mm)
        for _ in range(2):  # over the dome; its slope is small against the camera's distance
            places = patches.view.to_plane(crack.path_px, height)
            height = dome.height_mm(places)
        paths.append((places - dome.centre_mm) / dome.radius_mm)
    return paths


def _mark(mark: Relief, patches: CapPatches) -> SurfaceMark:
    dome = patches.caps[mark.cap]
    place = (dome.centre_mm + mark.place * dome.radius_mm)[None]
    px = patches.view.project(place, dome.height_mm(place))[0]
    return SurfaceMark(
        (float(px[0]), float(px[1])),
        (float(place[0, 0]), float(place[0, 1])),
        mark.diameter_mm,
        mark.depth_mm if mark.depth_mm.value > 0 else None,
        mark.confidence,
    )


def _with_colour(
    shells: list[Shell],
    seen: Sequence[int],
    reference: Reference | None,
    given: tuple[Domes, Shading, FlatLight],
) -> tuple[TrayColour, list[str]]:
    """Colour and browning of the shells, in place; how they were taken, and warnings."""
    domes, shading, light = given
    colours = cap_colours(domes, shading)
    warnings = []
    usable = reference if light.absolute else None
    if reference is not None and usable is None:
        warnings.append(
            f"browning is counted from the tray's median, not from flavour {reference.flavour}: "
            "that needs a grey strip"
        )
    lab, slope, taken = tray_reference(colours)
    way = browning_way(lab if usable is None else np.array(usable.lab), slope, taken, light)
    brown = browning(colours, way, light, shared=usable is not None)
    edge = edge_browning(domes, colours)
    for cap, index in enumerate(seen):
        cut = float(colours.cut[cap])
        shells[index] = _coloured(
            shells[index],
            colour_of(colours, cap, light) if light.absolute else None,
            (brown[cap], edge[cap]),
            cut,
        )
    good = tuple(b for b, cut in zip(brown, colours.cut, strict=True) if cut <= MOST_CUT_REL)
    lost = int((colours.cut > MOST_CUT_REL).sum())
    if lost:
        warnings.append(
            f"{lost} of {len(seen)} shells are overexposed: their colours are too pale; "
            "retake with less exposure"
        )
    name = "tray median" if usable is None else f"flavour {usable.flavour}"
    return TrayColour(light.absolute, "", name, evenness(good or brown)), warnings


def _without_colour(shells: list[Shell], seen: Sequence[int]) -> None:
    """The shells with a reason in place of colour and browning."""
    for index in seen:
        missing = dict(shells[index].missing)
        missing |= dict.fromkeys(("colour", "browning", "edge_browning"), BLACK_AND_WHITE)
        shells[index] = replace(shells[index], missing=tuple(missing.items()))


def _coloured(
    shell: Shell, colour: Colour | None, brown: tuple[Quantity, Quantity], cut: float
) -> Shell:
    missing = dict(shell.missing)
    if colour is None:
        missing["colour"] = "no usable grey strip: only differences within the tray are known"
    elif cut > MOST_CUT_REL:
        colour, missing["colour"] = None, f"{cut:.0%} of the cap is overexposed"
    doubts = shell.doubts
    if cut > SAID_CUT_REL:
        doubts = (*doubts, f"{cut:.0%} of the cap is overexposed: browner than it looks")
    return replace(
        shell,
        colour=colour,
        browning=brown[0],
        edge_browning=brown[1],
        missing=tuple(missing.items()),
        doubts=doubts,
    )
