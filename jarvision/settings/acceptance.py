"""Limits of a photo that can be read, each where the harm begins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class AcceptanceSettings:
    """Limits of a photo that can be read.

    Each stands where the harm begins when 30 partly grown jars of known truth are spoiled step by
    step: where a tenth of the photos moves by 3 points of coverage, or where the median photo moves
    by as much as it was wrong before (1.4 points), whichever comes first. ``docs/acceptance.md``
    shows the measurements. Of 160 good photos of all lights, these limits refuse three.
    """

    colour_step_max: Annotated[float, Limits(1, 255)] = 8.0
    """Step in which the file keeps the mean colour of a square of 8 pixels, levels of 8 bits: 1 or
    less at JPEG quality 80 and above, 5.3 at 20, 10.6 at 10, 21 at 5. At 20 the coverage of 22
    photos held, at 10 one was wrong and sure, at 5 seven."""

    px_per_mm_min: float = 1.7
    """Scale at the card. Down to here the median photo moved by 0.3 points and a tenth by 1.9; at
    1.4 by 0.9 and 3."""

    oblique_max_deg: Annotated[float, Limits(0, 60, above=True)] = 20.0
    """Angle between the card's normal and the line to the camera. No harm was seen up to 15
    degrees on random jars, nor up to 28 on three. The jar may stand 10 mm nearer or farther than
    believed, which at 20 degrees moves what is seen on it by 3.6 mm."""

    edge_rise_max_mm: float = 1.2
    """10-90 % rise of the card's edges. Around 1.15 mm a tenth moved by 2.3 points, around 1.25 by
    3.2, around 1.45 by 8. Sharp photos show 0.2 to 0.8."""

    white_clipped_max: float = 0.02
    """Share of burnt-out pixels in the white swatch that has fewest."""

    clipped_swatches_max: Annotated[float, Limits(0, 32)] = 9
    """Swatches of 32 that are burnt out. With up to 9 a tenth moved by 2 to 3 points, with 9 to 12
    by 4 (about then every white is gone), with more than 15 by 15."""

    white_level_min: Annotated[float, Limits(0, 1)] = 0.03
    """Linear signal of the card's white, five stops under the end of the scale. At 0.037 a tenth
    moved by 1.3 points, at 0.018 by 3.1, at 0.009 by 8."""

    noise_max: float = 0.12
    """Relative spread inside plain swatches. At 0.11 a tenth moved by 2.5 points, at 0.165 by 4.6.
    Good photos show 0.01 to 0.1."""

    light_ratio_max: Annotated[float, Limits(1)] = 10.0
    """Brighter over darker side of the card; the colour correction takes out what is below. Of 41
    photos none was silently wrong up to a ratio of 9, one from 12 on."""

    tint_ratio_max: Annotated[float, Limits(1)] = 2.0
    """Change of red over green or blue over green from side to side. At 1.9 two of 37 photos were
    silently wrong before ``tint_points`` widened the interval, at 2.2 four."""

    hidden_swatches_max: Annotated[float, Limits(0, 32)] = 6
    """Swatches of 32 that do not look as printed. With 6 the median photo moved by 0.9 points,
    with 7 by 1.9 and a tenth by 4."""

    glare_max_percent: Annotated[float, Limits(0, 100)] = 5.0
    """Share of the jar's wall under mirrored lamps. Of 38 photos two were silently wrong without
    any, two at 4 %, four at 6 %, six at 13 %."""

    black_max: Annotated[float, Limits(0.05, 1)] = 0.2
    """Light of the card's black over that of its bare paper. It has 0.01 to 0.08 in good photos, of
    bad printers too; ink that fades, or haze on the lens, takes it towards the paper. With a fifth
    of the way none of 43 photos was silently wrong, with three tenths five of 34 that were read."""

    print_off_max: Annotated[float, Limits(0.005, 0.2)] = 0.035
    """How far the size of the print, as the page's edges show it, may be off what it is taken for.
    Of 24 photos none was silently wrong at 97 or 103 %, one at 94 %: areas are then off by 12 %."""

    print_off_told: Annotated[float, Limits(0.005, 0.2)] = 0.01
    """From here on it is told: areas are off by twice that. The edges show it to 0.4 %."""
