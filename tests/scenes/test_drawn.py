"""The drawn scenes are what their truth says, by independent projection and reading."""

import importlib.util
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.scenes.description import Floats, Outline, Scene, ShellShape
from tests.scenes.drawn import Drawn, draw, seeded_scene
from tests.scenes.truth import plan_outline, truth

SHARED_TOOLS = Path(__file__).parents[3] / "shared" / "tools"
ZOOM = 8  # the expected silhouette is filled at 8 x 8 cells a pixel


def projected(scene: Scene, points_mm: Floats) -> Floats:
    """Scene points (N, 3) to px by cv2.projectPoints, in its right-handed world (z down)."""
    m = scene.camera.world_to_camera @ np.diag([1.0, 1, -1, 1])
    rotation = cv2.Rodrigues(m[:, :3])[0]
    flipped = points_mm * [1, 1, -1]
    px, _ = cv2.projectPoints(
        flipped, rotation, m[:, 3], scene.camera.camera_matrix, np.array(scene.camera.dist)
    )
    return np.asarray(px, float).reshape(-1, 2)


def expected_cover(scene: Scene, shell: ShellShape) -> np.ndarray:
    """Cells (H * ZOOM, W * ZOOM) that the shell's rings and walls cover, by polygon filling."""
    c = scene.camera
    cells = np.zeros((c.height_px * ZOOM, c.width_px * ZOOM), np.uint8)
    # walls are swept in 0.1 mm steps; between steps the edge moves below 0.1 px here
    levels = [(shell.foot, z, 1.0) for z in np.arange(0, 0.55 * shell.foot_mm, 0.1)]
    for q in np.linspace(0, 1, 40) ** 2:  # the foot's shoulder, a quarter ellipse
        inner = replace(shell.foot, radius_mm=shell.foot.radius_mm - q * shell.foot_round_mm)
        levels.append((inner, shell.foot_mm * (0.55 + 0.45 * np.sqrt(1 - (1 - q) ** 2)), 1.0))
    levels += [(shell.cap, z, 1.0) for z in np.linspace(shell.foot_mm, shell.rim_mm, 25)]
    dome = shell.height_mm - shell.rim_mm
    levels += [
        (shell.cap, shell.rim_mm + dome * (1 - t**shell.cap_power), t)
        for t in np.linspace(0.3, 1, 25)
    ]
    for outline, z, t in levels:
        p = outline.centre_mm + t * (outline.points_mm() - outline.centre_mm)
        q = projected(scene, np.column_stack([p, np.full(len(p), z)]))
        # pixel centres at whole numbers: cell i spans [i, i + 1] / ZOOM - 0.5
        cv2.fillPoly(
            cells, [np.round(((q + 0.5) * ZOOM - 0.5) * 16).astype(np.int32)], 1, cv2.LINE_8, 4
        )
    return cells


def smooth(outline: Outline) -> Outline:
    """Without ruffles: polygon filling counts every cell that a ruffled edge touches."""
    f = np.fft.rfft(outline.radius_mm)
    f[16:] = 0
    return replace(outline, radius_mm=np.fft.irfft(f, len(outline.radius_mm)))


