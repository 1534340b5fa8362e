"""Thresholds of what the jar itself must show, whatever the card behind it does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class SightSettings:
    """When a jar is seen well enough: contents in it, and the jar itself in focus."""

    field_excess_min: Annotated[float, Limits(0.05, 1)] = 0.25
    """The card's field shows through a place of the wall whose blue exceeds its red and green by
    this share of the field's own excess. What glass mirrors is grey and leaves the excess alone:
    in rendered empty jars, with fog and drops, the wall before the field had 0.35 to 0.7 of it in
    the median, in 358 filled ones 0.19 at most."""

    field_ratio_min: Annotated[float, Limits(1, 3)] = 1.25
    """... and is so many times the mean of its red and green. The field has 3; through glass, fog
    and drops the places that passed the line above had 1.28 and more on nine of ten in every one of
    twelve rendered empty jars, white contents under light bluer by a quarter 1.2 at most."""

    field_shows_max: Annotated[float, Limits(0.42, 1)] = 0.5
    """Contents hide the foot of the field: a jar before which it shows on more than this share of
    the wall is empty or upside down. In eleven rendered empty jars it did on 0.62 and more, in one
    with a label there on 0.44; in 358 filled ones on 0.4 at most, where a bluish lamp is
    mirrored. So is a jar through whose contents, in a level band of 6 mm, it shows on more: 299
    filled ones had 0.4 at most even where the ratio above was 1.1."""

    field_reach_min: Annotated[float, Limits(0, 1)] = 0.5
    """Judged contents reach above the foot of the field over this share of their width. In 143
    filled jars they did over all of it; of rendered empty jars through which the field did not show
    at the foot, since labels, tape and fog hid it, none did over more than 0.3."""

    jar_blur_max_mm: Annotated[float, Limits(0.05, 2)] = 0.40
    """Blur of the strongest edges on the contents, mm: a jar is out of focus beyond it, however
    sharp the card is. 357 good photos showed 0.39 at most. Of eighty whose jar was blurred by a
    bell curve of about 0.6 mm one in six shows more, and they erred little more than before; of
    1.1 mm eleven in twelve do, and there the coverage was off, and sure of itself."""

    pink_cast_max: Annotated[float, Limits(0, 3)] = 0.38
    green_cast_max: Annotated[float, Limits(0, 3)] = 0.25
    amber_cast_max: Annotated[float, Limits(0, 3)] = 0.58
    blue_cast_max: Annotated[float, Limits(0, 3)] = 0.10
    """A jar on whose wall nothing is less tinted than this stands in a lamp of its own: natural
    logarithms, pink and green as distances from the line of white, straw and brown, amber and blue
    as blue over green. Over 335 rendered photos with the truth known (odd reddish contents and
    jars with moulds among them) the farthest lay at 0.35, 0.10, 0.44 and 0.01. Of 442 photos whose
    jar alone stood in coloured light, the ones the limits were chosen on, 121 were silently wrong
    without them, 9 with them. The colours of the photos reported on were printed beside."""

    pink_part_max: Annotated[float, Limits(0.5, 3)] = 1.5
    """... and one in which a twentieth of the wall is pinker than this, by the same measure: the
    card's field, seen through the glass in a lamp of little blue, is taken for contents. Of 42
    photos, pink moulds among them, the pinkest twentieth began at 0.43 at most, in the two of 11
    amber lamps that passed the limits above and were read with the field, at 3.2 and 3.6."""
