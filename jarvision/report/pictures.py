"""Pictures inside the page: read from the output folder, scaled down, as data URIs."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from jarvision.records import VerdictWord
from jarvision.vision.overlay.draw import (
    CAPTION_HEIGHT_PX,
    PICTURE_HEIGHT_PX,
    REFUSAL_CAPTION_PX,
    REFUSAL_WIDTH_PX,
)

if TYPE_CHECKING:
    from PIL.Image import Image

QUALITY: Final = 74
STRIP_PX: Final = (420, 460)
FRAME_PX: Final = (200, 200)
THUMB_PX: Final = 128
REFUSAL_PX: Final = (320, 360)

Size = tuple[int, int]
Crop = Callable[["Image"], "Image"]


@dataclass(frozen=True)
class Picture:
    """An inlined picture with its text alternative."""

    uri: str
    alt: str
    width: int
    height: int


@dataclass(frozen=True)
class Detail:
    """How much is shown of each jar: a large shelf gets smaller pictures, so that a phone opens it.

    ``film_of_all`` False shows the film strip only of jars that somebody must act on;
    ``waiting_jars`` False shows of those that wait no picture and no curve at all. ``thumb_px`` is
    the side of the small picture in the list; ``waiting_thumbs`` False leaves out that of jars that
    wait.
    """

    overlay_px: Size
    frames: int
    film_of_all: bool
    waiting_jars: bool = True
    thumb_px: int = THUMB_PX
    waiting_thumbs: bool = True

    def shows(self, verdict: VerdictWord) -> bool:
        """Whether the card of a jar has pictures and a curve."""
        return self.waiting_jars or verdict != "wait"


_FINE: Final = Detail((720, 800), 14, film_of_all=True)
_MIDDLE: Final = Detail((560, 620), 10, film_of_all=True)
_COARSE: Final = Detail((420, 480), 7, film_of_all=False)
_SMALL: Final = Detail((320, 360), 0, film_of_all=False, waiting_jars=False)
IN_LIST: Final = Detail((0, 0), 0, film_of_all=False, thumb_px=84, waiting_thumbs=False)
"""In the list of a page whose jars have files of their own; as sharp as a phone shows it."""

IN_FILE: Final = Detail((560, 620), 7, film_of_all=True)
"""In the file of one jar."""

_MOST_FINE, _MOST_MIDDLE, _MOST_COARSE = 24, 80, 160  # jars; about 5, 10 and 15 MB of page


def detail_for(jars: int) -> Detail:
    """Choose how much is shown for a shelf of so many jars."""
    if jars <= _MOST_FINE:
        return _FINE
    if jars <= _MOST_MIDDLE:
        return _MIDDLE
    return _COARSE if jars <= _MOST_COARSE else _SMALL


def inline(
    out: Path, relative: str, box: Size, alt: str, *, crop: Crop | None = None
) -> Picture | None:
    """Inline a picture of the output folder, scaled into ``box``; None when it is not there."""
    from PIL import Image

    if not relative:
        return None
    try:
        with Image.open(out / relative) as image:
            image.draft("RGB", (box[0] * 2, box[1] * 2))
            shown = crop(image) if crop else image
            shown.thumbnail(box, Image.Resampling.LANCZOS)
            data = io.BytesIO()
            shown.convert("RGB").save(data, "JPEG", quality=QUALITY, optimize=True)
            width, height = shown.size
    except (OSError, ValueError):  # a picture that went missing must not cost the page
        return None
    uri = "data:image/jpeg;base64," + base64.b64encode(data.getvalue()).decode("ascii")
    return Picture(uri, alt, width, height)


def without_caption(image: Image) -> Image:
    """Cut off the caption: the page tells the same in letters that grow with the reader's."""
    width, height = image.size
    share = CAPTION_HEIGHT_PX / PICTURE_HEIGHT_PX
    return image.crop((0, 0, width, height - round(height * share)))


def without_advice(image: Image) -> Image:
    """Cut the advice off the picture of a refused photo: it stands beside it in the page."""
    width, height = image.size
    deep = round(REFUSAL_CAPTION_PX * width / REFUSAL_WIDTH_PX)
    return image.crop((0, 0, width, max(1, height - deep)))


def middle_square(image: Image) -> Image:
    """Cut the largest square from the middle."""
    width, height = image.size
    side = min(width, height)
    left, top = (width - side) // 2, (height - side) // 2
    return image.crop((left, top, left + side, top + side))
