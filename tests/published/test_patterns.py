"""Spatial and circular statistics, permutation tests and two-way fits against other sources.

Moran's I: L. Anselin's Columbus data (Spatial Econometrics, 1988; PySAL's built-in example), I as
printed in a PySAL/R comparison; the 3 x 3 grid is PySAL esda's own test. Rayleigh: J. H. Zar,
Biostatistical Analysis (5th ed.), examples 26.2 and 27.1. Latin square: D. C. Montgomery, Design
and Analysis of Experiments, rocket propellant. Sign flips: `scipy.stats.permutation_test`.
"""

import numpy as np
import pytest
from scipy import stats

from petitpied.patterns.oven.effects import pooled_effect
from petitpied.patterns.oven.likeness import NONE
from petitpied.patterns.oven.neighbours import morans_i
from petitpied.patterns.oven.scores import apart, column_scores, weigh
from petitpied.patterns.oven.synthetic import Plan, Planted, make_history
from petitpied.patterns.oven.templates import named_columns, region_of
from petitpied.patterns.oven.tray_stack import stack_bakes
from petitpied.statistics.directions import hotelling, rayleigh
from petitpied.statistics.sign_flips import Family, flip_test, signs

CRIME = [
    15.72598,
    18.801754,
    30.626781,
    32.38776,
    50.73151,
    26.066658,
    0.178269,
    38.425858,
    30.515917,
    34.000835,
    62.275448,
    56.705669,
    46.716129,
    57.066132,
    48.585487,
    54.838711,
    36.868774,
    43.962486,
    54.521965,
    0.223797,
    40.074074,
    33.705048,
    20.048504,
    38.297871,
    61.299175,
    40.969742,
    52.79443,
    56.919785,
    60.750446,
    68.892044,
    17.677214,
    19.145592,
    41.968163,
    23.974028,
    39.175053,
    14.305556,
    42.445076,
    53.710938,
    19.100863,
    16.241299,
    18.905146,
    16.49189,
    36.663612,
    25.962263,
    29.028488,
    16.530533,
    27.822861,
    26.645266,
    22.541491,
]
NEIGHBOURS = [
    [1, 2],
    [3, 2, 0],
    [4, 3, 1, 0],
    [7, 2, 4, 1],
    [15, 14, 10, 7, 8, 5, 2, 3],
    [8, 4],
    [13, 12, 11, 7],
    [12, 11, 10, 4, 3, 6],
    [25, 24, 21, 19, 14, 9, 5, 4],
    [21, 19, 16, 8],
    [15, 14, 11, 4, 7],
    [15, 13, 12, 10, 7, 6],
    [13, 11, 6, 7],
    [18, 11, 12, 15, 17, 6],
    [24, 15, 25, 4, 8, 10],
    [24, 23, 17, 14, 4, 10, 11, 13],
    [22, 19, 9],
    [23, 18, 15, 13],
    [17, 23, 13],
    [34, 32, 26, 21, 22, 31, 39, 16, 9, 8],
    [33, 23, 29],
    [27, 26, 25, 19, 9, 8],
    [31, 16, 19],
    [29, 28, 24, 15, 17, 20, 18],
    [29, 28, 14, 25, 27, 15, 23, 8],
    [28, 27, 21, 8, 24, 14],
    [32, 27, 19, 21],
    [37, 36, 28, 26, 32, 34, 21, 25, 24],
    [36, 29, 27, 37, 23, 24, 25],
    [36, 28, 23, 24, 20],
    [38, 35, 33],
    [40, 39, 22, 19],
    [34, 19, 26, 27],
    [41, 35, 20, 30],
    [43, 42, 37, 39, 19, 32, 27],
    [45, 38, 33, 41, 30],
    [44, 37, 42, 27, 28, 29],
    [42, 34, 43, 27, 36, 28],
    [45, 35, 30],
    [46, 40, 31, 34, 19],
    [46, 31, 39],
    [33, 35],
    [47, 44, 34, 43, 37, 36],
    [48, 47, 34, 42, 37],
    [47, 48, 36, 42],
    [35, 38],
    [39, 40],
    [48, 43, 42, 44],
    [43, 47, 44],
]
TREES_DEG = np.array([45, 55, 81, 96, 110, 117, 132, 154], float)


def grid_weights():
    """Rook neighbours on a 3 x 3 grid."""
    places = np.array([(r, c) for r in range(3) for c in range(3)])
    return (np.abs(places[:, None] - places[None]).sum(-1) == 1).astype(float)


def test_morans_i_of_columbus():
    weights = np.zeros((49, 49))
    for i, row in enumerate(NEIGHBOURS):
        weights[i, row] = 1 / len(row)
    # printed with 16 digits; ours sums in another order
    assert morans_i(np.array(CRIME), weights) == pytest.approx(0.5001885571828611, rel=1e-7)


