"""Counts beside the photos put readings right in the parent; the store keeps what photos gave."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pytest
from fake_shelf import fake_reading
from scoring import score_folder

from jarvision.base.errors import UsageError
from jarvision.records import Coverage, Reading, ShelfResult, WallThumbnail
from jarvision.register.counts import CountedPoint, add_points, read_counts
from jarvision.register.photo_names import read_name
from jarvision.run.counting import (
    CountableWall,
    countable_walls,
    points_left,
    record,
    shelf_counts,
    take_back,
)
from jarvision.run.jobs import Job
from jarvision.run.shelf import open_shelf
from jarvision.run.store import Store
from jarvision.truth.compare import ShelfCounts
from jarvision.truth.points import WallPoint
from jarvision.vision.tissue.thumbnail import SmallWall, pack_thumbnail

NOW = datetime(2026, 3, 12, 9)
LOW_BY = 6.0
"""The reader of these tests reads every wall so many points too low."""

JARS = 12


def thumbnail() -> WallThumbnail:
    shape = (50, 60)
    blank = np.zeros((100, 120), np.float32)
    return pack_thumbnail(
        SmallWall(np.zeros(shape, np.float32), np.full(shape, 2, np.uint8), blank, 42.0)
    )


THUMBNAIL = thumbnail()


@dataclass
class Counting:
    """A folder of made-up photos, a true coverage for each, and somebody who counts."""

    folder: Path
    out: Path

    def true(self, jar: str) -> float:
        return 20.0 + 5.0 * int(jar[1:])

    def read(self, job: Job) -> Reading:
        jar = read_name(job.name).jar
        percent = self.true(jar) - LOW_BY
        cover = Coverage(percent, percent - 12.0, percent + 12.0, percent, 95.0)
        told = fake_reading(jar, date(2026, 3, 10), percent)
        return replace(told, photo=job.name, coverage=cover, thumbnail=THUMBNAIL)

    def score(self) -> ShelfResult:
        return score_folder(
            self.folder,
            out=self.out,
            read=self.read,
            publish=lambda _: None,
            today=date(2026, 3, 10),
        )

    def walls(self) -> tuple[CountableWall, ...]:
        with Store(self.out, tell=print) as store:
            return countable_walls(open_shelf(self.folder), store)

    def counts(self) -> ShelfCounts:
        with Store(self.out, tell=print) as store:
            return shelf_counts(open_shelf(self.folder), store)

    def count(self, wall: CountableWall, *, most: int | None = None, who: str = "ann") -> None:
        """Answer a wall's points: as many white ones as its true coverage asks for, spread out."""
        whole = len(wall.points)
        white = {
            point
            for rank, point in enumerate(sorted(wall.points, key=lambda p: p.angle_deg))
            if rank < self.true(wall.jar) / 100.0 * whole
        }
        add_points(
            self.folder / "counts.csv",
            [
                CountedPoint(
                    wall.content, *point.place, "white" if point in white else "bare", who, NOW,
                    whole, round(wall.weight, 4),
                )
                for point in wall.points[:most]
            ],
        )  # fmt: skip


@pytest.fixture
def shelf(tmp_path: Path) -> Counting:
    folder = tmp_path / "photos"
    folder.mkdir()
    for number in range(JARS):
        (folder / f"J{number:02}_2026-03-10.jpg").write_bytes(b"photo %d" % number)
    (folder / "jars.csv").write_text(
        "jar,kind,species,substrate,started,parent,profile,notes\n"
        + "".join(f"J{n:02},spawn,oyster,rye,2026-03-01,,,\n" for n in range(JARS)),
        encoding="utf-8",
    )
    return Counting(folder, tmp_path / "out")


def percents(result: ShelfResult) -> dict[str, float]:
    return {r.jar: r.coverage.percent for r in result.readings if r.coverage}


def test_six_counted_walls_put_all_readings_right_and_say_so(shelf: Counting) -> None:
    raw = shelf.score()
    assert percents(raw) == {r.jar: shelf.true(r.jar) - LOW_BY for r in raw.readings}
    for wall in shelf.walls()[:6]:
        shelf.count(wall)
    right = shelf.score()
    off = [percent - shelf.true(jar) for jar, percent in percents(right).items()]
    assert abs(np.mean(off)) < 1.5  # of 6; fifty points do not tell single points of coverage
    told = [warning for warning in right.warnings if "put right by your counts" in warning]
    assert len(told) == 1 and "6 walls" in told[0] and "raw" in told[0]
    for before, after in zip(raw.readings, right.readings, strict=True):
        assert after.raw_coverage == before.coverage
        assert before.raw_coverage is None
    levels = {s.verdict.jar: s.verdict.coverage for s in right.stories}
    assert levels["J00"].percent > percents(raw)["J00"] + 3.0  # the story stands on them, too


