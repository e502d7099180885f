"""Figures of the lens: profiles from rendered charts, the view's scale with one card, two cards
and a profile, and a print at another scale.

Seeds and lenses here are for figures alone; those of `tests/lens` were used while building.
"""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from petitpied.camera.find_card import find_cards
from petitpied.camera.lens.chart import find_chart
from petitpied.camera.lens.chart_set import ChartPhoto, profile_of
from petitpied.camera.lens.matching import camera_guess
from petitpied.camera.solve_photo import solve_photo
from petitpied.camera.view import guess_camera, solve_view
from petitpied.domain.errors import LensError
from petitpied.domain.settings import Settings
from petitpied.domain.view import distort
from petitpied.files.records.record_json import record_to_dict
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo
from tests.benchmarks.scorer import project, score, statistics
from tests.camera.card_views import SIZE_PX, draw_cards, overhead_view
from tests.camera.lens.charts import Lens, good_poses, photograph

FIRST_SEED = 8_000_000
SHELL_MM = 45.0
#: true lenses of 12-megapixel photos: barrel, pincushion, nearly none
LENSES = (
    Lens((4032, 3024), 3030.0, (2004.0, 1522.0), -0.055, 0.03),
    Lens((4032, 3024), 3300.0, (2031.0, 1497.0), 0.045, -0.06),
    Lens((4032, 3024), 2850.0, (2011.0, 1509.0), 0.004, 0.0),
)


def _profile(lens, seed, count=12):
    """The profile from ``count`` rendered photos; the chart is held so that it fills as much of
    the picture as in the poses, which are for a focal length of 15/16 of the width."""
    rng = np.random.default_rng(seed)
    reach = 330.0 * lens.focal_px / (lens.size_px[0] * 15 / 16)
    photos = []
    for i, at in enumerate(good_poses(rng, count)):
        far = _farther(at, reach / 330.0)
        chart = find_chart(photograph(lens, far, rng))
        photos.append(ChartPhoto(f"c{i}", "Figure", 5.6, 26.0, None, lens.size_px, 1, chart))
    return profile_of(photos, 22.0)


def _farther(at, farther):
    """The board's pose with its middle on the ray it is on, ``farther`` times as far, and nearer
    to the axis by as much."""
    rotation, _ = at
    middle = rotation @ [121.0, 88.0, 0.0] + at[1]
    off = middle[:2] / middle[2] / farther
    place = np.array([*off, 1.0]) * middle[2] * farther
    return rotation, place - rotation @ [121.0, 88.0, 0.0]


def field_residual_px(profile, lens):
    """Distance (N,) of where profile and truth put the same rays, over the field, after the
    turn of the camera that brings them nearest: a photo's pose takes that up."""
    width, height = lens.size_px
    x, y = np.meshgrid(np.linspace(0, width - 1, 33), np.linspace(0, height - 1, 25))
    px = np.column_stack([x.ravel(), y.ravel()])
    ideal = lens.straighten((px - lens.centre_px) / lens.focal_px)
    rays = np.column_stack([ideal, np.ones(len(ideal))])

    def shown(turned):
        n = turned[:, :2] / turned[:, 2:]
        return distort(n, np.array(profile.dist)) * profile.focal_px + profile.centre_px

    turns = [
        ((shown(rays + np.cross(axis, rays)) - shown(rays)) / 1e-6).ravel()
        for axis in np.eye(3) * 1e-6
    ]
    off = (shown(rays) - px).ravel()
    slopes = np.array(turns).T
    rest = off - slopes @ np.linalg.lstsq(slopes, off, rcond=None)[0]
    return np.hypot(*rest.reshape(-1, 2).T)


