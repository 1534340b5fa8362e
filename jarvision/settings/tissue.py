"""Thresholds on the unrolled wall: what can be judged, fruit bodies, the interval of coverage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class MaskSettings:
    """What of the wall cannot be judged."""

    clipped_level: Annotated[int, Limits(1, 255)] = 252
    """All three bytes at or above this: the camera is burnt out."""

    spot_min_mm2: Annotated[float, Limits(0)] = 1.0
    """Smaller burnt-out specks are sparkle of fibres and wet kernels."""

    groove_mm: float = 2.5
    """So far above and below a groove its shadow and its lens hide what stands behind."""

    ring_mm: float = 1.5
    """What surrounds a burnt-out area is looked at this wide."""

    ring_white_share: float = 0.6
    """With a smaller share of growth around it a burnt-out area is a mirrored lamp."""


@dataclass(frozen=True)
class PinSettings:
    """When places that look like caps of fruit bodies are reported as pins.

    On 65 rendered photos with 0.1 cm2 of caps in view pins were found on 55, on 237 without any on
    3; the limits were chosen with these photos in view.
    """

    chance_min: Annotated[float, Limits(0, 1)] = 0.65
    """From this chance on a place counts as a cap."""

    spot_min_mm2: Annotated[float, Limits(0)] = 1.0
    """Smaller spots are left out."""

    group_mm: Annotated[float, Limits(0, above=True)] = 30.0
    area_min_cm2: Annotated[float, Limits(0)] = 0.08
    """Spots this near to each other are one group, which is reported from this area of caps on."""


@dataclass(frozen=True)
class CoverageSettings:
    """Interval of the coverage."""

    floor_points: float = 0.8
    """Half-width of the interval that is always there, points: what outline and colour cost. This
    and the three weights below, of the sets tried with rendered photos in view, are the narrowest
    that held the truth on 95 % of those whose contents the network knows."""

    doubt_weight: Annotated[float, Limits(0)] = 1.0
    """Points a percent of the network's mean doubt on what is seen."""

    guess_weight: Annotated[float, Limits(0)] = 0.6
    """Points a percent of its mean doubt on what is hidden."""

    unseen_weight: Annotated[float, Limits(0)] = 0.05
    """Points a percent of the wall that is hidden."""

    novelty_from: Annotated[float, Limits(0)] = 2.1
    novelty_full: Annotated[float, Limits(0, above=True)] = 3.1
    """Between these distances to the nearest known look of bare contents doubt comes to count as
    ``strange_doubt_weight``: half, and nine in ten of the jars learned from lie within them."""

    strange_doubt_weight: Annotated[float, Limits(0)] = 3.0
    """As ``doubt_weight``, on contents unlike any that is known. Of the sets tried, the weights
    here are the narrowest that held the truth on 95 % of rendered photos of drawn contents, each
    read by a network that never saw their family."""

    novelty_points: Annotated[float, Limits(0)] = 1.0
    """Points for each unit of distance beyond ``novelty_from``."""

    forecast_weight: Annotated[float, Limits(0)] = 2.0
    """Points a point of the error that the generalist expects, on strange contents."""

    colour_weight: Annotated[float, Limits(0)] = 0.35
    """Points a CIEDE2000 of residual: coverage moved by 0.05 to 0.56 points for each CIEDE2000 by
    which the swatches' values were made wrong (``tests/accuracy/bad_print.py``)."""

    seen_min_percent: Annotated[float, Limits(0, 100)] = 40.0
    """Less of the wall than this gives no reading."""
