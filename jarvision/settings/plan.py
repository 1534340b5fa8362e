"""What the grower's plan counts on: substrate, water, days.

"Common practice, no source" marks a rule of the trade for which no measurement was found.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class PlanSettings:
    """What the plan counts on; the defaults suit jars of about a litre."""

    days: Annotated[int, Limits(1, 120)] = 14
    """How far ahead the plan looks: about one spawn run."""

    dry_substrate_g: Annotated[float, Limits(1, 100_000, unit="g")] = 100.0
    """Dry substrate in one fruiting jar: chopped straw packed into a litre (common practice, no
    source; weigh one of yours)."""

    water_share: Annotated[float, Limits(0.3, 0.9)] = 0.70
    """Share of water in the drained substrate, by weight (common practice, no source)."""

    soak_days: Annotated[int, Limits(0, 7)] = 1
    """Days between soaking and packing: overnight (common practice, no source)."""

    pasteurise_minutes: Annotated[int, Limits(1, 1440, unit="minutes")] = 60
    """How long the substrate is held hot (common practice, no source)."""

    pasteurise_low_c: Annotated[float, Limits(30, 100, unit="C")] = 65.0
    """Lowest temperature of the substrate while it is pasteurised (common practice, no source)."""

    pasteurise_high_c: Annotated[float, Limits(30, 100, unit="C")] = 80.0
    """Highest temperature of the substrate while it is pasteurised (common practice, no source)."""

    cool_below_c: Annotated[float, Limits(10, 40, unit="C")] = 30.0
    """Substrate must be cooler than this when the spawn goes in (common practice, no source)."""

    gather_days: Annotated[int, Limits(0, 14)] = 2
    """Spawn jars that can be used within this many days of each other are packed together, as
    long as the first one keeps: fewer rounds of pasteurising."""

    reminder_hour: Annotated[int, Limits(0, 23)] = 8
    """Hour at which the calendar reminds of what is to be done on a day (common practice, no
    source)."""

    def water_g(self, dry_g: float) -> float:
        """Water that ``dry_g`` of dry substrate holds at ``water_share``, g."""
        return dry_g * self.water_share / (1.0 - self.water_share)
