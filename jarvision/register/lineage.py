"""Who is related to a jar, and in which order to look when it turns bad.

Spawn carries its faults along: what was in a jar is in every jar that was fed from it. So the jar
itself comes first, then what it fed, then those that were fed from the same spawn, then the spawn
itself, and so on up the line: each step shares less with the bad jar than the one before. Which
jars turned bad, and who their kin are, is said here for all: verdicts, plan, page and trace.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from jarvision.base.errors import UsageError
from jarvision.base.text import did_you_mean
from jarvision.records import Ending, EndingWord, JarEntry, VerdictWord
from jarvision.register.jars import Register

Action = Literal["isolate", "inspect", "none"]
State = VerdictWord | Literal["not scored"]

NOT_SCORED: Final = "not scored"
_STATES: Final[tuple[State, ...]] = ("no-go", "check", "go", "wait", NOT_SCORED)
"""Within a step: what is bad, what is doubtful, what would be used next, what can wait."""

_DOWN: Final = ("the jar itself", "child", "grandchild", "descendant")
_ASIDE: Final = ("sibling", "sibling's child", "sibling's descendant")
_UP: Final = ("parent", "grandparent", "ancestor")
_KEPT_FROM_USE: Final = (*_DOWN[1:], _ASIDE[0], _UP[0])
"""Those whose :func:`near_kin` the jar is: none of them is ``go`` once it is known to be bad."""

Kinship = Literal["parent", "ancestor", "sibling", "child"]
SOUND: Final[tuple[EndingWord, ...]] = ("clean", "harvested")
"""Nothing was wrong with such a jar, whatever its photos seemed to show. Mould that comes after a
harvest is no longer the spawn's fault."""


@dataclass(frozen=True)
class JarState:
    """What is known of a jar: the verdict of the last scoring, and how its story ended, if so."""

    verdict: State = NOT_SCORED
    outcome: EndingWord | Literal[""] = ""

    @classmethod
    def of(cls, verdict: VerdictWord | None, ending: Ending | None) -> JarState:
        """The state of a jar that may not have been scored, and may not be over."""
        return cls(verdict or NOT_SCORED, ending.word if ending else "")

    @property
    def bad(self) -> bool:
        """Whether it turned bad: by what was found in it, else by its photos."""
        if self.outcome in SOUND:
            return False
        return self.outcome == "contaminated" or self.verdict == "no-go"

    @property
    def over(self) -> bool:
        """Whether its story is over; a bad jar that was only fed from must still be carried out."""
        return bool(self.outcome) and not (self.outcome == "used up" and self.bad)


@dataclass(frozen=True)
class FamilyJar:
    """One jar of the family, in the order in which to look.

    ``step`` counts from 1; jars of one step are equally near to the bad jar.
    """

    jar: str
    relation: str
    step: int
    state: State
    outcome: str
    action: Action
    why: str


@dataclass(frozen=True)
class Trace:
    """The family of a jar, nearest first; the first one is the jar itself."""

    jar: str
    suspect: bool
    relatives: tuple[FamilyJar, ...]

    def of(self, relation: str) -> tuple[str, ...]:
        """Jars of one relation, such as ``child``."""
        return tuple(r.jar for r in self.relatives if r.relation == relation)


def near_kin(register: Register, jar: str) -> dict[str, Kinship]:
    """The jars whose faults a jar may share, and how they are related.

    Those fed from the same spawn, its parents up the line, and what was fed from it.
    """
    found: dict[str, Kinship] = {}
    above = register.entry(jar).parent
    while above and above not in found:
        found[above] = "ancestor" if found else "parent"
        above = register.entry(above).parent
    found |= dict.fromkeys(register.siblings(jar), "sibling")
    return found | dict.fromkeys(register.children(jar), "child")


def trace(
    register: Mapping[str, JarEntry], jar: str, *, states: Mapping[str, JarState] | None = None
) -> Trace:
    """Follow a jar's spawn down and up, as if the jar were bad.

    Parameters
    ----------
    states
        Of the last scoring; a jar that is missing counts as not scored.

    Raises
    ------
    UsageError
        When the jar is not in the register.
    """
    if jar not in register:
        hint = did_you_mean(jar, register) or "Add it with jarvision jars add."
        raise UsageError(f"Jar '{jar}' is not in the register", hint)
    known = states or {}
    family = Register.of(register)
    relatives: list[FamilyJar] = []
    for step, (relation, why, members) in enumerate(_circles(family, jar), 1):
        found = [(name, known.get(name, JarState())) for name in members]
        found.sort(key=lambda pair: _STATES.index(pair[1].verdict))  # stable: register order
        relatives += [_relative(name, relation, step, state, why) for name, state in found]
    itself = known.get(jar, JarState())
    suspect = itself.bad or (itself.verdict == "check" and not itself.outcome)
    return Trace(jar, suspect, tuple(relatives))


def _relative(jar: str, relation: str, step: int, state: JarState, why: str) -> FamilyJar:
    action: Action = "isolate" if relation in _DOWN or state.bad else "inspect"
    if state.over and relation != _DOWN[0]:
        action, why = "none", f"{why}; its story is over"
    elif state.verdict == "go" and relation in _KEPT_FROM_USE:
        why = f"{why}; not to be used before that"
    return FamilyJar(jar, relation, step, state.verdict, state.outcome, action, why)


# --------------------------------------------------------------------------- the order
def _circles(register: Register, jar: str) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Yield relation, reason and jars, from the nearest to the farthest."""
    yield _DOWN[0], "keep it closed and out of the room", (jar,)
    yield from _named(_DOWN, "got what was in it", _generations(register, (jar,)), skip=1)
    below, height = jar, 0
    while parent := register[below].parent:
        others = register.siblings(below)
        around = _generations(register, others)
        if height == 0:
            why = f"fed from the same spawn, {parent}"
            yield from _named(_ASIDE, why, around)
            yield _UP[0], "the fault may have come from it", (parent,)
        else:
            whose = ("parent's", "grandparent's", "ancestor's")[min(height, 3) - 1]
            names = tuple(f"{whose} {name}" for name in _ASIDE)
            yield from _named(names, f"fed from {parent}, further up the line", around)
            yield _UP[min(height, 2)], "the fault may have come down from it", (parent,)
        below, height = parent, height + 1


def _named(
    names: tuple[str, ...], why: str, generations: list[tuple[str, ...]], *, skip: int = 0
) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    for depth, jars in enumerate(generations):
        if depth >= skip:
            yield names[min(depth, len(names) - 1)], why, jars


def _generations(register: Register, first: tuple[str, ...]) -> list[tuple[str, ...]]:
    """``first``, their children, their children's children, until there are none."""
    found = []
    while first:
        found.append(first)
        first = tuple(child for jar in first for child in register.children(jar))
    return found
