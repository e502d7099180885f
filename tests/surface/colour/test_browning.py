"""Colour and browning of caps whose colour, light and baking are known."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import spearmanr

from petitpied.photo.colour_space import delta_e00, lab_of, linear_of
from petitpied.surface.caps.domes import REACH, Domes, shading_of
from petitpied.surface.caps.flat_light import BY_LINER, FlatLight
from petitpied.surface.colour.browning import (
    BROWN_SRGB,
    PALE_SRGB,
    absorption,
    browning,
    browning_way,
    edge_browning,
    evenness,
    taken_by_browning,
    tray_reference,
)
from petitpied.surface.colour.cap_colour import cap_colours, colour_of
from tests.surface.lit_domes import domes

SHELLS = 12
ROSE = np.array([0.40, 0.42, 0.85])  # blue, green, red: light sent back
LINER_U, LINER_TINT_U, _ = BY_LINER
EVEN = FlatLight(np.zeros((6, 3)), np.zeros(2), 100.0, LINER_U, LINER_TINT_U, True, "even")


def sent_back(share):
    """Light sent back by a layer of this absorption over scattering: Kubelka & Munk's relation
    (1 - R)^2 / 2R solved by bisection, not by the package's formula."""
    return np.array([brentq(lambda r, k=k: (1 - r) ** 2 / (2 * r) - k, 1e-6, 1.0) for k in share])


def crust_taken(body):
    """What a crust between the two of `colour.browning` takes of a body's light (3,), red first."""
    pale, brown, own = (
        np.array([(1 - r) ** 2 / (2 * r) for r in light])
        for light in (linear_of(PALE_SRGB), linear_of(BROWN_SRGB), body)
    )
    taken = np.log(body / sent_back(own + brown - pale))
    return taken / taken.max()


TAKEN = crust_taken(ROSE[::-1])  # red, green, blue


def baked(random, amounts, colour=ROSE, light=None, azimuth_deg=30.0, **lamp):
    """Shells baked by these amounts (logarithm of what loses most), each in its light."""
    plain = domes(random, len(amounts), azimuth_deg, colour=colour, **lamp)
    log = plain.log - np.asarray(amounts, np.float32)[:, None, None, None] * TAKEN[::-1]
    if light is not None:
        log = log + np.asarray(light, float)[:, None, None, :]
    return Domes(np.asarray(log, np.float32), plain.cut, plain.radius_mm)


def colours_of(tray):
    return cap_colours(tray, shading_of(tray))


def read(tray):
    colours = colours_of(tray)
    return browning(colours, browning_way(*tray_reference(colours), EVEN), EVEN, shared=False)


def test_a_caps_colour_is_that_of_its_stuff():
    colours = colours_of(baked(np.random.default_rng(1), np.zeros(SHELLS)))
    apart = delta_e00(colours.lab, lab_of(ROSE[::-1]))
    assert np.median(apart) < 1.0  # the dome's middle is not quite level: 1 % of the light


@pytest.mark.parametrize("lamp", [(-120.0, 35.0, 0.3), (60.0, 65.0, 0.6)])
def test_one_tray_under_two_lights_has_one_colour(lamp):
    azimuth_deg, elevation_deg, sky = lamp
    first = colours_of(baked(np.random.default_rng(2), np.zeros(SHELLS)))
    other = colours_of(
        baked(
            np.random.default_rng(2),
            np.zeros(SHELLS),
            azimuth_deg=azimuth_deg,
            elevation_deg=elevation_deg,
            sky=sky,
        )
    )
    assert np.median(delta_e00(first.lab, other.lab)) < 1.5


def test_glints_and_cracks_do_not_count():
    plain = baked(np.random.default_rng(3), np.zeros(SHELLS))
    log = plain.log.copy()
    log[4, 20:26, 20:26] += 0.8  # a glint
    log[5, 30:34, 15:45] -= 1.5  # a crack
    marred = colours_of(Domes(log, plain.cut, plain.radius_mm))
    clean = colours_of(plain)
    assert delta_e00(clean.lab[4:6], marred.lab[4:6]).max() < 0.5


