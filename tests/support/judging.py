"""From the readings of a jar to its verdict, for tests of what is decided."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from shelves import Story, kjma, oyster

from jarvision.growth.forecast import fit_growth
from jarvision.history.build import build_history
from jarvision.records import DiaryLine, Flag, JarEntry, Patch, Reading, Verdict
from jarvision.records.flags import FLAGS
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings
from jarvision.verdict.decide import decide


def judge(
    readings: Sequence[Reading],
    entry: JarEntry | None = None,
    *,
    today: date | None = None,
    siblings: tuple[str, ...] = (),
    settings: Settings | None = None,
    diary: Sequence[DiaryLine] = (),
) -> tuple[Verdict, tuple[Flag, ...]]:
    """Follow the whole way from readings to the verdict."""
    history = build_history(readings, entry or oyster(), diary=diary)
    profile = find_profile(history.entry.species)
    now = today or max(r.taken_at.date() for r in readings)
    growth = fit_growth(history, profile, today=now)
    verdict, flags = decide(
        history, growth, profile, today=now, siblings=siblings, settings=settings
    )
    assert all(f.flag in FLAGS for f in flags)
    assert all(r.endswith(".") for r in verdict.reasons)
    return verdict, flags


def words(flags: Sequence[Flag]) -> set[str]:
    return {f.flag for f in flags}


def healthy(days: int = 16, seed: int = 0, **more: object) -> Story:
    """Ready on day 11 (95 % nine days after a lag of two), at rest until day 14."""
    return Story(kjma(np.arange(days)), seed=seed, **more)  # type: ignore[arg-type]


def with_patches(story: Story, patches: Sequence[Patch], since: int = 0) -> list[Reading]:
    story.patches = dict.fromkeys(range(since, len(story.percents)), patches)
    return story.readings()
