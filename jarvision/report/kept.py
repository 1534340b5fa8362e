"""What the pieces of a jar's report are made of beside its story: they are kept by it.

The story that a run tells is known to :class:`jarvision.records.parts.Parts`. What became of a jar
and of its kin is added later (:mod:`jarvision.verdict.lives`), so that it is named here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from jarvision.records import JarStory
from jarvision.register.lineage import near_kin
from jarvision.report.cards import Surroundings

WHOLE_SHELF = ""
"""Stands for a jar where a part is made of the stories of all."""


def judged(story: JarStory) -> tuple[object, ...]:
    """What may have been added to a story since it was told."""
    return story.verdict.verdict, story.verdict.findings, story.flags, story.profile


def card_made_of(story: JarStory, around: Surroundings, curve: str) -> tuple[object, ...]:
    """What a jar's card, and its line in today's list, are made of beside its story."""
    jar = story.verdict.jar
    kin = [
        (name, kinship, *_seen_from(name, around))
        for name, kinship in near_kin(around.register, jar).items()
    ]
    return (
        judged(story),
        around.today,
        around.detail,
        _seen_from(jar, around),
        kin,
        story.history.entry,
        curve,
        tuple(_pictures(story, around)),
    )


def _seen_from(jar: str, around: Surroundings) -> tuple[object, ...]:
    """What a card tells of a jar by its name."""
    return around.anchors.get(jar), around.verdicts.get(jar), around.endings.get(jar)


def _pictures(story: JarStory, around: Surroundings) -> Iterator[tuple[object, ...]]:
    """The pictures that a card may show, as their files are now."""
    days = story.history.days[-max(around.detail.frames, 1) :]
    readings = (reading for day in days for reading in day.readings)
    names = (name for r in readings for name in (r.overlay, r.wall_picture) if name)
    yield from _files(around.out, names)


def _files(out: Path, names: Iterable[str]) -> Iterator[tuple[object, ...]]:
    for name in names:
        try:
            found = (out / name).stat()
        except OSError:
            yield (name,)
        else:
            yield name, found.st_size, found.st_mtime_ns
