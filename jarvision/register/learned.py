"""The species of a jar of which the register says none, learned from the jars that share it.

What was fed from a jar is of its species. So are jars of one spawn jar, and those of one start,
kind and substrate, as far as all that say theirs say the same. Nothing is written: as soon as the
register says it, that counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from jarvision.records import JarEntry
from jarvision.register.jars import Register
from jarvision.register.name_ranges import gathered


def with_learned_species(register: Register) -> Register:
    """The register with what can be learned; it tells so, among what is odd about it."""
    learned: dict[str, str] = {}
    known: Register = register
    while fresh := dict(_learn(known)):  # what was learned teaches the next in line
        learned |= fresh
        entries = {j: replace(e, species=fresh.get(j, e.species)) for j, e in known.items()}
        known = Register(entries, register.warnings)
    if not learned:
        return register
    return Register(known.entries, (*register.warnings, *_told(learned)))


def _learn(register: Register) -> Iterator[tuple[str, str]]:
    """The jars without a species whose near ones agree on theirs."""
    batches: dict[tuple[object, ...], list[JarEntry]] = {}
    for entry in register.values():
        if entry.started is not None:
            batches.setdefault(_batch(entry), []).append(entry)
    for jar, entry in register.items():
        if entry.species or entry.kind == "bare":
            continue
        line = [entry.parent, *register.children(jar)]
        mates = batches.get(_batch(entry), [])
        near = (
            [register[other] for other in line if other in register],
            [register[other] for other in register.siblings(jar)],
            mates,
        )
        for others in near:
            said = {other.species.casefold(): other.species for other in others if other.species}
            if len(said) == 1:
                yield jar, next(iter(said.values()))
            if said:
                break


def _batch(entry: JarEntry) -> tuple[object, ...]:
    return entry.started, entry.kind, entry.substrate.casefold()


def _told(learned: Mapping[str, str]) -> Iterator[str]:
    for species in dict.fromkeys(learned.values()):
        jars = " ".join(gathered([jar for jar, own in learned.items() if own == species]))
        yield (
            f"the species of {jars} is taken to be {species}, as in jars of the same spawn or "
            "start; if it is another: jarvision jars set, with --species"
        )
