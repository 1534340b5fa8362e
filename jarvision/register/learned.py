"""Kind and species of a jar of which the register does not say them, learned from those near to it.

What was fed from a jar is of its species. So are jars of one spawn jar, and those of one start,
kind and substrate, as far as all that say theirs say the same. A jar's kind is that of the jars of
its spawn or start, where their substrate is its own and all say the same; else it is spawn. Nothing
is written: as soon as the register says it, that counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from jarvision.records import JarEntry
from jarvision.records.jar import Filling
from jarvision.register.jars import Register
from jarvision.register.name_ranges import gathered


def with_what_is_learned(register: Register) -> Register:
    """The register with what can be learned; it tells so, among what is odd about it."""
    return _with_species(_with_kinds(register))


def _with_kinds(register: Register) -> Register:
    """The register with the kinds that can be learned."""
    batches: dict[object, list[JarEntry]] = {}
    for entry in register.values():
        if entry.started is not None:
            batches.setdefault(entry.started, []).append(entry)
    learned = {}
    for jar, entry in register.items():
        if entry.kind_told:
            continue
        sisters = [register[other] for other in register.siblings(jar)]
        for others in (sisters, batches.get(entry.started, [])):
            said = {other.kind for other in others if _tells_kind(other, entry)}
            if said == {"fruiting"}:
                learned[jar] = replace(entry, kind="fruiting")
            if said:
                break
    told = _told("kind", {jar: entry.kind for jar, entry in learned.items()})
    return Register({**register, **learned}, (*register.warnings, *told)) if learned else register


def _tells_kind(other: JarEntry, entry: JarEntry) -> bool:
    """Say whether another jar's kind says something of a jar's; bare contents go with any."""
    return other.kind_told and other.kind != "bare" and other.contents == entry.contents


def _with_species(register: Register) -> Register:
    """The register with the species that can be learned."""
    learned: dict[str, str] = {}
    known: Register = register
    while fresh := dict(_learn(known)):  # what was learned teaches the next in line
        learned |= fresh
        entries = {j: replace(e, species=fresh.get(j, e.species)) for j, e in known.items()}
        known = Register(entries, register.warnings)
    if not learned:
        return register
    return Register(known.entries, (*register.warnings, *_told("species", learned)))


def _learn(register: Register) -> Iterator[tuple[str, str]]:
    """The jars without a species whose near ones agree on theirs."""
    batches: dict[Filling, list[JarEntry]] = {}
    for entry in register.values():
        if entry.started is not None:
            batches.setdefault(entry.filling, []).append(entry)
    for jar, entry in register.items():
        if entry.species or entry.kind == "bare":
            continue
        line = [entry.parent, *register.children(jar)]
        mates = batches.get(entry.filling, [])
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


def _told(what: str, learned: Mapping[str, str]) -> Iterator[str]:
    for word in dict.fromkeys(learned.values()):
        jars = " ".join(gathered([jar for jar, own in learned.items() if own == word]))
        yield (
            f"the {what} of {jars} is taken to be {word}, as in jars of the same spawn or start; "
            f"if it is another: jarvision jars set, with --{what}"
        )
