"""Colour, browning, dimples and peaks against the truth of path-traced scenes, and their time."""

import json
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.stats import spearmanr

from petitpied.domain.record import Record
from petitpied.domain.settings import Settings
from petitpied.domain.shell import Shell
from petitpied.domain.view import View
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.colour_space import delta_e00, linear_of
from petitpied.photo.decode import decode_photo
from petitpied.surface.caps.cap_patch import cap_of, cap_patches
from petitpied.surface.tray_surface import Scene, tray_surface

Floats = NDArray[np.float64]

#: what the figures count: wider and deeper than this: faults that a baker sorts by
WIDE_MM, DEEP_MM = 6.0, 1.0
#: browning is ranked only where it differs between the shells
LEAST_BROWNING_SD = 0.03
#: another light's white balance and tone curve on the same picture (red, green, blue; contrast)
WARM, COOL = ((1.18, 1.0, 0.80), 0.25), ((0.88, 1.0, 1.16), -0.15)


@dataclass(frozen=True)
class Seen:
    """A scene's truth with its record, and the true shell of each shell found."""

    name: str
    truth: dict[str, Any]
    record: Record
    true_of: dict[int, dict[str, Any]]

    def pairs(self) -> Iterator[tuple[dict[str, Any], Shell]]:
        for index, true in self.true_of.items():
            yield true, self.record.shells[index]


def see(picture: Path) -> Seen:
    """Inspect a picture and match its shells with the truth beside it."""
    truth = json.loads(picture.with_suffix(".json").read_text(encoding="utf-8"))
    record = inspect_photo(decode_photo(picture.read_bytes(), picture.name), Settings())
    return Seen(picture.stem, truth, record, _matched(truth, record))


def _matched(truth: dict[str, Any], record: Record) -> dict[int, dict[str, Any]]:
    places = np.array([s["centre_mm"] for s in truth["shells"]], float)
    k1, k2, p1, p2 = (truth["dist"].get(k, 0.0) for k in ("k1", "k2", "p1", "p2"))
    view = View.exact(truth["K"], [k1, k2, p1, p2], truth["world_to_camera"])
    true_px = view.project(places)  # z = 0: the frame's handedness does not matter
    found_px = np.array([s.centre_px for s in record.shells])
    away = np.hypot(*(true_px[:, None] - found_px[None]).transpose(2, 0, 1))
    rows, columns = linear_sum_assignment(away)
    near = 0.3 * float(np.median([np.ptp(s.outline_px[:, 0]) for s in record.shells]))
    return {
        int(j): truth["shells"][i]
        for i, j in zip(rows, columns, strict=True)
        if away[i, j] < near
    }


def _is_dimpled(true: dict[str, Any]) -> bool:
    return any(
        d["diameter_mm"] >= WIDE_MM and d["depth_mm"] >= DEEP_MM for d in true["dimples"]
    )


@dataclass
class Count:
    """Right, missed, false."""

    right: int = 0
    missed: int = 0
    false: int = 0

    def add(self, true: bool, found: bool) -> None:
        self.right += true and found
        self.missed += true and not found
        self.false += found and not true

    def text(self) -> str:
        all_ = 2 * self.right + self.missed + self.false
        f1 = f"{2 * self.right / all_:.2f}" if all_ else "-"
        return f"{self.right}, {self.missed}, {self.false} | {f1}"


def colour_lines(title: str, pictures: Sequence[Path]) -> Iterator[str]:
    """Tables over a set of scenes."""
    if not pictures:
        return
    yield f"\n## Colour and marks, {title}\n"
    yield "| scene | dimples right, missed, false | F1 | browning rank | cap colour, median ΔE00 |"
    yield "|---|---|---|---|---|"
    dimples, peaks = Count(), Count()
    all_seen = []
    for picture in pictures:
        seen = see(picture)
        all_seen.append(seen)
        own = Count()
        for true, shell in seen.pairs():
            own.add(_is_dimpled(true), bool(shell.dimples))
            dimples.add(_is_dimpled(true), bool(shell.dimples))
            peaks.add(bool(true.get("peak")), shell.peak is not None)
        yield f"| {seen.name} | {own.text()} | {_rank(seen)} | {_against_paint(seen)} |"
    yield f"| all | {dimples.text()} | | |"
    yield f"\nPeaks (right, missed, false | F1): {peaks.text()}. {_sizes(all_seen)}"
    yield from _two_lights(all_seen)


def _rank(seen: Seen) -> str:
    """Rank correlation of browning with the scene's own, where that differs between shells."""
    found = [(t["browning"], s.browning.value) for t, s in seen.pairs() if s.browning]
    true, value = np.array(found).T
    if true.std() < LEAST_BROWNING_SD:
        return "-"
    return f"{spearmanr(true, value).statistic:.2f}"


def _against_paint(seen: Seen) -> str:
    """Median difference of caps from the colour that the scene paints them with."""
    from petitpied.photo.colour_space import lab_of

    found = [(t["cap_albedo_srgb"], s.colour.lab) for t, s in seen.pairs() if s.colour]
    if not found:
        return "-"
    paint = lab_of(linear_of(np.array([f[0] for f in found])))
    return f"{np.median(delta_e00(paint, np.array([f[1] for f in found]))):.1f}"


