"""What the grower's plan counts on: substrate, water, days. ``plan.toml`` overrides it.

"Common practice, no source" marks a rule of the trade for which no measurement was found.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final

from jarvision.errors import UsageError

FILE_NAME: Final = "plan.toml"


@dataclass(frozen=True)
class PlanSettings:
    """Everything is meant to be set by the grower; the defaults suit jars of about a litre."""

    days: int = 14
    """How far ahead the plan looks, days: about one spawn run."""

    dry_substrate_g: float = 100.0
    """Dry substrate in one fruiting jar, g: chopped straw packed into a litre (common practice,
    no source; weigh one of yours)."""

    water_share: float = 0.70
    """Share of water in the drained substrate, by weight (common practice, no source)."""

    soak_days: int = 1
    """Days between soaking and packing: overnight (common practice, no source)."""

    pasteurise_minutes: int = 60
    """How long the substrate is held hot, minutes (common practice, no source)."""

    pasteurise_low_c: float = 65.0
    """Lowest temperature of the substrate while pasteurised, C (common practice, no source)."""

    pasteurise_high_c: float = 80.0
    """Highest temperature of the substrate while pasteurised, C (common practice, no source)."""

    cool_below_c: float = 30.0
    """Substrate must be cooler than this when the spawn goes in, C (common practice, no source)."""

    gather_days: int = 2
    """Spawn jars that can be used within this many days of each other are packed together, as
    long as the first one keeps: fewer rounds of pasteurising."""

    def water_g(self, dry_g: float) -> float:
        """Water that ``dry_g`` of dry substrate holds at ``water_share``, g."""
        return dry_g * self.water_share / (1.0 - self.water_share)


_LIMITS: Final[dict[str, tuple[float, float]]] = {
    "days": (1, 120),
    "dry_substrate_g": (1, 100_000),
    "water_share": (0.3, 0.9),
    "soak_days": (0, 7),
    "pasteurise_minutes": (1, 1440),
    "pasteurise_low_c": (40, 100),
    "pasteurise_high_c": (40, 100),
    "cool_below_c": (10, 40),
    "gather_days": (0, 14),
}


def read_plan_settings(path: Path) -> PlanSettings:
    """Read ``plan.toml``; the defaults where there is no such file, or no such line in it.

    Raises
    ------
    UsageError
        When the file is not TOML, or holds an unknown name or a value out of its range.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return PlanSettings()
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{path.name} cannot be read ({error})", "Save it as UTF-8.") from error
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{path.name} is not TOML ({error})", "Correct that line.") from error
    known = {field.name for field in fields(PlanSettings)}
    if odd := sorted(table.keys() - known):
        raise UsageError(
            f"{path.name} does not know: {', '.join(odd)}", f"Known are {', '.join(sorted(known))}."
        )
    numbers: dict[str, Any] = {name: _number(path, name, table[name]) for name in table}
    settings = PlanSettings(**numbers)
    if settings.pasteurise_low_c > settings.pasteurise_high_c:
        raise UsageError(f"{path.name}: pasteurise_low_c is above pasteurise_high_c", "Swap them.")
    return settings


def _number(path: Path, name: str, value: object) -> int | float:
    low, high = _LIMITS[name]
    whole = isinstance(getattr(PlanSettings, name), int)
    number = isinstance(value, int if whole else int | float) and not isinstance(value, bool)
    if not number or not isinstance(value, int | float) or not low <= value <= high:
        kind = "a whole number" if whole else "a number"
        raise UsageError(f"{path.name}: {name} must be {kind} from {low:g} to {high:g}")
    return value
