"""The figures that tell whether a photo can be read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import BoolArray, ByteArray, CardFit, ColourFit, FloatArray, SwatchReadings
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.card.page_edges import print_scale_seen
from jarvision.vision.colour.light import paper_layout
from jarvision.vision.quality.evenness import Evenness, measure_evenness
from jarvision.vision.quality.sharpness import Sharpness, measure_sharpness

_AROUND = 4
"""Paper spots beside a swatch that say how bright paper is there."""

_DARKEST = 1e-3
"""Paper darker than this is none: the photo is refused for its exposure."""


@dataclass(frozen=True)
class CardQuality:
    """What the card tells about a photo.

    Attributes
    ----------
    px_per_mm
        Scale at the middle of the card.
    oblique_deg
        ``(2,)`` angle between the card's normal and the line from its middle to the camera,
        sideways and up or down; positive to the right and downwards.
    sharpness
        Blur of the card's printed edges.
    white_level
        Linear signal of the brightest white swatch, 0 to 1.
    white_clipped
        Share of burnt-out pixels in the white swatch that has fewest.
    clipped_swatches
        Number of swatches with burnt-out pixels.
    noise
        Median relative spread inside the swatches that did not burn out.
    black
        Light of the card's darkest greys over that of the bare paper beside them, the lower of the
        two sides.
    print_scale
        Size of the print over the size it is taken for; None where the page's edges do not tell.
    evenness
        How the light changes over the card; None when too few greys can be compared.
    """

    px_per_mm: float
    oblique_deg: FloatArray
    sharpness: Sharpness
    white_level: float
    white_clipped: float
    clipped_swatches: int
    noise: float
    black: float
    print_scale: float | None
    evenness: Evenness | None


def measure_card(
    rgb: ByteArray,
    card: CardFit,
    swatches: SwatchReadings,
    paper: SwatchReadings,
    *,
    layout: CardLayout,
    settings: PhotoSettings,
) -> CardQuality:
    """Measure all figures that need the card alone; ``rgb`` is ``(rows, cols, 3)`` sRGB bytes.

    ``paper`` holds the readings of :func:`jarvision.vision.colour.light.paper_layout`.
    """
    white = layout.nominal_linear.min(axis=1) >= settings.colour.white_reflectance_min
    clipped = swatches.clipped > settings.colour.clipped_share_max
    plain = ~clipped & (swatches.spread <= settings.colour.swatch_spread_max)
    middle = np.array([*layout.centre_mm, 0.0])
    across, down, away = card.camera_position_mm - middle
    return CardQuality(
        px_per_mm=card.px_per_mm,
        oblique_deg=np.rad2deg(np.arctan2([across, down], -away)),
        sharpness=measure_sharpness(rgb, card, layout=layout),
        white_level=float(swatches.linear[white].mean(axis=1).max()),
        white_clipped=float(swatches.clipped[white].min()),
        clipped_swatches=count_clipped(swatches, settings=settings),
        noise=float(np.median(swatches.spread[~clipped])) if not clipped.all() else 0.0,
        black=_black_level(swatches, paper, layout=layout),
        print_scale=print_scale_seen(rgb, card, layout=layout),
        evenness=measure_evenness(swatches, plain, layout=layout),
    )


def _black_level(swatches: SwatchReadings, paper: SwatchReadings, *, layout: CardLayout) -> float:
    """Light of the darkest greys over that of the paper around them, the lower of the two sides.

    The lower one: the lamp mirrored in the print lifts one side more.
    """
    greys = [i for i, swatch in enumerate(layout.swatches) if swatch.role == "grey"]
    darkest = sorted(greys, key=lambda i: layout.swatches[i].lab[0])[:2]
    spots = paper_layout(layout).centres_mm
    levels = []
    for index in darkest:
        away = np.linalg.norm(spots - layout.centres_mm[index], axis=1)
        around = paper.linear[np.argsort(away)[:_AROUND]].mean(axis=1)
        levels.append(float(swatches.linear[index].mean() / max(np.median(around), _DARKEST)))
    return min(levels)


def count_clipped(swatches: SwatchReadings, *, settings: PhotoSettings) -> int:
    """Number of swatches with more burnt-out pixels than the colour fit bears."""
    return int(np.count_nonzero(swatches.clipped > settings.colour.clipped_share_max))


def hidden_swatches(
    swatches: SwatchReadings, colour: ColourFit, *, settings: PhotoSettings
) -> BoolArray:
    """``(n,)`` True for swatches that neither burnt out nor look as printed: something is there."""
    return ~colour.used & (swatches.clipped <= settings.colour.clipped_share_max)
