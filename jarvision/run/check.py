"""Is this photo good? A quick answer while the jar still stands before the phone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from jarvision.base.errors import NothingToScoreError, PhotoRefusedError
from jarvision.base.text import printable
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.register.photo_names import read_name
from jarvision.run.photo_files import find_photos
from jarvision.run.shelf import Shelf, home_of, open_shelf, placed
from jarvision.settings.groups import Settings
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.calibration.values import CardValues
from jarvision.vision.photo import read_photo
from jarvision.vision.read import PhotoAnalysis, look
from jarvision.vision.surface.look import TopAnalysis, is_from_above, look_down
from jarvision.vision.which import which_jar


@dataclass(frozen=True)
class PhotoCheck:
    """What one photo is good for.

    Attributes
    ----------
    photo
        The path as the user gave it.
    reason
        A word of :data:`jarvision.records.photo_reasons.PHOTO_REASONS`, empty for a good photo.
    detail
        The numbers behind it.
    seen_percent
        Share of the filled wall that can be judged; None when the jar was not reached.
    colour_de00_median
        How well the card's colours were matched, CIEDE2000; None when they were not.
    px_per_mm
        Scale at the card; None when it was not found.
    notes
        What must be told about how the file was read.
    """

    photo: str
    reason: str = ""
    detail: str = ""
    seen_percent: float | None = None
    colour_de00_median: float | None = None
    px_per_mm: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        """True when the photo will give a reading."""
        return not self.reason

    @property
    def advice(self) -> str:
        """What to do about it, empty for a good photo."""
        return PHOTO_REASONS[self.reason].remedy if self.reason in PHOTO_REASONS else ""


def check_photo(
    path: Path, *, settings: PhotoSettings | None = None, values: CardValues | None = None
) -> PhotoCheck:
    """Walk one photo down the line and say whether it gives a reading.

    Never raises for what is wrong with the photo: that is the answer. ``values`` are those of
    the user's card, ``settings`` those of the photo's stages; None takes ``calibration`` and
    ``jarvision.toml`` beside the photo, or beside its folder. What the register there says of the
    jar's glass is used, too.

    Raises
    ------
    UsageError
        What the folder holds is wrong as it stands.
    """
    shelf = open_shelf(home_of(path), settings=Settings(photo=settings) if settings else None)
    return _checked(path, shelf, values or shelf.values)


def check_photos(
    paths: Iterable[Path], *, settings_file: Path | None = None
) -> Iterator[PhotoCheck]:
    """Check photos as :func:`check_photo` does; what lies beside them is loaded once a folder.

    A folder stands for all photos in it.

    Raises
    ------
    UsageError
        What lies beside the photos is wrong as it stands.
    NothingToScoreError
        A folder holds no photo.
    """
    shelves: dict[Path, Shelf] = {}
    for path in _all_photos(paths):
        home = home_of(path)
        if home not in shelves:
            shelves[home] = open_shelf(home, settings_file=settings_file)
        yield _checked(path, shelves[home], shelves[home].values)


def _all_photos(paths: Iterable[Path]) -> Iterator[Path]:
    for path in paths:
        if not path.is_dir():
            yield path
            continue
        found = find_photos(path)
        if not found:
            raise NothingToScoreError(
                f"No photo found in {printable(str(path))}",
                "Name a photo, or a folder with JPEG, PNG, TIFF, WebP or HEIC photos.",
            )
        yield from found


def _checked(path: Path, shelf: Shelf, values: CardValues) -> PhotoCheck:
    asked = str(path)
    name = placed(path).relative_to(shelf.folder).as_posix()
    parts = read_name(name, shelf.photo_jars.get(name, ""))
    notes: tuple[str, ...] = ()
    try:
        photo = read_photo(path, name=name, dated=parts.day)
        notes = photo.notes
        known = which_jar(photo, parts, shapes=shelf.shapes_for(name))
        settings, squares = shelf.settings.photo, known.squares
        sight: PhotoAnalysis | TopAnalysis
        if is_from_above(squares, told=parts.view == "top"):
            sight = look_down(photo, settings=settings, values=values, squares=squares)
        else:
            sight = look(
                photo, settings=settings, values=values, shape=known.shape, squares=squares
            )
    except PhotoRefusedError as refusal:
        return PhotoCheck(asked, refusal.reason, refusal.detail, notes=notes)
    notes = sight.notes
    if not known.jar:
        notes = (*notes, f"{PHOTO_REASONS['unnamed_jar'].meaning}, which score must know")
    return PhotoCheck(
        photo=asked,
        seen_percent=sight.coverage.seen_percent,
        colour_de00_median=sight.colour.de00_median,
        px_per_mm=sight.card.px_per_mm,
        notes=notes,
    )