def _profile_lines(few: bool) -> Iterator[str]:
    yield "| true lens | f, % | centre, px | k1 | k2 | residual over the field, px: RMS, max |"
    yield "|---|---|---|---|---|---|"
    for i, lens in enumerate(LENSES[:1] if few else LENSES):
        found = _profile(lens, FIRST_SEED + i)
        off = np.array(found.centre_px) - lens.centre_px
        rest = field_residual_px(found, lens)
        yield (
            f"| f {lens.focal_px:.0f}, k1 {lens.k1}, k2 {lens.k2} "
            f"| {100 * (found.focal_px / lens.focal_px - 1):+.3f} (u {100 * found.sigmas[0]:.3f}) "
            f"| {off[0]:+.2f}, {off[1]:+.2f} | {found.dist[0] - lens.k1:+.4f} "
            f"| {found.dist[1] - lens.k2:+.4f} "
            f"| {np.sqrt((rest**2).mean()):.2f}, {rest.max():.2f} |"
        )


def scale_errors_mm(view, truth):
    """What the view alone adds to a shell of 45 mm at the place of each of the truth's shells."""
    centres = np.array([s["centre_mm"] for s in truth["shells"]])
    arm = 10.0 * np.array([[-1, 0], [1, 0], [0, -1], [0, 1]])
    p = view.to_plane(project(truth, (centres[:, None] + arm).reshape(-1, 2))).reshape(-1, 4, 2)
    a, b = p[:, 1] - p[:, 0], p[:, 3] - p[:, 2]
    area = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    return SHELL_MM * (np.sqrt(area) / 20 - 1)


def _profile_of_scene(truth, seed):
    """A profile by rendered charts through the scene's own lens, at half its pixels."""
    k, d = np.array(truth["K"]), truth["dist"]
    size = truth["width"], truth["height"]
    lens = Lens(size, k[0][0], (k[0][2], k[1][2]), d.get("k1", 0.0), d.get("k2", 0.0)).scaled(0.5)
    return _profile(lens, seed)


def _profile_guess(photo, truth, seed):
    """What a profile of the scene's own lens says of its photo."""
    profile = _profile_of_scene(truth, seed)
    named = replace(profile, camera=photo.camera, focal_35mm_mm=photo.focal_35mm_mm)
    return camera_guess(named, replace(photo, focal_mm=5.6), named=True)


def _scene_rows(picture: Path, seed: int):
    """(way, errors) of one traced photo: each single card, all cards, each with the profile."""
    truth = json.loads(picture.with_suffix(".json").read_text())
    photo = decode_photo(picture.read_bytes(), picture.name)
    grey = cv2.cvtColor(photo.pixels_bgr, cv2.COLOR_BGR2GRAY)
    seen = find_cards(grey)
    plain = guess_camera(photo.width_px, photo.height_px, photo.focal_35mm_mm)
    by_profile = _profile_guess(photo, truth, seed)
    for many, cards in [("one card", seen[:1]), *([("two cards", seen)] if len(seen) > 1 else [])]:
        for lens, guess in (("EXIF", plain), ("lens profile", by_profile)):
            solved = solve_photo(grey, cards, guess, 0.3).solved
            yield f"{many}, {lens}", scale_errors_mm(solved.view, truth)


def _shell_scores(picture: Path, seed: int):
    """(way, score) of one traced photo inspected as a whole, without and with a profile."""
    truth = json.loads(picture.with_suffix(".json").read_text())
    photo = decode_photo(picture.read_bytes(), picture.name)
    many = "one card" if len(truth["cards"]) == 1 else "two cards"
    for lens in ("EXIF", "lens profile"):
        guess = _profile_guess(photo, truth, seed) if lens == "lens profile" else None
        record = inspect_photo(replace(photo, lens=guess), Settings())
        result = score(truth, record_to_dict(record))
        result.name = picture.stem
        yield f"{many}, {lens}", result


def _by_way(pictures, rows):
    """Way to what ``rows`` gives of all the pictures, and what kept some from being told."""
    found, faults = {}, []
    for i, picture in enumerate(pictures):
        try:
            for way, row in rows(picture, FIRST_SEED + 100 + i):
                found.setdefault(way, []).append(row)
        except LensError as error:
            faults.append(f"{picture.stem}: {error}")
    return found, faults


