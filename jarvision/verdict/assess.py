"""From the histories of a shelf to the story of every jar: growth, verdict, flags."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from jarvision.growth.forecast import fit_growth
from jarvision.growth.priors import Sibling, batch_of, fit_siblings
from jarvision.records import JarHistory, JarStory
from jarvision.register.jars import Register
from jarvision.register.looks import SeenFine
from jarvision.register.species import SpeciesBook
from jarvision.settings.groups import Settings
from jarvision.verdict.changes import changed_mind
from jarvision.verdict.decide import decide
from jarvision.verdict.stages import follow_fruiting


def tell_stories(
    histories: Sequence[JarHistory],
    known: Register,
    *,
    today: date,
    settings: Settings,
    species: SpeciesBook,
    looks: Mapping[str, tuple[SeenFine, ...]] | None = None,
) -> tuple[JarStory, ...]:
    """Curve, verdict and flags of every jar, each with what its batch mates teach.

    ``looks``: by jar, what a person found fine about it.
    """
    taught = fit_siblings(histories, today=today, profile_of=species.find, settings=settings)
    entries = [history.entry for history in histories]
    stories = []
    for history in histories:
        mates = [taught[j] for j in batch_of(history.entry, entries) if j in taught]
        stories.append(
            tell_with_taught(
                history,
                known,
                batch_mates=mates,
                today=today,
                settings=settings,
                species=species,
                looks=(looks or {}).get(history.entry.jar, ()),
            )
        )
    return tuple(stories)


def tell_story_of(
    history: JarHistory,
    mates: Sequence[JarHistory],
    known: Register,
    *,
    today: date,
    settings: Settings,
    species: SpeciesBook,
    looks: tuple[SeenFine, ...] = (),
) -> JarStory:
    """The story of one jar, as :func:`tell_stories` tells it; ``mates`` are those of its batch."""
    taught = fit_siblings(mates, today=today, profile_of=species.find, settings=settings)
    return tell_with_taught(
        history,
        known,
        batch_mates=[taught[jar] for jar in sorted(taught)],
        today=today,
        settings=settings,
        species=species,
        looks=looks,
    )


def tell_with_taught(
    history: JarHistory,
    known: Register,
    *,
    batch_mates: Sequence[Sibling],
    today: date,
    settings: Settings,
    species: SpeciesBook,
    looks: tuple[SeenFine, ...],
) -> JarStory:
    """Curve, verdict and flags of one jar.

    ``batch_mates`` were started alike and teach its growth; they need not share its spawn jar.
    """
    profile = species.find(history.entry.species)
    growth = fit_growth(history, profile, today=today, siblings=batch_mates, settings=settings)
    fruiting = follow_fruiting(
        history, profile, today=today, settings=settings.fruiting, wall_ready=growth.ready_date
    )
    verdict, flags = decide(
        history,
        growth,
        profile,
        today=today,
        settings=settings,
        siblings=known.siblings(history.entry.jar),
        looks=looks,
        fruiting=fruiting,
    )
    changed = changed_mind(
        history,
        verdict,
        profile,
        today=today,
        batch_mates=batch_mates,
        settings=settings,
        looks=looks,
    )
    return JarStory(
        history=history,
        growth=growth,
        verdict=verdict,
        flags=(*flags, *changed),
        profile=profile,
        fruiting=fruiting,
    )
