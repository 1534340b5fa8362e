"""What the grower writes down of a jar: its line in the register, and in the diary."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Literal, TypeAlias

from jarvision.records.wall import JarShape

JarKind = Literal["spawn", "fruiting", "bare"]
Filling: TypeAlias = tuple[JarKind, str, date | None]
"""Kind, contents and start of a jar."""
DiaryWord = Literal[
    "shaken", "opened", "moved", "temperature", "note", "fruiting", "sprayed", "unhooded"
]


@dataclass(frozen=True)
class JarEntry:
    """One line of the jar register (``jars.csv``).

    A jar of kind ``bare`` holds contents without spawn: its photos show others how they look bare.
    ``once`` are the names that the jar had before; its photos may still bear them. ``kind_told``:
    whether somebody told the kind; else it is ``spawn``, or what those of its start are.
    """

    jar: str
    kind: JarKind = "spawn"
    species: str = ""
    substrate: str = ""
    started: date | None = None
    parent: str = ""
    profile: str = ""
    notes: str = ""
    registered: bool = True
    shape: JarShape = field(default_factory=JarShape)
    once: tuple[str, ...] = ()
    kind_told: bool = True

    @property
    def contents(self) -> str:
        """The substrate, by which jars are compared: ``Rye`` and ``rye`` are the same."""
        return self.substrate.casefold()

    @property
    def filling(self) -> Filling:
        """What jars have in common that were filled alike on one day: those of a batch."""
        return self.kind, self.contents, self.started


@dataclass(frozen=True)
class DiaryLine:
    """What only the grower knows of a jar, on one day (``diary.csv``).

    ``celsius`` is the temperature where it stood, None but for ``temperature``; ``text`` is what
    else was told.
    """

    jar: str
    what: DiaryWord
    day: date
    celsius: float | None = None
    text: str = ""

    @property
    def word(self) -> str:
        """What happened, in as few letters as a chart has room for."""
        return self.what if self.celsius is None else f"{self.celsius:g} °C"
