"""Colours that contents of a jar may have, far beyond those of any one grain."""

from __future__ import annotations

import numpy as np

from jarvision.base.colourspace import lab_to_xyz, xyz_to_linear
from jarvision.records import FloatArray

DARKEST, PALEST = 15.0, 88.0  # CIELAB lightness

# Hue angle (degrees), its spread, least and greatest chroma, and how often: tan to yellow, brown
# to reddish, greenish, and nearly grey.
_HUES = (
    (78.0, 9.0, 12.0, 42.0, 0.40),
    (58.0, 10.0, 8.0, 36.0, 0.22),
    (38.0, 10.0, 8.0, 38.0, 0.08),
    (108.0, 12.0, 8.0, 36.0, 0.10),
    (80.0, 60.0, 0.0, 7.0, 0.20),
)


def base_colour(rng: np.random.Generator) -> FloatArray:
    """CIELAB of one kind of contents: any lightness, pale and dark ones as often as middling."""
    angle, spread, low, high, _ = _HUES[rng.choice(len(_HUES), p=[hue[-1] for hue in _HUES])]
    lightness = rng.uniform(DARKEST, PALEST)
    hue = np.deg2rad(angle + spread * rng.standard_normal())
    # Few very dark or very pale things are strongly coloured.
    most = high * min(1.0, (lightness - 5.0) / 30.0, (104.0 - lightness) / 36.0)
    chroma = rng.uniform(min(low, most), most)
    return np.array([lightness, chroma * np.cos(hue), chroma * np.sin(hue)])


def piece_colours(base: FloatArray, count: int, rng: np.random.Generator) -> FloatArray:
    """CIELAB of ``count`` pieces about a base, ``(count, 3)``; some jars hold several kinds."""
    spread = rng.uniform(0.4, 1.0) * np.array([rng.uniform(1.0, 11.0), 2.0, rng.uniform(1.0, 5.0)])
    colours = base + spread * rng.standard_normal((count, 3))
    if rng.random() < 0.25:
        for _ in range(rng.integers(1, 3)):
            other = base_colour(rng) if rng.random() < 0.5 else base + rng.normal(0, [18, 4, 8])
            mine = rng.random(count) < rng.uniform(0.03, 0.4)
            colours[mine] += other - base
    return colours


def to_linear(lab: FloatArray) -> FloatArray:
    """Linear sRGB albedo of CIELAB colours, kept between 0.6 and 80 % of white."""
    lab = np.array(lab)
    lab[..., 0] = np.clip(lab[..., 0], 6.0, 92.0)
    return np.clip(xyz_to_linear(lab_to_xyz(lab)), 0.006, 0.86)
