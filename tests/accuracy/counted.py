"""What counting walls is worth: ``python -m tests.accuracy.counted SET --group single``.

Photos of a set with truth (:mod:`tests.accuracy.foreign_truth`) are read one by one. Then, many
times over, the first walls of the order in which to count are counted: answers come from the truth,
a share of them slips to another answer. Readings are put right, and all walls held against the
truth.
"""

from __future__ import annotations

import argparse
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import (
    COVERED,
    OFF_COLOUR,
    ByteArray,
    Coverage,
    FloatArray,
    TissueClass,
    WallThumbnail,
)
from jarvision.register.counts import POINT_WORDS, CountedPoint, PointWord
from jarvision.settings.count import CountSettings
from jarvision.truth.adjust import Compared, adjustment_from
from jarvision.truth.choose import Candidate, in_order
from jarvision.truth.counted import walls_of
from jarvision.truth.points import points_of
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look
from jarvision.vision.tissue.thumbnail import shrink

from .foreign_truth import ForeignPhoto, read_set

WALLS = (0, 3, 6, 12)
SLIPS = 0.03
NOW = datetime(2026, 1, 1)


@dataclass(frozen=True)
class ReadWall:
    """A wall as it was read, with its truth.

    Attributes
    ----------
    true
        ``(rows, cols)`` true classes on the wall's grid.
    """

    read: Coverage
    thumbnail: WallThumbnail
    true: ByteArray
    angles_deg: FloatArray
    heights_mm: FloatArray
    true_percent: float
    family: str

    def answer(self, angle_deg: float, height_mm: float) -> PointWord:
        """What a person sees there who never errs."""
        row = int(np.abs(self.heights_mm - height_mm).argmin())
        col = int(np.abs(self.angles_deg - angle_deg).argmin())
        kind = self.true[row, col]
        if kind in COVERED:
            return "white"
        if kind in OFF_COLOUR:
            return "off-colour"
        return "bare" if kind in (TissueClass.BARE, TissueClass.WET) else "cannot tell"


def read_wall(photo: ForeignPhoto) -> ReadWall | None:
    """Read one photo; None when it was refused."""
    opened = read_photo(photo.photo, name=photo.photo.name)
    try:
        sight = look(opened)
    except PhotoRefusedError:
        return None
    return ReadWall(
        read=sight.coverage,
        thumbnail=shrink(sight.wall, sight.tissue),
        true=photo.classes_at(sight.wall, photo_scale=opened.scale),
        angles_deg=sight.wall.angles_deg,
        heights_mm=sight.wall.heights_mm,
        true_percent=photo.true_percent,
        family=photo.family,
    )


def count(
    wall: ReadWall, content: str, weight: float, rng: np.random.Generator, *, wanted: int
) -> Compared | None:
    """Count a wall's points, and hold the count against the reading."""
    places = points_of(content, wall.thumbnail, wanted=wanted)
    points = []
    for place in places:
        word = wall.answer(*place.place)
        if rng.random() < SLIPS:
            word = rng.choice([other for other in POINT_WORDS if other != word])
        points.append(CountedPoint(content, *place.place, word, "", NOW, len(places), weight))
    found = walls_of(points)
    return Compared(found[0], wall.read) if found else None


def draw(walls: Sequence[ReadWall], many: int, number: int) -> tuple[float, ...]:
    """One draw: bias, mean error, share of intervals that hold, mean width; all in points."""
    rng = np.random.default_rng([number, many])
    named = {
        hashlib.sha256(f"{number} {place}".encode()).hexdigest(): wall
        for place, wall in enumerate(walls)
    }
    picks = in_order([
        Candidate(content, wall.read.percent, wall.read.low, wall.read.high, (wall.family, ""))
        for content, wall in named.items()
    ])[:many]  # fmt: skip
    settings = CountSettings(least_walls=2)
    pairs = (
        count(named[p.candidate.photo], p.candidate.photo, p.weight, rng, wanted=settings.per_wall)
        for p in picks
    )
    adjustment = adjustment_from(filter(None, pairs), settings)
    told = [adjustment.of(wall.read) if adjustment else wall.read for wall in walls]
    true = np.array([wall.true_percent for wall in walls])
    off = np.array([read.percent for read in told]) - true
    held = [read.low <= x <= read.high for read, x in zip(told, true, strict=True)]
    width = np.mean([read.high - read.low for read in told])
    return float(off.mean()), float(np.abs(off).mean()), 100.0 * np.mean(held), float(width)


def main() -> None:
    """Read a set and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photos", type=Path, help="folder of the set")
    parser.add_argument("--group", default="single")
    parser.add_argument("--draws", type=int, default=200)
    args = parser.parse_args()
    measured = [photo for photo in read_set(args.photos, args.group) if photo.measured]
    walls = [wall for photo in measured if (wall := read_wall(photo)) is not None]
    print(f"{len(walls)} of {len(measured)} photos read")
    print("| walls counted | bias left | mean error | interval holds | its width |")
    print("|---|---|---|---|---|")
    for many in WALLS:
        rows = np.array([draw(walls, many, n) for n in range(args.draws if many else 1)])
        bias, error, held, width = rows.mean(axis=0)
        print(f"| {many} | {bias:+.1f} | {error:.1f} | {held:.0f} % | {width:.1f} |")


if __name__ == "__main__":
    main()
