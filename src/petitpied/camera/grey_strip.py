"""The card's grey strip as seen: what the light on it was, and how the camera bent the tones.

A phone's picture is no measure of light: white balance, a tone curve and more lie between. The
strip shows known greys, each with white paper beside it, so the light's own change along the card
cancels: the ratio of a patch to its white, as printed and as seen, gives the tone curve.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from petitpied.domain import card
from petitpied.domain.record import SeenCard
from petitpied.photo.colour_space import LOG_LIGHT, linear_of

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

#: light that white office paper and full black print send back (common practice, no source:
#: papers 0.8 to 0.9, toner and ink 0.02 to 0.05); greys between follow the nominal sRGB value
PAPER_REL, BLACK_REL = 0.84, 0.03
#: and the standard uncertainty of the paper's, shared by all photos of one card
PAPER_U_REL = 0.03
#: sampled inside a patch, mm from its sides; the white paper above it, between strip and board
PATCH_INSET_MM, WHITE_BAND_MM = 1.2, (46.9, 47.7)
SAMPLES = (24, 6)  # along, across
#: the card's white margins (left, top, width, height), mm: above the board, left and right of it
MARGINS = (
    *((x, 0.5, 10.0, 1.4) for x in (5.0, 20.0, 38.0, 55.0, 70.0)),
    *((0.6, y, 3.0, 6.0) for y in (8.0, 20.0, 32.0)),
    *((82.0, y, 3.0, 6.0) for y in (8.0, 20.0, 32.0)),
)
#: of the margins the lighter ones count, about this quantile: a tray's rim shades a card that lies
#: along it, its strip most of all, but not the shells
LIT_QUANTILE = 0.8
#: a difference below this (logarithm) is the light's own: a window's falls by a third over a tray,
#: so by less than this over a card
LEAST_SHADE = 0.18
#: codes from here on are cut off by the camera (255 less noise and rounding of JPEG); paper
#: below this one, a tenth of the light of a well exposed one, is in deep shade
BRIGHTEST, DARKEST = 252, 60
#: paper and patches in glare are unlike over their area: spread of the logarithm of light. Print
#: noise and sensor noise are below 0.05 on tuning photos
GLARE = 0.15
#: knots of the tone curve, logarithm of the code's light, black print to paper in good light
KNOTS = np.array([-4.6, -3.8, -3.0, -2.3, -1.7, -1.2, -0.8, -0.5, -0.25, -0.05])
#: how far the curve may lie from sRGB's: change of its slope from knot to knot, and the slope
#: itself (phones add contrast and a shoulder; common practice, no source)
SLOPE_CHANGE, SLOPE_PRIOR = 0.2, 0.35
#: light that print or laminate mirror towards the camera, relative to a white's: spread
SHEEN_PRIOR = 0.008
#: the knot where the curve keeps to sRGB's: middle light
MIDDLE_KNOT = 5
#: uncertainty of a printed grey, logarithm: dot gain differs from printer to printer. What lies
#: between the greys then follows sRGB's curve rather than a print's fault
GREY_U = 0.03


@dataclass(frozen=True)
class Strip:
    """One card's strip: natural logarithm of code light, blue-green-red.

    ``light`` (P, 3): the printed greys that the camera did not cut off, then the board's black
    squares; ``printed`` (P,) the logarithm of what they send back; ``along`` (P, 3) how much more
    light than at the strip's middle there is, by the paper beside it. ``place_px`` (2,): the
    strip's middle in the photo. ``paper_cut``: the paper itself is overexposed. ``margins`` (M, 3)
    of the card's white margins.
    """

    letter: str
    light: Floats
    printed: Floats
    along: Floats
    place_px: Floats
    paper_cut: bool
    margins: Floats


@dataclass(frozen=True)
class Tone:
    """The camera's tones undone: ``lift`` (K, 3) at `KNOTS`, straight between and beyond."""

    lift: Floats

    def light(self, log_code: Floats) -> Floats:
        """Natural logarithm of the light (..., 3), blue-green-red, of that of the code's."""
        x = np.asarray(log_code, float)
        hats = _hats(x.reshape(-1, 3).T)  # (3, N, K)
        lift = np.stack([hats[c] @ self.lift[:, c] for c in range(3)], axis=-1)
        return np.asarray(x + lift.reshape(x.shape))

    def table(self) -> NDArray[np.float32]:
        """`light` of every code: (256, 3)."""
        codes = np.repeat(LOG_LIGHT[:, None], 3, axis=1).astype(float)
        return self.light(codes).astype(np.float32)


