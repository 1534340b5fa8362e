"""The photos of a jar from above -> its days from above.

The camera goes round the jar as it likes, so that places of two photos are not the same: areas are
pooled by their kind, and what is counted or measured is averaged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from itertools import groupby
from statistics import fmean

from jarvision.records import Coverage, Droplets, Measured, Reading, SurfacePatch, Top, TopDay


def is_top(reading: Reading) -> bool:
    """Whether a reading is of a usable photo from above."""
    return reading.status == "ok" and reading.top is not None


def top_days(readings: Iterable[Reading]) -> tuple[TopDay, ...]:
    """The days of one jar from above, in their order; readings of the wall are passed over."""
    usable = sorted(filter(is_top, readings), key=lambda r: (r.taken_at, r.photo))
    days = []
    for day, group in groupby(usable, key=lambda r: r.taken_at.date()):
        photos = tuple(group)
        each = tuple(r.top for r in photos if r.top is not None)
        days.append(
            TopDay(
                jar=photos[0].jar,
                day=day,
                photos=tuple(r.photo for r in photos),
                top=pool_tops(each),
                each=each,
                overlay=photos[-1].overlay,
            )
        )
    return tuple(days)


def pool_tops(tops: Sequence[Top]) -> Top:
    """Pool what the photos of one day say.

    The errors of a day share lamp, card and jar: half-widths of intervals are averaged, not shrunk
    by the number of photos, and half the spread between photos widens them. Of each kind of area
    those of the photo stay that shows most of it, and the pins and caps of the one with most of
    them: nothing is dropped because another photo lacks it.

    Raises
    ------
    ValueError
        There is none.
    """
    if not tops:
        raise ValueError("no photo from above to pool")
    if len(tops) == 1:
        return tops[0]
    fullest = max(tops, key=lambda top: (len(top.fruit), top.seen_cm2))
    mouths = [top.mouth_mm for top in tops]
    return replace(
        max(tops, key=lambda top: top.seen_cm2),
        mouth_mm=_mean(mouths),
        coverage=_coverage([top.coverage for top in tops]),
        patches=_patches(tops),
        droplets=_droplets([top.droplets for top in tops if top.droplets is not None]),
        pins=_pooled(tops, lambda top: top.pins),
        caps=_pooled(tops, lambda top: top.caps),
        largest_pin_mm=_pooled(tops, lambda top: top.largest_pin_mm),
        largest_cap_mm=_pooled(tops, lambda top: top.largest_cap_mm),
        flat_chance=_average([top.flat_chance for top in tops]),
        fruit=fullest.fruit,
        below_rim_mm=_pooled(tops, lambda top: top.below_rim_mm),
        hood_chance=max(
            (top.hood_chance for top in tops if top.hood_chance is not None), default=None
        ),
        untold={
            name: why
            for name, why in tops[-1].untold.items()
            if all(name in top.untold for top in tops)
        },
    )


def _pooled(tops: Iterable[Top], part: Callable[[Top], Measured | None]) -> Measured | None:
    known = [value for top in tops if (value := part(top)) is not None]
    return _mean(known) if known else None


def _mean(known: Sequence[Measured]) -> Measured:
    spread = (max(m.value for m in known) - min(m.value for m in known)) / 2
    return Measured(
        value=fmean(m.value for m in known),
        low=max(fmean(m.low for m in known) - spread, 0.0),
        high=fmean(m.high for m in known) + spread,
    )


def _average(chances: Iterable[float | None]) -> float | None:
    known = [chance for chance in chances if chance is not None]
    return fmean(known) if known else None


def _coverage(covers: Sequence[Coverage]) -> Coverage:
    spread = (max(c.percent for c in covers) - min(c.percent for c in covers)) / 2
    return Coverage(
        percent=fmean(c.percent for c in covers),
        low=max(fmean(c.low for c in covers) - spread, 0.0),
        high=min(fmean(c.high for c in covers) + spread, 100.0),
        soft_percent=fmean(c.soft_percent for c in covers),
        seen_percent=max(c.seen_percent for c in covers),
    )


def _droplets(known: Sequence[Droplets]) -> Droplets | None:
    if not known:
        return None
    dry, moist, wet, standing = (
        fmean(chances) for chances in zip(*(d.chances for d in known), strict=True)
    )
    diameters = [d.diameter_mm for d in known if d.diameter_mm is not None]
    return Droplets(
        per_cm2=fmean(d.per_cm2 for d in known),
        diameter_mm=fmean(diameters) if diameters else None,
        chances=(dry, moist, wet, standing),
    )


def _patches(tops: Sequence[Top]) -> tuple[SurfacePatch, ...]:
    kinds = dict.fromkeys(p.kind for top in tops for p in top.patches)
    most = {kind: max(tops, key=lambda top: top.area_cm2(kind)) for kind in kinds}
    return tuple(p for kind, top in most.items() for p in top.patches if p.kind == kind)
