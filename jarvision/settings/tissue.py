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
class VeilSettings:
    """When what looks like contents is fog, a label or tape, by a look at the wall upside down.

    Chosen on photos with truth, edited and as they are; ``docs/method.md`` says which.
    """

    fog_chance_min: Annotated[float, Limits(0, 1)] = 0.7
    """From this chance on the specialist's word counts a place as behind fog. At 0.5 smooth growth
    that is really there was taken for fog twice as often on wholly grown jars of strange look (4.1
    in place of 2.9 % of their wall); at 0.8 twice as many photos with fog stayed wrong and sure."""

    doubt_min: Annotated[float, Limits(0, 1)] = 0.01
    """... where the generalist gives it this chance at least: without, 16 of 299 good photos lost a
    tenth of their wall and more, with it 10."""

    label_chance_min: Annotated[float, Limits(0, 1)] = 0.5
    """From this chance on the generalist's word counts a place as hidden by whatever it is. At 0.7
    a third of kraft labels and tape were missed that are found at 0.5."""

    thin_mm: Annotated[float, Limits(0)] = 1.0
    """Bridges and specks of a smaller radius are left out."""

    area_min_cm2: Annotated[float, Limits(0)] = 1.0
    """Smaller areas are left out: no label is as small, and they would hardly move the coverage."""

    border_mm: Annotated[float, Limits(0)] = 2.0
    """So far around it a veil still lies on the contents."""

    doubted_odds_min: Annotated[float, Limits(-20, 20, unit="natural logarithm")] = 1.5
    """From these odds on what looks like growth may be a veil, by how smooth and how grey it is and
    by what the networks say of it head down: then the interval takes in that it is none. Of growth
    on 74 photos, each judged by weights of the others, a twentieth was doubted from 1.1 on and a
    fiftieth from 2.5 on; of random veils painted over bare contents that were read as growth 75
    and 56 %."""

    doubted_share_min: Annotated[float, Limits(0, 1, above=True)] = 0.25
    """Of an area so much of whose growth is doubted, or hidden beside it, all is doubted. Of 96
    readings with veils and labels of six photos of the third look 12 were silently wrong before,
    none with the limits here, two without this one, whose place is not sharp: none at 0.35."""

    bluer_when_darker: Annotated[float, Limits(-10, 10)] = -0.15
    """Growth is under suspicion, too, where blue over red rises by less than this with the light:
    on the sample shelf a tenth of an area at most, and 0.28 where two lamps differ in colour."""

    suspect_share_min: Annotated[float, Limits(0, 1, above=True)] = 0.5
    """... and of an area of whose growth so much is doubted, hidden or under suspicion all is
    doubted. Without, one of the 96 stayed wrong; at a quarter the intervals of 24 good photos under
    lamps of several colours were 23 points wide in place of 17."""

    outshines_share_min: Annotated[float, Limits(0, 1)] = 0.2
    outshone_hue: Annotated[float, Limits(0, 5, unit="natural logarithm")] = 0.15
    outshone_light: Annotated[float, Limits(0, 1)] = 0.25
    """Where so much of the contents is doubted what is read as bare may be growth, if its blue over
    red is less than the doubted places' by no more than this, and its light is this share of theirs
    at least. One of the 96 needed it; without the first limit two bare jars with a few doubted
    specks had intervals of about 50 points in place of 10 and 20."""


@dataclass(frozen=True)
class LabelSettings:
    """When something flat between two straight, level lines is a label or tape of any colour.

    Chosen on photos with truth, with labels and tape painted on and as they are;
    ``docs/method.md`` says which.
    """

    long_min_mm: Annotated[float, Limits(5, 200)] = 22.0
    """Each line is at least so long: over 15 mm bits of growth end as straight."""

    long_share: Annotated[float, Limits(0.3, 1)] = 0.75
    """... and so much of it is seen as an edge: what stands beside may have the label's colour."""

    tall_min_mm: Annotated[float, Limits(2, 100)] = 5.0
    """The lines lie at least so far apart: a rubber band is less tall."""

    top_mm: Annotated[float, Limits(0, 50)] = 9.0
    foot_mm: Annotated[float, Limits(0, 50)] = 10.0
    """No line is sought so near to the fill line and to the floor. Both are level, too; and at the
    foot the glass is rounded, and contents lie in a shadow or in water that has a level."""

    step_min: Annotated[float, Limits(1, 100, unit="CIELAB")] = 6.0
    step_over_flat: Annotated[float, Limits(1, 20)] = 2.5
    """What stands beside the line differs from the flat strip by so much, and by so many times the
    strip's own unevenness."""

    flat_step: Annotated[float, Limits(1, 50, unit="CIELAB")] = 6.0
    flat_share: Annotated[float, Limits(0.3, 1)] = 0.7
    """Between the lines this share is within so much of the colour along them: print leaves most
    of a label."""

    most_share: Annotated[float, Limits(0.1, 1)] = 0.6
    """What would hide more of the contents is no label: growth that fills a jar is as flat, and
    ends as straight, at the fill line and at the floor."""

    line_share: Annotated[float, Limits(0.2, 1)] = 0.5
    outline_share: Annotated[float, Limits(0.3, 1)] = 0.75
    """Each line, and the whole outline in view, is the steepest change in this share of it: the
    edge of paper does not wander."""


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

    novelty_points: Annotated[float, Limits(0)] = 0.5
    """Points for each unit of distance beyond ``novelty_from``."""

    forecast_weight: Annotated[float, Limits(0)] = 2.0
    """Points a point of the error that the networks for strange contents expect."""

    dispute_weight: Annotated[float, Limits(0)] = 1.5
    """Points a point by which these two networks are apart. With it, and half a point in place of
    one for novelty, the truth was held on 91 in place of 89 % of the oddest jars of families left
    out, at intervals wider by a twentieth."""

    known_look_share: Annotated[float, Limits(0, 1)] = 0.7
    """What strange contents add to the interval by these four counts by this share where the jar's
    own bare look is known. Chosen on 120 photos of drawn jars with their bare photos: the truth
    was held on 97 % of them, at intervals of 13 points in place of 17; at half on 95 %."""

    head_down_from: Annotated[float, Limits(0, 100)] = 5.0
    head_down_weight: Annotated[float, Limits(0)] = 0.5
    """Points of the lower end a point by which the generalist says more than this less of the wall
    with its contents head down. Of 27 photos with 19 edits each (523 that were read, most of them
    veils) 25 were wrong and sure before veils were told by what is between drops, 8 with that, 5
    with this, too; both make intervals of the photos as they are wider by 0.7 points."""

    colour_weight: Annotated[float, Limits(0)] = 0.35
    """Points a CIEDE2000 of residual: coverage moved by 0.05 to 0.56 points for each CIEDE2000 by
    which the swatches' values were made wrong (``tests/accuracy/bad_print.py``)."""

    tint_from: Annotated[float, Limits(1)] = 1.5
    tint_points: Annotated[float, Limits(0)] = 65.0
    """Points for each unit of the logarithm by which the light's colour changes more than
    ``tint_from`` over the card: 15 at a ratio of 1.9, where two of 37 photos whose light was tinted
    lay outside intervals of 19 to 25 points."""

    seen_min_percent: Annotated[float, Limits(0, 100)] = 40.0
    """Less of the wall than this gives no reading."""
