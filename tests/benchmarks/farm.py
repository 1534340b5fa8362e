"""A farm: many jars over many days, whose readings are simulated; memory over time, cost of a run.

Photos are small files. What a worker would have read from each is made up from its name alone, with
as many patches and points of outlines as real readings have on average; its thumbnail is left out,
which only the telling of its jar's history looks at. So are the pictures: all photos of a jar share
one overlay and one wall. Of a large farm some stories are told, and given to the other jars
under their names: a night would not tell them all.
"""

from __future__ import annotations

import hashlib
import math
import random
import threading
import time
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import psutil

from jarvision.api import publisher
from jarvision.history.build import build_history
from jarvision.records import Coverage, JarEntry, JarHistory, JarStory, Patch, Reading
from jarvision.register.jars import Register
from jarvision.register.photo_names import read_name
from jarvision.report import curves
from jarvision.report.charts import draw_curve
from jarvision.run import telling
from jarvision.run.jobs import Job
from jarvision.run.long_histories import lean_history
from jarvision.run.provenance import made_with
from jarvision.run.score import job_of_photo, score_shelf
from jarvision.run.shelf import open_shelf
from jarvision.run.sources import NearFolder
from jarvision.run.stamps import content_of, stamp_of
from jarvision.run.store import Store
from jarvision.verdict.assess import tell_with_taught

MB = 1e6
LOOK_S = 0.5
FIRST = date(2026, 1, 1)
BATCH = 10
"""Jars that were filled alike, and teach each other."""

PATCHES, OUTLINE_POINTS = 2, 42
"""A real reading has 2.4 patches (the sample shelf); together their outlines weigh as much."""


@dataclass(frozen=True)
class Look:
    """Resident memory of the parent, MB, so many seconds after the start; what was going on."""

    seconds: float
    parent_mb: float
    doing: str


@dataclass(frozen=True)
class Farm:
    """Processor time a photo, ms, of each run over one folder, and the parent's largest memory.

    ``first``: all readings kept, all stories, the report. ``again``: nothing changed. ``one``: a
    photo more of one jar. The runs take place in processes of their own.
    """

    photos: int
    jars: int
    told: int
    first_ms: float
    again_ms: float
    one_ms: float
    first_mb: float
    again_mb: float
    looks: tuple[Look, ...]
    later: tuple[Look, ...]


def plant(folder: Path, *, jars: int, days: int) -> None:
    """Write a shelf's photos and its register."""
    folder.mkdir(parents=True)
    lines = ["jar,kind,species,substrate,started"]
    for number in range(jars):
        jar = f"F{number:04d}"
        lines.append(f"{jar},spawn,oyster,rye {number // BATCH},{FIRST - timedelta(days=2)}")
        for day in range(days):
            name = f"{jar}_{FIRST + timedelta(days=day)}.jpg"
            (folder / name).write_text(name)
    (folder / "jars.csv").write_text("\n".join(lines) + "\n")


def simulated(job: Job) -> Reading:
    """What a photo says, by its name alone."""
    parts = read_name(job.name)
    assert parts.day is not None
    chance = random.Random(job.name)
    jar = random.Random(parts.jar)
    middle, pace = jar.uniform(8.0, 14.0), jar.uniform(0.35, 0.6)
    age = (parts.day - FIRST).days
    percent = 99.0 / (1.0 + math.exp(-pace * (age - middle))) + chance.gauss(0.0, 0.6)
    percent = min(max(percent, 0.0), 100.0)
    cover = Coverage(percent, percent, 94.0, max(percent - 3.0, 0.0), min(percent + 3.0, 100.0))
    patches = tuple(_patch(chance, (100.0 - percent) / 100.0) for _ in range(PATCHES))
    return Reading(
        photo=job.name,
        jar=parts.jar,
        view=parts.view,
        taken_at=datetime.combine(parts.day, datetime.min.time().replace(hour=9)),
        time_source="exif",
        status="ok",
        coverage=cover,
        patches=patches if percent < 97.0 else (),
        fill_height_mm=95.0 + chance.gauss(0.0, 0.5),
        fill_sd_mm=0.8,
        colour_de00_median=1.4 + chance.random(),
        card_values="print.csv",
        card_values_de00=1.0,
        overlay=f"overlays/{parts.jar}.jpg",
        wall_picture=f"walls/{parts.jar}.jpg",
        radius_mm=40.0,
        picture=hashlib.sha256(job.name.encode()).hexdigest(),
    )


