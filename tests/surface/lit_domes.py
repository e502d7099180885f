"""Domes under one lamp by Lambert's law, on the raster of `petitpied.surface.caps.domes`.

Independent of the package: heights are given, normals are their differences, and light is the
cosine to the lamp plus an even sky.
"""

import numpy as np

from petitpied.surface.caps.domes import SIDE, Domes

RADIUS_MM = 21.0
FINE = 4  # finer raster on which slopes are taken


def axis_mm(count):
    return ((np.arange(count) + 0.5) / count * 2 - 1) * RADIUS_MM


def dome_height(x, y, height_mm=7.0):
    reach = np.clip(np.hypot(x, y) / RADIUS_MM, 0, 0.995)
    return height_mm * (1 - reach**2.3) ** 0.6


def dimple(place_mm, diameter_mm, depth_mm):
    """A hollow (or, with negative depth, a bump) to be added to a height."""

    def change(x, y):
        r = np.hypot(x - place_mm[0], y - place_mm[1]) / (diameter_mm / 2)
        return -depth_mm * np.exp(-((r / 0.7) ** 4))

    return change


def lit(height_of, azimuth_deg, elevation_deg=40.0, sky=0.4):
    """Light (SIDE, SIDE) that a surface sends back, 1 where it faces up."""
    fine = axis_mm(SIDE * FINE)
    x, y = np.meshgrid(fine, fine)
    step = fine[1] - fine[0]
    dy, dx = np.gradient(height_of(x, y), step)
    a, e = np.deg2rad(azimuth_deg), np.deg2rad(elevation_deg)
    facing = -dx * np.cos(a) * np.cos(e) - dy * np.sin(a) * np.cos(e) + np.sin(e)
    cosine = np.maximum(facing, 0) / np.sqrt(1 + dx**2 + dy**2)
    light = (1 - sky) * cosine / np.sin(e) + sky / np.sqrt(1 + dx**2 + dy**2)
    return light.reshape(SIDE, FINE, SIDE, FINE).mean(axis=(1, 3))


def domes(rng, count, azimuth_deg, changes=None, colour=(0.3, 0.5, 0.7), noise=0.01, **lamp):
    """``count`` shells, no two of one height; ``changes``: shell's number to change of height."""
    tiles = []
    for number in range(count):
        tall = 7.0 * (1 + 0.05 * rng.standard_normal())
        change = (changes or {}).get(number)

        def height(x, y, tall=tall, change=change):
            return dome_height(x, y, tall) + (0 if change is None else change(x, y))

        light = lit(height, azimuth_deg, **lamp)
        grain = np.exp(noise * rng.standard_normal((SIDE, SIDE, 3)))
        tiles.append(np.log(light[..., None] * np.array(colour) * grain))
    log = np.asarray(tiles, np.float32)
    return Domes(log, np.zeros(count), np.full(count, RADIUS_MM))
