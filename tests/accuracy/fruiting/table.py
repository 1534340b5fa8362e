"""Stages and harvest forecasts of simulated jars against their truth, as rows of a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from jarvision.records import CutForecast, Stage
from jarvision.truth.hindsight import share
from jarvision.verdict.stages import follow_fruiting

from .jars import FruitingJar, date_of
from .seeing import harvests_of, history_of


@dataclass(frozen=True)
class ToldDay:
    """What was said on a day, and what was true.

    ``within`` are the days within which a near harvest was said to be due, ``left`` those that were
    truly left to the last day to cut; None where there is none.
    """

    jar: int
    day: int
    photo: bool
    said: Stage
    true: Stage
    within: int | None = None
    left: int | None = None

    @property
    def right(self) -> bool:
        """Whether what was said holds, to the day.

        ``harvest-soon`` holds when the last day to cut comes after this one and within the days
        that were said; ``growing`` when it is more than a day away.
        """
        if self.true == "growing" and self.left is not None:
            if self.said == "harvest-soon":
                return self.within is not None and self.left <= self.within
            return self.said == "growing" and self.left > 1
        return self.said == self.true

    @property
    def nearly(self) -> bool:
        """The same, but ``harvest-today`` may be said a day before the last day to cut."""
        return self.right or (self.said == "harvest-today" and self.left == 1)


@dataclass(frozen=True)
class ToldCut:
    """A harvest forecast some days before the true last day to cut; None where none was made."""

    law: str
    days_ahead: int
    cut: CutForecast | None
    true: date


def tell_jar(jar: FruitingJar) -> tuple[list[ToldDay], list[ToldCut]]:
    """Follow a jar as on each of its days: nothing of later days is known."""
    history = history_of(jar)
    days, forecasts = [], []
    for day in range(jar.photo_days[0], jar.last_day + 1):
        today = date_of(day)
        cut_history = replace(history, tops=tuple(t for t in history.tops if t.day <= today))
        told = follow_fruiting(
            cut_history,
            jar.profile,
            today=today,
            harvests=[date_of(cut) for cut in harvests_of(jar, day)],
        )
        assert told is not None
        flush = jar.flush_on(day)
        days.append(
            ToldDay(
                jar=jar.seed,
                day=day,
                photo=day in jar.photo_days,
                said=told.stage,
                true=jar.stage(day),
                within=max((told.cut.latest - today).days, 1) if told.cut else None,
                left=flush.last_day_to_cut - day if flush else None,
            )
        )
        if flush is not None and day <= flush.last_day_to_cut and flush.width_mm(day) > 0:
            ahead = flush.last_day_to_cut - day
            forecasts.append(
                ToldCut(flush.law_name, ahead, told.cut, date_of(flush.last_day_to_cut))
            )
    return days, forecasts


def rows(days: Sequence[ToldDay], cuts: Sequence[ToldCut]) -> list[tuple[str, str]]:
    """Rows of the table."""
    photographed = [d for d in days if d.photo]
    table = [
        ("jars, days", f"{len({d.jar for d in days})}, {len(days)}"),
        ("stage right, all days", _right(days)),
        ("stage right, days with a photo", _right(photographed)),
        ("the same, a cap cut a day early counted as right", _right(days, early=True)),
    ]
    table += [(f"of days truly {stage}", _right(own)) for stage, own in _by_truth(days)]
    for ahead in (1, 2, 3):
        table += _forecasts([c for c in cuts if c.days_ahead == ahead], ahead)
    return table


def confusions(days: Iterable[ToldDay], most: int = 12) -> list[tuple[str, int]]:
    """The commonest mistakes: what was said for what was true."""
    wrong = Counter(f"{d.true} told as {d.said}" for d in days if not d.right)
    return wrong.most_common(most)


def _right(days: Sequence[ToldDay], *, early: bool = False) -> str:
    told = share(sum(d.nearly if early else d.right for d in days), len(days))
    return (
        f"{told.percent:.1f} % ({told.low_percent:.1f} to {told.high_percent:.1f}), {told.of} days"
    )


def _by_truth(days: Sequence[ToldDay]) -> list[tuple[str, list[ToldDay]]]:
    found: dict[str, list[ToldDay]] = {}
    for day in days:
        found.setdefault(day.true, []).append(day)
    return list(found.items())


def _forecasts(cuts: Sequence[ToldCut], ahead: int) -> list[tuple[str, str]]:
    made = [(c.cut, c.true) for c in cuts if c.cut is not None]
    what = f"harvest, {ahead} {'day' if ahead == 1 else 'days'} ahead"
    if not made:
        return [(what, "none made")]
    errors = np.array([(cut.day - true).days for cut, true in made])
    held = share(sum(cut.low <= true <= cut.high for cut, true in made), len(made))
    wide = np.array([(cut.high - cut.low).days for cut, _ in made])
    return [
        (f"{what}: forecasts made", f"{len(made)} of {len(cuts)}"),
        (
            f"{what}: error, days",
            f"median {np.median(np.abs(errors)):.0f}, within one {np.mean(np.abs(errors) <= 1):.0%}"
            f", mean {errors.mean():+.2f}",
        ),
        (
            f"{what}: 80 % interval holds",
            f"{held.percent:.0f} % ({held.low_percent:.0f} to {held.high_percent:.0f}), "
            f"{np.mean(wide) + 1:.1f} days wide",
        ),
    ]