def _sizes(all_seen: Sequence[Seen]) -> str:
    """Errors of found dimples with one true dimple: depth and diameter."""
    errors = [
        (
            shell.dimples[0].diameter_mm.value - true["dimples"][0]["diameter_mm"],
            shell.dimples[0].depth_mm.value - true["dimples"][0]["depth_mm"],
        )
        for seen in all_seen
        for true, shell in seen.pairs()
        if shell.dimples and len(shell.dimples) == len(true["dimples"]) == 1
        and shell.dimples[0].depth_mm is not None
    ]
    if not errors:
        return ""
    wide, deep = np.sqrt((np.array(errors) ** 2).mean(axis=0))
    return f"Dimples' diameter {wide:.1f} mm and depth {deep:.2f} mm, root mean square error."


def _two_lights(all_seen: Sequence[Seen]) -> Iterator[str]:
    """Trays that stand in two scenes under other lights: same shells by their truth's seed."""
    for number, first in enumerate(all_seen):
        for second in all_seen[number + 1 :]:
            same = first.truth.get("seed") == second.truth.get("seed")
            if same and first.truth["light"] != second.truth["light"]:
                yield _pair_line(first, second)


def _pair_line(first: Seen, second: Seen) -> str:
    labs = [
        {t["id"]: s.colour.lab for t, s in seen.pairs() if s.colour} for seen in (first, second)
    ]
    both = sorted(set(labs[0]) & set(labs[1]))
    if not both:
        return f"\n{first.name} and {second.name}: no colours to compare."
    a, b = (np.array([lab[i] for i in both]) for lab in labs)
    shift = np.median(b - a, axis=0)
    return (
        f"\nOne tray under two lights, {first.name} ({first.truth['light']['style']}) and "
        f"{second.name} ({second.truth['light']['style']}): {len(both)} shells, median ΔE00 "
        f"{np.median(delta_e00(a, b)):.2f}, largest {delta_e00(a, b).max():.2f}; "
        f"median shift L* {shift[0]:+.1f}, a* {shift[1]:+.1f}, b* {shift[2]:+.1f}."
    )


def rephotographed(
    pixels_bgr: NDArray[np.uint8], gain: tuple[float, float, float], contrast: float
) -> NDArray[np.uint8]:
    """The same picture under another white balance (red, green, blue) and tone curve."""
    light = linear_of(np.arange(256))
    out = np.empty_like(pixels_bgr)
    for channel, factor in enumerate(gain[::-1]):
        x = np.clip(light * factor * 0.85, 0, 1)
        code = np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)
        code = code + contrast * (code - 0.5) * code * (1 - code) * 2
        table = np.round(255 * np.clip(code, 0, 1)).astype(np.uint8)
        out[..., channel] = cv2.LUT(np.ascontiguousarray(pixels_bgr[..., channel]), table)
    return out


def warm_and_cool_lines(pictures: Sequence[Path]) -> Iterator[str]:
    """Each picture given a warm and a cool look: how far apart its caps' colours then are."""
    yield "\n| picture under a warm and a cool look | median ΔE00 | largest |"
    yield "|---|---|---|"
    for picture in pictures:
        photo = decode_photo(picture.read_bytes(), picture.name)
        record = inspect_photo(photo, Settings())
        labs = []
        for gain, contrast in (WARM, COOL):
            pixels = rephotographed(photo.pixels_bgr, gain, contrast)
            shells = _surface_of(pixels, record)
            labs.append([None if s.colour is None else s.colour.lab for s in shells])
        pairs = [(a, b) for a, b in zip(*labs, strict=True) if a is not None and b is not None]
        if pairs:
            first, second = (np.array(side) for side in zip(*pairs, strict=True))
            apart = delta_e00(first, second)
            yield f"| {picture.stem} | {np.median(apart):.2f} | {apart.max():.2f} |"
        else:
            yield f"| {picture.stem} | no colour: overexposed or no strip | |"


def _surface_of(pixels_bgr: NDArray[np.uint8], record: Record) -> tuple[Shell, ...]:
    assert record.view is not None
    rim = record.heights_mm["cap_rim"].value
    caps = [cap_of(record.view, shell, rim) for shell in record.shells]
    seen = [i for i, cap in enumerate(caps) if cap is not None]
    patches = cap_patches(pixels_bgr, record.view, [cap for cap in caps if cap is not None])
    scene = Scene(pixels_bgr, record.view, record.cards, 0.3, record.shells)
    return tray_surface(scene, patches, seen).shells


def time_lines(picture: Path, rounds: int) -> Iterator[str]:
    """Processor time that colour and marks add, as a ratio to the bare JPEG decode, paired."""
    data = picture.read_bytes()
    photo = decode_photo(data, picture.name)
    record = inspect_photo(photo, Settings())
    assert record.view is not None
    rim = record.heights_mm["cap_rim"].value
    caps = [cap_of(record.view, shell, rim) for shell in record.shells]
    seen = [i for i, cap in enumerate(caps) if cap is not None]
    patches = cap_patches(photo.pixels_bgr, record.view, [c for c in caps if c is not None])
    scene = Scene(photo.pixels_bgr, record.view, record.cards, 0.3, record.shells)
    ratios, spent = [], []
    for _ in range(rounds):
        begun = time.process_time()
        cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
        decoded = time.process_time()
        tray_surface(scene, patches, seen)
        done = time.process_time()
        ratios.append((done - decoded) / (decoded - begun))
        spent.append(done - decoded)
    yield (
        f"\nColour and marks of {len(seen)} shells, caps already in plan view: "
        f"{1000 * float(np.median(spent)):.0f} ms of processor time, "
        f"{float(np.median(ratios)):.1f} times the bare JPEG decode (wanted: 2)."
    )
