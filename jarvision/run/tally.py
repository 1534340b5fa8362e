"""What became of the photos of a run, and what a person should hear of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from jarvision.base.text import counted, printable


@dataclass
class Tally:
    """What happened to the photos of a run, by name."""

    known: int = 0
    read: int = 0
    changed: list[str] = field(default_factory=list)
    referenced: list[str] = field(default_factory=list)
    outdated: list[str] = field(default_factory=list)
    moved: list[str] = field(default_factory=list)
    gone: list[str] = field(default_factory=list)

    def tell(self, say: Callable[[str], None]) -> None:
        """Have a person hear of it."""
        for sentence in self.sentences():
            say(sentence)

    def sentences(self) -> list[str]:
        """What a person should hear; nothing when every photo was new."""
        told = []
        if self.known:
            told.append(
                f"{counted(self.known, 'photo')} known from earlier runs, {self.read} read now."
            )
        for names, what in (
            (self.changed, "changed since the last run and read again"),
            (
                self.outdated,
                "read again: jarvision, its settings, the card's colours or what you say of the "
                "jar changed",
            ),
            (self.referenced, "read again: more is known of how their contents look bare"),
            (self.moved, "moved or renamed"),
            (self.gone, "no longer in the folder and not counted; what was read of them is kept"),
        ):
            if names:
                more = " and others" if len(names) > 1 else ""
                told.append(f"{counted(len(names), 'photo')} {what}: {printable(names[0])}{more}.")
        return told
