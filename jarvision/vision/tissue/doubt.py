"""Growth that may be a veil: fog, drops, tape or paper that both networks take for growth.

A veil is smooth, and grey as the light is; growth has fibres, and its own warm white. Where clear
drops and tracks part the veil it is smooth between them, and as light in one place as in the next.
None of this says much alone, and what the networks say of the wall head down
(:mod:`jarvision.vision.tissue.veil`) says more, though it is not enough to call a place hidden.
Together they part most of what is painted over bare contents from growth, by logistic regression
on these signs and their squares (``tests/training/veil_signs.py``). What is doubted is read as
before: its chance to be bare is for the interval.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from itertools import pairwise

import cv2
import numpy as np

from jarvision.base.colourspace import LUMINANCE
from jarvision.records import BoolArray, Float32Array, FloatArray, RawWall

STEP_MM = 2.0
"""Signs are worked out at places so far apart ..."""

WINDOW_MM = 6.0
"""... each over a square so wide."""

_SCALES_MM = (0.4, 1.0, 2.5)
_EVEN_MM, _QUIET_MM = 1.2, 3.2
"""The finest two details are averaged over the one, and their least is sought within the other."""

_LIGHT_FLOOR, _DETAIL_FLOOR = np.float32(0.01), np.float32(0.002)
_ODDS_FLOOR = 1e-3
_BRIGHTEST_PERCENT = 95.0
_FARTHEST = 2.5
"""Signs count no farther from their middle, in spreads: beyond, squares would only be guessed."""


@dataclass(frozen=True)
class Chances:
    """What the networks say of the wall, each ``(rows, cols)``, 0 to 1.

    Attributes
    ----------
    upright
        Chance that a place is hidden, the specialist, on the wall as it is.
    fog, label
        The same with the contents head down: the specialist's and the generalist's.
    fog_cover, label_cover
        Chance of cover that the two say with the contents head down.
    """

    upright: Float32Array
    fog: Float32Array
    label: Float32Array
    fog_cover: Float32Array
    label_cover: Float32Array


def find_doubt(
    raw: RawWall, grown: BoolArray, filled: BoolArray, chances: Chances, *, odds_min: float
) -> BoolArray:
    """Places ``(rows, cols)`` among the ``grown`` ones that may be a veil over bare contents.

    ``odds_min`` is a natural logarithm.
    """
    if not grown.any():
        return grown
    odds = odds_of(veil_signs(raw, filled, chances), *_learned())
    whole = cv2.resize(odds.astype(np.float32), grown.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(grown & (whole > odds_min))


def odds_of(
    signs: FloatArray, middle: FloatArray, spread: FloatArray, weights: FloatArray
) -> FloatArray:
    """Log odds ``(...,)`` of signs ``(..., signs)`` to be of a veil, by a fit."""
    return np.asarray(terms_of(signs, middle, spread) @ weights)


def terms_of(signs: FloatArray, middle: FloatArray, spread: FloatArray) -> FloatArray:
    """What is weighed: the signs brought to one middle and spread, their squares, and one."""
    even = np.clip((signs - middle) / spread, -_FARTHEST, _FARTHEST)
    return np.concatenate([even, even**2, np.ones((*even.shape[:-1], 1))], axis=-1)


def veil_signs(raw: RawWall, filled: BoolArray, chances: Chances) -> FloatArray:
    """Signs ``(places down, places across, signs)`` of the contents.

    Natural logarithms of: the detail at 0.4, 1 and 2.5 mm; the detail at 0.4 and 1 mm where it is
    least; how unlike each other the lighter places are; the light, the light over that of the
    brightest places, red over green, blue over green. Then, as log odds, the five chances, in the
    order of :class:`Chances`.
    """
    size = tuple(max(1, round(cells * raw.step_mm / STEP_MM)) for cells in filled.shape[::-1])
    window = _Window.of(filled.astype(np.float32), _cells(WINDOW_MM, raw))

    def mean(values: Float32Array) -> FloatArray:
        smooth = window.mean(np.ascontiguousarray(values, dtype=np.float32))
        return cv2.resize(smooth, size, interpolation=cv2.INTER_LINEAR).astype(np.float64)

    linear = np.maximum(raw.linear, 0.0)
    light = np.asarray(cv2.transform(linear, LUMINANCE[None]), dtype=np.float32)
    logs = np.asarray(cv2.log(light + _LIGHT_FLOOR), dtype=np.float32)
    smooth = [logs, *(cv2.GaussianBlur(logs, (0, 0), mm / raw.step_mm) for mm in _SCALES_MM)]
    squares = [(fine - coarse) ** 2 for fine, coarse in pairwise(smooth)]
    least = np.ones(_cells(_QUIET_MM, raw), np.uint8)
    quiet = [cv2.erode(cv2.blur(part, _cells(_EVEN_MM, raw)), least) for part in squares[:2]]
    lighter = _spread_of_lighter(logs, window)
    details = [_log_root(mean(np.asarray(part))) for part in (*squares, *quiet, lighter)]
    red, green, blue = (mean(linear[..., band]) + _LIGHT_FLOOR for band in range(3))
    bright = mean(light) + _LIGHT_FLOOR
    seen = light[filled]
    brightest = float(np.percentile(seen, _BRIGHTEST_PERCENT)) if seen.size else 1.0
    colours = [
        np.log(bright), np.log(bright / (brightest + _LIGHT_FLOOR)),
        np.log(red / green), np.log(blue / green),
    ]  # fmt: skip
    said = (
        chances.upright, chances.fog, chances.label, chances.fog_cover, chances.label_cover
    )  # fmt: skip
    return np.stack([*details, *colours, *(_log_odds(mean(part)) for part in said)], axis=-1)


def _cells(width_mm: float, raw: RawWall) -> tuple[int, int]:
    """A square so wide, cells."""
    return (max(1, round(width_mm / raw.step_mm)),) * 2


@dataclass(frozen=True)
class _Window:
    """Means over squares of ``size`` cells by the places' ``share``; ``weight`` is their sum."""

    share: Float32Array
    size: tuple[int, int]
    weight: Float32Array

    @classmethod
    def of(cls, share: Float32Array, size: tuple[int, int]) -> _Window:
        weight = cv2.blur(share, size) + np.float32(1e-6)
        return cls(share, size, np.asarray(weight, dtype=np.float32))

    def mean(self, values: Float32Array) -> Float32Array:
        summed = cv2.blur(values * self.share, self.size)
        return np.asarray(summed / self.weight, dtype=np.float32)


def _spread_of_lighter(logs: Float32Array, window: _Window) -> Float32Array:
    """Variance over a window of what is lighter there than its mean."""
    lighter = _Window.of((logs > window.mean(logs)) * window.share, window.size)
    middle = lighter.mean(logs)
    return lighter.mean(logs * logs) - middle * middle


def _log_root(square: FloatArray) -> FloatArray:
    return np.asarray(np.log(np.sqrt(np.maximum(square, 0.0)) + _DETAIL_FLOOR))


def _log_odds(chance: FloatArray) -> FloatArray:
    held = np.clip(chance, _ODDS_FLOOR, 1.0 - _ODDS_FLOOR)
    return np.asarray(np.log(held / (1.0 - held)))


@cache
def _learned() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middle and spread of the signs, and the weights of them, their squares and one."""
    with (
        as_file(files("jarvision.vision.tissue") / "veil_signs.npz") as path,
        np.load(path) as kept,
    ):
        return kept["middle"], kept["spread"], kept["weights"]
