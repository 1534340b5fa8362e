"""Photos that came in: kept on the disk until they have a place, each known by its content.

A photo is there from the moment its upload is answered: a server that is started again takes it up.
What it is called here is made of its digest alone.
"""

from __future__ import annotations

import json
import os
from collections.abc import Collection
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final, Literal, cast, get_args

from jarvision.app.serve.naming import SHA
from jarvision.base.files import PART_PREFIX, PART_SUFFIX, write_whole
from jarvision.records import JarStory, Reading, View
from jarvision.register.photo_names import PHOTO_SUFFIXES

ARRIVALS: Final = "arrivals"
"""Folder under OUT; what lies there has no place yet."""

ArrivalState = Literal["came", "asks", "no_picture", "placed", "aside"]
_MOST_KNOWN: Final = 2000


@dataclass(frozen=True)
class Arrival:
    """A photo that came in.

    Attributes
    ----------
    sha
        SHA-256 of its content, hex.
    jar
        What the grower says that it shows; empty: its tag tells.
    sure
        Whether the grower was asked, and said so against the tag.
    hint_s
        When the phone says that it was taken, s since 1970; 0 for unknown.
    came_s
        When it came in, s since 1970.
    state
        ``came``: to be read; ``asks``: for its jar; ``no_picture``: it could not be opened and is
        gone; ``placed``: in the folder; ``aside``: taken away by the grower.
    tag
        The jar that its tag tells; empty for none.
    words
        What went wrong where its jar could not be told, or it could not be read.
    reading, story
        What was read, once it is placed, and its jar's story then.
    small
        A small JPEG of it, while its jar is asked for; empty for none.
    was
        The jar that it was said to show before the grower moved it; empty for none.
    """

    sha: str
    suffix: str
    jar: str = ""
    view: View = "front"
    hint_s: float = 0.0
    came_s: float = 0.0
    sure: bool = False
    state: ArrivalState = "came"
    tag: str = ""
    words: str = ""
    reading: Reading | None = None
    story: JarStory | None = None
    small: bytes = b""
    was: str = ""

    @property
    def waits(self) -> bool:
        """Whether it still lies among the arrivals."""
        return self.state in ("came", "asks")

    def failed(self, words: str) -> Arrival:
        """The same photo, with what went wrong when it was read; empty: it is tried again."""
        return replace(self, words=words)

    def time_told(self) -> datetime:
        """When it was taken, as far as the phone's and the server's clocks tell."""
        month_s, ahead_s = 31 * 86400.0, 3600.0
        sound = self.came_s - month_s <= self.hint_s <= self.came_s + ahead_s
        return datetime.fromtimestamp(self.hint_s if sound else self.came_s)


_NOTED: Final = ("jar", "view", "hint_s", "came_s", "sure")


@dataclass
class Inbox:
    """All photos that came in, by digest; the newest few thousand are remembered."""

    place: Path
    _known: dict[str, Arrival] = field(default_factory=dict)

    def get(self, sha: str) -> Arrival | None:
        """What is known of a photo."""
        return self._known.get(sha)

    def note(self, arrival: Arrival) -> Arrival:
        """Remember a photo as it is now; of those that are settled the oldest are forgotten."""
        self._known.pop(arrival.sha, None)
        self._known[arrival.sha] = arrival
        if len(self._known) > _MOST_KNOWN:
            old = next((known for known in list(self._known.values()) if not known.waits), arrival)
            self._known.pop(old.sha, None)
        return arrival

    @property
    def waiting(self) -> list[Arrival]:
        """Photos that are to be read or ask for their jar, the oldest first."""
        known = list(self._known.values())  # a copy: the desk goes on meanwhile
        return sorted((a for a in known if a.waits), key=lambda a: a.came_s)

    def path(self, arrival: Arrival) -> Path:
        """Where a photo lies that has no place yet."""
        assert SHA.fullmatch(arrival.sha) and arrival.suffix in PHOTO_SUFFIXES
        return self.place / f"{arrival.sha}{arrival.suffix}"

    def part(self, number: int) -> Path:
        """Where a photo is written while it comes."""
        self.place.mkdir(parents=True, exist_ok=True)
        return self.place / f"{PART_PREFIX}{os.getpid()}-{number}{PART_SUFFIX}"

    def take(self, part: Path, arrival: Arrival) -> Arrival:
        """Take a photo in that has come whole; what is known of it is written first."""
        self.write_note(arrival)
        part.replace(self.path(arrival))
        return self.note(arrival)

    def write_note(self, arrival: Arrival) -> None:
        """Write what was told of a photo beside it."""
        told = {name: getattr(arrival, name) for name in _NOTED}
        write_whole(self._note_of(arrival), json.dumps(told).encode("ascii"))

    def drop(self, arrival: Arrival) -> None:
        """Take the files of a photo away; what is known of it stays."""
        for path in (self.path(arrival), self._note_of(arrival)):
            path.unlink(missing_ok=True)

    def forget(self, arrival: Arrival) -> None:
        """Forget a photo that the grower did not want, so that it may come again."""
        self.drop(arrival)
        self._known.pop(arrival.sha, None)

    def recover(self) -> list[Arrival]:
        """Take up what an earlier server left."""
        if not self.place.is_dir():
            return []
        for part in self.place.glob(f"{PART_PREFIX}*{PART_SUFFIX}"):
            part.unlink(missing_ok=True)
        found = [
            self.note(self._recovered(path))
            for path in sorted(self.place.iterdir())
            if path.suffix in PHOTO_SUFFIXES and SHA.fullmatch(path.stem)
        ]
        known: Collection[str] = {arrival.sha for arrival in found}
        for note in self.place.glob("*.json"):
            if note.stem not in known:
                note.unlink(missing_ok=True)
        return found

    def _recovered(self, path: Path) -> Arrival:
        arrival = Arrival(path.stem, path.suffix, came_s=path.stat().st_mtime)
        told: Any = {}
        with suppress(OSError, ValueError):
            told = json.loads(self._note_of(arrival).read_bytes())
        if not isinstance(told, dict):
            return arrival
        jar, view, hint_s = (told.get(name) for name in ("jar", "view", "hint_s"))
        return replace(
            arrival,
            jar=jar if isinstance(jar, str) else "",
            view=cast(View, view) if view in get_args(View) else "front",
            hint_s=float(hint_s) if isinstance(hint_s, int | float) else 0.0,
            sure=told.get("sure") is True,
        )

    def _note_of(self, arrival: Arrival) -> Path:
        return self.place / f"{arrival.sha}.json"
