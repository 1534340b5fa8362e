"""Which bare look each photo is held against: of its jar's first day, its batch, or a bare jar.

Photos of a jar's first day are read on their own, and teach the look; every later one is held
against it. Where a first day taught nothing and no jar filled alike on that day did, photos are
held against those of a jar of kind ``bare`` with the same substrate, and then those of the first
day are, too. So no photo depends on one that depends on another, and what is read does not depend
on the order in which photos came.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from jarvision.records import BareLook, JarEntry, KnownLook, Reading
from jarvision.records.jar import Filling


@dataclass(frozen=True)
class Sighting:
    """Which jar a photo shows, on which day; ``look`` is None where it teaches none."""

    jar: str
    day: date
    look: BareLook | None = None


def sighting_of(reading: Reading) -> Sighting | None:
    """What a reading tells of its jar; None for a photo that could not be used."""
    if reading.status != "ok" or not reading.jar:
        return None
    return Sighting(reading.jar, reading.taken_at.date(), reading.bare_look)


class References:
    """The bare looks of a shelf, as far as its photos tell them."""

    def __init__(self, register: Mapping[str, JarEntry]) -> None:
        self._register = register
        self._filled_alike: dict[Filling, list[str]] = defaultdict(list)
        for jar, entry in register.items():
            self._filled_alike[entry.filling].append(jar)
        self._bare_jars = [jar for jar, entry in register.items() if entry.kind == "bare"]
        self._seen: dict[str, Sighting] = {}
        self._by_jar: dict[str, dict[str, Sighting]] = defaultdict(dict)
        self._found: dict[str, KnownLook | None] = {}

    def note(self, photo: str, sighting: Sighting | None) -> None:
        """Take in what a photo shows, or is expected to show, in place of what was known of it."""
        before = self._seen.pop(photo, None)
        if before is not None:
            del self._by_jar[before.jar][photo]
        if sighting is not None:
            self._seen[photo] = sighting
            self._by_jar[sighting.jar][photo] = sighting
        self._found.clear()

    def first_day(self, jar: str) -> date | None:
        """The first day from which a jar has a photo."""
        return min((sighting.day for sighting in self._by_jar[jar].values()), default=None)

    def is_first(self, photo: str) -> bool:
        """Whether a photo is of its jar's first day, and read on its own."""
        sighting = self._seen.get(photo)
        return sighting is not None and sighting.day == self.first_day(sighting.jar)

    def of(self, photo: str) -> KnownLook | None:
        """What a photo is held against; None where nothing is known.

        On a jar's first day only a bare jar's look counts, and only if that day teaches none.
        """
        sighting = self._seen.get(photo)
        if sighting is None:
            return None
        found = self.of_jar(sighting.jar)
        if found is not None and self.is_first(photo):
            return found if found.jar != sighting.jar and self._is_bare_jar(found.jar) else None
        return found

    def of_jar(self, jar: str) -> KnownLook | None:
        """The look of a jar's own first day, else of its batch, else of a bare jar.

        Its batch are jars filled with the same on the same day.
        """
        if jar not in self._found:
            self._found[jar] = self._own(jar) or self._of_batch(jar) or self._of_bare_jar(jar)
        return self._found[jar]

    def by_jar(self) -> dict[str, KnownLook]:
        """The look of every jar that has one."""
        found = {jar: self.of_jar(jar) for jar in {*self._by_jar, *self._register}}
        return {jar: reference for jar, reference in found.items() if reference is not None}

    def _own(self, jar: str) -> KnownLook | None:
        first = self.first_day(jar)
        looks = [s.look for s in self._by_jar[jar].values() if s.day == first and s.look]
        if first is None or not looks:
            return None
        return KnownLook(jar, first, max(looks, key=lambda look: (look.area_cm2, look.colours)))

    def _of_batch(self, jar: str) -> KnownLook | None:
        entry = self._register.get(jar)
        if entry is None or not entry.substrate or entry.started is None:
            return None
        alike = self._filled_alike[entry.filling]
        mates = [self._own(name) for name in alike if name != jar]
        known = [mate for mate in mates if mate is not None]
        return min(known, key=lambda r: (r.day, -r.look.area_cm2, r.jar), default=None)

    def _of_bare_jar(self, jar: str) -> KnownLook | None:
        """The look of the bare jar whose day is nearest to the jar's start, or its first photo."""
        entry = self._register.get(jar)
        since = self.first_day(jar) if entry is None else entry.started or self.first_day(jar)
        if entry is None or entry.kind == "bare" or not entry.substrate or since is None:
            return None
        alike = [jar for jar in self._bare_jars if self._register[jar].contents == entry.contents]
        looks = map(self._own, alike)
        known = [look for look in looks if look is not None]
        return min(
            known,
            key=lambda r: (abs((r.day - since).days), r.day, -r.look.area_cm2, r.jar),
            default=None,
        )

    def _is_bare_jar(self, jar: str) -> bool:
        entry = self._register.get(jar)
        return entry is not None and entry.kind == "bare"
