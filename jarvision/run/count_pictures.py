"""The wall of a photo once more, for a person to look at: as it was read, without any answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np

from jarvision.base.colourspace import srgb_bytes
from jarvision.base.errors import UsageError
from jarvision.base.text import printable
from jarvision.records import BareLook, ByteArray, Wall
from jarvision.run.counting import CountableWall
from jarvision.run.jobs import Job
from jarvision.run.score import job_of_photo
from jarvision.run.shelf import Shelf
from jarvision.run.stamps import content_of
from jarvision.run.store import Known
from jarvision.truth.points import WallPoint
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look
from jarvision.vision.which import which_jar

SHOWN_PX_PER_MM: Final = 8.0
"""Of the picture: twice what a photo resolves, so that a kernel is as wide as a fingertip."""

_LIGHT: Final = 0.8
"""White growth is nearly as light as paper: its texture must not burn out."""

_JPEG_QUALITY: Final = 90


@dataclass(frozen=True)
class CountingPicture:
    """A wall laid flat for counting.

    Attributes
    ----------
    jpeg
        The picture; it bears no mark of any kind.
    width, height
        Its size, pixels.
    places
        ``(x, y)`` of each of the wall's points in it, pixels.
    """

    jpeg: bytes
    width: int
    height: int
    places: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class WallRequest:
    """What a worker needs to walk a photo to its wall as the last scoring did; small, picklable.

    Attributes
    ----------
    job
        The photo, and what the grower says of it.
    content
        SHA-256 of the photo that was read.
    bare
        The bare look that it was held against; None for none.
    """

    job: Job
    content: str
    bare: BareLook | None


def request_wall(shelf: Shelf, counting: CountableWall, index: Mapping[str, Known]) -> WallRequest:
    """Gather what a wall is walked to again with; ``index`` is that of the store."""
    job = job_of_photo(shelf, shelf.folder / counting.photo, root=shelf.folder, out=None)
    return WallRequest(job, counting.content, _bare_look(shelf, counting, index))


def wall_again(asked: WallRequest) -> Wall:
    """Walk a photo to its wall once more. It decodes the photo: for worker processes.

    Raises
    ------
    UsageError
        The photo is not the one that was read.
    PhotoRefusedError
        It cannot be read any more.
    """
    job = asked.job
    if not job.path.is_file() or content_of(job.path) != asked.content:
        raise UsageError(
            f"{printable(job.name)} is not the photo that was read", "Score the folder again."
        )
    photo = read_photo(job.path, name=job.name, dated=job.parts.day)
    known = which_jar(photo, job.parts, shapes=job.shapes)
    assert job.settings is not None and job.values is not None
    return look(
        photo,
        settings=job.settings,
        values=job.values,
        shape=known.shape,
        squares=known.squares,
        bare=asked.bare,
    ).wall


def counting_picture(asked: WallRequest, points: tuple[WallPoint, ...]) -> CountingPicture:
    """Walk a photo to its wall and draw it for counting, in one go: a wall is large to send."""
    return draw_for_counting(wall_again(asked), points)


def _bare_look(
    shelf: Shelf, counting: CountableWall, index: Mapping[str, Known]
) -> BareLook | None:
    """What the photo was held against: it decides where the contents begin and end."""
    shown, day = counting.reading.reference_jar, counting.reading.reference_day
    seen = (known.sighting for known in index.values())
    for sighting in seen:
        if sighting and (shown, day) == (shelf.past.now(sighting.jar), sighting.day):
            return sighting.look
    return None


def draw_for_counting(wall: Wall, points: tuple[WallPoint, ...]) -> CountingPicture:
    """Draw a wall laid flat, from the floor to the top of the glass, left to right as seen."""
    rows, cols = wall.filled.shape
    width_mm = wall.radius_mm * float(np.deg2rad(np.ptp(wall.angles_deg) * cols / (cols - 1)))
    width, height = round(width_mm * SHOWN_PX_PER_MM), round(rows * wall.step_mm * SHOWN_PX_PER_MM)
    shown = srgb_bytes(wall.linear * np.float32(_LIGHT))
    picture = cv2.resize(shown, (width, height), interpolation=cv2.INTER_CUBIC)
    step_deg = float(wall.angles_deg[1] - wall.angles_deg[0])
    places = tuple(
        (
            ((point.angle_deg - float(wall.angles_deg[0])) / step_deg + 0.5) * width / cols,
            ((float(wall.heights_mm[0]) - point.height_mm) / wall.step_mm + 0.5) * height / rows,
        )
        for point in points
    )
    jpeg = jpeg_of(np.asarray(picture, np.uint8), quality=_JPEG_QUALITY)
    return CountingPicture(jpeg, width, height, places)


def jpeg_of(rgb: ByteArray, *, quality: int) -> bytes:
    """A wall's picture as a JPEG file."""
    bgr = cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR)
    done, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise ValueError("could not encode the wall")
    return data.tobytes()