PLAIN_TONE = Tone(np.zeros((len(KNOTS), 3)))


def _hats(x: Floats) -> Floats:
    """Weights (..., K) of the knots for a straight line between them, the ends' beyond."""
    inside = np.clip(x, KNOTS[0], KNOTS[-1])
    place = np.clip(np.searchsorted(KNOTS, inside, side="right") - 1, 0, len(KNOTS) - 2)
    part = (inside - KNOTS[place]) / (KNOTS[place + 1] - KNOTS[place])
    numbers = np.arange(len(KNOTS))
    left, right = (numbers == (place + i)[..., None] for i in (0, 1))
    return np.asarray(left * (1 - part)[..., None] + right * part[..., None])


def light_printed(srgb: int) -> float:
    """Light sent back by a print of this nominal sRGB grey."""
    return BLACK_REL + (PAPER_REL - BLACK_REL) * float(linear_of(srgb))


def read_strips(
    pixels_bgr: Bytes, cards: Sequence[SeenCard]
) -> tuple[tuple[Strip, ...], tuple[str, ...]]:
    """The usable strips of the cards in a photo, and why the others are not."""
    strips, reasons = [], []
    for seen in cards:
        strip = _read(pixels_bgr, seen)
        if isinstance(strip, str):
            reasons.append(f"the grey strip of card {seen.id} {strip}")
        else:
            strips.append(strip)
    return tuple(strips), tuple(reasons)


def _read(pixels_bgr: Bytes, seen: SeenCard) -> Strip | str:
    """A strip, or what is wrong with it."""
    way = _card_to_px(seen)
    x0, y0 = card.STRIP_TOP_LEFT_MM
    wide, high = card.PATCH_MM
    inset = PATCH_INSET_MM
    lefts = [x0 + i * wide + inset for i in range(len(card.PATCHES_SRGB))]
    patches = [(x, y0 + 0.8, wide - 2 * inset, high - 1.6) for x in lefts]
    low, top = WHITE_BAND_MM
    whites = [(x, low, wide - 2 * inset, top - low) for x in lefts]
    board_x, board_y = card.BOARD_TOP_LEFT_MM
    side = card.SQUARE_MM
    bottom = card.SQUARES[1] - 1
    black_x = [board_x + c * side for c in range(card.SQUARES[0]) if (c + bottom) % 2 == 0]
    blacks = [(x + 2, board_y + bottom * side + 2, side - 4, side - 4) for x in black_x]
    beside = [(x + 2, low, side - 4, top - low) for x in black_x]
    boxes = np.array([*patches, *whites, *blacks, *beside, *MARGINS])
    codes = _sampled(pixels_bgr, way, boxes)
    if codes is None:
        return "is not whole in the picture"
    light = LOG_LIGHT[codes].astype(float)
    middle = np.median(light, axis=1)
    spread = 1.4826 * np.median(np.abs(light - middle[:, None]), axis=1).max(axis=1)
    parts = np.cumsum([5, 5, len(blacks), len(beside)])
    patch, white, black, beside_black, margins = np.split(middle, parts)
    paper = float(np.median(codes[5:10].max(axis=2)))
    cut = codes[:5].max(axis=2).mean(axis=1) >= BRIGHTEST
    if cut[:3].all():
        return "is overexposed"
    if paper < DARKEST:
        return "lies in deep shade"
    if spread[:10].max() > GLARE:
        return "is not evenly lit (glare, a shadow or dirt on it)"
    if not np.all(np.diff(patch.mean(axis=1))[1:] < -0.1):
        return "does not go from white to dark as printed"
    greys = np.array([*card.PATCHES_SRGB, *[0] * len(blacks)])
    kept = ~np.concatenate([cut, np.zeros(len(blacks), bool)])
    paper_cut = paper >= BRIGHTEST
    if paper_cut and not cut[0] and (white[0] - patch[0]).mean() > LEAST_SHADE:
        # how much darker than its card it lies, overexposed paper does not tell
        return "lies in a shade while the rest of the card is overexposed"
    along = np.concatenate([white, beside_black]) - white.mean(axis=0)
    return Strip(
        seen.id,
        np.concatenate([patch, black])[kept],
        np.log([light_printed(int(g)) for g in greys[kept]]),
        along[kept] * (not paper_cut),
        _mapped(way, np.array([[x0 + 2.5 * wide, y0 + high / 2]]))[0],
        bool(paper_cut),
        margins,
    )