def test_the_store_keeps_what_the_photo_gave_so_nothing_is_put_right_twice(
    shelf: Counting,
) -> None:
    shelf.score()
    for wall in shelf.walls()[:6]:
        shelf.count(wall)
    once = percents(shelf.score())
    assert percents(shelf.score()) == once
    with Store(shelf.out, tell=print) as store:
        kept = store.reading("J00_2026-03-10.jpg")
    assert kept is not None and kept.raw_coverage is None and kept.coverage is not None
    assert kept.coverage.percent == shelf.true("J00") - LOW_BY
    (shelf.folder / "counts.csv").unlink()
    assert percents(shelf.score())["J00"] == shelf.true("J00") - LOW_BY


def test_five_walls_and_half_a_wall_put_nothing_right(shelf: Counting) -> None:
    raw = percents(shelf.score())
    walls = shelf.walls()
    for wall in walls[:5]:
        shelf.count(wall)
    shelf.count(walls[5], most=20)
    assert percents(shelf.score()) == raw
    counts = shelf.counts()
    assert (len(counts.compared), counts.adjustment) == (5, None)


def test_another_network_drops_what_counts_said_until_photos_are_read_anew(
    shelf: Counting, monkeypatch: pytest.MonkeyPatch
) -> None:
    shelf.score()
    for wall in shelf.walls()[:6]:
        shelf.count(wall)
    assert shelf.counts().adjustment is not None
    monkeypatch.setattr("jarvision.run.provenance.code_version", lambda: "9.9+another")
    counts = shelf.counts()
    assert counts.adjustment is None
    assert (len(counts.compared), counts.left_out) == (0, 6)
    assert shelf.walls() == ()
    shelf.score()  # reads all photos again
    assert shelf.counts().adjustment is not None


def test_a_photo_that_has_left_the_folder_still_counts_and_a_renamed_one_is_the_same_wall(
    shelf: Counting,
) -> None:
    shelf.score()
    walls = shelf.walls()
    for wall in walls[:6]:
        shelf.count(wall)
    (shelf.folder / walls[0].photo).unlink()
    old = shelf.folder / walls[1].photo
    (shelf.folder / walls[1].jar).mkdir()
    old.rename(shelf.folder / walls[1].jar / old.name)
    shelf.score()
    assert len(shelf.counts().compared) == 6
    assert walls[0].content not in {wall.content for wall in shelf.walls()}
    assert walls[1].points == next(
        wall.points for wall in shelf.walls() if wall.content == walls[1].content
    )


def test_answers_are_taken_up_where_they_were_left_and_taken_back(shelf: Counting) -> None:
    shelf.score()
    wall = shelf.walls()[0]
    shelf.count(wall, most=10)
    path = shelf.folder / "counts.csv"
    assert points_left(wall, read_counts(path), "ann") == wall.points[10:]
    assert points_left(wall, read_counts(path), "ben") == wall.points
    back = take_back(open_shelf(shelf.folder), wall, who="ann", now=NOW)
    assert back.place == wall.points[9].place
    assert points_left(wall, read_counts(path), "ann") == wall.points[9:]
    with pytest.raises(UsageError, match="no such point"):
        record(open_shelf(shelf.folder), wall, WallPoint(0.0, 0.0), "white", who="a", now=NOW)


def test_walls_are_named_by_content_and_weighed(shelf: Counting) -> None:
    shelf.score()
    walls = shelf.walls()
    assert len(walls) == JARS
    for wall in walls:
        content = (shelf.folder / wall.photo).read_bytes()
        assert wall.content == hashlib.sha256(content).hexdigest()
    assert np.mean([1.0 / wall.weight for wall in walls]) == pytest.approx(1.0)  # chances add up


def test_a_wrong_line_ends_the_scoring_before_anything_is_published(shelf: Counting) -> None:
    shelf.score()
    shelf.count(shelf.walls()[0], most=1)
    path = shelf.folder / "counts.csv"
    path.write_text(path.read_text("utf-8").replace("bare", "grey").replace("white", "grey"))
    with pytest.raises(UsageError, match=r"counts\.csv, line 2"):
        shelf.score()


def test_an_answer_becomes_a_line_with_all_that_was_known(shelf: Counting) -> None:
    shelf.score()
    wall = shelf.walls()[0]
    record(open_shelf(shelf.folder), wall, wall.points[0], "off-colour", who="ann", now=NOW)
    (point,) = read_counts(shelf.folder / "counts.csv")
    assert point == CountedPoint(
        wall.content, *wall.points[0].place, "off-colour", "ann", NOW, len(wall.points),
        pytest.approx(wall.weight, abs=1e-4), 1,
    )  # fmt: skip
