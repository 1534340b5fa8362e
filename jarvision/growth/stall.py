"""Tell a jar that has stopped growing from one that is slow or nearly full."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from jarvision.base.statistics import Slope
from jarvision.growth.draws import packed_percent
from jarvision.growth.priors import Sibling
from jarvision.growth.timeseries import Series, moved_doubtfully, rate_of, without_bad_readings
from jarvision.records import Finding, JarHistory
from jarvision.register.species import SpeciesProfile
from jarvision.settings.growth import GrowthSettings


@dataclass(frozen=True)
class Stall:
    """How long a jar has stood still at least, what was found, and the chance of it.

    ``p_value``: the chance that a jar which still grows at ``stall_share`` of what is expected
    would show so little.
    """

    days: int = 0
    finding: Finding | None = None
    p_value: float = 1.0


def find_stall(
    series: Series,
    history: JarHistory,
    profile: SpeciesProfile,
    *,
    settings: GrowthSettings,
    siblings: Sequence[Sibling] = (),
) -> Stall:
    """Find out whether the jar has stood still up to the last day, and for how long.

    The rate over the last ``stall_days`` or more (weighted least squares) is tested against
    ``stall_share`` of the rate expected at the coverage the jar has (one-sided, normal errors).
    Longer and longer looks back are tried: noise hides a short stall. The first that is unlikely
    enough counts, and that it is still unlikely over the whole time of no growth gives its length.
    Those are passed over in which even the expected gain is less than a reading's own uncertainty,
    and so are all while the jar is in its lag (one that is still in it after its species' time to
    start is told a short stall, until its longest run is over). None is tried beyond one that
    shows growth: a long lag says nothing of a jar that now grows. Only the shortest length is told
    where the newest days are not flat by themselves, where the jar has surely gained over the whole
    of it, however slowly, or where the last reading was left out.
    """
    kept = without_bad_readings(series, settings)
    if max(kept.y[-1], np.median(kept.y[-3:])) >= profile.ready_percent:
        return Stall()
    moved = moved_doubtfully(series, kept)
    if moved > 0:
        return Stall()
    age, started = _age_days(series, history), _has_started(kept, history, settings)
    if not started and (age < leap_off_days(profile, settings) or _is_empty(history, settings)):
        return _never_started(kept, history, profile, settings)
    fronts = {d.day: d.front.mm_per_day for d in history.days if d.front is not None}
    looks = list(_looks_back(kept, fronts, profile, siblings, settings))
    telling = next((look for look in looks if look.tells(settings)), None)
    if telling is None:
        return Stall()
    flat = moved == 0 and not _rose_lately(kept, settings)
    flat &= started or age > profile.spawn_run_days[1]
    newest = [look for look in looks if look.days <= min(telling.days, settings.stall_newest_days)]
    flat &= all(look.above_slow < settings.stall_flat_z for look in newest)
    lasted = max(telling.days, _plateau_days(kept))
    whole = [look for look in looks if look.days <= lasted][-1]
    flat &= whole.rate.value < settings.stall_gain_z * whole.rate.sd
    lasted = lasted if flat else settings.stall_days
    return _stalled(lasted, telling, kept, in_batch=bool(siblings), settings=settings)


@dataclass(frozen=True)
class _Look:
    """What a look back over some days shows: the rate, and the expected one.

    ``above_slow``: how far the rate lies above ``stall_share`` of what is expected, in standard
    errors. ``rough``: even the expected gain is less than a reading's own uncertainty.
    ``slowest``: what the slowest jars of its species gain at that coverage. ``fronts``: the speeds
    of the white fronts over its days, mm a day, where they were measured; ``ran_before``: the
    median of those before, 0 without any.
    """

    days: int
    rate: Slope
    expected: float
    above_slow: float
    rough: bool
    slowest: float
    fronts: tuple[float, ...]
    ran_before: float

    @property
    def p_value(self) -> float:
        """The chance of so little growth in a jar that grows at ``stall_share``."""
        return _normal_tail(-self.above_slow)

    def tells(self, settings: GrowthSettings) -> bool:
        """Say whether it tells a stall: not where fronts were seen to run on half of its days.

        Where they ran before and none has since, a reading or two that rise need not deny it: the
        less so, the faster they ran. Else the rate must be surely below the slow one, and not only
        that of a jar which is slower than its batch.
        """
        moves, ran_well = settings.stall_front_mm_per_day, settings.stall_ran_mm_per_day
        ran = sum(speed >= moves for speed in self.fronts)
        if self.rough or (self.fronts and 2 * ran >= len(self.fronts)):
            return False
        stand = len(self.fronts) > 1 and max(self.fronts) == 0.0
        if stand and self.ran_before >= ran_well:
            return self.p_value < settings.stall_stood_p
        if self.rate.value > settings.stall_species_share * self.slowest:
            return False
        if stand and self.ran_before >= moves:
            return self.p_value < settings.stall_crept_p
        return self.above_slow < 0 and self.p_value < settings.stall_p


def _looks_back(
    series: Series,
    fronts: Mapping[date, float],
    profile: SpeciesProfile,
    siblings: Sequence[Sibling],
    settings: GrowthSettings,
) -> Iterator[_Look]:
    """Look back over longer and longer times, up to one that shows growth."""
    for first in range(len(series.t) - 3, -1, -1):
        length = int(series.t[-1] - series.t[first])
        if length > settings.stall_longest_days:
            return
        if length < settings.stall_days:
            continue
        look = _look_back(series, first, fronts, profile, siblings=siblings, settings=settings)
        if look.above_slow > settings.stall_grows_z:
            return
        yield look


def _look_back(
    series: Series,
    first: int,
    fronts: Mapping[date, float],
    profile: SpeciesProfile,
    *,
    siblings: Sequence[Sibling],
    settings: GrowthSettings,
) -> _Look:
    """Hold the rate from point ``first`` on against what is expected at that coverage."""
    rate = rate_of(series, first)
    level = float(np.mean(series.y[first:])) / 100.0
    full = _full_rate(series, profile, siblings, before=first, settings=settings)
    expected = 4 * level * (1 - level) * full
    slowest = 4 * level * (1 - level) * 100.0 / profile.spawn_run_days[1]
    slow = settings.stall_share * expected
    days = int(series.t[-1] - series.t[first])
    rough = expected * days < float(np.median(series.sd[first:]))
    since, last = series.day(first), series.day(-1)
    before = [speed for day, speed in fronts.items() if day <= since]
    return _Look(
        days=days,
        rate=rate,
        expected=expected,
        above_slow=(rate.value - slow) / rate.sd,
        rough=rough,
        slowest=slowest,
        fronts=tuple(speed for day, speed in fronts.items() if since < day <= last),
        ran_before=float(np.median(before)) if before else 0.0,
    )


def _stalled(
    lasted: int, look: _Look, series: Series, *, in_batch: bool, settings: GrowthSettings
) -> Stall:
    found = Finding.of(
        "stall_in_batch" if in_batch else "stall",
        days=lasted,
        percent=float(series.y[-1]),
        percent_per_day=look.rate.value,
        expected_percent_per_day=look.expected,
        slow_share=settings.stall_share,
        chance=look.p_value,
    )
    return Stall(lasted, found, look.p_value)


def _full_rate(
    series: Series,
    profile: SpeciesProfile,
    siblings: Sequence[Sibling],
    *,
    before: int,
    settings: GrowthSettings,
) -> float:
    """The largest slope to be expected of the jar, points a day.

    Its own best rate before the look back, which begins at point ``before``, or the slowest of its
    species if that is higher; with siblings at least ``stall_sibling_share`` of their median, since
    a jar that stops early never shows its best.
    """
    rates = [_best_rate(series, before, settings), 100.0 / profile.spawn_run_days[1]]
    if siblings:
        median = float(np.median([s.rate_percent_per_day for s in siblings]))
        rates.append(settings.stall_sibling_share * median)
    return max(rates)


def _normal_tail(z: float) -> float:
    """The chance of a standard normal value above ``z``."""
    return 0.5 * math.erfc(z / math.sqrt(2.0))


def _rose_lately(series: Series, settings: GrowthSettings) -> bool:
    """Say whether the last reading lies surely above the three before it."""
    before = float(np.median(series.y[-4:-1])) if len(series.y) > 1 else math.inf
    return bool(series.y[-1] - before > settings.stall_rise_sd * math.sqrt(2.0) * series.sd[-1])


def _plateau_days(series: Series) -> int:
    """For how long no reading lay surely (3 sd) below the last three."""
    level = float(np.median(series.y[-3:]))
    below = np.flatnonzero(series.y < level - 3 * series.sd)
    since = int(below[-1]) + 1 if below.size else 0
    return int(series.t[-1] - series.t[min(since, len(series.t) - 1)])


def _has_started(series: Series, history: JarHistory, settings: GrowthSettings) -> bool:
    """Say whether the jar is out of its lag by its readings, the highest of which may be bad.

    What a jar was white with when it was packed is no start.
    """
    shaken = series.day(0) > history.days[0].day
    packed = 0.0 if shaken else packed_percent(series, settings)
    return float(np.sort(series.y)[-2:].min()) >= packed + settings.lag_percent


def _is_empty(history: JarHistory, settings: GrowthSettings) -> bool:
    """Say whether nothing was ever seen on the wall."""
    highest = max(d.coverage.percent for d in history.days)
    return highest < settings.leap_off_percent


def leap_off_days(profile: SpeciesProfile, settings: GrowthSettings) -> int:
    """By which day a live jar of a species shows growth."""
    return max(settings.leap_off_days, round(settings.leap_off_share * profile.spawn_run_days[1]))


def _age_days(series: Series, history: JarHistory) -> int:
    """The age on the last day, from the first photo on where the start is not known."""
    return (series.day(-1) - (history.entry.started or history.days[0].day)).days


def _never_started(
    series: Series, history: JarHistory, profile: SpeciesProfile, settings: GrowthSettings
) -> Stall:
    """Tell a jar without any white long after its start (or first photo)."""
    age, latest = _age_days(series, history), leap_off_days(profile, settings)
    if age < latest or not _is_empty(history, settings):
        return Stall()
    days = age - latest + settings.stall_days
    found = Finding.of(
        "never_started",
        days=days,
        percent=float(series.y[-1]),
        age_days=age,
        leap_off_days=latest,
    )
    return Stall(days, found)


def _best_rate(series: Series, until: int, settings: GrowthSettings) -> float:
    """The best rate that was surely seen over any three neighbouring points up to ``until``.

    In points a day. Of many differences the largest is mostly chance: ``stall_best_sd`` of its
    standard uncertainties are taken off each.
    """
    gains = series.y[2:] - series.y[:-2]
    gains = gains - settings.stall_best_sd * np.hypot(series.sd[2:], series.sd[:-2])
    rates = gains / (series.t[2:] - series.t[:-2])
    return float(np.max(rates[: max(until - 1, 0)], initial=0.0))
