"""Every threshold of the stages from card to reading: its value, its unit and why it is so."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class ColourSettings:
    """How swatches become a colour correction, and when a photo is refused for its colours."""

    clipped_share_max: float = 0.02
    """A swatch with a larger share of burnt-out pixels says nothing about its colour."""

    swatch_spread_max: float = 0.25
    """Relative spread inside a plain swatch; glare, a thumb or a shadow edge raise it."""

    swatches_min: int = 14
    """Fewest clean swatches: half of the card, five for each row of the matrix."""

    swatch_scale_de: float = 3.0
    """CIELAB distance at which a swatch starts to lose weight: the usual residual of a fit."""

    swatch_outlier_de: float = 12.0
    """CIEDE2000 beyond which a swatch counts as spoiled."""

    residual_max_de: float = 8.0
    """Median CIEDE2000 over the swatches beyond which no colour can be told."""

    white_reflectance_min: float = 0.55
    """Nominal linear value from which a swatch counts as white in the exposure check."""

    white_linear_min: float = 0.12
    """Linear signal of the card's white below which noise hides colours: three stops under."""


@dataclass(frozen=True)
class PhotoSettings:
    """Groups for the stages from card to reading."""

    colour: ColourSettings = field(default_factory=ColourSettings)
