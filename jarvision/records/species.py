"""What is normal for a cultivated species."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

PinHabit = Literal["rarely", "sometimes", "often"]


@dataclass(frozen=True)
class SpeciesProfile:
    """What a grower may expect of one species in a jar.

    Attributes
    ----------
    name
        Key of the profile: the file's name.
    spawn_run_days, spawn_run_c, fruiting_c
        Shortest and longest; lowest and highest.
    normal_kinds
        Patch kinds of colours that are normal for the species, of ``stain``, ``yellow``, ``pink``.
    ready_percent
        Coverage at which the jar counts as run through.
    consolidation_days
        Rest between ready and use.
    keeps_days
        How long the jar stays good after its rest, before it is overdue.
    pins_in_jar
        Whether it forms pins inside the jar.
    front_mm_per_day
        Slowest and fastest ordinary speed of its front on grain or straw.
    sources
        Name of the value to where it comes from.
    """

    name: str
    latin: str
    common: tuple[str, ...]
    spawn_run_days: tuple[float, float]
    spawn_run_c: tuple[float, float]
    fruiting_c: tuple[float, float]
    look: str
    normal_kinds: tuple[str, ...]
    ready_percent: float
    consolidation_days: int
    keeps_days: int
    pins_in_jar: PinHabit
    front_mm_per_day: tuple[float, float]
    sources: Mapping[str, str]
