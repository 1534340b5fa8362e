"""Where the jars of a shelf of many stand, in one chart, by the days since their first photo."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final

import numpy as np

from jarvision.base.text import counted
from jarvision.records import JarStory, VerdictWord
from jarvision.report import svg
from jarvision.report.charts import MARKERS, SHELF_SIZE_PX, TOP_PERCENT, bare_axes
from jarvision.report.words import VERDICT_WORDS

FEWEST_JARS: Final = 10
"""Of fewer jars of an age no band is drawn."""

AGES_PERCENT: Final = 97
"""The chart reaches to the age that so many percent of the jars are under: one wrong clock must not
press all others together. Older jars are marked at its end."""

_STRONG: Final[tuple[VerdictWord, ...]] = ("check", "no-go")


def draw_farm(stories: Sequence[JarStory], *, key: str) -> str:
    """Return where the jars stand by the days since their first photo, as SVG text.

    A band holds the middle 80 % of the jars that go or wait as they were at that age, a line half
    of them: hundreds of curves would hide one another. Each jar that needs somebody is a mark where
    it stands. Empty without a usable day.
    """
    seen = [story for story in stories if story.history.days]
    if not seen:
        return ""
    figure, axes = bare_axes(SHELF_SIZE_PX, right=0.975)
    span = max(float(np.percentile([_age(s) for s in seen], AGES_PERCENT)), 1.0)
    band = _band([s for s in seen if s.verdict.verdict not in _STRONG])
    if band:
        day, low, middle, high = zip(*band, strict=True)
        axes.fill_between(day, low, high, color=svg.FIT, alpha=0.18, lw=0)
        axes.plot(day, middle, color=svg.FIT, lw=2)
    for verdict in _STRONG:
        ends = [s for s in seen if s.verdict.verdict == verdict]
        if ends:
            x, y = [_age(s) for s in ends], [s.history.days[-1].coverage.percent for s in ends]
            style = {"color": svg.VERDICT[verdict], "mec": svg.SHEET, "mew": 0.6}
            axes.plot(np.minimum(x, span), y, MARKERS[verdict], ms=7, ls="", clip_on=False, **style)
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 1000) if span / s <= 5)
    ticks = list(range(0, int(span) + 1, step))
    axes.set_xticks(ticks, [f"day {ticks[0]}", *map(str, ticks[1:])])
    axes.set(xlim=(-0.04 * span, span * 1.02), ylim=(0, TOP_PERCENT))
    return svg.to_svg(figure, key=key)


def _age(story: JarStory) -> int:
    """Days from a jar's first photo to its last."""
    return (story.history.days[-1].day - story.history.days[0].day).days


def _band(stories: Sequence[JarStory]) -> list[tuple[float, float, float, float]]:
    """Day, and the low end, the middle and the high end of the band on it."""
    found: dict[int, list[float]] = {}
    for story in stories:
        first = story.history.days[0].day
        for day in story.history.days:
            found.setdefault((day.day - first).days, []).append(day.coverage.percent)
    band = []
    for age, percents in sorted(found.items()):
        if len(percents) >= FEWEST_JARS:
            low, middle, high = (float(p) for p in np.percentile(percents, (10, 50, 90)))
            band.append((float(age), low, middle, high))
    return band


def describe_farm(stories: Sequence[JarStory]) -> str:
    """Text alternative of the chart; the list of the page names every jar."""
    found = Counter(story.verdict.verdict for story in stories)
    told = ", ".join(f"{found[v]} {w.short.lower()}" for v, w in VERDICT_WORDS.items() if found[v])
    return f"Coverage of {counted(len(stories), 'jar')} by the days since the first photo: {told}"