def _patch(chance: random.Random, share: float) -> Patch:
    angle, height = chance.uniform(-50.0, 50.0), chance.uniform(10.0, 80.0)
    radius = 3.0 + 12.0 * share
    turns = (2.0 * math.pi * n / OUTLINE_POINTS for n in range(OUTLINE_POINTS))
    outline = tuple(
        (angle + radius * math.cos(t) * 1.4, height + radius * math.sin(t)) for t in turns
    )
    return Patch("bare", math.pi * radius**2 / 100.0, angle, height, 0.9, outline)


def keep_all(folder: Path, out: Path, told: int) -> None:
    """Have the store know all readings, as if photos had been read day by day, over the months.

    Readings of the first jars are packed, those of the others are theirs under other names.
    """
    shelf = open_shelf(folder)
    out.mkdir(parents=True, exist_ok=True)
    first: dict[str, tuple[tuple[Any, ...], tuple[Any, ...]]] = {}
    with Store(out, tell=print) as store:
        db = store._db
        for path in NearFolder(folder).photos(out=out, warn=print):
            jar, day = path.stem.split("_")
            like = f"F{int(jar[1:]) % told:04d}"
            if jar == like:
                job = job_of_photo(shelf, path, root=folder, out=out)
                stamp, made = stamp_of(path), made_with(shelf.values, shelf.settings.photo)
                assert stamp is not None
                made = made.with_jar(job.told_of_jar)
                store.keep(simulated(job), stamp=stamp, content=content_of(path), made_with=made)
                name = path.name.encode()
                (row,) = db.execute("SELECT * FROM readings WHERE photo = ?", (name,))
                (lean,) = db.execute("SELECT * FROM lean_readings WHERE photo = ?", (name,))
                first[path.name] = row, lean
            else:
                rows = first[f"{like}_{day}.jpg"]
                _keep_like(db, path, rows, like=like, jar=jar)
        db.commit()


def _keep_like(db: Any, path: Path, rows: Any, *, like: str, jar: str) -> None:
    """Keep a reading of another jar, and its lean row, under a jar's own names."""
    stamp = stamp_of(path)
    assert stamp is not None
    shot = hashlib.sha256(path.name.encode()).hexdigest()

    def renamed(cell: Any) -> Any:
        if isinstance(cell, str):
            return cell.replace(like, jar)
        if not isinstance(cell, bytes):
            return cell
        if cell[:1] != b"\x78":  # a name, not what zlib packed
            return cell.replace(like.encode(), jar.encode())
        text = zlib.decompress(cell).replace(like.encode(), jar.encode())
        at = text.find(b'"picture":"') + len(b'"picture":"')
        return zlib.compress(text[:at] + shot.encode() + text[at + len(shot) :], 1)

    row, lean = ([renamed(cell) for cell in old] for old in rows)
    row[1:5] = [stamp.size, stamp.mtime_ns, stamp.inode, content_of(path)]
    lean[2:4] = [hashlib.sha256(row[12]).digest()[:12], shot]
    for table, cells in (("readings", row), ("lean_readings", lean)):
        marks = ", ".join("?" * len(cells))
        db.execute(f"INSERT INTO {table} VALUES ({marks})", cells)


