"""Walking along the shelf: which jars still want a photo today, and which one comes next."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from jarvision.records import JarEntry, Reading, ShelfResult


@dataclass(frozen=True)
class Walk:
    """A day's walk.

    Attributes
    ----------
    jars
        Those on the shelf in the register's order, then those with photos alone by name.
    done
        Those with a usable photo of the day.
    """

    jars: tuple[str, ...]
    done: frozenset[str]

    @property
    def left(self) -> tuple[str, ...]:
        """Jars that still want a photo today, in the order of the shelf."""
        return tuple(jar for jar in self.jars if jar not in self.done)

    def next_after(self, jar: str = "") -> str:
        """The next jar that wants a photo, from ``jar`` on and round; empty when none does."""
        start = self.jars.index(jar) + 1 if jar in self.jars else 0
        round_about = (*self.jars[start:], *self.jars[:start])
        return next((other for other in round_about if other not in self.done | {jar}), "")


def walk_of(
    alive: ShelfResult, register: Mapping[str, JarEntry], over: Collection[str], today: date
) -> Walk:
    """The walk of a day, without jars whose story is ``over``, and bare ones already photographed.

    ``alive`` is the shelf with its lives.
    """
    told = sorted({story.verdict.jar for story in alive.stories} - set(register))
    seen = {reading.jar for reading in alive.readings if reading.status == "ok"}
    jars = (
        entry.jar
        for entry in register.values()
        if entry.jar not in over and not (entry.kind == "bare" and entry.jar in seen)
    )
    return Walk((*jars, *told), frozenset(_photographed(alive.readings, today)))


def _photographed(readings: Iterable[Reading], today: date) -> Iterable[str]:
    return (r.jar for r in readings if r.status == "ok" and r.jar and r.taken_at.date() == today)


def jar_by_tag(tag: str, jars: Iterable[str], agrees: Iterable[str]) -> str:
    """The jar that a tag's number means: one named so, else the only one that it can be."""
    known, able = set(jars), list(agrees)
    if tag in known:
        return tag
    return able[0] if len(able) == 1 else "" if able else tag
