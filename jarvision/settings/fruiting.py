"""Thresholds of fruiting: pins, caps, moisture, when to cut.

"Common practice, no source" marks a rule of the trade for which no measurement was found.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class FruitingSettings:
    """Where the stages of a fruiting jar begin, and what is expected of caps not yet seen."""

    covered_margin_points: Annotated[float, Limits(0, 20)] = 3.0
    """The surface counts as covered so far below its species' ready share: it is ragged at the
    glass."""

    level_days: Annotated[int, Limits(1, 14)] = 2
    """The mean of so many days must reach that share: one photo is off by two points or more."""

    hood_seen_chance: Annotated[float, Limits(0.5, 1)] = 0.75
    """A hood is believed from here on by one photo; less sure ones count from the second on."""

    pin_mm: Annotated[float, Limits(0.5, 10)] = 2.4
    """Pins are looked for from this size on: smaller ones are droplets or tufts as often as not."""

    pin_chance: Annotated[float, Limits(0.3, 1)] = 0.8
    """Pins that are as likely as this together are told by one photo; less likely ones need a
    second day."""

    firm_pin_mm: Annotated[float, Limits(0.5, 10)] = 3.0
    """Pins smaller than this on their first day are hardly knots: the second day counts as the
    first."""

    sure_pin_mm: Annotated[float, Limits(1, 20)] = 6.0
    """A pin as large as this was there the day before: where no photo was taken on that day, no
    second one is needed."""

    cap_mm: Annotated[float, Limits(3, 40)] = 10.0
    """A pin with a cap of this width counts as growing fruit."""

    soon_days: Annotated[int, Limits(1, 7)] = 4
    """Cutting is announced once the end of its 80 % interval is so many days ahead: time to make
    room for the harvest."""

    flat_chance: Annotated[float, Limits(0.3, 1)] = 0.5
    """Caps whose edge has begun to flatten as likely as this are cut today."""

    moist_memory: Annotated[float, Limits(0, 1)] = 0.3
    """Weight of the days before beside a day's own droplets: one photo in twenty is misread, and a
    surface dries or is sprayed from one day to the next."""

    pins_to_cut_low_days: Annotated[float, Limits(1, 30)] = 3.0
    """Shortest usual time from pins to cutting (common practice, no source)."""

    pins_to_cut_high_days: Annotated[float, Limits(2, 60)] = 8.0
    """Longest usual time from pins to cutting (common practice, no source)."""

    full_cap_low_mm: Annotated[float, Limits(5, 200)] = 25.0
    """Width of a small full-grown cap from a jar (common practice, no source)."""

    full_cap_high_mm: Annotated[float, Limits(10, 400)] = 90.0
    """Width of a large one (common practice, no source)."""

    flat_share: Annotated[float, Limits(0.5, 0.99)] = 0.85
    """Share of its full width at which a cap begins to flatten (common practice, no source)."""

    flat_share_sd: Annotated[float, Limits(0.01, 0.3)] = 0.05
    """Standard deviation of that share between caps (common practice, no source)."""

    cap_error_mm: Annotated[float, Limits(0.1, 10)] = 1.0
    """Least standard error of a cap's width: the widest cap of today need not be that of
    yesterday."""

    young_error_share: Annotated[float, Limits(0, 1)] = 0.25
    """Error of a pin's width as the beginning of the largest cap, beside that of measuring: another
    pin may overtake it."""

    next_flush_low_days: Annotated[int, Limits(1, 60)] = 7
    """Shortest usual rest before the next flush (common practice, no source)."""

    next_flush_high_days: Annotated[int, Limits(1, 90)] = 14
    """Longest usual rest before the next flush (common practice, no source)."""

    same_flush_days: Annotated[int, Limits(0, 6)] = 3
    """Pickings no further apart than this are one flush (common practice, no source)."""

    given_up_days: Annotated[int, Limits(7, 120)] = 28
    """A jar that was cut leaves the list when so many days have brought neither pins nor a photo
    from above: twice the longest usual rest."""

    fruiting_low_c: Annotated[float, Limits(0, 30, unit="C")] = 15.0
    """Coolest place for fruiting that is advised where the species' range allows (common practice,
    no source)."""

    fruiting_high_c: Annotated[float, Limits(0, 35, unit="C")] = 18.0
    """Warmest such place (common practice, no source)."""
