"""Whether a jar's story is over, by its recorded outcome or by what was fed from it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from jarvision.records import Ending
from jarvision.register.jars import Register
from jarvision.register.outcomes import JarOutcome


def ending_of(
    jar: str, register: Register, outcomes: Mapping[str, JarOutcome], *, today: date
) -> Ending | None:
    """What became of a jar; None of one whose story goes on.

    One spawn jar feeds one jar, so that a jar from which another was fed by ``today`` is used up.
    An outcome counts whatever its day: it is known.
    """
    entries = [register[child] for child in register.children(jar)]
    fed = [e for e in entries if e.started is None or e.started <= today]
    names = tuple(entry.jar for entry in fed)
    outcome = outcomes.get(jar)
    if outcome is not None:
        return Ending(outcome.outcome, outcome.day, names, outcome.fresh_grams)
    if not fed:
        return None
    return Ending("used up", min((e.started for e in fed if e.started), default=None), names)