def test_morans_i_of_a_grid():
    assert morans_i(np.arange(1.0, 10), grid_weights()) == pytest.approx(0.5, rel=1e-12)
    checkers = np.array([1, 0, 1, 0, 1, 0, 1, 0, 1], float)
    assert morans_i(checkers, grid_weights()) == pytest.approx(-1.0, rel=1e-12)


def test_rayleigh_of_leaning_trees():
    found = rayleigh(TREES_DEG)
    assert found.z == pytest.approx(5.448, abs=0.0005)  # as printed
    assert 0.001 < found.p < 0.002  # as printed
    assert found.p == pytest.approx(0.0018516375, rel=1e-6)  # Zar's approximation, recomputed
    assert found.mean_deg == pytest.approx(98.98775, abs=1e-4)


def test_hotelling_is_the_square_of_t_on_one_axis_alone():
    """With the second axis independent noise of mean nearly 0, T2 is not below t squared; and
    T2 is the largest t squared over all directions (its definition by union and intersection)."""
    v = np.random.default_rng(2).normal((0.4, 0.1), (0.5, 1.0), (12, 2))
    angles = np.linspace(0, np.pi, 20_001)
    along = v @ np.vstack([np.cos(angles), np.sin(angles)])
    t = along.mean(axis=0) / (along.std(axis=0, ddof=1) / np.sqrt(12))
    assert hotelling(v).t2 == pytest.approx(float((t**2).max()), rel=1e-6)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_sign_flips_against_scipy(seed):
    """One template, so that the maximum statistic is the mean's own."""
    x = np.random.default_rng(seed).normal(0.5, 1, 9)
    ours = flip_test(
        x[:, None, None], Family(np.array([9.0]), np.full((1, 2), np.nan), np.array([False]), 80.0),
        np.random.default_rng(0),
    )  # fmt: skip
    theirs = stats.permutation_test(
        (x,), lambda v, axis: np.abs(v.mean(axis=axis)), permutation_type="samples",
        vectorized=True, n_resamples=np.inf, alternative="greater",
    )  # fmt: skip
    assert ours.p_adjusted[0] == pytest.approx(theirs.pvalue, abs=1e-12)
    assert len(signs(9, np.random.default_rng(0))) == 2**8


def test_latin_square_of_rocket_propellant():
    """Batch, operator and formulation taken apart as named patterns are: `apart` and scores give
    the formulation's sum of squares, 330 as printed."""
    values = np.array([[24, 20, 19, 24, 24], [17, 24, 30, 27, 36], [18, 38, 26, 27, 21],
                       [26, 31, 26, 23, 22], [22, 30, 20, 29, 31]], float)  # fmt: skip
    letters = np.array([["ABCDE".index(c) for c in row] for row in
                        ("ABCDE", "BCDEA", "CDEAB", "DEABC", "EABCD")])  # fmt: skip
    rows, columns = np.mgrid[:5, :5]

    def contrasts(levels):
        return np.stack([(levels == k) - 0.2 for k in range(4)], axis=-1).reshape(25, 4)

    design = np.concatenate([contrasts(letters), contrasts(rows), contrasts(columns)], axis=1)
    info = (design.T @ design)[None]
    own = apart(info)
    assert np.abs(own @ own.T).min(axis=None) >= 0  # all twelve are told apart
    centred = values.ravel() - values.mean()
    # letters are orthogonal to rows and columns, so their part is their own projection
    g = design[:, :4]
    part = centred @ g @ np.linalg.solve(g.T @ g, g.T @ centred)
    assert part == pytest.approx(330, abs=1e-9)
    for k in range(4):  # taking rows and columns out leaves a letter's contrast as it was
        assert np.allclose(own[k, 4:], 0, atol=1e-12)


def test_effects_are_those_of_two_way_least_squares():
    """Bakes as one factor (a free mean each), slopes and edge as regressors: the same estimate
    as ordinary least squares on all shells at once, error by clusters (bakes)."""
    plan = Plan(8, oven=(Planted("across", 1.0),), missing=0.2)
    stack = stack_bakes(make_history(plan, np.random.default_rng(5)), "diameter")
    raw = named_columns(stack.x_mm, stack.y_mm, region_of(stack)) * stack.present[..., None]
    weights = weigh(stack, NONE)
    columns = raw @ apart(column_scores(stack, weights, raw)[1]).T
    score, infos = column_scores(stack, weights, columns)
    bake = np.repeat(np.arange(8), stack.present.sum(axis=1))
    design = np.column_stack([np.eye(8)[bake], raw[stack.present]])
    y = stack.values[stack.present][:, 0]
    fitted = np.linalg.lstsq(design, y)[0]
    for k in range(3):
        effect = pooled_effect(score[:, k], infos[:, k, k], "mm")
        assert effect.value == pytest.approx(fitted[8 + k], abs=1e-9)
