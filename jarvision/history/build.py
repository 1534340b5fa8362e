"""From single readings to the days of a jar: one frame, patches that last, fronts.

The photos of a day are pooled (:mod:`jarvision.history.pooling`), the jar's turn since the days
before is found (:mod:`jarvision.history.registration`), patches are brought to the frame of the jar
and followed (:mod:`jarvision.history.linking`), the speed of the white is measured
(:mod:`jarvision.history.fronts`), and the days' coverages correct each other
(:mod:`jarvision.history.smoothing`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby, pairwise

import numpy as np

from jarvision.history.evidence import Before, settle_day
from jarvision.history.fronts import fastest_front
from jarvision.history.linking import DayPatches, Track, link, motion, round_share, turned
from jarvision.history.pooling import (
    QUARTERS,
    day_fill_height_mm,
    pool_coverage,
    pool_patches,
    wall_radius_mm,
)
from jarvision.history.registration import find_turn, moved
from jarvision.history.shakes import shows_first
from jarvision.history.smoothing import read_together
from jarvision.history.tops import is_top, top_days
from jarvision.records import (
    HALF_VIEW_DEG,
    OFF_COLOUR,
    DiaryLine,
    FloatArray,
    Front,
    JarDay,
    JarEntry,
    JarHistory,
    Reading,
    TrackedPatch,
    Turn,
)
from jarvision.settings.groups import Settings
from jarvision.settings.history import TrackingSettings
from jarvision.vision.tissue.thumbnail import (
    SMALL_CELL_DEG,
    SMALL_CELL_MM,
    SmallWall,
    unpack_thumbnail,
)


@dataclass(frozen=True)
class FrontView:
    """The front of a jar on one day, and how it stands in the jar's frame.

    A place at angle ``a`` and height ``h`` of the jar is seen at ``a + angle_deg`` and
    ``h + rise_mm``. Views of different frames show different sides. Only between views of one
    ``thread`` (the day of its first view) is it known how far the jar was turned.
    """

    day: date
    small: SmallWall
    percent: float
    frame: int = 0
    angle_deg: float = 0.0
    rise_mm: float = 0.0
    turn: Turn | None = None
    turned_away: bool = False
    thread: date | None = None

    @property
    def registered(self) -> bool:
        """True when it was found how far the jar was turned since an earlier day."""
        return self.turn is not None and self.turn.found


@dataclass(frozen=True)
class DaySight:
    """What one day shows of a jar: its usable photos, and its front in the jar's frame.

    ``front`` is None when no photo brings a thumbnail of it.
    """

    day: date
    shown: tuple[Reading, ...]
    front: FrontView | None


def build_histories(
    readings: Iterable[Reading],
    entries: Mapping[str, JarEntry],
    *,
    settings: Settings | None = None,
    diary: Mapping[str, Sequence[DiaryLine]] | None = None,
) -> tuple[JarHistory, ...]:
    """One history for every jar that has a reading, by name.

    ``entries`` is the register; jars that it lacks get an unregistered entry. Readings that could
    not be given to a jar (``jar`` empty) belong to no history. ``diary`` is what the grower has
    told, by jar.
    """
    by_jar: dict[str, list[Reading]] = {}
    for reading in readings:
        if reading.jar:
            by_jar.setdefault(reading.jar, []).append(reading)
    return tuple(
        build_history(
            by_jar[jar],
            entries.get(jar) or JarEntry(jar, registered=False),
            settings=settings,
            diary=(diary or {}).get(jar, ()),
        )
        for jar in sorted(by_jar)
    )


def build_history(
    readings: Iterable[Reading],
    entry: JarEntry,
    *,
    settings: Settings | None = None,
    diary: Sequence[DiaryLine] = (),
) -> JarHistory:
    """Pool one jar's readings by day and follow its patches; unusable readings are kept apart.

    A shake that ``diary`` tells begins a new frame: nothing lies where it lay before.
    """
    chosen = settings or Settings()
    ordered = sorted(readings, key=lambda r: (r.taken_at, r.photo))
    usable = [r for r in ordered if r.status == "ok" and r.coverage is not None]
    refused = tuple(
        r for r in ordered if not is_top(r) and (r.status != "ok" or r.coverage is None)
    )
    days: list[JarDay] = []
    tracks: list[Track] = []
    earlier: list[FrontView] = []
    by_day = [(d, tuple(group)) for d, group in groupby(usable, key=lambda r: r.taken_at.date())]
    shaken = _told_shakes(by_day, diary, chosen)
    for day, photos in by_day:
        shown = photos
        front = _front_view(shown, earlier, day=day, shaken=shaken, settings=chosen.tracking)
        if front is not None:
            before = _seen_before(front, earlier)
            shown, small = settle_day(shown, front.small, before, settings=chosen.tracking)
            front = replace(front, small=small)
        today = DaySight(day, shown, front)
        tracks = _follow(tracks, today, earlier, settings=chosen.tracking)
        days.append(
            _jar_day(
                entry.jar, today, tracks=tracks, earlier=earlier, shaken=shaken, settings=chosen
            )
        )
        if front is not None:
            earlier.append(front)
    together = read_together(days, chosen)
    return JarHistory(entry, together, refused, tuple(diary), top_days(ordered))


def _told_shakes(
    by_day: Sequence[tuple[date, Sequence[Reading]]],
    diary: Iterable[DiaryLine],
    settings: Settings,
) -> tuple[date, ...]:
    """The days on which the shakes show that the grower has told."""
    told = [line.day for line in diary if line.what == "shaken"]
    if not told or not by_day:
        return ()
    seen = [(day, pool_coverage(shown, settings.tracking).percent) for day, shown in by_day]
    return shows_first(told, seen, settings.growth)


def _jar_day(
    jar: str,
    today: DaySight,
    *,
    tracks: Sequence[Track],
    earlier: Sequence[FrontView],
    shaken: Sequence[date],
    settings: Settings,
) -> JarDay:
    """Put together the record of one day."""
    limits, view, shown = settings.tracking, today.front, today.shown
    here = (0.0, 0.0) if view is None else (view.angle_deg, view.rise_mm)
    return JarDay(
        jar=jar,
        day=today.day,
        views=len(shown),
        coverage=pool_coverage(shown, limits),
        patches=tuple(
            _tracked(t, here, wall_radius_mm(shown, limits), limits)
            for t in tracks
            if t.days[-1] == today.day
        ),
        fill_height_mm=day_fill_height_mm(shown),
        readings=shown,
        radius_mm=wall_radius_mm(shown, limits),
        turn=None if view is None else view.turn,
        turned_away=view is not None and view.turned_away,
        front=None if view is None else _front(view, earlier, shaken=shaken, settings=settings),
        cleared=tuple(t.name for t in tracks if t.missed >= limits.clear_days),
        parted=tuple(t.name for t in tracks if t.parted),
        told_shaken=today.day in shaken,
        absent={t.name: t.absent for t in tracks if t.absent},
    )


# --------------------------------------------------------------------------- the jar's frame
def _front_view(
    shown: Sequence[Reading],
    earlier: Sequence[FrontView],
    *,
    day: date,
    shaken: Sequence[date],
    settings: TrackingSettings,
) -> FrontView | None:
    """The day's front in the jar's frame; None when no reading brings a thumbnail of it.

    The days before are tried from the last one back, then the last one of every other side. A jar
    whose contents show but are not found again was turned away: a new frame begins. Where growth
    hides the contents nothing can be found, and the jar is taken to stand as it did. Of the days
    before a shake that was told none is tried.
    """
    fronts = [r for r in shown if QUARTERS[r.view] == 0 and r.thumbnail is not None]
    if not fronts or fronts[0].thumbnail is None or fronts[0].coverage is None:
        return None
    small, percent = unpack_thumbnail(fronts[0].thumbnail), fronts[0].coverage.percent
    now = FrontView(day, small, percent, thread=day)
    if not earlier:
        return now
    last = {view.frame: view for view in earlier if not _parts(shaken, view.day, day)}
    recent = [view for view in earlier[::-1][: settings.turn_look_back] if view.frame in last]
    turn = Turn()
    for before in [*recent, *(v for v in last.values() if v not in recent)]:
        turn = find_turn(before.small, now.small, settings=settings)
        if turn.found:
            return replace(
                now,
                frame=before.frame,
                angle_deg=before.angle_deg + turn.turn_deg,
                rise_mm=before.rise_mm + turn.rise_mm,
                turn=turn,
                turned_away=before.frame != earlier[-1].frame,
                thread=before.thread,
            )
    before, frames = earlier[-1], {view.frame for view in earlier}
    if not last:
        return replace(now, frame=max(frames) + 1)
    if _shows_contents(before.small, settings) and _shows_contents(now.small, settings):
        return replace(now, frame=max(frames) + 1, turn=turn, turned_away=True)
    return replace(
        now, frame=before.frame, angle_deg=before.angle_deg, rise_mm=before.rise_mm, turn=turn
    )


def _parts(shaken: Iterable[date], before: date, after: date) -> bool:
    """Say whether a shake that was told lies between two days."""
    return any(before < day <= after for day in shaken)


def _shows_contents(small: SmallWall, settings: TrackingSettings) -> bool:
    judged = small.opacity[np.isfinite(small.opacity)]
    return judged.size > 0 and float(np.mean(judged < 0.5)) >= settings.turn_min_bare


def _seen_before(view: FrontView, earlier: Sequence[FrontView]) -> list[Before]:
    """The earlier fronts of the same side, the last one first."""
    same = [v for v in earlier if v.frame == view.frame]
    return [
        Before(
            small=v.small,
            turn=Turn(view.angle_deg - v.angle_deg, view.rise_mm - v.rise_mm),
            days=(view.day - v.day).days,
            registered=view.registered and (v.registered or v is same[0]),
        )
        for v in same[::-1]
    ]


# --------------------------------------------------------------------------- patches
def _follow(
    tracks: Sequence[Track],
    today: DaySight,
    earlier: Sequence[FrontView],
    *,
    settings: TrackingSettings,
) -> list[Track]:
    """Link the day's patches in the frame of the jar; count the days on which one is missed.

    One is missed only where no turn is unknown since it was seen: another side does not show it.
    """
    view, pooled = today.front, pool_patches(today.shown, settings)
    if view is not None:
        pooled = [turned(p, -view.angle_deg, -view.rise_mm) for p in pooled]
        frame = view.frame
    else:
        frame = tracks[-1].frame if tracks else 0
    found = view is not None and view.registered
    patches = DayPatches(
        day=today.day,
        patches=tuple(pooled),
        radius_mm=wall_radius_mm(today.shown, settings),
        frame=frame,
        registered=found,
    )
    linked = link(tracks, patches, settings=settings)
    if view is None:
        return linked
    threads = {v.day: v.thread for v in earlier}
    return [
        replace(t, missed=t.missed + (threads.get(t.days[-1]) == view.thread), absent=t.absent + 1)
        if t.days[-1] != today.day and _clear_now(t, view, settings)
        else t
        for t in linked
    ]


def _clear_now(track: Track, view: FrontView, settings: TrackingSettings) -> bool:
    """Say whether a track's place is in view, was judged, and shows no off-colour growth."""
    place = track.patches[-1]
    angle = (place.angle_deg + view.angle_deg + 180.0) % 360.0 - 180.0
    if track.frame != view.frame or abs(angle) > settings.clear_view_deg:
        return False
    rows = view.small.classes.shape[0]
    row = rows - 1 - int((place.height_mm + view.rise_mm) / SMALL_CELL_MM)
    col = int((angle + HALF_VIEW_DEG) / SMALL_CELL_DEG)
    around = (slice(max(row - 1, 0), row + 2), slice(max(col - 1, 0), col + 2))
    classes, opacity = view.small.classes[around], view.small.opacity[around]
    judged = classes.size > 0 and bool(np.isfinite(opacity).all())
    return judged and not np.isin(classes, OFF_COLOUR).any()


