"""Notes on a jar: what is good to know, and touches no verdict."""

from __future__ import annotations

from jarvision.base.days import days_after
from jarvision.records import Finding
from jarvision.verdict.evidence import (
    Case,
    area_and_confidence,
    full_since,
    has_long_been_full,
    ignored_date,
    is_unnamed,
)
from jarvision.verdict.spots import gone_spots

FEWEST_PATCHES = 3
"""Fewer patches than this on either day may all have closed: they do not show that a jar turned."""

LACKING_LOOK = "no photo shows its contents before anything grew"
PHOTOS_DIFFER = "its photos of that day differ"


def notes_on(case: Case, siblings: tuple[str, ...] = ()) -> list[Finding]:
    """Find what is worth a note.

    ``siblings`` are the other jars made from the same spawn jar.
    """
    entry, notes = case.history.entry, []
    if not entry.registered:
        notes.append(Finding.of("unregistered", jar=entry.jar))
    if siblings:
        jars = ", ".join((entry.jar, *siblings))
        notes.append(Finding.of("shared_parent", day=entry.started, parent=entry.parent, jars=jars))
    notes += _refused(case) + _file_dates(case) + _opened(case) + _temperatures(case)
    if case.days:
        notes += _normal_stains(case) + _unproven_stain(case) + _unnamed_stain(case)
        notes += gone_spots(case) + _wide_interval(case)
        notes += _low_fill(case)
        notes += _odd_shapes(case) + _turned(case)
    return notes


def _refused(case: Case) -> list[Finding]:
    """Tell photos that could not be used."""
    return [
        Finding.of(
            "photo_refused",
            day=r.taken_at.date(),
            photo=r.photo,
            reason=r.reason,
            detail=r.detail.strip() or None,
        )
        for r in case.history.refused
    ]


def _file_dates(case: Case) -> list[Finding]:
    """Tell days that were taken from the file's date, or from its name against EXIF."""
    readings = [r for d in case.days for r in d.readings]
    found = [
        Finding.of("file_date", day=r.taken_at.date(), photo=r.photo, photo_day=r.taken_at.date())
        for r in readings
        if r.time_source == "file"
    ]
    return found + [f for r in readings if r.time_source == "name" for f in ignored_date(r)]


def _opened(case: Case) -> list[Finding]:
    """Tell a jar whose lid was off lately: that is how spores come in."""
    days = case.limits.opened_watch_days
    last = max((day for day in case.history.told("opened") if day <= case.today), default=None)
    if last is None or (case.today - last).days > days:
        return []
    until = days_after(last, days)
    return [Finding.of("opened", day=last, opened_on=last, until=until)]


def _temperatures(case: Case) -> list[Finding]:
    """Tell the last temperature of a growing jar where its species runs warmer or cooler."""
    profile, ready, fruits = case.profile, case.growth.ready_date, case.in_fruiting
    told = [(line.day, line.celsius) for line in case.history.diary if line.day <= case.today]
    known = [(day, celsius) for day, celsius in told if celsius is not None]
    over = not fruits and ready is not None and ready <= case.today
    if not known or not profile.latin or over:
        return []
    day, celsius = known[-1]
    least, most = profile.fruiting_c if fruits else profile.spawn_run_c
    if least <= celsius <= most:
        return []
    return [
        Finding.of(
            "fruiting_temperature" if fruits else "temperature",
            day=day,
            told_on=day,
            celsius=celsius,
            least_c=least,
            most_c=most,
            species=profile.latin,
        )
    ]


def _normal_stains(case: Case) -> list[Finding]:
    """Tell colours of the last day that are normal for the species."""
    profile, last = case.profile, case.last
    areas = {kind: area_and_confidence(last, kind)[0] for kind in profile.normal_kinds}
    return [
        Finding.of("stain", day=last.day, kind=kind, area_cm2=area, species=profile.latin)
        for kind, area in areas.items()
        if area >= case.limits.stain_note_cm2
    ]


def _unproven_stain(case: Case) -> list[Finding]:
    """Tell a large area of the last day that looks like stain and counts as bare."""
    area = max((r.unproven_cm2 for r in case.last.readings), default=0.0)
    if area < case.limits.unproven_note_cm2:
        return []
    return [Finding.of("unproven_stain", day=case.last.day, area_cm2=area)]


def _unnamed_stain(case: Case) -> list[Finding]:
    """Tell staining on old, full growth of a species that is not known."""
    area = area_and_confidence(case.last, "stain")[0]
    if not is_unnamed(case) or area < case.limits.stain_note_cm2 or not has_long_been_full(case):
        return []
    since = full_since(case)
    return [Finding.of("unnamed_stain", day=case.last.day, area_cm2=area, full_since=since)]


def _wide_interval(case: Case) -> list[Finding]:
    """Tell an interval that is too wide to act on, with what makes it so."""
    last = case.last
    hidden = 100.0 - last.coverage.seen_percent
    level = min(last.coverage, last.level, key=lambda known: known.high - known.low)
    if level.high - level.low < case.limits.wide_interval_points:
        return []
    hides = hidden >= case.limits.wide_hidden_percent
    own = [r.coverage for r in last.readings if r.coverage]
    narrow = [c for c in own if c.high - c.low < case.limits.wide_interval_points]
    differ = len(narrow) == len(own) > 1
    compared = any(r.reference_jar for r in last.readings)
    lacking = PHOTOS_DIFFER if differ else None if compared else LACKING_LOOK
    return [
        Finding.of(
            "wide_interval",
            day=last.day,
            low=level.low,
            high=level.high,
            hidden_percent=hidden if hides else None,
            lacking=None if hides else lacking,
        )
    ]


def _low_fill(case: Case) -> list[Finding]:
    """Tell contents that do not reach above the jar's groove, with twice their uncertainty."""
    last = case.last
    known = [r.groove_height_mm for r in last.readings if r.groove_height_mm is not None]
    groove = max(known) if known else case.limits.groove_height_mm
    if groove is None or not last.fill_height_mm < groove:
        return []
    margin = max((2.0 * r.fill_sd_mm for r in last.readings if r.fill_sd_mm), default=None)
    return [
        Finding.of(
            "low_fill",
            day=last.day,
            fill_mm=last.fill_height_mm,
            margin_mm=margin,
            groove_mm=groove,
        )
    ]


def _odd_shapes(case: Case) -> list[Finding]:
    """Tell photos that contradict what the register says of the glass."""
    return [
        Finding.of("jar_shape", day=case.last.day, photo=r.photo, conflict=r.shape_conflict)
        for r in case.last.readings
        if r.shape_conflict
    ]


def _turned(case: Case) -> list[Finding]:
    """Tell a jar that shows another side than the day before: by its contents, or its patches."""
    last = case.last
    if last.turned_away:
        return [Finding.of("turned", day=last.day, seen_on=last.day)]
    if last.turn is not None or last.told_shaken or len(case.days) < 2:
        return []
    before = case.days[-2]
    if min(len(before.patches), len(last.patches)) < FEWEST_PATCHES:
        return []
    if any(p.trend != "new" for p in last.patches):
        return []
    return [
        Finding.of(
            "patches_elsewhere",
            day=last.day,
            seen_on=last.day,
            before_on=before.day,
            patches=len(last.patches),
            patches_before=len(before.patches),
        )
    ]
