"""Photo -> Reading: the one place where the stages are wired together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import (
    BareLook,
    CardFit,
    ColourFit,
    Coverage,
    JarFit,
    JarShape,
    KnownLook,
    NothingGrown,
    Patch,
    Photo,
    RawWall,
    Reading,
    TimeSource,
    Tissue,
    Wall,
)
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.register.photo_names import NameParts, picture_name, read_name
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.calibration.values import CardValues, scale_layout
from jarvision.vision.card.find import read_swatches
from jarvision.vision.card.layout import CardLayout, load_layout
from jarvision.vision.card.squares import Squares, find_squares
from jarvision.vision.colour.fit import fit_colour
from jarvision.vision.colour.light import paper_layout
from jarvision.vision.jar.locate import locate_jar
from jarvision.vision.jar.unroll import unroll
from jarvision.vision.overlay.bodies import Body
from jarvision.vision.overlay.draw import (
    Caption,
    draw_overlay,
    draw_refusal,
    draw_wall_strip,
    save_picture,
)
from jarvision.vision.photo import picture_digest, read_photo, time_without_exif
from jarvision.vision.quality.diagnose import find_card_or_say_why
from jarvision.vision.quality.gate import (
    accept_card,
    accept_filled,
    accept_focus,
    accept_light,
    accept_seen,
    accept_upright,
    accept_wall,
    print_size_note,
)
from jarvision.vision.surface.look import TopAnalysis, is_from_above, look_down
from jarvision.vision.tissue.classify import classify
from jarvision.vision.tissue.coverage import measure_coverage
from jarvision.vision.tissue.evidence import unproven_cm2, weigh_evidence
from jarvision.vision.tissue.fill import fill_height_mm, fill_height_sd_mm
from jarvision.vision.tissue.patches import find_patches
from jarvision.vision.tissue.pins import find_pins
from jarvision.vision.tissue.reference import bare_look_of
from jarvision.vision.tissue.thumbnail import shrink
from jarvision.vision.which import which_jar


@dataclass(frozen=True)
class PhotoAnalysis:
    """Everything that the stages found in one photo. Heavy: it stays inside the process."""

    photo: Photo
    card: CardFit
    colour: ColourFit
    jar: JarFit
    wall: Wall
    tissue: Tissue
    patches: tuple[Patch, ...]
    coverage: Coverage

    @property
    def notes(self) -> tuple[str, ...]:
        """What must be told of file, lens and page, one sentence each without a full stop."""
        return self.photo.notes + self.jar.notes


@dataclass(frozen=True)
class WallSight:
    """The first half of the line: what stands before the tissue is classed."""

    photo: Photo
    card: CardFit
    colour: ColourFit
    jar: JarFit
    wall: RawWall
    tint_ratio: float
    """How much the colour of the light changes over the card, at least 1."""


def wall_of(
    photo: Photo,
    *,
    layout: CardLayout,
    settings: PhotoSettings,
    values: CardValues | None = None,
    shape: JarShape | None = None,
    squares: Squares | None = None,
) -> WallSight:
    """Walk one photo to its wall: card, colour, jar, unrolled wall.

    ``squares`` are those of the photo, when they are known already.

    Raises
    ------
    PhotoRefusedError
        With the reason word of the stage that could not go on.
    """
    squares = squares or find_squares(photo.rgb, layout=layout)
    try:
        card = find_card_or_say_why(photo, layout=layout, squares=squares)
        swatches = read_swatches(photo.samples, card, layout=layout)
        paper = read_swatches(photo.samples, card, layout=paper_layout(layout))
        quality = accept_card(photo, card, swatches, paper, layout=layout, settings=settings)
    except PhotoRefusedError as refusal:
        if squares.doubled:  # marks of the one were taken for those of the other
            raise PhotoRefusedError("two_cards", refusal.detail) from None
        raise
    note = print_size_note(quality, beyond=settings.acceptance.print_off_told)
    photo = replace(photo, notes=(*photo.notes, note)) if note else photo
    colour = fit_colour(swatches, paper, layout=layout, settings=settings.colour, values=values)
    card, jar = locate_jar(
        photo, card=card, colour=colour, layout=layout, settings=settings.jar, shape=shape
    )
    below_mm = settings.jar.floor_below_mm + 2.0 * jar.foot_sd_mm
    wall = unroll(photo, card=card, colour=colour, jar=jar, below_mm=below_mm)
    accept_filled(wall, card, layout=layout, settings=settings)
    accept_wall(photo, wall, swatches, colour, settings=settings)
    tint_ratio = quality.evenness.tint_ratio if quality.evenness else 1.0
    return WallSight(
        photo=photo, card=card, colour=colour, jar=jar, wall=wall, tint_ratio=tint_ratio
    )


def look(
    photo: Photo,
    *,
    settings: PhotoSettings | None = None,
    values: CardValues | None = None,
    shape: JarShape | None = None,
    squares: Squares | None = None,
    bare: BareLook | None = None,
) -> PhotoAnalysis:
    """Walk one photo down the whole line: to its wall, then tissue, patches, coverage.

    ``shape`` is what the grower says of this jar's glass; ``squares`` are those of the photo, when
    they are known already; ``bare`` is what the contents look like before anything has grown.

    Raises
    ------
    PhotoRefusedError
        With the reason word of the stage that could not go on.
    """
    settings = settings or PhotoSettings()
    layout = scale_layout(load_layout(), values.print_scale if values else 1.0)
    front = wall_of(
        photo, layout=layout, settings=settings, values=values, shape=shape, squares=squares
    )
    seen = classify(front.wall, photo, settings=settings, bare=bare)
    wall = seen.wall
    accept_upright(wall, front.card, layout=layout, settings=settings)
    accept_light(wall, wall.filled, settings=settings)
    accept_focus(wall, settings=settings)
    tissue = weigh_evidence(wall, seen.tissue, settings=settings.evidence, bare=bare)
    coverage = measure_coverage(
        wall,
        tissue,
        settings=settings.coverage,
        colour_de00=front.colour.de00_median,
        tint_ratio=front.tint_ratio,
    )
    accept_seen(coverage.seen_percent, settings=settings)
    return PhotoAnalysis(
        photo=front.photo,
        card=front.card,
        colour=front.colour,
        jar=front.jar,
        wall=wall,
        tissue=tissue,
        patches=find_patches(wall, tissue) + find_pins(wall, tissue, settings=settings.pins),
        coverage=coverage,
    )


def read_jar_photo(
    path: Path,
    *,
    root: Path,
    out: Path | None = None,
    settings: PhotoSettings | None = None,
    values: CardValues | None = None,
    shapes: Mapping[str, JarShape] | None = None,
    references: Mapping[str, KnownLook] | None = None,
    nothing_grown: Mapping[str, NothingGrown] | None = None,
    told_jar: str = "",
    jar_needed: bool = False,
) -> Reading:
    """Read one photo of a folder, whatever it holds: a refused photo is a reading too.

    Parameters
    ----------
    path, root
        The photo and the scored folder above it.
    out
        Output folder for the overlay and the wall strip, or the picture of a refused photo with
        what to do; None draws nothing.
    values
        What the swatches of the user's card are; None: the nominal values.
    shapes
        What the grower says of the glass, by jar.
    references
        What the contents look like bare, by jar; a photo of a jar without one is read on its own.
    nothing_grown
        When the grower says that nothing has grown yet, by jar.
    told_jar
        The jar that the grower has told for this photo; goes before its name.
    jar_needed
        Refuse a photo of which nothing says which jar it shows.
    """
    name = path.relative_to(root).as_posix()
    parts = read_name(name, told_jar)
    try:
        photo = read_photo(path, name=name, dated=parts.day)
    except PhotoRefusedError as refusal:
        taken = time_without_exif(path, dated=parts.day)
        return _refused(name, parts, refusal, jar=parts.jar, taken=taken)
    jar, taken = "", (photo.taken_at, photo.time_source)  # until tag and name agree: neither jar
    try:
        known = which_jar(photo, parts, shapes=shapes or {})
        jar = known.jar
        if jar_needed and not jar:
            raise PhotoRefusedError("unnamed_jar")
        if is_from_above(known.squares, told=parts.view == "top"):
            parts = replace(parts, view="top")
            above = look_down(photo, settings=settings, values=values, squares=known.squares)
            reading = _reading_of_top(above, jar=jar, parts=parts)
            return reading if out is None else _with_pictures(reading, above, out=out)
        reference = (references or {}).get(jar)
        analysis = look(
            photo,
            settings=settings,
            values=values,
            shape=known.shape,
            squares=known.squares,
            bare=reference.look if reference else None,
        )
    except PhotoRefusedError as refusal:
        reading = _refused(name, parts, refusal, jar=jar, taken=taken, notes=photo.notes)
        return reading if out is None else _with_refusal(reading, photo, out=out)
    said = (nothing_grown or {}).get(jar)
    reading = _reading_of(
        analysis,
        jar=jar,
        parts=parts,
        reference=reference,
        nothing_grown=said is not None
        and said.holds(photo.taken_at.date(), sure=photo.time_source != "file"),
    )
    return reading if out is None else _with_pictures(reading, analysis, out=out)


def _refused(
    name: str,
    parts: NameParts,
    refusal: PhotoRefusedError,
    *,
    jar: str,
    taken: tuple[datetime, TimeSource],
    notes: tuple[str, ...] = (),
) -> Reading:
    return Reading(
        photo=name,
        jar=jar,
        view=parts.view,
        taken_at=taken[0],
        time_source=taken[1],
        status="unusable",
        reason=refusal.reason,
        detail="; ".join(filter(None, (refusal.detail, *notes))),
        notes=notes,
    )


def _reading_of(
    analysis: PhotoAnalysis,
    *,
    jar: str,
    parts: NameParts,
    reference: KnownLook | None,
    nothing_grown: bool,
) -> Reading:
    learned = None
    if reference is None:
        learned = bare_look_of(analysis.wall, analysis.tissue, nothing_grown=nothing_grown)

    return Reading(
        photo=analysis.photo.name,
        jar=jar,
        view=parts.view,
        taken_at=analysis.photo.taken_at,
        time_source=analysis.photo.time_source,
        status="ok",
        detail="; ".join(analysis.notes),
        coverage=analysis.coverage,
        patches=analysis.patches,
        fill_height_mm=fill_height_mm(analysis.wall),
        colour_de00_median=analysis.colour.de00_median,
        card_values=analysis.colour.reference,
        card_values_de00=analysis.colour.expected_de00,
        radius_mm=analysis.wall.radius_mm,
        thumbnail=shrink(analysis.wall, analysis.tissue),
        groove_height_mm=analysis.wall.groove_mm,
        shape_conflict=analysis.jar.shape_conflict,
        fill_sd_mm=fill_height_sd_mm(analysis.wall, radius_sd_mm=analysis.jar.radius_sd_mm),
        notes=analysis.notes,
        bare_look=learned,
        reference_jar=reference.jar if reference else "",
        reference_day=reference.day if reference else None,
        unproven_cm2=unproven_cm2(analysis.wall, analysis.tissue),
        ignored_day=analysis.photo.ignored_day,
        picture=picture_digest(analysis.photo),
    )


def _reading_of_top(analysis: TopAnalysis, *, jar: str, parts: NameParts) -> Reading:
    photo, colour = analysis.photo, analysis.colour
    return Reading(
        photo=photo.name,
        jar=jar,
        view=parts.view,
        taken_at=photo.taken_at,
        time_source=photo.time_source,
        status="ok",
        detail="; ".join(photo.notes),
        colour_de00_median=colour.de00_median,
        card_values=colour.reference,
        card_values_de00=colour.expected_de00,
        notes=photo.notes,
        ignored_day=photo.ignored_day,
        picture=picture_digest(photo),
        top=analysis.top,
    )


def _with_pictures(
    reading: Reading, analysis: PhotoAnalysis | TopAnalysis, *, out: Path
) -> Reading:
    name = picture_name(reading.photo)
    overlay, strip = f"overlays/{name}", f"walls/{name}"
    caption = Caption(jar=reading.jar, day=reading.taken_at.date(), coverage=analysis.coverage)
    bodies: tuple[Body, ...] = ()
    if isinstance(analysis, TopAnalysis):
        caption, bodies = replace(caption, moisture=analysis.moisture), analysis.bodies
    drawn = draw_overlay(
        analysis.photo.rgb,
        jar=analysis.jar,
        wall=analysis.wall,
        tissue=analysis.tissue,
        patches=analysis.patches,
        caption=caption,
        card=analysis.card,
        bodies=bodies,
    )
    save_picture(out / overlay, drawn)
    save_picture(out / strip, draw_wall_strip(analysis.wall, analysis.tissue, analysis.patches))
    return replace(reading, overlay=overlay, wall_picture=strip)


def _with_refusal(reading: Reading, photo: Photo, *, out: Path) -> Reading:
    """Draw what is wrong with a photo that was refused under it."""
    reason = PHOTO_REASONS[reading.reason]
    overlay = f"overlays/{picture_name(reading.photo)}"
    meaning = f"Not used: {reason.meaning}"
    save_picture(out / overlay, draw_refusal(photo.rgb, title=meaning, text=reason.remedy))
    return replace(reading, overlay=overlay)
