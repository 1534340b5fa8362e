"""All curves of a shelf of many jars in one chart, each from the day of its first photo."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final

from jarvision.base.text import counted
from jarvision.records import JarStory, VerdictWord
from jarvision.report import svg
from jarvision.report.charts import DASHES, MARKERS, SHELF_SIZE_PX, TOP_PERCENT, bare_axes
from jarvision.report.words import VERDICT_WORDS

_ORDER: Final[tuple[VerdictWord, ...]] = ("wait", "go", "check", "no-go")
"""Those that need somebody are drawn over the others."""

_STRONG: Final = ("check", "no-go")


def draw_farm(stories: Sequence[JarStory], *, key: str) -> str:
    """Return the coverage of all jars over the days since their first photo, as SVG text.

    Jars of one verdict are one path, so that hundreds stay small; those that need somebody end in
    a mark. Empty without a usable day.
    """
    longest = max(
        ((s.history.days[-1].day - s.history.days[0].day).days for s in stories if s.history.days),
        default=None,
    )
    if longest is None:
        return ""
    figure, axes = bare_axes(SHELF_SIZE_PX, right=0.975)
    for verdict in _ORDER:
        lines = [_line(s) for s in stories if s.verdict.verdict == verdict and s.history.days]
        if not lines:
            continue
        gap = (float("nan"), float("nan"))
        x, y = zip(*(point for line in lines for point in (*line, gap)), strict=True)
        strong, colour = verdict in _STRONG, svg.VERDICT[verdict]
        style = {"color": colour, "lw": 1.4 if strong else 0.8, "alpha": 0.9 if strong else 0.5}
        axes.plot(x, y, ls=DASHES[verdict] if strong else "-", **style)
        if strong:
            x, y = zip(*(line[-1] for line in lines), strict=True)
            axes.plot(x, y, MARKERS[verdict], ms=6, color=colour, mec=svg.SHEET, mew=0.6)
    span = max(float(longest), 1.0)
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 1000) if span / s <= 5)
    ticks = list(range(0, int(span) + 1, step))
    axes.set_xticks(ticks, [f"day {ticks[0]}", *map(str, ticks[1:])])
    axes.set(xlim=(-0.04 * span, span * 1.02), ylim=(0, TOP_PERCENT))
    return svg.to_svg(figure, key=key)


def _line(story: JarStory) -> list[tuple[float, float]]:
    first = story.history.days[0].day
    return [(float((d.day - first).days), d.coverage.percent) for d in story.history.days]


def describe_farm(stories: Sequence[JarStory]) -> str:
    """Text alternative of the chart; the list of the page names every jar."""
    found = Counter(story.verdict.verdict for story in stories)
    told = ", ".join(f"{found[v]} {w.short.lower()}" for v, w in VERDICT_WORDS.items() if found[v])
    return f"Curves of {counted(len(stories), 'jar')} from the day of the first photo: {told}"
