"""Thresholds of the evidence for stain and for wet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class EvidenceSettings:
    """What must speak for stain and for wet on a photo: without it both are bare."""

    rim_mm: Annotated[float, Limits(0.5, 10)] = 2.5
    """A stain is held against what surrounds it so wide: half a kernel, less than growth that is
    old enough to stain has grown beyond it."""

    rim_growth_share: Annotated[float, Limits(0.3, 1)] = 0.5
    """Least share of growth in what is judged around a stain: most of it. Painted stains of 1 cm2
    and more amid growth had 0.54 to 1, brown skins amid bare contents 0.37 at most."""

    rim_area_share: Annotated[float, Limits(0.005, 1)] = 0.02
    """The growth around a stain is at least this share of the stain itself: a few specks do not
    speak for a whole wall. Painted skins that left growth to see had 0.04 or more, those over all
    of a wall 0.004 or less, but for one of 0.015."""

    unproven_chance: Annotated[float, Limits(0, 0.5)] = 0.05
    """Least chance of cover that is left to a stain for which nothing speaks (common practice, no
    source); the interval takes in the rest."""

    foot_mm: Annotated[float, Limits(0.5, 10)] = 3.0
    """What comes so near to the floor stands on it: its edge is found to 2.5 mm."""

    foot_width_share: Annotated[float, Limits(0.2, 0.9)] = 0.5
    """A wet area is pooled when it stands on the floor over this share of its width, and reaches
    the top of the contents over less: pooled water has a level. Painted wet feet stood on the floor
    over all of their width."""

    dry_below_share: Annotated[float, Limits(0.05, 1)] = 0.2
    """... and when no more than this share of what is bare or wet below its upper edge is dry:
    water fills what it stands in. Of 12 painted and 7 rendered wet feet 0.01 at most was; of false
    ones off the foot half or more."""

    wet_darker: Annotated[float, Limits(0.1, 1, unit="natural logarithm")] = 0.3
    """By so much less light than this jar's bare contents have a wet area is clearly darker: less
    than any painted wet foot was darker than the bare contents above it (0.4 to 0.8), and more than
    the 0.1 or so by which the light of one jar differs between lamps (common practice, no
    source)."""