class SharedStories:
    """Tells the stories of the first jars, and gives them to the others under their names."""

    def __init__(self, told: int) -> None:
        self.told = told
        self.histories: dict[int, JarHistory] = {}
        self.stories: dict[int, JarStory] = {}
        self.curves: dict[int, str] = {}

    def like(self, jar: str) -> int:
        """The jar whose story a jar has."""
        return int(jar[1:]) % self.told

    def history(self, readings: Sequence[Reading], entry: JarEntry, **given: Any) -> JarHistory:
        """In place of the package's own."""
        like = self.like(entry.jar)
        if like not in self.histories:
            self.histories[like] = lean_history(build_history(readings, entry, **given))
        days = zip(self.histories[like].days, readings, strict=False)
        own = (replace(day, jar=entry.jar, readings=(reading,)) for day, reading in days)
        return replace(self.histories[like], entry=entry, days=tuple(own))

    def story(self, history: JarHistory, register: Register, **given: Any) -> JarStory:
        """In place of the package's own."""
        jar = history.entry.jar
        like = self.like(jar)
        if like not in self.stories:
            self.stories[like] = tell_with_taught(history, register, **{**given, "batch_mates": []})
        story = self.stories[like]
        return replace(
            story,
            history=history,
            verdict=replace(story.verdict, jar=jar),
            flags=tuple(replace(flag, jar=jar) for flag in story.flags),
        )

    def curve(self, story: JarStory, **given: Any) -> str:
        """In place of the package's own: charts take a tenth of a second each."""
        like = self.like(story.verdict.jar)
        if like not in self.curves:
            self.curves[like] = draw_curve(story, **given)
        return self.curves[like]

    def instead(self) -> None:
        """Tell so in this process from now on."""
        telling.build_history = self.history  # type: ignore[assignment]
        telling.tell_with_taught = self.story  # type: ignore[assignment]
        telling.fit_siblings = lambda *_, **__: {}  # type: ignore[assignment]
        curves.draw_curve = self.curve


def draw_pictures(out: Path, jars: int) -> None:
    """One overlay and one wall for each jar."""
    import numpy as np
    from PIL import Image

    for kind, size in (("overlays", (800, 720)), ("walls", (460, 420))):
        (out / kind).mkdir(parents=True, exist_ok=True)
        grey = np.random.default_rng(1).integers(60, 200, (size[0] // 8, size[1] // 8), np.uint8)
        first = out / kind / "F0000.jpg"
        Image.fromarray(grey).resize((size[1], size[0])).convert("RGB").save(first, quality=80)
        for number in range(1, jars):
            (out / kind / f"F{number:04d}.jpg").write_bytes(first.read_bytes())


def run_once(folder: Path, out: Path, told: int = 0) -> tuple[float, tuple[Look, ...]]:
    """Score and report; processor time, s, and the memory meanwhile. For a fresh process.

    ``told``: how many stories are told (:class:`SharedStories`); 0: all.
    """
    if told:
        SharedStories(told).instead()
    shelf = open_shelf(folder)
    publish = publisher(shelf, out)
    start = time.process_time()
    with _watched() as (looks, doing):

        def progress(done: int, count: int, reading: Reading | None) -> None:
            if done == count:
                doing[0] = "stories"

        def report(result: Any) -> None:
            doing[0] = "report"
            publish(result)

        score_shelf(shelf, out=out, read=simulated, publish=report, progress=progress)
    return time.process_time() - start, tuple(looks)


@contextmanager
def _watched() -> Iterator[tuple[list[Look], list[str]]]:
    """Look at the memory of this process until the end, and at its peak."""
    looks: list[Look] = []
    doing, over, me, start = ["readings"], threading.Event(), psutil.Process(), time.monotonic()

    def look() -> None:
        while not over.wait(LOOK_S):
            at = time.monotonic() - start
            looks.append(Look(at, me.memory_info().rss / MB, doing[0]))

    thread = threading.Thread(target=look, daemon=True)
    thread.start()
    try:
        yield looks, doing
    finally:
        over.set()
        thread.join()
        looks.append(Look(time.monotonic() - start, me.memory_info().rss / MB, doing[0]))


def measure_farm(root: Path, *, jars: int, days: int, told: int = 0) -> Farm:
    """Plant a farm, score it, score it again, add a photo of one jar, score it again."""
    from tests.benchmarks.folders import alone

    folder, out, photos = root / "photos", root / "out", jars * days
    plant(folder, jars=jars, days=days)
    draw_pictures(out, jars)
    if told:
        alone(keep_all, folder, out, told)
    runs = []
    for number in range(3):
        if number == 2:
            name = f"F0007_{FIRST + timedelta(days=days - 1)}_b.jpg"
            (folder / name).write_text(name)
        spent, looks = alone(run_once, folder, out, told)
        runs.append((1e3 * spent / photos, looks))
        print(photos, "photos:", runs[-1][0], "ms", max(look.parent_mb for look in looks), "MB")
    (first, looks), (again, later), (one, _) = runs
    return Farm(
        photos=photos,
        jars=jars,
        told=told or jars,
        first_ms=first,
        again_ms=again,
        one_ms=one,
        first_mb=max(look.parent_mb for look in looks),
        again_mb=max(look.parent_mb for look in later),
        looks=looks,
        later=later,
    )
