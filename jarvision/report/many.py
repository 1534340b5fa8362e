"""What a page of many jars puts together: equal lines and names.

A person reads lines, not hundreds of them; a phone opens some thousand elements, not a hundred
thousand.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from jarvision.records import JarStory
from jarvision.report.cards import JarHead
from jarvision.report.why import short_why

MOST_LINES: Final = 30
"""Of more jars that wait, those with one reason stand on one line."""

MOST_ROWS: Final = 80
"""Of more jars, the table of days leaves out those that wait, and names have an index."""

_LAST_TWO: Final = re.compile(r"(.+?)\d{2}")


@dataclass(frozen=True)
class Bundle:
    """Jars of which one thing is said, or whose names begin alike."""

    title: str
    jars: tuple[JarHead, ...]


def bundled(stories: Iterable[JarStory], head: Callable[[JarStory], JarHead]) -> list[Bundle]:
    """The jars by their reason, in the order in which the reasons come first."""
    found: dict[str, list[JarHead]] = {}
    for story in stories:
        found.setdefault(short_why(story), []).append(head(story))
    return [Bundle(why, tuple(heads)) for why, heads in found.items()]


def indexed(heads: Sequence[JarHead]) -> list[Bundle]:
    """The jars by how their names begin; none where few jars are found by eye."""
    if len(heads) <= MOST_ROWS:
        return []
    found: dict[str, list[JarHead]] = {}
    for head in sorted(heads, key=lambda head: (len(head.jar), head.jar)):
        found.setdefault(stem_of(head.jar), []).append(head)
    return [Bundle(start, tuple(own)) for start, own in sorted(found.items())]


def stem_of(jar: str) -> str:
    """What a jar's name begins with: all but the last two digits, else the first letter."""
    parts = _LAST_TWO.fullmatch(jar)
    return parts[1] if parts else jar[:1]


def rows_shown(stories: Sequence[JarStory]) -> list[JarStory]:
    """The jars that have a row in the table of days."""
    if len(stories) <= MOST_ROWS:
        return list(stories)
    return [story for story in stories if story.verdict.verdict != "wait"]
