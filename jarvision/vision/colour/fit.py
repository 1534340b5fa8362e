"""Swatch readings -> the correction from camera values to linear sRGB.

What was tried, by six-fold cross-validation over the swatches of rendered photos (median over
photos of the median CIEDE2000 of swatches left out; 20 mixed kitchen scenes / 24 photos of one
card under twelve lights): 3x3 alone 3.5 / 4.6; after taking out the slope of the light 2.8 / 3.2;
root-polynomial of degree 2 (Finlayson, Mackiewicz and Hurlbert 2015) 3.0 / 3.6; with the light as
a surface of second order: 3x3 2.0 / 2.2, root-polynomial 2.0 / 2.4, 3x3 with offset 2.0 / 2.1, and
with a gently bent tone curve before it 1.8 / 1.8, which is what stands here. A freely bent curve
was worse (2.6 / 3.6): the greys alone do not hold it. With the sheen of the print, swatches left
out one by one came from 1.7 to 1.0 in daylight, from 2.0 to 1.3 under lamps, and eight folds on 27
kitchens from 1.7 to 1.4; a stiffer tone curve then wins, and priors must not be robust, or a sheen
of most of white may be found. On measured cameras, lamps and materials the
same three maps lie within 0.2 of each other; the table is in docs/method.md, part 3.
"""

from __future__ import annotations

import numpy as np

from jarvision.base.colourspace import delta_e_2000, lab_slopes, linear_to_lab
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import ColourFit, FloatArray, SwatchReadings
from jarvision.settings.colour import ColourSettings
from jarvision.vision.calibration.values import CardValues, nominal_values
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.colour.light import fit_light
from jarvision.vision.colour.robust import minimise


def fit_colour(
    readings: SwatchReadings,
    paper: SwatchReadings,
    *,
    layout: CardLayout,
    settings: ColourSettings,
    values: CardValues | None = None,
) -> ColourFit:
    """Fit the correction from the swatches and the bare paper of one photo.

    Parameters
    ----------
    readings, paper
        Of the card's swatches, and of :func:`jarvision.vision.colour.light.paper_layout`.
    values
        What the swatches of this print are; None: the nominal values.

    Raises
    ------
    PhotoRefusedError
        ``poor_colour``.

    Notes
    -----
    The photo has passed :func:`jarvision.vision.quality.gate.accept_card`: its exposure is judged
    there and not again.
    """
    values = values or nominal_values(layout)
    usable = (readings.clipped <= settings.clipped_share_max) & (
        readings.spread <= settings.swatch_spread_max
    )
    if np.count_nonzero(usable) < settings.swatches_min:
        raise PhotoRefusedError(
            "poor_colour", f"only {np.count_nonzero(usable)} of {usable.size} swatches are clean"
        )
    light = fit_light(
        readings, paper, usable=usable, reference=values.linear, layout=layout, settings=settings
    )
    even = light.even(readings.linear, layout.centres_mm, layout)
    matrix = _robust_matrix(even[usable], values.linear[usable], settings=settings)
    corrected = even @ matrix[:, :3].T + matrix[:, 3]
    de00 = delta_e_2000(linear_to_lab(corrected), linear_to_lab(values.linear))
    fit = ColourFit(
        matrix=matrix,
        used=usable & (de00 <= settings.swatch_outlier_de),
        de00=de00,
        reference=values.reference,
        tone=light.tone,
        gain=light.gain,
        light_field=light.field,
        expected_de00=values.expected_de00,
    )
    if fit.de00_median > settings.residual_max_de:
        raise PhotoRefusedError(
            "poor_colour",
            f"the swatches are off by {fit.de00_median:.1f} CIEDE2000 at the median "
            f"(at most {settings.residual_max_de:.0f} can be used)",
        )
    stretch = colour_stretch(matrix)
    if stretch > settings.stretch_max:
        raise PhotoRefusedError(
            "poor_colour",
            f"the file keeps colours at {1.0 / stretch:.0%} of their strength "
            f"(at least {1.0 / settings.stretch_max:.0%} is needed)",
        )
    return fit


def colour_stretch(matrix: FloatArray) -> float:
    """How many times a correction ``(3, 4)`` makes colours stronger, grey light left as it is.

    What rounding, noise and compression do to a colour is stretched with it.
    """
    balanced = matrix[:, :3] / matrix[:, :3].sum(axis=1, keepdims=True)
    hue = np.eye(3) - 1.0 / 3.0
    return float(np.linalg.norm(hue @ balanced @ hue, ord=2))


def _robust_matrix(
    camera: FloatArray, reference: FloatArray, *, settings: ColourSettings
) -> FloatArray:
    """``(3, 4)`` matrix and offset: least squares, then CIELAB differences with a robust loss.

    The offset is the veil that lens, glossy paper and a bright room lay over the card.
    """
    full = np.column_stack([camera, np.ones(len(camera))])
    # Relative weights: an error of 1 % counts the same on a dark and a light swatch.
    weight = 1.0 / (reference.mean(axis=1, keepdims=True) + settings.veil_level)
    start, *_ = np.linalg.lstsq(full * weight, reference * weight, rcond=None)
    target = linear_to_lab(reference)

    def residuals(flat: FloatArray) -> FloatArray:
        lab = linear_to_lab(full @ flat.reshape(3, 4).T)
        veil = flat.reshape(3, 4)[:, 3] / settings.veil_sd
        return np.concatenate([(lab - target).ravel(), veil])

    def slopes(flat: FloatArray) -> FloatArray:
        of_linear = lab_slopes(full @ flat.reshape(3, 4).T)
        of_matrix = (of_linear[..., None] * full[:, None, None, :]).reshape(-1, 12)
        return np.concatenate([of_matrix, np.eye(12)[3::4] / settings.veil_sd])

    flat = minimise(residuals, slopes, start.T.ravel(), scale=settings.swatch_scale_de)
    return np.asarray(flat.reshape(3, 4))
