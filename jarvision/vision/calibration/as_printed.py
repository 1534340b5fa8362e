"""Photos of the fresh card in daylight -> the colours that the printer made of it.

What a photo can and cannot know
--------------------------------
A photo shows the product of print, light and camera. To part them, two things are taken for
granted: the bare paper is neutral, which gives the light's colour and the white balance; and the
greys are as light as designed, which gives the exposure and the camera's tone curve, one for all
channels. What is left of a swatch's departure from its nominal colour is the printer's or the
camera's rendering of colours, and nothing tells which: part of it is believed
(``BELIEVED_SHARE``).

So it can find tinted greys and inks that are too weak, too strong or of another hue than the
design's. It cannot find a wrong lightness that all greys share, it takes the bluish glow of
bright paper for white, and several photos average over light and glare, not over the phone's
liking for vivid colours. A measurement has none of these limits.

On 60 made-up printers and cameras each (in the tests), the mean error of the swatches fell from
6.3 to 3.5 CIEDE2000 where greys are mixed of three inks, from 4.0 to 2.8 where they are mostly
black ink, and from 1.8 to 1.7 on a very good print.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from jarvision.base.colourspace import delta_e_2000, lab_to_linear, linear_to_lab
from jarvision.base.errors import PhotoRefusedError, UsageError
from jarvision.records import FloatArray, Photo, SwatchReadings
from jarvision.settings.colour import ColourSettings
from jarvision.vision.calibration.alone import accept_alone
from jarvision.vision.card.find import find_card, read_swatches
from jarvision.vision.card.layout import Box, CardLayout, Swatch

BELIEVED_SHARE = 0.6
"""How much of a departure from the nominal colour is put down to the printer: between half and
all of it has the least error on the made-up prints of the tests."""

RENDERING_DE00 = 1.75
DEPARTURE_SHARE = 0.45
"""Expected error of a swatch, CIEDE2000: what a camera adds to a perfect print, and the share of
the median departure that is not known; fitted on the made-up prints of the tests."""

ONE_PHOTO_DE00 = 1.5
"""Repeatability assumed when there is a single photo, CIEDE2000 (common practice, no source)."""

LEVELS_MIN = 4
"""Fewest levels of grey that make a tone curve: the ends and two between."""

_PAPER_GAP_MM, _PAPER_HEIGHT_MM = 0.6, 1.8
"""The strip of bare paper that is read lies so far inside each corner mark: well within the blank
cell (2.9 mm) that surrounds it."""

_SLOPE_LIMITS = (0.5, 2.0)
"""Slopes of a tone curve (log against log) that are believed beyond the ends of the greys."""

_DARKEST = 1e-4  # floor of a logarithm, linear


@dataclass(frozen=True)
class CardSight:
    """One photo of the card.

    Attributes
    ----------
    readings
        The swatches as the camera saw them.
    even
        ``(n, 3)`` the same with the slope of the light taken out; NaN for unusable swatches.
    paper
        ``(3,)`` linear camera values of the bare paper.
    """

    readings: SwatchReadings
    even: FloatArray
    paper: FloatArray


@dataclass(frozen=True)
class PrintEstimate:
    """Colours of the printed swatches.

    Attributes
    ----------
    linear
        ``(n, 3)`` linear sRGB.
    repeat_de00
        Median distance of one photo's colour from the middle of all, CIEDE2000; NaN for one photo.
    expected_de00
        Typical error of one swatch, with what no photo can know.
    """

    linear: FloatArray
    repeat_de00: float
    expected_de00: float


def see_card(photo: Photo, *, layout: CardLayout, settings: ColourSettings) -> CardSight:
    """Find the card, read swatches and paper, and take out the slope of the light.

    Raises
    ------
    PhotoRefusedError
        ``no_card``, ``card_hidden``, ``overexposed``, ``underexposed`` or ``poor_colour``.
    """
    card = find_card(photo.rgb, photo.focal_px, layout=layout)
    readings = read_swatches(photo.rgb, card, layout=layout)
    usable = (readings.clipped <= settings.clipped_share_max) & (
        readings.spread <= settings.swatch_spread_max
    )
    strips = replace(layout, swatches=_paper_strips(layout))
    paper = read_swatches(photo.rgb, card, layout=strips)
    if paper.clipped.min() > settings.clipped_share_max:
        raise PhotoRefusedError("overexposed", "the paper of the card is burnt out")
    clean = paper.clipped <= settings.clipped_share_max
    if paper.linear[clean].mean(axis=1).max() < settings.calibration_white_min:
        raise PhotoRefusedError("underexposed", "the paper of the card is too dark")
    if np.count_nonzero(usable) < settings.swatches_min:
        raise PhotoRefusedError(
            "poor_colour", f"only {np.count_nonzero(usable)} of {usable.size} swatches are clean"
        )
    accept_alone(photo, card, layout=layout)
    slope = light_slope(np.where(usable[:, None], readings.linear, np.nan), layout)
    middle = np.array(layout.centre_mm)
    light = np.exp((layout.centres_mm - middle) @ slope)[:, None]
    paper_light = np.exp((strips.centres_mm - middle) @ slope)[:, None]
    return CardSight(
        readings=readings,
        even=np.where(usable[:, None], readings.linear / light, np.nan),
        paper=np.median((paper.linear / paper_light)[clean], axis=0),
    )


def light_slope(linear: FloatArray, layout: CardLayout) -> FloatArray:
    """Slope ``(2,)`` of log light per mm to the right and down, from pairs of equal greys.

    The two greys of a pair differ in place only, so neither print nor tone curve matters much.
    Least squares over the pairs; zero with fewer than three of them.
    """
    level = np.log(np.maximum(np.mean(linear, axis=1), _DARKEST))
    pairs = [
        pair
        for pair in _grey_levels(layout).values()
        if len(pair) == 2 and np.isfinite(level[list(pair)]).all()
    ]
    if len(pairs) < 3:
        return np.zeros(2)
    first, second = np.array(pairs).T
    run = layout.centres_mm[second] - layout.centres_mm[first]
    slope, *_ = np.linalg.lstsq(run, level[second] - level[first], rcond=None)
    return np.asarray(slope, dtype=np.float64)


def estimate_print(sights: Sequence[CardSight], *, layout: CardLayout) -> PrintEstimate:
    """Colours of the print from one or more photos: the median over the photos.

    Raises
    ------
    PhotoRefusedError
        ``poor_colour``: the greys of a photo do not rise from dark to light.
    UsageError
        A swatch is unusable in every photo.
    """
    labs = np.array([linear_to_lab(anchor(sight, layout=layout)) for sight in sights])
    unseen = np.isnan(labs).all(axis=(0, 2))
    if unseen.any():
        names = [name for name, hidden in zip(layout.names, unseen, strict=True) if hidden]
        raise UsageError(
            f"In no photo can these swatches be read: {', '.join(names)}",
            "Take the photos without glare or shadow on the card, from slightly different places.",
        )
    seen = np.nanmedian(labs, axis=0)
    nominal = layout.nominal_lab
    departure = float(np.median(delta_e_2000(seen, nominal)))
    repeat = float("nan") if len(sights) == 1 else float(np.nanmedian(delta_e_2000(labs, seen)))
    scatter = ONE_PHOTO_DE00 if len(sights) == 1 else repeat / np.sqrt(len(sights))
    return PrintEstimate(
        linear=lab_to_linear(nominal + BELIEVED_SHARE * (seen - nominal)),
        repeat_de00=repeat,
        expected_de00=float(
            np.sqrt(RENDERING_DE00**2 + (DEPARTURE_SHARE * departure) ** 2 + scatter**2)
        ),
    )


def anchor(sight: CardSight, *, layout: CardLayout) -> FloatArray:
    """Colours with the paper neutral and the greys as light as designed.

    Returns
    -------
    ``(n, 3)`` linear sRGB; NaN where the swatch is unusable.
    """
    balance = np.log(sight.paper) - np.log(sight.paper).mean()
    logs = np.log(np.maximum(sight.even, _DARKEST)) - balance
    lightness = logs.mean(axis=1)
    knots, values = [], []
    for pair in _grey_levels(layout).values():
        level = lightness[list(pair)]
        if np.isfinite(level).any():
            knots.append(float(np.nanmean(level)))
            values.append(float(np.log(layout.nominal_linear[list(pair)].mean())))
    order = np.argsort(values)
    rising = np.array(knots)[order]
    if len(order) < LEVELS_MIN or (np.diff(rising) <= 0).any():
        raise PhotoRefusedError(
            "poor_colour", "the card's greys do not rise from dark to light in even steps"
        )
    return np.exp(_curve(logs, rising, np.array(values)[order]))


def _curve(x: FloatArray, knots: FloatArray, values: FloatArray) -> FloatArray:
    """Log against log, straight between the knots and on with the end's slope beyond them."""
    slopes = np.clip(np.diff(values) / np.diff(knots), *_SLOPE_LIMITS)
    inside = np.interp(x, knots, values)
    below = np.minimum(x - knots[0], 0.0) * slopes[0]
    above = np.maximum(x - knots[-1], 0.0) * slopes[-1]
    return np.asarray(inside + below + above)


def _grey_levels(layout: CardLayout) -> dict[tuple[float, float, float], tuple[int, ...]]:
    """Grey swatches of one nominal colour together."""
    levels: dict[tuple[float, float, float], tuple[int, ...]] = {}
    for index, swatch in enumerate(layout.swatches):
        if swatch.role == "grey":
            levels[swatch.lab] = (*levels.get(swatch.lab, ()), index)
    return levels


def _paper_strips(layout: CardLayout) -> tuple[Swatch, ...]:
    """Bare paper beside each corner mark, towards the card's middle."""
    strips = []
    for mark in layout.markers:
        upper = mark.y_mm < layout.centre_mm[1]
        y_mm = (
            mark.y_mm + mark.size_mm + _PAPER_GAP_MM
            if upper
            else mark.y_mm - _PAPER_GAP_MM - _PAPER_HEIGHT_MM
        )
        box = Box(mark.x_mm, y_mm, mark.size_mm, _PAPER_HEIGHT_MM)
        strips.append(
            Swatch(
                box.x_mm,
                box.y_mm,
                box.width_mm,
                box.height_mm,
                name=f"paper-{mark.id}",
                role="grey",
                lab=(100.0, 0.0, 0.0),
            )
        )
    return tuple(strips)
