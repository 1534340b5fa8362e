"""Thresholds of photos from above: the ring, the mouth in it and the surface of the contents."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class SurfaceSettings:
    """When a photo from above can be read, and what its geometry is taken to be."""

    px_per_mm_min: Annotated[float, Limits(1, 20)] = 2.5
    """Scale at the ring: a droplet of 1 mm is then two to three pixels wide. A common
    phone has 4 to 6 from 30 to 40 cm."""

    oblique_max_deg: Annotated[float, Limits(0, 45, above=True)] = 25.0
    """Angle between the ring's normal and the line to the camera. Asked for is straight down within
    20; sag of the sheet may add some. Beyond it the rim hides a tenth of a surface 15 mm deep."""

    edge_rise_max_mm: Annotated[float, Limits(0.1, 3)] = 0.9
    """10-90 % rise of the ring's edges: with more, droplets of 1 mm run into one another."""

    violet_excess_min: Annotated[float, Limits(0.05, 1)] = 0.35
    """The ring's colour around the hole: its blue exceeds its red and green by this share of the
    print's own excess..."""

    violet_ratio_min: Annotated[float, Limits(1, 3)] = 1.35
    """... and is so many times their mean. Printed, it has 3."""

    ring_seen_min: Annotated[float, Limits(0.2, 1)] = 0.3
    """Share of the way around the mouth on which the ring's colour shows: fruit may hang over the
    rest, a hood hides it all."""

    rim_above_mm: Annotated[float, Limits(-5, 20)] = 5.0
    rim_above_sd_mm: Annotated[float, Limits(0.5, 10)] = 2.5
    """The rim stands so far above the ring, as its print asks: 3 to 10 mm. A photo from above does
    not show it."""

    hole_wider_mm: Annotated[float, Limits(1, 10)] = 3.9
    hole_wider_sd_mm: Annotated[float, Limits(0.2, 5)] = 0.9
    """The hole's radius over the mouth's inner one: glass of 2 to 4 mm, and a hole
    up to 4 mm wider than the mouth (common practice, no source; the steps of the circles).
    Eleven rendered photos had 3.2 to 4.6."""

    glints_max: Annotated[float, Limits(0, 0.5)] = 0.003
    """Share of the ring's dark print that mirrors a lamp: matt print does not, a hood does. 14
    rendered photos had 0 to 0.002 without a hood, five 0 to 0.015 with one."""

    patchy_max: Annotated[float, Limits(0.01, 1)] = 0.042
    """How far the light of the ring's colour may vary around the mouth over some mm: a hood's mist
    lies there in patches. 40 rendered photos without a hood had 0.005 to 0.036, eight with one 0.05
    to 0.2."""

    depth_max_mm: Annotated[float, Limits(10, 150)] = 60.0
    """Depth below the rim down to which the edge of the surface is sought."""

    depth_usual_mm: Annotated[float, Limits(0, 60)] = 20.0
    depth_usual_sd_mm: Annotated[float, Limits(1, 40)] = 9.0
    """Where the view does not tell the depth, lengths are taken there: 5 to 40 mm are common
    practice, no source."""

    white_level_min: Annotated[float, Limits(0, 1)] = 0.12
    """The card's white reaches so much of the full signal: in less light noise passes for growth
    and droplets. Two dark rendered photos had 0.03 and 0.04, good ones 0.33 and more."""

    cover_floor_points: Annotated[float, Limits(0, 100)] = 3.0
    """What a coverage may be off at its best, points: the usual error on 30 rendered photos that
    the network had not learned from was 3..."""

    cover_doubt_weight: Annotated[float, Limits(0, 10)] = 1.1
    """... and so many times the mean chance of a wrong answer more, as 29 of those 30 needed..."""

    cover_hidden_weight: Annotated[float, Limits(0, 10)] = 0.1
    """... and this share of the surface that fruit bodies, rim or glare hide."""

    patch_confidence_max: Annotated[float, Limits(0, 1)] = 0.5
    """No area on a surface is surer than this, so that mould there asks for a look and does not
    throw a jar out by itself: shade and dark contents are taken for mould now and then."""

    seen_min_percent: Annotated[float, Limits(5, 100)] = 40.0
    """Share of the surface that must be judged, percent: below it, what is hidden says more."""

    shade_share_max: Annotated[float, Limits(0, 0.5)] = 0.02
    """Corrected light under which nothing can be told, as a share of white."""
