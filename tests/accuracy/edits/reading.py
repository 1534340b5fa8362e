"""Read edited photos, and keep the answers: a photo is never read twice by the same code."""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import cache, partial
from multiprocessing import get_context
from pathlib import Path

import cv2

from jarvision import score_photo
from jarvision.base.errors import PhotoRefusedError
from jarvision.base.files import write_whole
from jarvision.records import Reading
from jarvision.run.provenance import made_with
from jarvision.vision.calibration.values import nominal_values
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look

from .files import save_edited
from .scene import Edit, JarScene
from .sources import Source, TruePhoto
from .table import EDITS, edit_digest, edited

AS_IT_IS = "as it is"
"""Stands for the photo before any edit."""

SILENT_POINTS = 5.0
KEPT_EVERY = 20


@dataclass(frozen=True)
class Answer:
    """What the program said of one edited photo, and what is true of it.

    ``reason`` is empty when it gave a reading; ``pink_cm2`` is the area of pink mould it saw.
    """

    photo: str
    edit: str
    true_percent: float
    reason: str = ""
    detail: str = ""
    percent: float = float("nan")
    low: float = float("nan")
    high: float = float("nan")
    seen_percent: float = float("nan")
    pink_cm2: float = 0.0

    @property
    def accepted(self) -> bool:
        """Whether there is a reading."""
        return not self.reason

    @property
    def error(self) -> float:
        """Coverage minus truth, points."""
        return self.percent - self.true_percent

    @property
    def held(self) -> bool:
        """Whether the interval holds the truth, to the tenth that tables show."""
        return round(self.low, 1) <= round(self.true_percent, 1) <= round(self.high, 1)

    @property
    def silent(self) -> bool:
        """Accepted, far off, and the truth outside the interval."""
        return self.accepted and abs(self.error) > SILENT_POINTS and not self.held


@cache
def code_digest() -> str:
    """Of all that makes a reading: code, networks, settings, card."""
    made = made_with(nominal_values())
    return hashlib.sha256(repr(made).encode()).hexdigest()[:12]


def answer_of(reading: Reading, photo: TruePhoto, edit: Edit | None) -> Answer:
    """What was read, beside the truth."""
    true = 0.0 if edit is not None and edit.bare else photo.true_percent
    word = edit.word if edit is not None else AS_IT_IS
    cover = reading.coverage
    if cover is None:
        return Answer(photo.path.stem, word, true, reading.reason, reading.detail)
    pink = sum(patch.area_cm2 for patch in reading.patches if patch.kind == "pink")
    return Answer(photo.path.stem, word, true, percent=cover.percent, low=cover.low,
                  high=cover.high, seen_percent=cover.seen_percent,
                  pink_cm2=float(pink))  # fmt: skip


class Kept:
    """Answers on one photo, in a file of their own: by edit, with the digest of what made it."""

    def __init__(self, cache_folder: Path, photo: TruePhoto) -> None:
        content = hashlib.sha256(photo.path.read_bytes()).hexdigest()[:8]
        self._path = cache_folder / code_digest() / f"{photo.path.stem}-{content}.json"
        known = self._path.is_file()
        self._rows = json.loads(self._path.read_text("utf-8")) if known else {}

    def get(self, word: str) -> Answer | None:
        """The answer, when the edit is still made by the same code."""
        row = self._rows.get(word)
        if row is None or row["digest"] != _digest(word):
            return None
        return Answer(**{name: _number(value) for name, value in row["answer"].items()})

    def put(self, answer: Answer) -> None:
        """Remember an answer."""
        said = {k: None if v != v else v for k, v in asdict(answer).items()}
        self._rows[answer.edit] = {"digest": _digest(answer.edit), "answer": said}

    def save(self) -> None:
        """Write the file whole."""
        self._path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(self._path, json.dumps(self._rows, indent=0).encode())


def _digest(word: str) -> str:
    return "" if word == AS_IT_IS else edit_digest(word)


def _number(value: str | float | None) -> str | float:
    return float("nan") if value is None else value


def read_photo_edited(
    photo: TruePhoto, *, words: Sequence[str], cache_folder: Path
) -> list[Answer]:
    """All answers on one photo, as it is first; one that is refused or wrong so is not edited."""
    cv2.setNumThreads(1)
    kept = Kept(cache_folder, photo)
    first = kept.get(AS_IT_IS)
    if first is None:
        first = answer_of(score_photo(photo.path, folder=photo.path.parent), photo, None)
        kept.put(first)
        kept.save()
    if not first.accepted or first.silent:
        return [first]
    todo = [word for word in words if kept.get(word) is None]
    if todo:
        _read(todo, photo, kept)
    return [first, *filter(None, (kept.get(word) for word in words))]


def _read(words: Iterable[str], photo: TruePhoto, kept: Kept) -> None:
    try:
        scene = JarScene.of(look(read_photo(photo.path, name=photo.path.name)))
    except PhotoRefusedError:
        return
    with tempfile.TemporaryDirectory() as scratch:
        for number, word in enumerate(words, 1):
            edit = EDITS[word]
            folder = Path(scratch) / word
            path = save_edited(edited(scene, edit), edit, like=photo.path, folder=folder)
            kept.put(answer_of(score_photo(path, folder=folder), photo, edit))
            path.unlink()
            if number % KEPT_EVERY == 0:
                kept.save()
    kept.save()


def read_source(
    source: Source, *, words: Sequence[str], cache_folder: Path, jobs: int
) -> list[Answer]:
    """All answers on the photos of a source."""
    read = partial(read_photo_edited, words=words, cache_folder=cache_folder)
    answers: list[Answer] = []
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        for done, some in enumerate(pool.map(read, source.photos), 1):
            answers += some
            found = some[0].reason or ", ".join(a.edit for a in some if a.silent) or "none"
            print(f"{source.word} {done} of {len(source.photos)}: {some[0].photo}, {found}",
                  flush=True)  # fmt: skip
    return answers
