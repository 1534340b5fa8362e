"""Photos of the fresh card -> a dated file with the colours that the printer made of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from jarvision.base.errors import NothingToScoreError, PhotoRefusedError, UsageError
from jarvision.records import Photo
from jarvision.settings.colour import ColourSettings
from jarvision.vision.calibration.as_printed import (
    CardSight,
    PrintEstimate,
    estimate_print,
    see_card,
)
from jarvision.vision.calibration.inks import InkStrength, check_inks, measure_inks
from jarvision.vision.calibration.value_files import write_as_printed
from jarvision.vision.calibration.values import CardValues
from jarvision.vision.card.layout import CardLayout, load_layout
from jarvision.vision.photo import read_photo

SCALE_TOLERANCE = 0.02
"""A print whose size is off by more is printed anew: areas would be off by 4 %, and the printer
was told to fit the page rather than to print at 100 %."""


@dataclass(frozen=True)
class LeftOutPhoto:
    """A photo that was left out, and why."""

    photo: str
    reason: str
    detail: str


@dataclass(frozen=True)
class Calibration:
    """What came of it.

    Attributes
    ----------
    path
        The file that was written.
    values
        The card values in it.
    inks
        How strong the inks are.
    estimate
        Colours with their repeatability.
    refused
        Photos that were left out.
    """

    path: Path
    values: CardValues
    inks: InkStrength
    estimate: PrintEstimate
    refused: tuple[LeftOutPhoto, ...]


def calibrate_print(
    photos: Sequence[Path],
    *,
    out: Path,
    bar_mm: float,
    layout: CardLayout | None = None,
    settings: ColourSettings | None = None,
) -> Calibration:
    """Estimate the printed card's colours from photos of it in daylight, and write them.

    Parameters
    ----------
    out
        The folder of the grower's photos; the file goes to ``calibration`` inside it, dated by
        the newest photo.
    bar_mm
        What a ruler says of the card's 100 mm bar.

    Raises
    ------
    UsageError
        The bar is off by more than 2 %, an ink has run out, or a swatch is in no photo readable.
    NothingToScoreError
        No photo shows the card well enough.
    NotWritableError
        The file cannot be written.
    """
    layout = layout or load_layout()
    scale = print_scale(bar_mm, layout=layout)
    shots, refused = _see_all(photos, layout=layout, settings=settings or ColourSettings())
    if not shots:
        first = refused[0]
        raise NothingToScoreError(
            f"None of the photos shows the card well enough ({first.photo}: {first.detail})",
            "Photograph the card alone, in daylight without sun, glare or shadow on it.",
        )
    sights = [sight for _, sight in shots]
    inks = measure_inks(sights, layout=layout)
    check_inks(inks)
    estimate = estimate_print(sights, layout=layout)
    day = max(photo.taken_at for photo, _ in shots).date()
    values = CardValues(
        linear=estimate.linear,
        reference="as-printed",
        expected_de00=estimate.expected_de00,
        source=f"as-printed-{day.isoformat()}.txt",
        print_scale=scale,
    )
    path = write_as_printed(out, values, day=day, layout=layout)
    return Calibration(path, values, inks, estimate, refused)


def print_scale(bar_mm: float, *, layout: CardLayout) -> float:
    """Size of the print over its design, from the ruler's reading of the scale bar.

    Raises
    ------
    UsageError
        Off by more than 2 %.
    """
    nominal_mm = layout.scale_bar.length_mm
    scale = bar_mm / nominal_mm
    if not abs(scale - 1.0) <= SCALE_TOLERANCE + 1e-9:
        raise UsageError(
            f"The card's {nominal_mm:.0f} mm bar measures {bar_mm:g} mm: the print has the wrong "
            "size",
            "Print it anew at 100 % (not fitted to the page) and measure the bar again.",
        )
    return scale


def _see_all(
    photos: Sequence[Path], *, layout: CardLayout, settings: ColourSettings
) -> tuple[list[tuple[Photo, CardSight]], tuple[LeftOutPhoto, ...]]:
    shots, refused = [], []
    for path in photos:
        try:
            photo = read_photo(path, name=path.name)
            shots.append((photo, see_card(photo, layout=layout, settings=settings)))
        except PhotoRefusedError as error:
            refused.append(LeftOutPhoto(str(path), error.reason, error.detail))
    return shots, tuple(refused)
