"""Has the printer run out of an ink? Told from how much light each ink takes off the paper.

Cyan ink takes red light, magenta green and yellow blue. The optical density of a swatch in a
channel is the logarithm of paper over swatch; what the three channels have in common is grey, the
rest is the work of the coloured inks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from jarvision.base.errors import UsageError
from jarvision.records import FloatArray
from jarvision.vision.calibration.as_printed import CardSight
from jarvision.vision.card.layout import CardLayout

INKS = ("cyan", "magenta", "yellow")
"""In the order of the channels that they take away: red, green, blue."""

INK_SHARE_MIN = 0.4
"""A coloured ink of less than this strength has run out. On the made-up prints of the tests the
weakest ink of a working printer shows 42 % or more (half of them over 85 %), an empty one 39 % or
less (nearly all under 25 %; not zero, as the other inks take some of its light too)."""

INK_SHARE_FULL = 0.85
"""From here on an ink is as strong as in half of those prints."""

BLACK_SHARE_MIN = 0.6
"""The same for the density of the greys: 71 % or more with all inks. Where black makes less than
half of the grey, the other inks stand in for it, and its loss does little harm."""

_DARKEST = 1e-3


@dataclass(frozen=True)
class InkStrength:
    """Density of each ink over the design's, 1.0 being as designed.

    Attributes
    ----------
    colours
        ``(3,)`` cyan, magenta and yellow in the coloured swatches.
    greys
        ``(3,)`` red, green and blue density of the greys.
    """

    colours: FloatArray
    greys: FloatArray


def measure_inks(sights: Sequence[CardSight], *, layout: CardLayout) -> InkStrength:
    """Measure the inks over all photos; the median over the photos for each."""
    per_photo = [_strength(sight, layout) for sight in sights]
    return InkStrength(
        colours=np.median([strength.colours for strength in per_photo], axis=0),
        greys=np.median([strength.greys for strength in per_photo], axis=0),
    )


def are_full(strength: InkStrength) -> bool:
    """Whether every coloured ink is strong."""
    return float(strength.colours.min()) >= INK_SHARE_FULL


def check_inks(strength: InkStrength) -> None:
    """Raise when an ink is missing.

    Raises
    ------
    UsageError
        Names the ink and its strength.
    """
    remedy = (
        "Clean the print head or change the cartridge, print the card anew and take new photos."
    )
    weakest = int(np.argmin(strength.colours))
    share = max(0.0, float(strength.colours[weakest]))
    if share < INK_SHARE_MIN:
        raise UsageError(
            f"The printer has run out of {INKS[weakest]}: the card shows {share:.0%} of it", remedy
        )
    black = float(strength.greys.max())
    if black < BLACK_SHARE_MIN:
        raise UsageError(
            f"The printer has run out of black: the greys have {black:.0%} of their density",
            remedy,
        )


def _strength(sight: CardSight, layout: CardLayout) -> InkStrength:
    seen = -np.log10(np.maximum(sight.even / sight.paper, _DARKEST))
    wanted = -np.log10(np.maximum(layout.nominal_linear, _DARKEST))
    grey = np.array([swatch.role == "grey" for swatch in layout.swatches])
    usable = np.isfinite(seen).all(axis=1)
    colour = usable & ~grey
    return InkStrength(
        colours=_gain(_chromatic(seen[colour]), _chromatic(wanted[colour])),
        greys=_gain(seen[usable & grey], wanted[usable & grey]),
    )


def _chromatic(density: FloatArray) -> FloatArray:
    return np.asarray(density - density.min(axis=1, keepdims=True))


def _gain(seen: FloatArray, wanted: FloatArray) -> FloatArray:
    """Slope through the origin for each channel, least squares."""
    return np.asarray((seen * wanted).sum(axis=0) / (wanted**2).sum(axis=0))
