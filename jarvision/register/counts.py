"""Points that a person counted on a jar's wall: ``counts.csv`` beside the register, kept for good.

Lines are only ever added. The last line of a point, person and round counts; a line ``undone``
takes back those before it. A photo is named by its content, so that it may be renamed; no pixel is
kept.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final, Literal, cast

from jarvision.base.csv_text import CsvCell
from jarvision.base.errors import UsageError
from jarvision.base.ledger import open_ledger

COUNTS_NAME: Final = "counts.csv"
COUNT_COLUMNS: Final = (
    "photo",
    "angle_deg",
    "height_mm",
    "answer",
    "who",
    "when",
    "round",
    "points",
    "weight",
)

PointWord = Literal["white", "bare", "off-colour", "cannot tell"]
POINT_WORDS: Final[Mapping[PointWord, str]] = {
    "white": "growth, or its normal stain, hides at least half of what stands under the point",
    "bare": "the contents show",
    "off-colour": "green, black, pink or yellow that is not normal for the species",
    "cannot tell": "glare, fog or a blur hides it",
}
_UNDONE: Final = "undone"
"""Takes back what was said of a point: a word of the file, and no answer."""

_CONTENT: Final = re.compile(r"[0-9a-f]{64}")
_MOST_POINTS: Final = 10_000


@dataclass(frozen=True)
class CountedPoint:
    """One line of ``counts.csv``: what somebody saw at one point of a wall.

    Attributes
    ----------
    photo
        SHA-256 of the photo's file in hex.
    angle_deg, height_mm
        Place in the wall's frame, rounded as the file has it.
    answer
        None on a line that takes back those of its point, person and round before it.
    when
        Local time of the answer.
    points
        How many points the wall has: fewer answers, and it is not finished.
    weight
        How much the wall stands for: 1 for one drawn with the same chance as any other, less for
        one that was more likely to be drawn; None for one that somebody chose.
    round_
        1 for the first time that this person counts the wall, 2 for the second, and so on.
    """

    photo: str
    angle_deg: float
    height_mm: float
    answer: PointWord | None
    who: str
    when: datetime
    points: int
    weight: float | None = None
    round_: int = 1

    @property
    def place(self) -> tuple[float, float]:
        """Angle and height."""
        return self.angle_deg, self.height_mm


def read_counts(path: Path) -> tuple[CountedPoint, ...]:
    """Read the points of ``counts.csv`` that count, in the order in which they were first answered.

    Raises
    ------
    UsageError
        With the line number, when a line is wrong.
    """
    return _counting(open_ledger(path, COUNT_COLUMNS).read(_point))


def add_points(path: Path, points: Sequence[CountedPoint]) -> None:
    """Add lines to ``counts.csv``, whole or not at all; older lines are never touched.

    Raises
    ------
    UsageError
        A point has a name that no line can hold, or the file cannot be read as it stands.
    NotWritableError
        It cannot be written.
    """
    if not all(point.who.isprintable() for point in points):
        raise UsageError("The name holds a line break or the like", "Write it on one line.")
    open_ledger(path, COUNT_COLUMNS).add(_row(point) for point in points)


def undo_point(path: Path, photo: str, who: str, round_: int, *, now: datetime) -> CountedPoint:
    """Take back the last answer of a person on a wall; a line that says so is added.

    Raises
    ------
    UsageError
        There is none, or the file has a wrong line.
    NotWritableError
        It cannot be written.
    """
    ledger = open_ledger(path, COUNT_COLUMNS)
    mine = [
        point
        for point in _counting(ledger.read(_point))
        if (point.photo, point.who, point.round_) == (photo, who, round_)
    ]
    if not mine:
        raise UsageError("Nothing was counted on this wall", "There is nothing to take back.")
    ledger.add([{**_row(mine[-1]), "answer": _UNDONE, "when": _time(now)}])
    return mine[-1]


# --------------------------------------------------------------------------- what counts
def _counting(points: Iterable[CountedPoint]) -> tuple[CountedPoint, ...]:
    """The last answer at each point, by person and round."""
    kept: dict[tuple[str, str, int, tuple[float, float]], CountedPoint] = {}
    for point in points:
        key = (point.photo, point.who, point.round_, point.place)
        if point.answer is None:
            kept.pop(key, None)
        else:
            kept[key] = point
    return tuple(kept.values())


# --------------------------------------------------------------------------- one line
def _row(point: CountedPoint) -> dict[str, CsvCell]:
    return {
        "photo": point.photo,
        "angle_deg": f"{point.angle_deg:.2f}",
        "height_mm": f"{point.height_mm:.2f}",
        "answer": point.answer or _UNDONE,
        "who": point.who,
        "when": _time(point.when),
        "round": point.round_,
        "points": point.points,
        "weight": "" if point.weight is None else f"{point.weight:.4f}",
    }


def _time(when: datetime) -> str:
    return when.isoformat(timespec="seconds")


def _point(cells: Mapping[str, str]) -> CountedPoint:
    answer = cells["answer"]
    if not _CONTENT.fullmatch(cells["photo"]):
        raise ValueError("photo is no SHA-256 of a file")
    if answer not in (*POINT_WORDS, _UNDONE):
        raise ValueError(f"answer '{answer}' is none of {', '.join(POINT_WORDS)}")
    return CountedPoint(
        photo=cells["photo"],
        angle_deg=_number("angle_deg", cells["angle_deg"], least=-180.0, most=180.0),
        height_mm=_number("height_mm", cells["height_mm"], least=-50.0, most=1000.0),
        answer=None if answer == _UNDONE else cast(Any, answer),
        who=cells["who"],
        when=datetime.fromisoformat(cells["when"]),
        points=int(_number("points", cells["points"], least=1, most=_MOST_POINTS)),
        weight=_number("weight", cells["weight"], least=0.0, most=100.0)
        if cells["weight"]
        else None,
        round_=int(_number("round", cells["round"] or "1", least=1, most=_MOST_POINTS)),
    )


def _number(name: str, text: str, *, least: float, most: float) -> float:
    number = float(text.replace(",", "."))  # as some spreadsheets write it
    if not (math.isfinite(number) and least <= number <= most):
        raise ValueError(f"{name} '{text}' lies outside {least:g} to {most:g}")
    return number
