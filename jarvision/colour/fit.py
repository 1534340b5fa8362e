"""Swatch readings -> the 3x3 matrix from linear camera values to linear sRGB.

The light's gradient over the card is found from the two grey ramps and taken out first. The
matrix starts as linear least squares and is then refined on CIELAB differences with a robust
loss, so that a swatch spoiled by glare or a thumb loses its say.
"""

from __future__ import annotations

import numpy as np

from jarvision.card.layout import CardLayout
from jarvision.colourspace import delta_e_2000, linear_to_lab
from jarvision.errors import PhotoRefusedError
from jarvision.photo_settings import ColourSettings
from jarvision.records import BoolArray, ColourFit, FloatArray, SwatchReadings


def fit_colour(
    readings: SwatchReadings, *, layout: CardLayout, settings: ColourSettings
) -> ColourFit:
    """Fit the correction from the swatches of one photo.

    Raises
    ------
    PhotoRefusedError
        ``overexposed``, ``underexposed`` or ``poor_colour``.
    """
    _check_exposure(readings, layout=layout, settings=settings)
    reference = layout.nominal_linear
    usable = (readings.clipped <= settings.clipped_share_max) & (
        readings.spread <= settings.swatch_spread_max
    )
    if np.count_nonzero(usable) < settings.swatches_min:
        raise PhotoRefusedError(
            "poor_colour", f"only {np.count_nonzero(usable)} of {usable.size} swatches are clean"
        )
    slope = _light_slope(readings, usable, layout=layout)
    even = readings.linear / light_at(layout.centres_mm, slope, layout=layout)[:, None]
    matrix = _robust_matrix(even[usable], reference[usable], scale=settings.swatch_scale_de)
    de00 = delta_e_2000(linear_to_lab(even @ matrix.T), linear_to_lab(reference))
    fit = ColourFit(
        matrix=matrix,
        used=usable & (de00 <= settings.swatch_outlier_de),
        de00=de00,
        reference="nominal",
        light_slope=slope,
    )
    if fit.de00_median > settings.residual_max_de:
        raise PhotoRefusedError(
            "poor_colour",
            f"the swatches are off by {fit.de00_median:.1f} CIEDE2000 at the median "
            f"(at most {settings.residual_max_de:.0f} can be used)",
        )
    return fit


def light_at(points_mm: FloatArray, slope: FloatArray, *, layout: CardLayout) -> FloatArray:
    """Relative light at card points ``(..., 2)``; 1 at the card's middle."""
    middle = np.array([layout.width_mm, layout.height_mm]) / 2
    return np.asarray(np.exp((points_mm - middle) @ slope))


def _check_exposure(
    readings: SwatchReadings, *, layout: CardLayout, settings: ColourSettings
) -> None:
    white = layout.nominal_linear.min(axis=1) >= settings.white_reflectance_min
    if readings.clipped[white].min() > settings.clipped_share_max:
        raise PhotoRefusedError("overexposed", "every white swatch of the card is burnt out")
    brightest = float(readings.linear[white].mean(axis=1).max())
    if brightest < settings.white_linear_min:
        raise PhotoRefusedError(
            "underexposed", f"the card's white reaches only {brightest:.0%} of the full signal"
        )


def _light_slope(readings: SwatchReadings, usable: BoolArray, *, layout: CardLayout) -> FloatArray:
    """Slope of log light across the card, from greys that are printed at both sides.

    Left against right needs no reflectance, so a bad print does no harm. The slope down the card
    is left at zero: the greys of one side differ in tone, and the camera's tone curve is unknown.
    """
    centres = layout.centres_mm
    sides: dict[tuple[float, float, float], list[int]] = {}
    for index, swatch in enumerate(layout.swatches):
        if swatch.role == "grey" and usable[index]:
            sides.setdefault(swatch.lab, []).append(index)
    pairs = np.array([pair for pair in sides.values() if len(pair) == 2])
    if len(pairs) == 0:
        return np.zeros(2)
    level = np.log(np.maximum(readings.linear.mean(axis=1), 1e-6))
    rise = level[pairs[:, 1]] - level[pairs[:, 0]]
    run_mm = centres[pairs[:, 1], 0] - centres[pairs[:, 0], 0]
    return np.array([float(np.median(rise / run_mm)), 0.0])


def _robust_matrix(camera: FloatArray, reference: FloatArray, *, scale: float) -> FloatArray:
    from scipy.optimize import least_squares

    # Relative weights: an error of 1 % counts the same on a dark and a light swatch.
    weight = 1.0 / (reference.mean(axis=1, keepdims=True) + 0.05)
    start, *_ = np.linalg.lstsq(camera * weight, reference * weight, rcond=None)
    target = linear_to_lab(reference)

    def residuals(flat: FloatArray) -> FloatArray:
        lab = linear_to_lab(camera @ flat.reshape(3, 3).T)
        return np.asarray((lab - target).ravel())

    solution = least_squares(residuals, start.T.ravel(), loss="soft_l1", f_scale=scale)
    return np.asarray(solution.x.reshape(3, 3))
