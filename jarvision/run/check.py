"""Is this photo good? A quick answer while the jar still stands before the phone."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import JarShape
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.register.jar_shapes import load_jar_shapes, shapes_of
from jarvision.register.jars import REGISTER_NAME, read_register
from jarvision.register.photo_names import read_name
from jarvision.settings.toml import SETTINGS_NAME, find_settings
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.calibration.value_files import load_card_values, value_files
from jarvision.vision.calibration.values import CardValues
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look


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
    jar's glass is used, too, where the photo's name tells the jar.

    Raises
    ------
    UsageError
        What the folder holds is wrong as it stands.
    """
    name = str(path)
    notes: tuple[str, ...] = ()
    home = home_of(path)
    settings = settings or find_settings(home).photo
    values = values or load_card_values(home)
    try:
        photo = read_photo(path, name=path.name)
        notes = photo.notes
        sight = look(photo, settings=settings, values=values, shape=_shape_of(path, home))
    except PhotoRefusedError as refusal:
        return PhotoCheck(name, refusal.reason, refusal.detail, notes=notes)
    return PhotoCheck(
        photo=name,
        seen_percent=sight.coverage.seen_percent,
        colour_de00_median=sight.colour.de00_median,
        px_per_mm=sight.card.px_per_mm,
        notes=notes,
    )


def _shape_of(path: Path, home: Path) -> JarShape | None:
    """What the grower says of the glass of the jar in the photo's name; None when nothing."""
    register = home / REGISTER_NAME
    if not register.is_file():
        return None
    shapes, _ = shapes_of(read_register(register).values(), load_jar_shapes(home))
    jar = read_name(path.resolve().relative_to(home).as_posix()).jar
    return shapes.get(jar)


def home_of(path: Path) -> Path:
    """The folder that would be scored: the photo's own, or the one above a jar's folder."""
    near = path.resolve().parent
    for folder in (near, near.parent):
        if (folder / SETTINGS_NAME).is_file() or value_files(folder):
            return folder
    return near
