"""The scorer against records whose errors are known by construction."""

import numpy as np
import pytest

from tests.benchmarks.scorer import (
    TrueShells,
    project,
    rigid_turn,
    score,
    statistics,
    true_roundness,
)

NADIR = np.array([200.0, 150.0])
CENTRES = [(x, y) for x in (80.0, 200.0, 320.0) for y in (80.0, 220.0)]


def circle(centre, radius):
    t = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    return (np.asarray(centre) + radius * np.column_stack([np.cos(t), np.sin(t)])).tolist()


def a_truth():
    """Camera 700 mm straight above `NADIR`, 5 px a mm on the liner; 44 mm shells."""
    shells = [
        {
            "centre_mm": list(c),
            "outline_mm": circle(c, 22.0),
            "area_equiv_diameter_mm": 44.0,
            "cap_diameter_mm": 42.0,
            "foot_diameter_mm": 44.0,
            "min_feret_mm": 44.0,
            "max_feret_mm": 44.0,
            "foot_spread_mm": 1.0,
            "lean_mm": 0.5,
            "lean_dir_deg": 90.0,
        }
        for c in CENTRES
    ]
    pose = [[1, 0, 0, -NADIR[0]], [0, 1, 0, -NADIR[1]], [0, 0, -1, 700.0]]
    return {
        "image": "made",
        "width": 2000,
        "height": 1500,
        "K": [[3500.0, 0, 1000], [0, 3500.0, 750], [0, 0, 1]],
        "dist": {"k1": 0.0},
        "world_to_camera": pose,
        "shells": shells,
    }


def quantity(value, u95=0.1):
    return {"value": value, "u95": u95}


def a_record(truth, turned_deg=90.0):
    """Diameters 0.1 mm too large for each 100 mm from the nadir; all else right; the record's
    axes turned against the truth's."""
    a = np.deg2rad(turned_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    shells = []
    for shell in truth["shells"]:
        centre = np.array(shell["centre_mm"])
        wrong = 0.001 * float(np.hypot(*(centre - NADIR)))
        shells.append(
            {
                "centre_px": project(truth, centre[None])[0].tolist(),
                "centre_mm": (turn.T @ centre).tolist(),
                "diameter_mm": quantity(44.0 + wrong),
                "cap_diameter_mm": quantity(42.0),
                "foot_diameter_mm": None,
                "feret_min_mm": quantity(44.0),
                "feret_max_mm": quantity(44.0),
                "foot_spread_mm": quantity(1.0),
                "roundness_mm": quantity(0.3),
                "lean_mm": quantity(0.5),
                "lean_dir_deg": 90.0 - turned_deg,
            }
        )
    return {"shells": shells}


def test_errors_are_those_put_in():
    truth = a_truth()
    result = score(truth, a_record(truth))
    assert (result.whole, result.found, result.false) == (6, 6, 0)
    diameter = statistics([result], "diameter_mm")
    assert diameter.slope_per_100mm == pytest.approx(0.1, abs=1e-9)
    away = np.hypot(*(np.array(CENTRES) - NADIR).T)
    assert diameter.mean == pytest.approx(0.001 * away.mean(), abs=1e-9)
    # the outermost shells are off by more than the stated 0.1 mm
    assert diameter.coverage == pytest.approx((away <= 100).mean())
    assert statistics([result], "cap_diameter_mm").rms == 0
    assert statistics([result], "foot_diameter_mm") is None
    assert statistics([result], "roundness_mm").mean == pytest.approx(0.3, abs=1e-6)
    for name in ("lean_x_mm", "lean_y_mm", "lean_radial_mm"):
        assert statistics([result], name).rms == pytest.approx(0, abs=1e-9)


def test_outward_lean_shows_in_the_radial_component():
    truth = a_truth()
    record = a_record(truth, turned_deg=0.0)
    for shell, there in zip(record["shells"], truth["shells"], strict=True):
        there["lean_mm"] = 0.0
        out = np.array(there["centre_mm"]) - NADIR
        shell["lean_mm"] = quantity(0.2)
        shell["lean_dir_deg"] = float(np.rad2deg(np.arctan2(out[1], out[0])))
    radial = statistics([score(truth, record)], "lean_radial_mm")
    assert radial.mean == pytest.approx(0.2, abs=1e-9)


def test_missed_false_and_cut_shells():
    truth = a_truth()
    record = a_record(truth)
    record["shells"][0]["centre_px"] = [1000.0, 30.0]  # where no shell is
    truth["shells"][5]["outline_mm"] = circle((430.0, 220.0), 22.0)  # beyond the right edge
    result = score(truth, record)
    assert (result.whole, result.found, result.false) == (5, 4, 1)
    assert len(result.rows) == 4


def test_a_find_without_measurement_is_no_false_find():
    truth = a_truth()
    record = a_record(truth)
    record["shells"][0]["centre_px"] = [1000.0, 30.0]
    record["shells"][0]["diameter_mm"] = None
    assert score(truth, record).false == 0


def test_projection_of_the_liner_is_five_px_a_mm():
    seen = project(a_truth(), np.array([NADIR, NADIR + np.array([10.0, -4.0])]))
    assert seen == pytest.approx(np.array([[1000.0, 750.0], [1050.0, 730.0]]))
    true = TrueShells.of(a_truth())
    assert true.radius_px == pytest.approx(np.full(6, 110.0))


def test_roundness_of_a_lobed_circle():
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    r = 22 + 0.4 * np.cos(3 * t) + 0.2 * np.cos(40 * t)  # the 40th order is cut off
    outline = r[:, None] * np.column_stack([np.cos(t), np.sin(t)])
    # 0.01: the algebraic circle is not quite the geometric one
    assert true_roundness(outline) == pytest.approx(0.8, abs=0.01)


def test_turn_is_never_a_mirror():
    points = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 1.0], [0.0, 2.0]])
    assert np.linalg.det(rigid_turn(points, points * [1, -1])) == pytest.approx(1.0)