def _shell_lines(title: str, pictures: list[Path]) -> Iterator[str]:
    """Whole shells: everything between photo and diameter, by what is known of the lens."""
    if not pictures:
        return
    scores, faults = _by_way(pictures, _shell_scores)
    yield from faults
    yield f"\n{title}: errors of shells' diameters\n"
    yield "| lens and cards | photos | shells | mean, mm | RMS, mm | slope per 100 mm | in u95 |"
    yield "|---|---|---|---|---|---|---|"
    for way in sorted(scores):
        of = statistics(scores[way], "diameter_mm")
        if of is not None:
            yield (
                f"| {way} | {len(scores[way])} | {of.count} | {of.mean:+.3f} | {of.rms:.3f} "
                f"| {of.slope_per_100mm:+.3f} | {of.coverage:.2f} |"
            )
    for way in sorted(scores):
        each = ((s.name, statistics([s], "diameter_mm")) for s in scores[way])
        told = ", ".join(f"{name} {of.mean:+.2f}/{of.rms:.2f}" for name, of in each if of)
        yield f"\n{way}, mean/RMS by photo: {told}"


def _scale_lines(title: str, pictures: list[Path]) -> Iterator[str]:
    if not pictures:
        return
    errors, faults = _by_way(pictures, _scene_rows)
    yield from faults
    yield f"\n{title}: what the view alone adds to a shell of {SHELL_MM:.0f} mm\n"
    yield "| lens and cards | photos | mean, mm | RMS, mm | largest, mm |"
    yield "|---|---|---|---|---|"
    for way in sorted(errors):
        all_of = np.concatenate(errors[way])
        yield (
            f"| {way} | {len(errors[way])} | {all_of.mean():+.3f} "
            f"| {np.sqrt((all_of**2).mean()):.3f} | {np.abs(all_of).max():.2f} |"
        )


def _print_lines() -> Iterator[str]:
    """A card printed at 97 %, drawn; lengths beside it with the bar entered and not."""
    yield "\nA card printed at 97 %: bias of a length of 45 mm beside it, ten drawn photos\n"
    yield "| bar entered | bias, % | spread, % |"
    yield "|---|---|---|"
    for allowed in (0.97, 1.0):
        bias = []
        for seed in range(FIRST_SEED, FIRST_SEED + 10):
            rng = np.random.default_rng(seed)
            view = overhead_view(tilt_deg=rng.uniform(0, 5), height_mm=rng.uniform(350, 450))
            picture = draw_cards(view, {"A": (*rng.uniform(20, 60, 2), rng.uniform(0, 6))},
                                 scale=0.97, seed=seed)  # fmt: skip
            cards = [s.printed_at(allowed) for s in find_cards(picture)]
            guess = guess_camera(*SIZE_PX, 2400.0 * 43.267 / 2000.0)
            solved = solve_view(cards, guess, thickness_mm=0.3).view
            ends = solved.to_plane(view.project(np.array([[60.0, 60.0], [105.0, 60.0]])))
            bias.append(float(np.hypot(*(ends[1] - ends[0])) / SHELL_MM - 1))
        yield (
            f"| {100 * allowed:.0f} mm | {100 * np.mean(bias):+.3f} | {100 * np.std(bias):.3f} |"
        )


def lens_lines(tuning: list[Path], held_out: list[Path], few: bool) -> Iterator[str]:
    """All of it as Markdown."""
    yield "\n## Lens profiles from 12 rendered charts, 12 megapixels\n"
    yield from _profile_lines(few)
    yield from _scale_lines("Scenes used for tuning", tuning[:2] if few else tuning)
    yield from _scale_lines("Held-out scenes", held_out[:2] if few else held_out)
    yield from _shell_lines("Scenes used for tuning", tuning[:2] if few else tuning)
    yield from _shell_lines("Held-out scenes", held_out[:2] if few else held_out)
    yield from _print_lines()
