"""What happens to each jar of a batch: drawn from one seed, told in full.

Ranges marked "trade" are common practice without a source; they are the ones that the species
profiles of the package hold.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np

from jarvision.records import JarEntry

Story = Literal[
    "healthy", "slow", "stained", "shaken", "overdue",
    "stalled", "dead patch", "white mould", "slow mould", "mould under stain", "wet",
    "turned", "wrong date", "slowed",
]  # fmt: skip

GOOD: tuple[Story, ...] = (
    "healthy", "slow", "stained", "shaken", "overdue", "turned", "wrong date",
)  # fmt: skip
SHARES: dict[Story, float] = {
    "healthy": 0.34, "slow": 0.08, "stained": 0.06, "shaken": 0.08, "overdue": 0.04,
    "stalled": 0.12, "dead patch": 0.08, "white mould": 0.12, "slow mould": 0.04,
    "mould under stain": 0.02, "wet": 0.02,
}  # fmt: skip

JARS_OF_A_BATCH = 6
FIRST_DAY = date(2026, 3, 1)


@dataclass(frozen=True)
class Mould:
    """A mould on the wall in view.

    ``speed_mm_per_day``: *Trichoderma* 12 to 20 mm/day radially (from memory, no single source),
    held to 10 to 16 here since grain is not agar; slow ones (*Penicillium*) 2 to 4 (from memory).
    ``white_days``: how long a place stays white before it turns green: 2 to 4 (trade).
    """

    lands_day: float
    angle_deg: float
    height_mm: float
    speed_mm_per_day: float
    white_days: float
    largest_mm: float = 60.0


@dataclass(frozen=True)
class Plan:
    """One jar: what it is, how it grows, what happens to it, how it is photographed.

    Days are counted from the start of the jar. ``day_factors`` stretch each day's growth: warm and
    cold days, shared by the shelf.

    Attributes
    ----------
    law, run_days, ready_share, shape
        How it grows (``laws.py``), for how long until which share of the wall is covered, and the
        law's own number. ``nuclei``: by speed and nuclei alone.
    gaps_share
        Share of the wall that stays open as lace: species that stay thin.
    reader, narrow
        How wrong it is read (``reading.READERS``), and whether the intervals are half as wide.
    most_photos, weekends
        Photos a day, and whether there are any on weekends.
    turned
        From which day on the jar shows another side, and how far it was turned, degrees.
    """

    entry: JarEntry
    story: Story
    seed: int
    radius_mm: float
    fill_mm: float
    speed_mm_per_day: float
    nuclei_per_cm2: float
    lag_days: float
    spread_days: float
    day_factors: tuple[float, ...]
    last_day: int
    stall_day: float | None = None
    dead_cm2: float = 0.0
    place: tuple[float, float] = (0.0, 40.0)
    mould: Mould | None = None
    stain_day: float | None = None
    wet_mm: float = 0.0
    shake_percent: float | None = None
    bad_reading_day: int | None = None
    wrong_clock: tuple[int, int] | None = None
    law: str = "nuclei"
    run_days: float = 0.0
    ready_share: float = 0.95
    shape: float = 0.0
    gaps_share: float = 0.0
    reader: str = "rendered"
    narrow: bool = False
    most_photos: int = 1
    weekends: bool = True
    turned: tuple[int, float] | None = None


def plan_batch(seed: int) -> tuple[Plan, ...]:
    """Draw a batch: jars of one species, substrate, start and spawn jar on one shelf."""
    rng = np.random.default_rng([seed, 811])
    speed = rng.uniform(2.3, 3.3)
    nuclei = np.exp(rng.uniform(np.log(0.1), np.log(0.3)))
    lag = rng.uniform(1.0, 3.0)
    factors = tuple(np.exp(rng.normal(0.0, 0.10, 60)).tolist())
    plans = []
    for number in range(JARS_OF_A_BATCH):
        entry = JarEntry(
            jar=f"S{seed:04d}-{number + 1}",
            species="oyster",
            substrate="rye",
            started=FIRST_DAY,
            parent=f"P{seed:04d}",
        )
        base = Plan(
            entry=entry,
            story="healthy",
            seed=1000 * seed + number,
            radius_mm=rng.uniform(40.0, 48.0),
            fill_mm=rng.uniform(75.0, 105.0),
            speed_mm_per_day=speed * np.exp(rng.normal(0.0, 0.08)),
            nuclei_per_cm2=nuclei * np.exp(rng.normal(0.0, 0.2)),
            lag_days=max(lag + rng.normal(0.0, 0.4), 0.3),
            spread_days=rng.uniform(0.3, 1.2),
            day_factors=factors,
            last_day=30,
        )
        story = rng.choice(np.array(list(SHARES)), p=list(SHARES.values()))
        plans.append(_with_record_faults(_with_story(base, str(story), rng), rng))
    return tuple(plans)


def _with_story(plan: Plan, story: str, rng: np.random.Generator) -> Plan:
    """Give the jar its fate."""
    place = (float(rng.uniform(-38, 38)), float(rng.uniform(18, plan.fill_mm - 18)))
    plan = replace(plan, story=story, place=place)  # type: ignore[arg-type]
    half_day = plan.lag_days + 0.47 / (plan.speed_mm_per_day / 10 * plan.nuclei_per_cm2**0.5)
    match story:
        case "slow":
            return replace(plan, speed_mm_per_day=0.65 * plan.speed_mm_per_day, last_day=40)
        case "overdue":
            return replace(plan, last_day=45)
        case "stained":
            return replace(plan, stain_day=half_day * rng.uniform(0.9, 1.6))
        case "shaken":
            return replace(plan, shake_percent=rng.uniform(20, 40))
        case "stalled":
            return replace(plan, stall_day=half_day * rng.uniform(0.75, 1.35))
        case "dead patch":
            return replace(plan, dead_cm2=rng.uniform(1.6, 5.0))
        case "wet":
            return replace(plan, wet_mm=rng.uniform(6, 14))
        case "white mould":
            return replace(
                plan,
                mould=Mould(
                    lands_day=half_day * rng.uniform(0.3, 0.9),
                    angle_deg=place[0],
                    height_mm=place[1],
                    speed_mm_per_day=rng.uniform(10.0, 16.0),
                    white_days=rng.uniform(2.0, 4.0),
                ),
            )
        case "slow mould" | "mould under stain":
            return replace(
                plan,
                stain_day=half_day if "stain" in story else None,
                mould=Mould(
                    lands_day=half_day * rng.uniform(0.5, 1.8),
                    angle_deg=place[0],
                    height_mm=place[1],
                    speed_mm_per_day=rng.uniform(2.0, 4.0),
                    white_days=rng.uniform(0.8, 2.0),
                ),
            )
    return plan


def _with_record_faults(plan: Plan, rng: np.random.Generator) -> Plan:
    """One bad reading in three jars of ten, a wrong clock in one of ten."""
    bad = int(rng.integers(3, 18)) if rng.random() < 0.3 else None
    clock = None
    if rng.random() < 0.1:
        clock = (int(rng.integers(4, 18)), int(rng.choice([-365, -3, -1, 2, 365])))
    return replace(plan, bad_reading_day=bad, wrong_clock=clock)


def day(number: int) -> date:
    """Return the date of a jar's day."""
    return FIRST_DAY + timedelta(days=number)