def _card_to_px(seen: SeenCard) -> Floats:
    outline = card.outline_corners_mm().astype(np.float32)
    corners: Any = seen.corners_px.astype(np.float32)
    return np.asarray(cv2.getPerspectiveTransform(outline, corners), float)


def _mapped(way: Floats, points: Floats) -> Floats:
    p = np.column_stack([points, np.ones(len(points))]) @ way.T
    return np.asarray(p[:, :2] / p[:, 2:])


def _sampled(pixels_bgr: Bytes, way: Floats, boxes: Floats) -> Bytes | None:
    """Codes (B, N, 3) in boxes (B, 4: left, top, width, height) of the card, mm."""
    along, across = ((np.arange(n) + 0.5) / n for n in SAMPLES)
    u, v = (axis.ravel() for axis in np.meshgrid(along, across))
    x = boxes[:, :1] + boxes[:, 2:3] * u
    y = boxes[:, 1:2] + boxes[:, 3:] * v
    px = np.rint(_mapped(way, np.column_stack([x.ravel(), y.ravel()]))).astype(int)
    height, width = pixels_bgr.shape[:2]
    if px.min() < 0 or px[:, 0].max() >= width or px[:, 1].max() >= height:
        return None
    return np.asarray(pixels_bgr[px[:, 1], px[:, 0]].reshape(len(boxes), -1, 3), np.uint8)


def fit_tone(strips: Sequence[Strip]) -> tuple[Tone, Floats]:
    """The tone curve that makes the strips' greys what they were printed as, and the natural
    logarithm of the light on each card (S, 3): what a perfect white there would show.

    Weighted least squares for lifts at the knots, and a level and a little sheen a card, drawn
    towards sRGB's own curve and no sheen; the curve keeps its place at the knot of middle light.
    """
    if not strips:
        return PLAIN_TONE, np.zeros((0, 3))
    lift, level = np.zeros((len(KNOTS), 3)), np.zeros((len(strips), 3))
    for channel in range(3):
        sheen = np.zeros(len(strips))
        for _ in range(3):  # the logarithm of a grey with sheen is all but straight in the sheen
            fit = _fitted_channel(strips, channel, sheen)
            sheen = np.clip(fit.sheen, -0.5 * BLACK_REL, BLACK_REL)
        lift[:, channel], level[:, channel] = fit.lift, fit.level
    tone = Tone(lift)
    shade = [_shade(strip, tone, own) for strip, own in zip(strips, level, strict=True)]
    return tone, level + np.array(shade)[:, None]


def _shade(strip: Strip, tone: Tone, level: Floats) -> float:
    """How much darker (logarithm, 0 or more) a strip lies than the lighter part of its card."""
    if strip.paper_cut:
        return 0.0
    margins = (tone.light(strip.margins) - np.log(PAPER_REL) - level).mean(axis=1)
    lit = float(np.quantile(margins, LIT_QUANTILE))
    return lit if lit > LEAST_SHADE else 0.0


@dataclass(frozen=True)
class _Channel:
    """Lifts (K,), and of each strip its level (S,) and its sheen (S,)."""

    lift: Floats
    level: Floats
    sheen: Floats


def _fitted_channel(strips: Sequence[Strip], channel: int, sheen: Floats) -> _Channel:
    """One step of the fit; ``sheen`` (S,) is that of the step before."""
    count, cards = len(KNOTS), len(strips)
    slope = np.diff(np.eye(count), axis=0) / np.diff(KNOTS)[:, None]
    still = np.eye(count)[[MIDDLE_KNOT]] * 1e3
    prior = np.concatenate([np.diff(slope, axis=0) / SLOPE_CHANGE, slope / SLOPE_PRIOR, still])
    matt = np.column_stack([np.zeros((cards, count + cards)), np.eye(cards) / SHEEN_PRIOR])
    rows = [np.column_stack([prior, np.zeros((len(prior), 2 * cards))]), matt]
    values = [np.zeros(len(prior) + cards)]
    for number, strip in enumerate(strips):
        seen, printed = strip.light[:, channel], np.exp(strip.printed) + sheen[number]
        own = np.zeros((len(seen), 2 * cards))
        own[:, number], own[:, cards + number] = -1, -1 / printed
        rows.append(np.column_stack([_hats(seen), own]) / GREY_U)
        truth = np.log(printed) - sheen[number] / printed
        values.append((truth + strip.along[:, channel] - seen) / GREY_U)
    fit = np.linalg.lstsq(np.concatenate(rows), np.concatenate(values), rcond=None)[0]
    return _Channel(fit[:count], fit[count : count + cards], fit[count + cards :])
