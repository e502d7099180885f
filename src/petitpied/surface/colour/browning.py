"""Browning: how far a cap's colour has gone the way that baking takes it, in CIEDE2000.

Baking lets a crust swallow light, blue most and red least: its absorption over its scattering
grows, on top of what the flavour's own colour swallows (Kubelka & Munk, Z. tech. Phys. 12 (1931)
593-601; formula from memory), so that a pale shell loses blue, and a lemon yellow one, which has
none to lose, green and red. A difference of colour is measured along that way, so that a light that
is not quite known does not count as browning; what the light could be wrong by weighs each
direction of colour (generalised least squares).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.photo.colour_space import delta_e00, lab_of, linear_of
from petitpied.surface.caps.domes import REACH, Domes, ring
from petitpied.surface.caps.flat_light import FlatLight
from petitpied.surface.colour.cap_colour import CapColours, light_doubts

Floats = NDArray[np.float64]

#: pale and light brown crust, sRGB codes (common practice, no source): what lies between them is
#: browning's absorption
PALE_SRGB, BROWN_SRGB = (240, 214, 190), (205, 160, 112)
#: light sent back beyond which a colour is not believed to be a crust's
LEAST_REL, MOST_REL = 0.005, 0.95
#: what a cap's colour varies by for other reasons (mixing, texture), logarithm, each channel
MIX_U = 0.008
#: what browning is off by besides (standard uncertainty, Delta E00): with it 93 % of the shells of
#: 54 traced tuning trays lie within the interval of 95 %, without it 82 %
LEFT_DE00 = 0.7
#: edge and middle of a cap, parts of its radius; the edge ends before the shoulder is too steep
EDGE_REL, MIDDLE_REL = (0.6, 0.8), 0.35
#: sky and lamps have other tints, and light an edge in other shares than the middle: Delta E00
EDGE_SHARED_U = 0.6


@dataclass(frozen=True)
class Way:
    """From a reference colour (3,) CIELAB, the ``step`` (3,) of browning by one unit of the
    logarithm of light, in the channel that loses most, and the ``weight`` (3,) that reads its
    amount from a difference."""

    reference: Floats
    step: Floats
    weight: Floats

    def amount(self, lab: Floats) -> Floats:
        """How much (...) colours (..., 3) lie along the way."""
        return np.asarray((lab - self.reference) @ self.weight)

    def delta_e(self, amount: Floats) -> Floats:
        """CIEDE2000 (...) of an amount, with its sign."""
        there = self.reference + np.asarray(amount, float)[..., None] * self.step
        return np.asarray(np.sign(amount) * delta_e00(self.reference, there))


def absorption(linear_rgb: Floats) -> Floats:
    """Absorption over scattering of an opaque layer that sends back this share of light (...)."""
    return np.asarray((1 - linear_rgb) ** 2 / (2 * linear_rgb), float)


def taken_by_browning(linear_rgb: Floats) -> Floats:
    """Logarithm of light (3,) that browning takes from a body's colour (3,), red first, relative
    to the channel that loses most: as much absorption comes on top of its own as lies between
    pale and light brown crust."""
    body = np.clip(linear_rgb, LEAST_REL, MOST_REL)
    more = absorption(linear_of(BROWN_SRGB)) - absorption(linear_of(PALE_SRGB))
    total = absorption(body) + more
    left = 1 + total - np.sqrt(total**2 + 2 * total)
    taken = np.log(body / left)
    return np.asarray(taken / taken.max(), float)


def browning_way(reference_lab: Floats, slope: Floats, taken: Floats, light: FlatLight) -> Way:
    """The way from a reference; ``slope`` (3, 3): of CIELAB with the logarithm of light there;
    ``taken`` (3,): what browning takes of it."""
    step = slope @ -taken
    own, _ = light_doubts(light, 0.0)
    errors = np.concatenate([own[:2], MIX_U * np.eye(3)]) @ slope.T
    inverse = np.linalg.inv(errors.T @ errors)
    return Way(reference_lab, step, inverse @ step / float(step @ inverse @ step))


def tray_reference(colours: CapColours) -> tuple[Floats, Floats, Floats]:
    """CIELAB (3,) of the tray's median cap, the slope (3, 3) there, and what browning takes of
    its light (3,)."""
    taken = taken_by_browning(np.median(colours.linear_rgb, axis=0))
    return np.median(colours.lab, axis=0), np.median(colours.slope, axis=0), taken


def browning(colours: CapColours, way: Way, light: FlatLight, shared: bool) -> tuple[Quantity, ...]:
    """Of every cap, Delta E00; positive is browner than the reference. ``shared``: the reference is
    of another photo, so that what this photo's caps share counts."""
    amount = way.amount(colours.lab)
    value = way.delta_e(amount)
    unit = float(way.delta_e(np.array(0.05))) / 0.05
    found = []
    for index in range(len(value)):
        own, common = light_doubts(light, float(colours.cut[index]))
        own = np.concatenate([own, MIX_U * np.eye(3)])
        u_own, u_shared = (
            unit * float(np.hypot.reduce(d @ colours.slope[index].T @ way.weight))
            for d in (own, common)
        )
        u_own = float(np.hypot(u_own, LEFT_DE00))
        found.append(Quantity(float(value[index]), u_own, u_shared if shared else 0.0))
    return tuple(found)


def edge_browning(domes: Domes, colours: CapColours) -> tuple[Quantity, ...]:
    """Of every cap, Delta E00 of its edge from its middle at equal lightness; positive is browner.

    A photo cannot tell a darker edge from one that slopes away, so lightness is left out.
    """
    edge = ring(*EDGE_REL)
    middle = REACH < MIDDLE_REL
    shift = domes.log[:, edge].mean(axis=1) - np.median(domes.log[:, middle], axis=1)
    shift = shift[:, ::-1].astype(float)  # red first
    share = colours.linear_rgb * np.array([0.2126, 0.7152, 0.0722])  # luminance, IEC 61966-2-1
    shift -= (shift * share).sum(axis=1, keepdims=True) / share.sum(axis=1, keepdims=True)
    lab = lab_of(colours.linear_rgb * np.exp(shift))
    size = delta_e00(colours.lab, lab)
    taken = taken_by_browning(np.median(colours.linear_rgb, axis=0))
    brown = (shift @ (taken - taken.mean())) < 0
    value = np.where(brown, size, -size)
    noise = domes.log[:, middle].std(axis=1).mean(axis=1) / np.sqrt(middle.sum())
    own = np.abs(colours.slope[:, 1:]).sum(axis=(1, 2)) * noise + 0.1
    return tuple(
        Quantity(float(v), float(u), EDGE_SHARED_U) for v, u in zip(value, own, strict=True)
    )


def evenness(values: tuple[Quantity, ...]) -> Quantity | None:
    """Standard deviation between shells, Delta E00, with that of so many values (normal)."""
    if len(values) < 3:
        return None
    spread = float(np.std([v.value for v in values], ddof=1))
    return Quantity(spread, spread / float(np.sqrt(2 * (len(values) - 1))))