def test_browning_ranks_as_baked_and_has_its_sign():
    random = np.random.default_rng(4)
    amounts = random.uniform(0, 0.5, SHELLS)
    found = read(baked(random, amounts))
    value = np.array([q.value for q in found])
    assert spearmanr(amounts, value).statistic > 0.99
    assert np.sign(value[amounts.argmax()]) == 1
    assert np.sign(value[amounts.argmin()]) == -1
    assert all(q.u_own > 0 and q.u_shared == 0 for q in found)


def test_light_that_is_not_quite_known_counts_little_as_browning():
    """Light that errs as its stated uncertainty allows stays within the stated interval."""
    random = np.random.default_rng(5)
    level = LINER_U * random.standard_normal((SHELLS, 1))
    tint = LINER_TINT_U * random.standard_normal((SHELLS, 1)) * np.array([-0.5, 0, 0.5])
    found = read(baked(random, np.zeros(SHELLS), light=level + tint))
    held = [abs(q.value) < q.u95 for q in found]
    assert np.mean(held) >= 0.8  # of twelve at 95 %: two misses are not rare


def test_against_another_photos_colour_the_shared_doubt_counts():
    colours = colours_of(baked(np.random.default_rng(6), np.full(SHELLS, 0.3)))
    _, slope, _ = tray_reference(colours)
    way = browning_way(lab_of(ROSE[::-1]), slope, TAKEN, EVEN)
    found = browning(colours, way, EVEN, shared=True)
    assert all(q.u_shared > 0 for q in found)
    baked_lab = lab_of(ROSE[::-1] * np.exp(-0.3 * TAKEN))
    whole = float(delta_e00(lab_of(ROSE[::-1]), baked_lab))
    assert np.median([q.value for q in found]) == pytest.approx(whole, rel=0.25)


def test_a_browner_edge_is_told():
    plain = baked(np.random.default_rng(7), np.zeros(SHELLS))
    log = plain.log - (0.2 * (REACH > 0.55))[None, ..., None] * TAKEN[::-1]
    tray = Domes(np.asarray(log, np.float32), plain.cut, plain.radius_mm)
    found = edge_browning(tray, colours_of(tray))
    none = edge_browning(plain, colours_of(plain))
    assert min(q.value for q in found) > 2
    assert max(abs(q.value) for q in none) < 1


def test_absorption_is_kubelka_and_munks():
    """A layer that sends back half the light absorbs a quarter of what it scatters, one that sends
    back all nothing: (1 - R)^2 / 2R (Kubelka & Munk 1931; worked by hand)."""
    assert absorption(np.array([0.5, 1.0, 0.1])) == pytest.approx([0.25, 0.0, 4.05])


@pytest.mark.parametrize("body", [ROSE[::-1], [0.9, 0.6, 0.15], [0.2, 0.08, 0.04]])
def test_what_a_crust_takes_is_the_same_by_bisection(body):
    assert taken_by_browning(np.array(body)) == pytest.approx(crust_taken(np.array(body)), abs=1e-6)


def test_browning_takes_what_a_flavour_has_to_lose():
    cream, lemon = (taken_by_browning(linear_of(c)) for c in ((246, 230, 192), (250, 216, 112)))
    assert cream[2] == 1.0
    assert cream[0] < cream[1] < cream[2]
    assert lemon[1] == 1.0  # its blue is gone already


def test_evenness_is_the_spread_between_shells():
    random = np.random.default_rng(8)
    even = evenness(read(baked(random, np.zeros(SHELLS))))
    uneven = evenness(read(baked(random, np.linspace(0, 0.5, SHELLS))))
    assert uneven.value > 5 * even.value
    assert evenness(()) is None


def test_a_colour_states_its_doubt():
    colours = colours_of(baked(np.random.default_rng(9), np.zeros(SHELLS)))
    colour = colour_of(colours, 0, EVEN)
    for part in (colour.lightness, colour.a, colour.b):
        assert part.u_own > 0
        assert part.u_shared > 0
    assert colour.lab == pytest.approx(colours.lab[0])
