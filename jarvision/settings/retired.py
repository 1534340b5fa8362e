"""Settings that a grower's file may still hold, though nothing is set by them any more."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any


@dataclass(frozen=True)
class Retired:
    """A setting that is gone: the default it had, which still holds, and why there is no other."""

    held: float
    why: str

    def agrees(self, value: Any) -> bool:
        """Tell whether a file asks for what holds anyway: then there is nothing to say."""
        return not isinstance(value, bool) and bool(value == self.held)


RETIRED: Mapping[tuple[str, str], Retired] = MappingProxyType(
    {
        ("tracking", "half_view_deg"): Retired(
            60.0, "every photo is judged to 60 degrees on both sides"
        ),
        ("colour", "white_linear_min"): Retired(
            0.03, "white_level_min in [acceptance] alone says how dark the card's white may be"
        ),
        ("coverage", "disagreement_weight"): Retired(
            1.0, "the doubt of both networks together says as much, see strange_doubt_weight"
        ),
    }
)
"""By section and name. A file with all defaults of an older version is read without a word."""
