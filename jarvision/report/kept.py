"""What the pieces of a jar's report are made of beside its story: they are kept by it.

The story that a run tells is known to :class:`jarvision.records.parts.Parts`. What became of a jar
and of its kin is added later (:mod:`jarvision.verdict.lives`), so that it is named here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from jarvision.records import JarStory, Reading
from jarvision.register.lineage import near_kin
from jarvision.report.cards import Surroundings
from jarvision.report.pictures import Detail

WHOLE_SHELF = ""
"""Stands for a jar where a part is made of the stories of all, and of all readings."""


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
        tuple(_pictures(story, around.detail, around.out)),
    )


def page_made_of(
    story: JarStory, refused: Sequence[Reading], detail: Detail, out: Path
) -> tuple[object, ...]:
    """What the file of a jar is made of beside its story and what stands near it.

    ``refused``: the photos without a reading that it shows.
    """
    history = story.history
    files = (*_pictures(story, detail, out), *_files(out, _names(refused)))
    return judged(story), history.entry, history.diary, files


def _seen_from(jar: str, around: Surroundings) -> tuple[object, ...]:
    """What a card tells of a jar by its name."""
    return around.anchors.get(jar), around.verdicts.get(jar), around.endings.get(jar)


def _pictures(story: JarStory, detail: Detail, out: Path) -> Iterator[tuple[object, ...]]:
    """The pictures that a card may show, as their files are now."""
    days = story.history.days[-max(detail.frames, 1) :]
    return _files(out, _names(reading for day in days for reading in day.readings))


def _names(readings: Iterable[Reading]) -> Iterator[str]:
    return (name for r in readings for name in (r.overlay, r.wall_picture) if name)


def _files(out: Path, names: Iterable[str]) -> Iterator[tuple[object, ...]]:
    for name in names:
        try:
            found = (out / name).stat()
        except OSError:
            yield (name,)
        else:
            yield name, found.st_size, found.st_mtime_ns
