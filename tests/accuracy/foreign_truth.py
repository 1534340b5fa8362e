"""Photos of another renderer than ``tests/scenes``, with truth: where they lie and what is true.

A set is a folder with ``photos/`` and ``truth/``, and in both the same groups: ``single`` (one
photo a jar), ``series`` (a jar on several days), ``pairs`` (a jar on its day of filling and on a
later day, which alone is measured). A group may be missing. ``truth/GROUP/truth.csv`` has one line
a photo: ``image``, ``jar_id``, ``date``, ``scenario``, ``coverage_front60_percent``, and where they
are known ``verdict``, ``family`` and ``role`` (``reference``: not measured). Beside it
``STEM_mask.png`` says what is seen at every pixel of the photo, whatever fog or glare lies over
it. The photos are no part of the project.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from jarvision.records import ByteArray, RawWall, TissueClass

IGNORED = 255
GROUPS = ("single", "series", "pairs")
SEEN_CLASS = {
    0: TissueClass.OUTSIDE,
    1: TissueClass.BARE,
    2: TissueClass.MYCELIUM,
    3: TissueClass.STAIN,
    4: TissueClass.GREEN,
    5: TissueClass.BLACK,
    6: TissueClass.PINK,
    7: TissueClass.WET,
    9: IGNORED,  # the contents' top and fruit bodies
}


@dataclass(frozen=True)
class ForeignPhoto:
    """One photo of a set and what is true of it.

    Attributes
    ----------
    photo, mask
        The JPEG, and the picture of the same size that holds the class of each pixel.
    jar, date, scenario, family
        Jar and day, what goes on in the jar, and its kind of contents; empty where nobody says.
    true_percent
        Coverage within 60 degrees of the viewing direction.
    state
        ``growing``, ``ready`` or ``reject``, as the truth has it.
    measured
        False for a photo that only shows the jar's bare contents to the program.
    """

    photo: Path
    mask: Path
    jar: str
    date: str
    scenario: str
    family: str
    true_percent: float
    state: str
    measured: bool = True

    def classes_at(self, wall: RawWall, *, photo_scale: float) -> ByteArray:
        """True classes on the grid of a wall, ``(rows, cols)``: OUTSIDE or ``IGNORED`` elsewhere.

        ``photo_scale`` is working pixels per full-size pixel.
        """
        table = np.full(256, IGNORED, np.uint8)
        for value, kind in SEEN_CLASS.items():
            table[value] = kind
        encoded = np.frombuffer(self.mask.read_bytes(), np.uint8)
        mask = np.asarray(cv2.imdecode(encoded, cv2.IMREAD_GRAYSCALE), np.uint8)
        # centres of pixels: working pixel w shows full-size (w + 0.5) / scale - 0.5
        full = (wall.pixels + np.float32(0.5)) / np.float32(photo_scale) - np.float32(0.5)
        full = full.astype(np.float32)
        seen = cv2.remap(mask, full[..., 0], full[..., 1], cv2.INTER_NEAREST, borderValue=0)
        return np.asarray(table[seen], np.uint8)


def groups_of(folder: Path) -> tuple[str, ...]:
    """The groups that a set has."""
    return tuple(group for group in GROUPS if (folder / "truth" / group / "truth.csv").is_file())


def read_set(folder: Path, group: str) -> tuple[ForeignPhoto, ...]:
    """The photos of one group (``single`` or ``series``), jar by jar in order of their days.

    Where two lines name one photo the last holds: the photo was written anew.
    """
    truth = folder / "truth" / group
    with (truth / "truth.csv").open(encoding="utf-8", newline="") as lines:
        rows = {row["image"]: row for row in csv.DictReader(lines)}
    photos = [_of_row(row, folder=folder, group=group) for row in rows.values()]
    return tuple(sorted(photos, key=lambda photo: (photo.jar, photo.date)))


def _of_row(row: dict[str, str], *, folder: Path, group: str) -> ForeignPhoto:
    image = Path(row["image"])
    return ForeignPhoto(
        photo=folder / "photos" / group / image,
        mask=folder / "truth" / group / image.parent / f"{image.stem}_mask.png",
        jar=row["jar_id"],
        date=row["date"],
        scenario=row["scenario"],
        family=row.get("family", ""),
        true_percent=float(row["coverage_front60_percent"]),
        state=row.get("verdict", ""),
        measured=row.get("role", "") != "reference",
    )
