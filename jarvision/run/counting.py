"""Counts beside the register, readings in the store: which walls to count, and what counts say."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from jarvision.base.errors import UsageError
from jarvision.base.text import counted
from jarvision.records import JarEntry, Reading
from jarvision.register.counts import (
    COUNTS_NAME,
    CountedPoint,
    PointWord,
    add_points,
    read_counts,
    undo_point,
)
from jarvision.run.provenance import Provenance, made_with
from jarvision.run.shelf import Shelf
from jarvision.run.store import Known, Store
from jarvision.truth.adjust import Adjustment, Compared, adjustment_from
from jarvision.truth.choose import Candidate, in_order
from jarvision.truth.compare import ComparedJar, ShelfCounts
from jarvision.truth.counted import first_counts, walls_of
from jarvision.truth.points import WallPoint, points_of


@dataclass(frozen=True)
class CountableWall:
    """A wall that can be counted.

    Attributes
    ----------
    photo, content
        Its photo's name under the folder, and the SHA-256 of the file.
    reading
        As the photo gave it, never put right.
    points
        Where to count, in the order in which to do it.
    weight
        What a count of it will stand for.
    """

    photo: str
    content: str
    reading: Reading
    points: tuple[WallPoint, ...]
    weight: float

    @property
    def jar(self) -> str:
        """Whose wall it is."""
        return self.reading.jar

    @property
    def day(self) -> date:
        """When it was photographed."""
        return self.reading.taken_at.date()


def counts_path(shelf: Shelf) -> Path:
    """Where the counts are, or would be."""
    return shelf.register_path.parent / COUNTS_NAME


def countable_walls(shelf: Shelf, store: Store) -> tuple[CountableWall, ...]:
    """Every wall of the folder that can be counted, in the order in which to count."""
    readings = _readable(shelf, store)
    picks = in_order([_candidate(content, r, shelf) for content, (_, r) in readings.items()])
    walls = []
    for pick in picks:
        known, reading = readings[pick.candidate.photo]
        assert reading.thumbnail is not None
        wanted = shelf.settings.count.per_wall
        points = points_of(known.content, reading.thumbnail, wanted=wanted)
        if points:
            walls.append(CountableWall(reading.photo, known.content, reading, points, pick.weight))
    return tuple(walls)


def points_left(
    wall: CountableWall, counts: Iterable[CountedPoint], who: str, round_: int = 1
) -> tuple[WallPoint, ...]:
    """The points of a wall that a person has still to answer, in order."""
    done = {
        point.place
        for point in counts
        if (point.photo, point.who, point.round_) == (wall.content, who, round_)
    }
    return tuple(point for point in wall.points if point.place not in done)


def record(
    shelf: Shelf,
    wall: CountableWall,
    place: WallPoint,
    answer: PointWord,
    *,
    who: str,
    now: datetime,
    round_: int = 1,
) -> CountedPoint:
    """Write one answer down.

    Raises
    ------
    UsageError
        The wall has no such point, or the file cannot be read as it stands.
    NotWritableError
        It cannot be written.
    """
    if place not in wall.points:
        raise UsageError("The wall has no such point", "Open the page again.")
    point = CountedPoint(
        photo=wall.content,
        angle_deg=place.angle_deg,
        height_mm=place.height_mm,
        answer=answer,
        who=who,
        when=now,
        points=len(wall.points),
        weight=wall.weight,
        round_=round_,
    )
    add_points(counts_path(shelf), [point])
    return point


def take_back(
    shelf: Shelf, wall: CountableWall, *, who: str, now: datetime, round_: int = 1
) -> CountedPoint:
    """Take back a person's last answer on a wall.

    Raises
    ------
    UsageError
        There is none.
    NotWritableError
        The file cannot be written.
    """
    return undo_point(counts_path(shelf), wall.content, who, round_, now=now)


# --------------------------------------------------------------------------- what counts say
def shelf_counts(shelf: Shelf, store: Store) -> ShelfCounts:
    """Hold all counts against the readings of the same photos, where they are of today's network.

    A reading of an earlier version, or with other settings, is not compared: what it was off by
    says nothing of the readings of today. The next scoring reads the photo again, and it counts
    again.

    Raises
    ------
    UsageError
        ``counts.csv`` has a wrong line.
    """
    points = read_counts(counts_path(shelf))
    if not points:
        return ShelfCounts((), (), 0, None)
    counts = first_counts(walls_of(points))
    readings = _readable(shelf, store, among=frozenset(counts))
    compared = []
    for content, count in counts.items():
        if content in readings:
            reading = readings[content][1]
            assert reading.coverage is not None
            entry = shelf.by_photo_names.get(reading.jar, JarEntry(reading.jar, registered=False))
            pair = Compared(count, reading.coverage)
            compared.append(ComparedJar(reading.photo, entry, pair))
    return ShelfCounts(
        points=points,
        compared=tuple(compared),
        left_out=len(counts) - len(compared),
        adjustment=adjustment_from((jar.pair for jar in compared), shelf.settings.count),
    )


def put_right(readings: Sequence[Reading], adjustment: Adjustment | None) -> tuple[Reading, ...]:
    """The readings as the counts put them right; each keeps what its photo gave."""
    if adjustment is None:
        return tuple(readings)
    return tuple(
        replace(reading, coverage=adjustment.of(reading.coverage), raw_coverage=reading.coverage)
        if reading.coverage is not None
        else reading
        for reading in readings
    )


def tell_counts(counts: ShelfCounts, readings: Iterable[Reading]) -> list[str]:
    """What was changed by counts, and what was not counted, one sentence each without full stop."""
    told = []
    if counts.adjustment is not None:
        moved = [
            reading.coverage.percent - reading.raw_coverage.percent
            for reading in readings
            if reading.coverage is not None and reading.raw_coverage is not None
        ]
        walls, points = counts.adjustment.rectifier.walls, counts.adjustment.points_counted
        told.append(
            f"coverage is put right by your counts ({counted(walls, 'wall')}, "
            f"{counted(points, 'point')}): readings moved by {min(moved, default=0.0):+.1f} to "
            f"{max(moved, default=0.0):+.1f} points, their intervals are "
            f"{counts.adjustment.stretch:.2f} times as wide; readings.csv has the raw numbers, too"
        )
    if counts.left_out:
        told.append(
            f"{counted(counts.left_out, 'counted wall')} cannot be compared: its photo is not read "
            "by this version with these settings"
        )
    return told


# --------------------------------------------------------------------------- what can be counted
def _readable(
    shelf: Shelf, store: Store, *, among: frozenset[str] | None = None
) -> dict[str, tuple[Known, Reading]]:
    """Usable readings of today's network, by content: of the folder's photos, or ``among`` some.

    Photos that were named may have left the folder.
    """
    today = made_with(shelf.values, shelf.settings.photo)
    found: dict[str, tuple[Known, Reading]] = {}
    for name, known in sorted(store.index().items()):
        wanted = known.here if among is None else known.content in among
        if not wanted or known.content in found or not _alike(known.made_with, today):
            continue
        reading = store.reading(name)
        if reading is not None and reading.coverage is not None and reading.thumbnail is not None:
            reading = shelf.under_todays_name(reading)
            if reading.jar not in shelf.past.removed:
                found[known.content] = (known, reading)
    return found


def _alike(kept: Provenance, today: Provenance) -> bool:
    """Whether a reading was made with today's code, settings and card."""
    return (kept.code, kept.settings, kept.card) == (today.code, today.settings, today.card)


def _candidate(content: str, reading: Reading, shelf: Shelf) -> Candidate:
    entry = shelf.by_photo_names.get(reading.jar)
    coverage = reading.coverage
    assert coverage is not None
    return Candidate(
        photo=content,
        percent=coverage.percent,
        low=coverage.low,
        high=coverage.high,
        contents=(entry.contents, entry.species.casefold()) if entry else ("", ""),
    )
