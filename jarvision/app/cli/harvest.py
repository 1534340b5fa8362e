"""What a jar gave: in words and as JSON has it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jarvision.app.cli.plain import rounded
from jarvision.base.text import counted

if TYPE_CHECKING:
    from jarvision.register.outcomes import JarOutcome


def tell_weight(jar: JarOutcome) -> str:
    """Fresh weight and flushes; empty when nothing was weighed."""
    if jar.fresh_grams is None:
        return ""
    return f"{jar.fresh_grams:g} g in {counted(len(jar.flushes), 'flush', 'flushes')}"


def tell_efficiency(jar: JarOutcome) -> str:
    """Biological efficiency; empty when a weight is missing."""
    efficiency = jar.biological_efficiency_percent
    if efficiency is None:
        return ""
    return f"biological efficiency {efficiency:.0f} % of {jar.dry_grams:g} g dry"


def harvest_numbers(jar: JarOutcome) -> dict[str, float | None]:
    """The same as numbers, by the names that all documents use."""
    return {
        "fresh_grams": jar.fresh_grams,
        "dry_grams": jar.dry_grams,
        "biological_efficiency_percent": rounded(jar.biological_efficiency_percent, 1),
    }
