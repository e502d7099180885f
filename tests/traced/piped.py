"""Shells of other forms, feet and domes than the usual round ones. Pure; frame tray, mm."""

from dataclasses import replace

import numpy as np

from tests.traced.forms import Form
from tests.traced.mesh import Array
from tests.traced.scenes import Piping
from tests.traced.shells import FootProfile, Shell

GAP_MM = 2.5  # between feet as piped apart, at least


def drawn_form(rng: np.random.Generator, kind: str, piping: Piping) -> Form | None:
    if kind == "round":
        return None
    way = np.radians(rng.uniform(0, 360) if piping.direction_deg is None
                     else piping.direction_deg + rng.normal(0, 6))
    lowest, highest = piping.aspect if piping.form == "oval" else (0.55, 0.9)
    return Form(kind, float(way), aspect=float(rng.uniform(lowest, highest)),
                notch=float(rng.uniform(0.66, 0.86)),
                tip=float(rng.uniform(1.1, 1.5) if kind == "heart" else rng.uniform(0.7, 1.25)),
                blunt_rad=float(rng.uniform(0.07, 0.13)))


def piped(piping: Piping, rng: np.random.Generator, shell: Shell, kind: str) -> Shell:
    """The shell with the tray's foot and dome, each a little its own, and the form given."""
    def about(value: float, sd: float, low: float, high: float) -> float:
        return float(np.clip(rng.normal(value, sd), low, high))

    foot = about(piping.foot_height_mm, 0.18, 2.3, 5.2)
    rim = foot + about(1.35, 0.12, 1.1, 1.7)
    below, above = piping.fall_back_mm
    power, shoulder = piping.dome
    return replace(
        shell, form=drawn_form(rng, kind, piping), foot_height_mm=foot, rim_z_mm=rim,
        height_mm=rim + about(piping.dome_mm, 0.35, 3.5, 9.5),
        foot_spread_mm=about(piping.foot_spread_mm, 0.2, -0.7, 3.3),
        ruffle_mm=max(piping.ruffle_mm * about(1.0, 0.12, 0.7, 1.3), 0.0),
        profile=FootProfile(about(piping.widest_rel, 0.03, 0.15, 0.8),
                            below * about(1.0, 0.15, 0.5, 1.5), above * about(1.0, 0.15, 0.5, 1.5),
                            piping.cell_rel),
        dome=(about(power, 0.1, 1.3, 8.0), about(shoulder, 0.02, 0.3, 0.95)))


def piped_tray(piping: Piping, seed: int, shells: list[Shell]) -> list[Shell]:
    rng = np.random.default_rng(seed + 1500)
    kinds = [piping.form] * len(shells)
    for i, kind in zip(rng.permutation(len(shells)), piping.odd, strict=False):
        kinds[int(i)] = kind
    return [piped(piping, rng, s, k) for s, k in zip(shells, kinds, strict=True)]


def reach_of(shell: Shell) -> Array:
    """Rough plan outline (N, 2) of the whole shell."""
    angle = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    form = shell.form.radius_rel(angle) if shell.form else np.ones_like(angle)
    radius = shell.radius_mm * form + max(shell.foot_spread_mm, 0) * 1.3
    return np.asarray(shell.centre_mm) + radius[:, None] * np.stack(
        [np.cos(angle), np.sin(angle)], -1)


def apart(shells: list[Shell]) -> list[Shell]:
    """Without those that would lie closer than `GAP_MM` to one before them."""
    kept: list[Shell] = []
    lines: list[Array] = []
    for shell in shells:
        line = reach_of(shell)
        near = [other for one, other in zip(kept, lines, strict=True)
                if np.hypot(*np.subtract(one.centre_mm, shell.centre_mm)) < 100]
        if all(np.hypot(*(line[:, None] - other[None]).transpose(2, 0, 1)).min() > GAP_MM
               and not _holds(other, line.mean(0)) for other in near):
            kept.append(replace(shell, id=len(kept)))
            lines.append(line)
    return kept


def _holds(line: Array, place: Array) -> bool:
    away = np.hypot(*(line - line.mean(0)).T)
    return bool(np.hypot(*(place - line.mean(0))) < away.min())