def _tracked(
    track: Track, here: tuple[float, float], radius_mm: float, settings: TrackingSettings
) -> TrackedPatch:
    """The track's last patch, where it is seen today, with its name and motion."""
    patch, moves = turned(track.patches[-1], *here), motion(track, settings)
    new = moves.trend == "new"
    return TrackedPatch(
        patch=track.name,
        kind=track.kind,
        area_cm2=patch.area_cm2,
        angle_deg=patch.angle_deg,
        height_mm=patch.height_mm,
        trend=moves.trend,
        mm_per_day=None if new else moves.mm_per_day,
        sd_mm_per_day=None if new else moves.sd_mm_per_day,
        first_day=track.days[0],
        round_share=round_share(patch, radius_mm),
    )


# --------------------------------------------------------------------------- fronts
def _front(
    view: FrontView,
    earlier: Sequence[FrontView],
    *,
    shaken: Sequence[date],
    settings: Settings,
) -> Front | None:
    """Measure the fastest front since the last view of the same side.

    The last two are looked at together: what was covered on either was covered. None soon after a
    shake, which sets growth free everywhere.
    """
    limits, drop = settings.front, settings.growth.shake_drop_points
    same = [v for v in earlier if v.frame == view.frame][-2:]
    if not same or view.turned_away:
        return None
    recent = [v for v in earlier if (view.day - v.day).days <= limits.after_shake_days]
    levels = [v.percent for v in (*recent, view)]
    if any(b < a - drop for a, b in pairwise(levels)):
        return None
    if any(0 <= (view.day - day).days <= limits.after_shake_days for day in shaken):
        return None
    gap = float((view.day - same[-1].day).days)
    if gap > limits.longest_gap_days:
        return None
    maps = [_covered_before(v, view) for v in same]
    return fastest_front(maps, view.small, gap_days=gap, settings=limits)


def _covered_before(before: FrontView, view: FrontView) -> FloatArray:
    """The opacity of an earlier view in the frame of another; mould counts as covered."""
    hidden = np.where(np.isin(before.small.classes, OFF_COLOUR), 1.0, before.small.opacity)
    turn = Turn(view.angle_deg - before.angle_deg, view.rise_mm - before.rise_mm)
    return moved(hidden, view.small.opacity.shape[0], turn)
