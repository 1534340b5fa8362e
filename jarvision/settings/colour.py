"""Thresholds of the colour correction: what the camera saw of the card, against what it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class ColourSettings:
    """How swatches become a colour correction, and when a photo is refused for its colours."""

    clipped_share_max: float = 0.02
    """A swatch with a larger share of burnt-out pixels says nothing about its colour."""

    swatch_spread_max: float = 0.25
    """Relative spread inside a plain swatch; glare, a thumb or a shadow edge raise it."""

    swatches_min: Annotated[int, Limits(5, 32)] = 14
    """Fewest clean swatches: half of the card, five for each row of the matrix."""

    swatch_scale_de: float = 3.0
    """CIELAB distance at which a swatch starts to lose weight: the usual residual of a fit."""

    swatch_outlier_de: float = 12.0
    """CIEDE2000 beyond which a swatch counts as spoiled."""

    residual_max_de: float = 6.0
    """Median CIEDE2000 over the swatches beyond which no colour can be told: one photo in ten moved
    by 6.6 points of coverage between 4 and 6; good photos of rendered cards stay below 3.7, and a
    home print with nominal values may add 2."""

    stretch_max: Annotated[float, Limits(2, 100)] = 9.0
    """A correction that makes colours stronger by more than this refuses the photo: what is left of
    them is rounding. Good photos of two renderers have 0.9 to 1.1, colours at a fifth 4.2 to 5.4,
    and at a twentieth, where coverages were wrong and sure, 15 to 21."""

    paper_clipped_max: float = 0.05
    """A paper spot with a larger share of burnt-out pixels is left out of the light."""

    paper_weight: Annotated[float, Limits(0)] = 0.6
    """Weight of a paper spot against a grey: there are four times as many spots."""

    veil_level: float = 0.05
    """Linear value below which stray light rules a reading (common practice, no source)."""

    veil_sd: float = 0.01
    """Usual offset that lens flare adds to the print's sheen, linear: one per cent of white."""

    sheen_usual: Annotated[float, Limits(1e-4, 0.02)] = 0.01
    """What the surface of a matte print mirrors as a rule, as a share of white. This and the three
    below are the best of a few in the cross-validation of colour/fit.py."""

    sheen_max: Annotated[float, Limits(0.021, 0.2)] = 0.04
    """... and the most: a smooth dielectric of index 1.5 mirrors 4 % (Fresnel)."""

    sheen_log_sd: float = 0.5
    """Spread of its odds between none and the most."""

    sheen_slope_sd: float = 0.35
    """How much its logarithm grows over half a card."""

    tone_sd: float = 0.1
    """Usual bend of a tone curve, encoded signal: a prior that holds what paper and greys leave
    open, as the two below are. The best of 0.07, 0.1, 0.17 and 0.3 in the cross-validation of
    colour/fit.py."""

    field_sd: float = 2.0
    """Usual size of the terms of the light over half a card, natural logarithm."""

    tilt_sd: float = 0.2
    """Usual size of a second lamp's tint over half a card, natural logarithm."""

    white_reflectance_min: Annotated[float, Limits(0, 0.7)] = 0.55
    """Nominal linear value from which a swatch counts as white when exposure is judged."""

    calibration_white_min: float = 0.12
    """Least linear signal of the paper on a photo of the fresh card, from which all later photos
    take their colours: three stops under, so that its noise stays small (common practice, no
    source)."""
