"""Bare areas that a ready and rested jar still shows: which of them keep it from go, and how."""

from __future__ import annotations

from jarvision.records import Finding, TrackedPatch
from jarvision.verdict.evidence import Case, is_cut, is_white, keeps_from_go, twin_without


def left_bare(case: Case) -> list[Finding]:
    """Doubt a jar with a bare area that stands open; let it wait for one that closes or is new.

    What grows over is not dead: a small one that is closing, or has closed by a part since the jar
    was ready, is alive, however slowly it closes. White does not go away: a small area that is bare
    where the wall was white the day before is misread, or of another side, and the next photo tells
    which.
    """
    open_still = [p for p in case.last.patches if _counts(case, p)]
    if not open_still:
        return []
    area = max(p.area_cm2 for p in open_still)
    if all(p.trend == "closing" for p in open_still):
        return [Finding.of("still_closing", "wait", area_cm2=area)]
    if all(_is_small_and_new(case, p) for p in open_still):
        return [Finding.of("bare_anew", "wait", area_cm2=area)]
    return [Finding.of("bare_left", "check", area_cm2=area)]


def _counts(case: Case, patch: TrackedPatch) -> bool:
    misread = patch.trend == "new" and twin_without(case.last, patch)
    closes = patch.trend == "closing" and patch.area_cm2 < case.limits.dead_patch_cm2
    alive = closes or _is_closing_slowly(case, patch)
    return keeps_from_go(case, patch) and not misread and not alive


def _is_small(case: Case, patch: TrackedPatch) -> bool:
    """Say whether an area is smaller than one that ends a jar, and whole in view."""
    return patch.area_cm2 < case.limits.dead_patch_cm2 and not is_cut(case, patch)


def _is_closing_slowly(case: Case, patch: TrackedPatch) -> bool:
    """Say whether a small area has closed by a part since the jar was ready, and grows no more."""
    ready = case.growth.ready_date
    if ready is None or patch.trend in ("new", "growing") or not _is_small(case, patch):
        return False
    since = [day for day in case.days if day.day >= ready]
    areas = [p.area_cm2 for day in since for p in day.patches if p.patch == patch.patch]
    closed = patch.area_cm2 <= case.limits.closed_left_share * areas[0]
    return closed and min(areas) > case.limits.closed_left_share * patch.area_cm2


def _is_small_and_new(case: Case, patch: TrackedPatch) -> bool:
    """Say whether a small area is bare where the wall was white on the day with a photo before."""
    white = all(is_white(case, day) for day in case.days[-2:-1])
    return white and patch.trend == "new" and _is_small(case, patch)
