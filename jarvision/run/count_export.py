"""Counted walls as files for training: the wall's picture and the points, and nothing else.

One ``.npz`` a wall. Photo, jar, place, names and times stay at home: of a photo goes only what
stands behind the glass, laid flat, black where there are no contents; people become numbers.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from jarvision.base.colourspace import srgb_encode
from jarvision.base.errors import PhotoRefusedError, UsageError
from jarvision.base.files import write_whole
from jarvision.base.version import __version__
from jarvision.records import Wall
from jarvision.register.counts import POINT_WORDS, CountedPoint
from jarvision.run.count_pictures import jpeg_of
from jarvision.truth.counted import is_finished

HEADROOM: Final = 2.0
"""Linear light is halved before it is encoded, so that what is lighter than the card is kept."""

_QUALITY: Final = 97
ANSWERS: Final = tuple(POINT_WORDS)
"""An answer is stored as its place in this row."""

LICENCE_NAME: Final = "LICENCE.txt"


@dataclass(frozen=True)
class Exported:
    """What was written: walls and points, and the photos that could not be read again."""

    walls: int
    points: int
    refused: tuple[str, ...]


def export_counts(
    points: Iterable[CountedPoint],
    photos: Mapping[str, str],
    wall_of: Callable[[str], Wall],
    folder: Path,
    *,
    licence: str,
) -> Exported:
    """Write every wall that was counted to its end, and the licence that its owner has confirmed.

    Parameters
    ----------
    photos
        Names of photos by content; counts of others are left out.
    wall_of
        Walks a photo, by its content, to its wall once more.
    licence
        One line under which others may use the files.

    Raises
    ------
    UsageError
        The licence is empty or more than a line.
    NotWritableError
        The folder cannot be written.
    """
    if not licence.strip() or not licence.isprintable():
        raise UsageError(
            "The licence is no line of text", "For example: --licence 'CC BY 4.0, by A. Grower'."
        )
    people: dict[str, int] = {}
    walls = {content: part for content, part in _finished(points).items() if content in photos}
    folder.mkdir(parents=True, exist_ok=True)
    refused, written = [], 0
    for content, part in walls.items():
        try:
            wall = wall_of(content)
        except (PhotoRefusedError, UsageError):
            refused.append(photos[content])
            continue
        numbers = [people.setdefault(point.who, len(people) + 1) for point in part]
        write_whole(folder / f"{content[:16]}.npz", _packed(wall, part, numbers, licence))
        written += len(part)
    write_whole(folder / LICENCE_NAME, f"{licence.strip()}\n".encode())
    return Exported(len(walls) - len(refused), written, tuple(refused))


def _finished(points: Iterable[CountedPoint]) -> dict[str, list[CountedPoint]]:
    """Points by content, of counts that came to their end."""
    counts: dict[tuple[str, str, int], list[CountedPoint]] = {}
    for point in points:
        counts.setdefault((point.photo, point.who, point.round_), []).append(point)
    walls: dict[str, list[CountedPoint]] = {}
    for (content, _, _), part in counts.items():
        if is_finished(part):
            walls.setdefault(content, []).extend(part)
    return walls


def _packed(
    wall: Wall, points: Sequence[CountedPoint], people: Sequence[int], licence: str
) -> bytes:
    """One wall as ``.npz``: fields as in docs/count.md."""
    rows = np.flatnonzero(wall.filled.any(axis=1))
    part = slice(int(rows[0]), int(rows[-1]) + 1)
    linear = wall.linear[part] * wall.filled[part][..., None]
    colour = np.rint(255.0 * srgb_encode(np.clip(linear / HEADROOM, 0.0, 1.0))).astype(np.uint8)
    kept = io.BytesIO()
    np.savez_compressed(
        kept,
        colour=np.frombuffer(jpeg_of(colour, quality=_QUALITY), np.uint8),
        judged=np.packbits(wall.judged[part] & wall.filled[part]),
        angles_deg=wall.angles_deg.astype(np.float32),
        heights_mm=wall.heights_mm[part].astype(np.float32),
        radius_mm=np.float32(wall.radius_mm),
        points=np.array([point.place for point in points], np.float32),
        answers=np.array([ANSWERS.index(point.answer or "") for point in points], np.uint8),
        people=np.array(people, np.uint16),
        rounds=np.array([point.round_ for point in points], np.uint8),
        licence=licence.strip(),
        made_with=__version__,
    )
    return kept.getvalue()
