"""Where a jar stands, as far as the grower has told: a shelf, a rack, a room."""

from __future__ import annotations

from pathlib import PurePosixPath

from jarvision.base.text import printable
from jarvision.records import JarStory
from jarvision.register.photo_names import CAMERA_WORDS, day_of


def place_of(story: JarStory) -> str:
    """Where the jar was moved to last, by the diary; else the folder that its newest photo is in.

    A folder that bears the name of the jar, of a day or of a camera tells no place; empty where
    nothing does.
    """
    history = story.history
    moved = [line for line in history.diary if line.what == "moved" and line.text]
    if moved:
        return printable(max(moved, key=lambda line: line.day).text)
    photos = [*history.refused, *(r for day in history.days[-1:] for r in day.readings)]
    if not photos:
        return ""
    newest = max(photos, key=lambda reading: reading.taken_at).photo
    names = {name.casefold() for name in (history.entry.jar, *history.entry.once)}
    for folder in reversed(PurePosixPath(newest).parent.parts):
        if folder.casefold() in names | CAMERA_WORDS or day_of(folder) or folder == "..":
            continue
        return printable(folder)
    return ""
