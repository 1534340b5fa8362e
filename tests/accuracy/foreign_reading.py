"""Photos with truth, read as a grower's folder is: answers by photo and by place.

Coverage, interval and verdicts come from :func:`jarvision.run.score.score_shelf`, so that whatever
the program learns from a jar's other days counts; the classes of places come from
:func:`jarvision.vision.read.look`, photo by photo.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.history.smoothing import read_together
from jarvision.records import ByteArray, Coverage, FloatArray, Reading, ShelfResult, TissueClass
from jarvision.settings.groups import Settings
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look
from tests.support.scoring import score_folder

from .figures import Answer
from .foreign_truth import ForeignPhoto
from .matching import match_patches

MOULDS = (TissueClass.GREEN, TissueClass.BLACK, TissueClass.PINK, TissueClass.YELLOW)
READ_AS = (
    ("bare", (TissueClass.BARE,)),
    ("growth", (TissueClass.MYCELIUM,)),
    ("stain", (TissueClass.STAIN,)),
    ("wet", (TissueClass.WET,)),
    ("mould", MOULDS),
)
"""Columns of the table of places."""

TRUE_KINDS = (
    TissueClass.BARE,
    TissueClass.MYCELIUM,
    TissueClass.STAIN,
    TissueClass.WET,
    TissueClass.GREEN,
    TissueClass.BLACK,
    TissueClass.PINK,
)
"""Its rows."""

SPOILT_CM2 = 0.25
"""Less true stain, wet or mould than this in view leaves a jar clean."""


@dataclass(frozen=True)
class Places:
    """The places of one photo that were judged and whose truth is known.

    ``table`` is ``(rows, columns)``: area in cm2, true kind by what it was read as; the last column
    is all else. ``counts`` are those of :func:`tests.accuracy.matching.match_patches`.
    """

    table: FloatArray
    counts: Counter[str]

    def true_cm2(self, *kinds: TissueClass) -> float:
        """True area of some kinds, cm2."""
        return float(sum(self.table[TRUE_KINDS.index(kind)].sum() for kind in kinds))

    @property
    def clean(self) -> bool:
        """Whether nothing in view is stained, wet or mouldy."""
        spoilt = set(TRUE_KINDS) - {TissueClass.BARE, TissueClass.MYCELIUM}
        return self.true_cm2(*spoilt) < SPOILT_CM2


@dataclass(frozen=True)
class Seen:
    """One photo: its truth, the answers, and its places where it was read.

    ``together`` is the answer with the jar's other days, ``today`` with the days before alone.
    """

    photo: ForeignPhoto
    answer: Answer
    places: Places | None
    together: Answer
    today: Answer


def places_of(photo: ForeignPhoto) -> Places | None:
    """Read one photo by itself and hold its places against the truth; None when it was refused."""
    read = read_photo(photo.photo, name=photo.photo.name)
    try:
        sight = look(read)
    except PhotoRefusedError:
        return None
    true = photo.classes_at(sight.wall, photo_scale=read.scale)
    known = sight.wall.judged & np.isin(true, TRUE_KINDS)
    true, said = np.where(known, true, 0), np.where(known, sight.tissue.classes, 0)
    cell = sight.wall.cell_cm2
    return Places(_table(true, said) * cell, match_patches(true, said, cell_cm2=cell))


def _table(true: ByteArray, said: ByteArray) -> FloatArray:
    """Cells by true kind and by what they were read as."""
    counts = np.zeros((len(TRUE_KINDS), len(READ_AS) + 1))
    for row, kind in enumerate(TRUE_KINDS):
        here = said[true == kind]
        counts[row, :-1] = [np.isin(here, kinds).sum() for _, kinds in READ_AS]
        counts[row, -1] = here.size - counts[row].sum()
    return counts


def read_group(photos: tuple[ForeignPhoto, ...], *, jobs: int) -> tuple[list[Seen], ShelfResult]:
    """Score the folder of these photos, and look at each of them that is measured."""
    root = _folder_of(photos)
    with tempfile.TemporaryDirectory() as out:
        shelf = score_folder(root, out=Path(out), jobs=jobs)
    readings = {(root / reading.photo).resolve(): reading for reading in shelf.readings}
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        measured = [photo for photo in photos if photo.measured]
        places = list(pool.map(places_of, measured, chunksize=4))
    curve, by_day = _days_together(shelf)
    seen = []
    for photo, there in zip(measured, places, strict=True):
        reading = readings[photo.photo.resolve()]
        own = _answer(photo, reading)
        both = (replace(own, coverage=known.get(reading.photo)) for known in (curve, by_day))
        seen.append(Seen(photo, own, there, *both))
    return seen, shelf


def _days_together(shelf: ShelfResult) -> tuple[dict[str, Coverage], dict[str, Coverage]]:
    """What the days say together, by photo: with the whole history, and as told on that day."""
    curve: dict[str, Coverage] = {}
    by_day: dict[str, Coverage] = {}
    for story in shelf.stories:
        days = story.history.days
        for number, day in enumerate(days, 1):
            told = read_together(days[:number], Settings())[-1]
            for reading in day.readings:
                curve[reading.photo], by_day[reading.photo] = day.level, told.level
    return curve, by_day


def _folder_of(photos: tuple[ForeignPhoto, ...]) -> Path:
    """The group's folder, above those of the jars."""
    return photos[0].photo.parent.parent


def _answer(photo: ForeignPhoto, reading: Reading) -> Answer:
    return Answer(
        name=photo.photo.stem,
        fault=photo.scenario,
        true_percent=photo.true_percent,
        true_seen_percent=float("nan"),
        reason=f"{reading.reason}: {reading.detail}" if reading.reason else "",
        coverage=reading.coverage,
        kinds=tuple(filter(None, (photo.scenario, photo.family))),
    )
