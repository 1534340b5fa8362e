"""What the grower told, drawn on a jar's curve: an arrow at the day's reading, and its word."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from jarvision.report import svg

LOW_PERCENT: Final = 30.0
"""Under a reading lower than this no word has room."""

HIGHEST_PERCENT: Final = 64.0
ROWS: Final = 8
ROW_PERCENT: Final = 9.0


@dataclass(frozen=True)
class WordPlace:
    """Where a word stands: from, to (days) and its foot (percent)."""

    left: float
    right: float
    foot: float


@dataclass(frozen=True)
class Ground:
    """What the words stand on.

    ``level`` is the coverage on a day, percent; ``letter`` the width of one, days; ``end`` the last
    day of the chart; ``taken`` are the words that stand there already.
    """

    level: Callable[[float], float]
    letter: float
    end: float
    taken: Sequence[WordPlace]


def plot_told(
    axes: Any, told: Sequence[tuple[float, str]], ground: Ground, *, write: Callable[..., None]
) -> None:
    """Draw the words of all days; ``write`` puts one at a place.

    Curves rise: below a reading there is room to the right, above an early one to the left. A word
    that would stand over another moves on.
    """
    taken = list(ground.taken)
    for day, words in _by_day(told):
        level = ground.level(day)
        low, length = level < LOW_PERCENT, ground.letter * (len(words) + 1.5)
        to_left = day + length > ground.end or (low and day - length > -0.5)
        left = day - length if to_left else day
        first = HIGHEST_PERCENT if low else level - 2 * ROW_PERCENT
        feet = (first - row * ROW_PERCENT for row in range(ROWS))
        rows = [WordPlace(left, left + length, foot) for foot in feet if foot > 0]
        place = next((place for place in rows if not covers(taken, place)), rows[-1])
        taken.append(place)
        ends, shape = ([level + 4, place.foot], "v-") if low else ([place.foot, level - 4], "^-")
        style = {"color": svg.QUIET, "ms": 5, "lw": 1.1, "markevery": [0 if low else 1]}
        axes.plot([day, day], ends, shape, **style)
        x, side = (day - ground.letter, "right") if to_left else (day + ground.letter, "left")
        write(axes, x, place.foot, words, colour=svg.QUIET, ha=side)


def covers(taken: Sequence[WordPlace], new: WordPlace) -> bool:
    """Whether a word would stand over another."""
    return any(
        abs(new.foot - old.foot) < ROW_PERCENT and new.left < old.right and new.right > old.left
        for old in taken
    )


def _by_day(told: Sequence[tuple[float, str]]) -> list[tuple[float, str]]:
    """The words of each day together, each once."""
    days: dict[float, dict[str, None]] = {}
    for day, word in told:
        days.setdefault(day, {})[word] = None
    return [(day, ", ".join(words)) for day, words in sorted(days.items())]
