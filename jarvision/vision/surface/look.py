"""Photo from above -> what stands on the surface: the second half of the line for such a photo."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import CardFit, ColourFit, Coverage, Patch, Photo, Tissue, Top, Wall
from jarvision.records.mouth import MouthFit, SurfacePicture
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.calibration.values import CardValues, scale_layout
from jarvision.vision.card.find import read_swatches
from jarvision.vision.card.layout import load_layout, load_ring
from jarvision.vision.card.pose import MARKS_NEEDED
from jarvision.vision.card.squares import Squares
from jarvision.vision.colour.fit import fit_colour
from jarvision.vision.colour.light import paper_layout
from jarvision.vision.overlay.bodies import Body
from jarvision.vision.quality.diagnose import find_card_or_say_why
from jarvision.vision.quality.figures import hidden_swatches
from jarvision.vision.quality.gate import accept_card
from jarvision.vision.surface.figures import SurfaceFigures, read_figures
from jarvision.vision.surface.flatten import SURFACE_CELL_MM, flatten
from jarvision.vision.surface.fruit import looks_mm
from jarvision.vision.surface.hood import accept_no_hood
from jarvision.vision.surface.mouth import locate_mouth
from jarvision.vision.surface.sight import Above, circle

_WORDS = {"no_card": "no_ring", "oblique": "not_from_above"}
"""What a photo from above is told in place of what one of the wall is."""


@dataclass(frozen=True)
class TopAnalysis:
    """Everything that was found in one photo from above. Heavy: it stays inside the process."""

    photo: Photo
    card: CardFit
    colour: ColourFit
    mouth: MouthFit
    picture: SurfacePicture
    figures: SurfaceFigures
    top: Top

    @property
    def notes(self) -> tuple[str, ...]:
        """What must be told of the file, one sentence each without a full stop."""
        return self.photo.notes

    @property
    def jar(self) -> MouthFit:
        """What stands for the jar in the picture that is drawn."""
        return self.mouth

    @property
    def wall(self) -> Wall:
        """The surface as a piece of wall."""
        return self.figures.wall

    @property
    def tissue(self) -> Tissue:
        """What stands at its places."""
        return self.figures.tissue

    @property
    def patches(self) -> tuple[Patch, ...]:
        """Its areas of one kind."""
        return self.figures.wall_patches

    @property
    def bodies(self) -> tuple[Body, ...]:
        """Pins and caps as they are drawn."""
        above, mouth = Above.of_card(self.card), self.mouth
        away = above.height_mm + mouth.surface_z_mm
        drawn = []
        for body in self.top.fruit:
            middle = mouth.axis_mm + np.array([body.x_mm, body.y_mm])
            line = above.in_photo(
                circle(middle, looks_mm(body, distance_mm=away) / 2.0), mouth.surface_z_mm
            )
            drawn.append(Body(body.kind, line.astype(np.float32), body.diameter_mm.value))
        return tuple(drawn)

    @property
    def moisture(self) -> str:
        """How wet the surface is, in words with its chance; empty where that is not told."""
        drops = self.top.droplets
        return f"{drops.moisture} ({100.0 * drops.chance:.0f} % sure)" if drops else ""

    @property
    def coverage(self) -> Coverage:
        """How much of it is covered."""
        return self.figures.coverage


def is_from_above(squares: Squares, *, told: bool) -> bool:
    """Whether a photo is read as one from above.

    It is when its name says so, ``told``, or when the ring is seen and the card is not: from the
    side, the ring's marks are too flat to be read.
    """
    ring, card = (len(squares.marks_of(layout)) for layout in (load_ring(), load_layout()))
    return told or (ring >= MARKS_NEEDED and ring > card)


def look_down(
    photo: Photo,
    *,
    settings: PhotoSettings | None = None,
    values: CardValues | None = None,
    squares: Squares | None = None,
) -> TopAnalysis:
    """Walk one photo from above down the line: ring, colour, mouth, surface, what covers it.

    ``values`` are those of the card: the ring has the same swatches. ``squares`` are those of the
    photo, when they are known already.

    Raises
    ------
    PhotoRefusedError
        With the reason word of the stage that could not go on.
    """
    settings = settings or PhotoSettings()
    flat = lay_flat(photo, settings=settings, values=values, squares=squares)
    figures = read_figures(
        flat.picture, photo, Above.of_card(flat.card), colour=flat.colour, mouth=flat.mouth,
        settings=settings.surface,
    )  # fmt: skip
    top = _top(flat.mouth, flat.picture, figures)
    return TopAnalysis(photo, flat.card, flat.colour, flat.mouth, flat.picture, figures, top)


@dataclass(frozen=True)
class FlatPhoto:
    """A photo from above with its surface laid flat, before anything is read on it."""

    card: CardFit
    colour: ColourFit
    mouth: MouthFit
    picture: SurfacePicture


def lay_flat(
    photo: Photo,
    *,
    settings: PhotoSettings,
    values: CardValues | None = None,
    squares: Squares | None = None,
    cell_mm: float = SURFACE_CELL_MM,
) -> FlatPhoto:
    """The first half of :func:`look_down`: ring, colour, mouth, the surface as a flat picture.

    Raises
    ------
    PhotoRefusedError
        As :func:`look_down` does.
    """
    try:
        return _lay_flat(photo, settings, values, squares, cell_mm)
    except PhotoRefusedError as refusal:
        if squares is not None and squares.doubled:
            raise PhotoRefusedError("two_cards", refusal.detail) from None
        word = _WORDS.get(refusal.reason, refusal.reason)
        raise PhotoRefusedError(word, refusal.detail) from None


def _lay_flat(
    photo: Photo, settings: PhotoSettings, values: CardValues | None, squares: Squares | None,
    cell_mm: float,
) -> FlatPhoto:  # fmt: skip
    limits = settings.surface
    layout = scale_layout(load_ring(), values.print_scale if values else 1.0)
    card = find_card_or_say_why(photo, layout=layout, squares=squares)
    swatches = read_swatches(photo.samples, card, layout=layout)
    paper = read_swatches(photo.samples, card, layout=paper_layout(layout))
    from_above = replace(
        settings.acceptance,
        px_per_mm_min=limits.px_per_mm_min,
        oblique_max_deg=limits.oblique_max_deg,
        edge_rise_max_mm=limits.edge_rise_max_mm,
        white_level_min=limits.white_level_min,
    )
    accept_no_hood(photo, card, layout=layout, settings=limits)
    accept_card(
        photo, card, swatches, paper, layout=layout,
        settings=replace(settings, acceptance=from_above),
    )  # fmt: skip
    colour = fit_colour(swatches, paper, layout=layout, settings=settings.colour, values=values)
    hidden = int(hidden_swatches(swatches, colour, settings=settings).sum())
    if hidden > settings.acceptance.hidden_swatches_max:
        raise PhotoRefusedError("card_hidden", f"{hidden} of {len(swatches.names)} look wrong")
    above = Above.of_card(card)
    mouth = locate_mouth(photo, above, colour=colour, layout=layout, settings=limits)
    picture = flatten(
        photo, above, colour=colour, mouth=mouth, settings=settings, cell_mm=cell_mm
    )  # fmt: skip
    _accept_seen(picture, limits.seen_min_percent, settings=settings)
    return FlatPhoto(card, colour, mouth, picture)


def _accept_seen(picture: SurfacePicture, least: float, *, settings: PhotoSettings) -> None:
    glare = 100.0 * float(picture.glare.sum()) / float(picture.within.sum())
    if glare > settings.acceptance.glare_max_percent:
        raise PhotoRefusedError("glare", f"{glare:.0f} % of the surface is burnt out")
    percent = 100.0 * picture.seen_cm2 / picture.surface_cm2
    if percent < least:
        raise PhotoRefusedError(
            "surface_hidden", f"only {percent:.0f} % of the surface can be judged"
        )


def _top(mouth: MouthFit, picture: SurfacePicture, figures: SurfaceFigures) -> Top:
    """The record of what was seen."""
    untold = dict(figures.untold)
    if mouth.below_rim_mm is None:
        untold["below_rim_mm"] = mouth.untold
    return Top(
        mouth_mm=mouth.inner_mm,
        surface_cm2=picture.surface_cm2,
        seen_cm2=picture.seen_cm2,
        coverage=figures.coverage,
        patches=figures.patches,
        droplets=figures.droplets,
        pins=figures.count("pin"),
        caps=figures.count("cap"),
        largest_pin_mm=figures.largest("pin"),
        largest_cap_mm=figures.largest("cap"),
        fruit=figures.fruit,
        below_rim_mm=mouth.below_rim_mm,
        untold=untold,
    )