def small_scene(seed: int) -> Scene:
    """A few smooth shells, large in an 800 x 600 picture, camera tilted."""
    scene = seeded_scene(seed, 0, "measured", (800, 600))
    few = scene.shells[:: max(1, len(scene.shells) // 4)]
    shells = tuple(
        replace(s, foot=smooth(s.foot), lumps_mm=0.0, cracks=(), dimples=()) for s in few
    )
    return replace(scene, shells=shells)


@pytest.fixture(scope="module")
def drawn() -> tuple[Scene, Drawn]:
    scene = small_scene(3)
    return scene, draw(scene, supersample=1.5, fineness=1.0, step_cells=0.5)


def test_label_map_is_the_silhouette_that_opencv_projects(drawn: tuple[Scene, Drawn]) -> None:
    scene, picture = drawn
    shape = (scene.camera.height_px, ZOOM, scene.camera.width_px, ZOOM)
    checked = 0
    for number, shell in enumerate(scene.shells, 1):
        cover = expected_cover(scene, shell).reshape(shape).mean(axis=(1, 3))
        if cover[[0, -1]].any() or cover[:, [0, -1]].any():
            continue
        seen = picture.labels == number
        # fillPoly also fills the cells that the outline only touches: half a cell more
        radius = np.sqrt(cover.sum() / np.pi) - 0.5 / ZOOM
        # 0.05 px for the renderer, 0.05 px for counting whole pixels on one outline
        assert np.sqrt(seen.sum() / np.pi) == pytest.approx(radius, abs=0.1)
        u, v = np.meshgrid(np.arange(shape[2]), np.arange(shape[0]))
        for at in (u, v):
            assert at[seen].mean() == pytest.approx((at * cover).sum() / cover.sum(), abs=0.1)
        assert not (seen & (cover == 0)).sum() > 0.01 * seen.sum()
        checked += 1
    assert checked >= 2


def test_truth_silhouette_is_the_label_map(drawn: tuple[Scene, Drawn]) -> None:
    scene, picture = drawn
    for entry in truth(scene, "x.jpg")["shells"]:
        outline = np.array(entry["silhouette_px"])
        if outline.min() < 1 or (outline.max(0) > (798, 598)).any():
            continue
        area = cv2.contourArea(outline.astype(np.float32))
        seen = np.sqrt((picture.labels == entry["label"]).sum() / np.pi)
        # the polygon of 180 vertices cuts the ruffles' tips
        assert np.sqrt(area / np.pi) == pytest.approx(seen, abs=0.25)


def test_card_is_read_where_the_truth_says(drawn: tuple[Scene, Drawn]) -> None:
    scene, picture = drawn
    assert scene.cards
    from petitpied.domain import card as definition
    from tests.scenes.cards import to_scene

    card = scene.cards[0]
    first = definition.LETTERS.index(card.letter) * definition.MARKERS_PER_CARD
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    board = cv2.aruco.CharucoBoard((7, 4), 11.0, 8.0, dictionary, np.arange(first, first + 14))
    grey = cv2.cvtColor(picture.picture_bgr, cv2.COLOR_BGR2GRAY)
    corners, ids, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(grey)
    assert ids is not None
    assert len(ids) >= 12
    where = projected(scene, to_scene(card, definition.inner_corners_mm()))[ids.ravel()]
    off = corners.reshape(-1, 2) - where
    # the detector's own scatter on a blurred, noisy corner is some tenths of a pixel
    assert np.abs(np.median(off, axis=0)).max() < 0.15
    assert np.hypot(*off.T).max() < 1.0


def test_same_seed_same_picture() -> None:
    one, two = (draw(seeded_scene(5, 2, "plain", (320, 240))) for _ in range(2))
    assert (one.picture_bgr == two.picture_bgr).all()
    assert (one.labels == two.labels).all()


def test_every_label_is_a_shell() -> None:
    scene = seeded_scene(5, 1, "kitchen", (320, 240))
    assert draw(scene).labels.max() <= len(scene.shells)


def test_plan_outline_of_a_circle_is_the_circle() -> None:
    shell = small_scene(3).shells[0]
    t = 25.0
    both = [
        replace(o, centre_mm=(3.0, 4.0), radius_mm=np.full_like(o.radius_mm, t))
        for o in (shell.cap, shell.foot)
    ]
    outline, _ = plan_outline(replace(shell, cap=both[0], foot=both[1]))
    # chords between 720 vertices: t (1 - cos(pi / 720)) = 0.0003 mm
    assert outline.radius_mm == pytest.approx(t, abs=5e-4)


# the scorer leaves a file handle to the garbage collector
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.filterwarnings("ignore::ResourceWarning")
@pytest.mark.skipif(not SHARED_TOOLS.exists(), reason="../shared is not here")
def test_scorer_reads_the_truth(tmp_path: Path) -> None:
    import json

    spec = importlib.util.spec_from_file_location("score_trays", SHARED_TOOLS / "score_trays.py")
    assert spec is not None
    assert spec.loader is not None
    scorer = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(scorer)
    scene = small_scene(3)
    known = truth(scene, "x.jpg")
    (tmp_path / "truth.json").write_text(json.dumps(known))
    shells = []
    for s in known["shells"]:
        centre = projected(scene, np.array([[*s["centre_mm"], 0.0]]))[0]
        size = {"value": s["area_equiv_diameter_mm"], "u95": 0.1}
        shells.append(
            {
                "id": s["id"],
                "centre_px": centre.tolist(),
                "centre_mm": s["centre_mm"],
                "diameter_mm": size,
            }
        )
    (tmp_path / "record.json").write_text(json.dumps({"shells": shells}))
    score = scorer.score(tmp_path / "truth.json", tmp_path / "record.json")
    assert score["found"] == len(known["shells"])
    assert all(abs(row["diameter_mm"]) < 1e-6 for row in score["rows"])
