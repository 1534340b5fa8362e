"""Good photos with truth: where they come from, and whether a limit was chosen on them."""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tests.accuracy.foreign_truth import read_set


@dataclass(frozen=True)
class TruePhoto:
    """A photo and its true coverage, percent."""

    path: Path
    true_percent: float


@dataclass(frozen=True)
class Source:
    """Photos of one kind.

    Attributes
    ----------
    word, meaning
        A stable word, and what tables say of the photos.
    blind
        True where no limit of the program was chosen on them.
    """

    word: str
    meaning: str
    blind: bool
    photos: tuple[TruePhoto, ...]

    def every(self, step: int) -> Source:
        """One photo of so many."""
        return replace(self, photos=self.photos[::step])


def scenes(folders: Sequence[Path], *, word: str, meaning: str, blind: bool) -> Source:
    """Rendered photos with ``STEM.json`` beside each."""
    found = []
    for folder in folders:
        for path in sorted(folder.glob("*.jpg")):
            numbers = json.loads(path.with_suffix(".json").read_text("utf-8"))
            found.append(TruePhoto(path, float(numbers["coverage_percent"])))
    return Source(word, meaning, blind, tuple(found))


def samples(folder: Path) -> Source:
    """The good photos of the sample shelf."""
    with (folder / "truth.csv").open(encoding="utf-8", newline="") as table:
        rows = [row for row in csv.DictReader(table) if row["must_be_refused"] == "no"]
    photos = [TruePhoto(folder / row["photo"], float(row["coverage_percent"])) for row in rows]
    return Source("samples", "the sample shelf", False, tuple(photos))


def singles(folder: Path, *, word: str, meaning: str, blind: bool) -> Source:
    """The single photos of a set as :mod:`tests.accuracy.foreign_truth` has them."""
    photos = [TruePhoto(p.photo, p.true_percent) for p in read_set(folder, "single")]
    return Source(word, meaning, blind, tuple(photos))


def foreign(folder: Path) -> Source:
    """Another renderer's single photos: limits of edits were chosen with them in view."""
    return singles(folder, word="foreign", meaning="another renderer's photos", blind=False)
