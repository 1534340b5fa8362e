"""The curve of one jar, and all curves of a shelf together, drawn by matplotlib as SVG."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import takewhile
from typing import Any, Final

import numpy as np

from jarvision.base.days import days_after
from jarvision.base.text import printable
from jarvision.records import Growth, JarStory, VerdictWord
from jarvision.report import svg
from jarvision.report.diary_marks import Ground, WordPlace, covers, plot_told
from jarvision.report.line_names import LineEnd, column_places, places_at_ends
from jarvision.report.sightings import SeenFirst, first_sightings, place_sightings
from jarvision.report.words import VERDICT_WORDS, tell_short_day

# As wide as a chart stands on a narrow phone, so that its letters are as large there as they say.
CURVE_SIZE_PX: Final = (320, 220)
SHELF_SIZE_PX: Final = (326, 300)
LEFT_PX: Final = 54
LOW_PX: Final = 34
SHELF_RIGHT: Final = 0.76
TEXT_PX: Final = 14.5
TOP_PERCENT: Final = 104
LEVEL_LETTERS: Final = 15  # of "ready from 95 %", with room
LEVEL_BELOW_PERCENT: Final = (9.0, 21.0, 33.0)  # where these words stand, under their line
READY_PERCENT: Final = 4.0  # where the words of the ready date stand
NAME_LETTERS: Final = 7
FORECAST_DAYS: Final = 10  # the curve is not drawn further than this behind the last photo
SHELF_DAYS: Final = 21  # the shelf's chart shows the newest of them
LETTER_PX: Final = 0.62 * TEXT_PX  # of a word in a wide font, on average
DAY_LETTERS: Final = 6  # 28 Mar
MOST_NAMES: Final = 14  # names at the ends of lines; more would stand over one another

# Shape, line and word tell the verdicts apart; colour only helps.
MARKERS: Final[dict[VerdictWord, str]] = {"no-go": "X", "check": "^", "go": "o", "wait": "s"}
DASHES: Final[dict[VerdictWord, Any]] = {
    "no-go": "-",
    "check": (0, (4, 2)),
    "go": "-",
    "wait": (0, (1, 1.5)),
}


Sheet = tuple[Any, Any]
"""A figure of matplotlib and its axes."""


@dataclass(frozen=True)
class Curve:
    """What the chart of a jar shows. Days are counted from ``origin``.

    ``points`` are ``(day, percent, low, high)``; ``curve`` rows are ``(day, percent, low, high)``.
    ``sightings`` are ``(day, word)``: what was seen first on that day. ``refused`` are the days of
    photos that could not be used. ``told`` are ``(day, word)`` of the grower's diary.
    """

    origin: date
    points: tuple[tuple[float, float, float, float], ...]
    curve: tuple[tuple[float, float, float, float], ...]
    ready_percent: float
    ready: tuple[float, float, float] | None
    last_day: float
    sightings: tuple[tuple[float, str], ...] = ()
    refused: tuple[float, ...] = ()
    told: tuple[tuple[float, str], ...] = ()


def build_curve(story: JarStory, *, ready_percent: float) -> Curve | None:
    """Gather the numbers of a jar's curve; None for a jar without a usable day."""
    days = story.history.days
    if not days:
        return None
    growth = story.growth
    origin = days[0].day
    shift = float(((growth.origin or origin) - origin).days)
    points = tuple(
        (float((d.day - origin).days), d.coverage.percent, d.coverage.low, d.coverage.high)
        for d in days
    )
    # A date to look forward to has no place on a jar that must leave the room.
    ready = _ready_days(growth, origin) if story.verdict.verdict != "no-go" else None
    told = tuple((float((d.day - origin).days), d.word) for d in story.history.diary)
    ahead = max((ready[2] if ready else 0.0, *(day for day, _ in told)))
    last = max(points[-1][0], min(ahead, points[-1][0] + FORECAST_DAYS))
    rows = zip(
        growth.day_numbers,
        growth.curve_percent,
        growth.curve_low,
        growth.curve_high,
        strict=True,
    )
    fitted = tuple((t + shift, p, lo, hi) for t, p, lo, hi in rows)
    end = max(last + 0.9, 1.0)
    shown = tuple(row for row in fitted if 0.0 <= row[0] <= end)
    refused = (float((r.taken_at.date() - origin).days) for r in story.history.refused)
    return Curve(
        origin=origin,
        points=points,
        curve=shown,
        ready_percent=ready_percent,
        ready=ready,
        last_day=end,
        sightings=tuple(first_sightings(story, origin)),
        refused=tuple(sorted({day for day in refused if 0.0 <= day <= end})),
        told=tuple((day, word) for day, word in told if 0.0 <= day <= end),
    )


def _ready_days(growth: Growth, origin: date) -> tuple[float, float, float] | None:
    if growth.ready_date is None:
        return None
    low, high = growth.ready_low or growth.ready_date, growth.ready_high or growth.ready_date
    middle, first, last = ((d - origin).days for d in (growth.ready_date, low, high))
    return float(middle), float(first), float(last)


# --------------------------------------------------------------------------- one jar
def draw_curve(
    story: JarStory, *, ready_percent: float, key: str, sheet: Sheet | None = None
) -> str:
    """Return the curve of a jar as SVG text; empty for a jar without a usable day.

    ``key`` parts its ids from those of other charts on the same page. ``sheet`` is drawn on, and
    wiped first; None: a new one.
    """
    curve = build_curve(story, ready_percent=ready_percent)
    if curve is None:
        return ""
    figure, axes = sheet or curve_sheet()
    for drawn in (*axes.lines, *axes.collections, *axes.patches, *axes.texts):
        drawn.remove()
    _plot_forecast(axes, curve)
    plot_told(axes, curve.told, _ground(curve), write=_text)
    _plot_readings(axes, curve, story.verdict.verdict)
    margin = DAY_LETTERS / 2 * _letter(curve)
    _label_days(axes, curve.origin, curve.last_day, most=5, margin=margin)
    axes.set(xlim=(-0.5, curve.last_day), ylim=(0, 108))
    return svg.to_svg(figure, key=key)


def curve_sheet() -> Sheet:
    """A figure and its axes for curves, without one."""
    return bare_axes(CURVE_SIZE_PX, right=0.985)


def bare_axes(size_px: tuple[int, int], *, right: float) -> Sheet:
    """Bare axes for percent over days; one px of the chart is one point of matplotlib."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    width, height = size_px
    figure = Figure(figsize=(width / 72, height / 72), dpi=72)
    figure.patch.set_visible(False)
    FigureCanvasSVG(figure)  # no pyplot: nothing global, nothing to close
    left, low, top = LEFT_PX / width, LOW_PX / height, 1 - 8 / height
    axes = figure.add_axes((left, low, right - left, top - low))
    axes.patch.set_visible(False)
    axes.spines[:].set_visible(False)
    axes.set_yticks([0, 25, 50, 75, 100], ["0", "25", "50", "75", "100 %"])
    axes.tick_params(length=0, labelcolor=svg.QUIET, labelsize=TEXT_PX, pad=4)
    axes.tick_params(axis="x", pad=10)  # clear of the 0 of the other axis
    axes.grid(axis="y", color=svg.RULE, lw=1)
    axes.set_axisbelow(True)
    return figure, axes


def _plot_forecast(axes: Any, curve: Curve) -> None:
    """Draw the fitted curve, solid as far as photos reach, with its band and the ready date."""
    now = curve.points[-1][0]
    if curve.ready is not None:
        middle, first, last = curve.ready
        axes.axvspan(first - 0.1, last + 0.1, color=svg.DUE, alpha=0.16, lw=0)
        axes.axvline(middle, color=svg.DUE, lw=1.6)
        if middle > now:
            day, side, told = _ready_words(curve, middle)
            _text(axes, day, READY_PERCENT, told, colour=svg.DUE, ha=side, weight="bold")
    if curve.curve:
        t, _, low, high = zip(*curve.curve, strict=True)
        axes.fill_between(t, low, high, color=svg.FIT, alpha=0.18, lw=0)
        for rows, dash in (
            ([r for r in curve.curve if r[0] <= now], "-"),
            ([r for r in curve.curve if r[0] >= now], (0, (4, 2.5))),
        ):
            axes.plot([r[0] for r in rows], [r[1] for r in rows], color=svg.FIT, lw=2, ls=dash)
    axes.axhline(curve.ready_percent, color=svg.QUIET, lw=1.2, ls=(0, (5, 4)))
    level = f"ready from {curve.ready_percent:.0f} %"
    place, side = _level_words(curve)
    day = place.left if side == "left" else place.right
    _text(axes, day, place.foot, level, colour=svg.QUIET, ha=side)


def _ready_words(curve: Curve, middle: float) -> tuple[float, str, str]:
    """Day, side and words of the ready date: left of its line, where these have room in the chart.

    A date beyond the chart is told at its end.
    """
    told = f"ready {_date(curve.origin, middle)}"
    if middle > curve.last_day:
        return curve.last_day, "right", f"{told} \N{RIGHTWARDS ARROW}"
    if middle + 0.5 < len(f"{told} ") * _letter(curve):
        return middle, "left", f" {told}"
    return middle, "right", f"{told} "


def _letter(curve: Curve) -> float:
    """The width of a letter in days."""
    return LETTER_PX * (curve.last_day + 0.5) / (CURVE_SIZE_PX[0] - LEFT_PX)


def _level_words(curve: Curve) -> tuple[WordPlace, str]:
    """Where the words of ready stand, and to which side: under its line, and over no reading."""
    letter = _letter(curve)
    length, end = LEVEL_LETTERS * letter, curve.last_day - 0.1
    ends = [("left", -0.4), ("right", end - length)]
    if curve.points[0][1] >= curve.ready_percent - 30:  # no room at the left
        ends.reverse()
    dots = [WordPlace(day - letter, day + letter, at - 4) for day, at, _, _ in curve.points]
    taken = [*dots, *_seen_words(curve)]
    places = [
        (WordPlace(left, left + length, curve.ready_percent - below), side)
        for below in LEVEL_BELOW_PERCENT
        for side, left in ends
    ]
    return next((place for place in places if not covers(taken, place[0])), places[0])


def _ground(curve: Curve) -> Ground:
    """Where the words of the diary may stand, beside those of ready."""
    letter = _letter(curve)
    taken = [_level_words(curve)[0], *_seen_words(curve)]
    if curve.ready is not None:
        day, side, _ = _ready_words(curve, curve.ready[0])
        length = LEVEL_LETTERS * letter
        start = day if side == "left" else day - length
        taken.append(WordPlace(start, start + length, READY_PERCENT))
    when, percent, _, _ = zip(*curve.points, strict=True)
    return Ground(lambda day: float(np.interp(day, when, percent)), letter, curve.last_day, taken)


def _seen_words(curve: Curve) -> Iterator[WordPlace]:
    for seen in _seen_first(curve):
        width = _letter(curve) * len(seen.text)
        start = seen.x - width if seen.side == "right" else seen.x
        yield WordPlace(start, start + width, seen.foot)


def _seen_first(curve: Curve) -> Iterator[SeenFirst]:
    return place_sightings(curve.sightings, curve.points, last_day=curve.last_day)


def _plot_readings(axes: Any, curve: Curve, verdict: VerdictWord) -> None:
    """Draw readings with their intervals, sightings, refused photos and the verdict's mark."""
    day, percent, low, high = zip(*curve.points, strict=True)
    axes.vlines(day, low, high, color=svg.INK, lw=1.6)
    axes.plot(day[:-1], percent[:-1], "o", ms=6.5, color=svg.INK, mec=svg.SHEET, mew=1)
    for seen in _seen_first(curve):
        axes.plot([seen.day] * 2, [seen.foot, seen.at], color=svg.VERDICT["no-go"], lw=1)
        axes.plot([seen.day], [seen.at], "D", ms=8, color=svg.VERDICT["no-go"], mec=svg.SHEET)
        colour, side = svg.VERDICT["no-go"], seen.side
        _text(axes, seen.x, seen.foot, seen.text, colour=colour, ha=side, weight="bold")
    if curve.refused:
        y = [4.0] * len(curve.refused)
        axes.plot(curve.refused, y, "x", ms=6, color=svg.QUIET, mew=1.6)
    mark = {"color": svg.VERDICT[verdict], "mec": svg.SHEET, "mew": 1.2}
    axes.plot(day[-1:], percent[-1:], MARKERS[verdict], ms=12, **mark)


# --------------------------------------------------------------------------- the shelf
def draw_shelf(stories: Sequence[JarStory], *, key: str, today: date) -> str:
    """Return the coverage of all jars over the days in one chart; empty without a usable day.

    Jars that need something are drawn strong and over the others, so that the odd one out shows.
    Days after ``today`` come from wrong clocks and are left out.
    """
    begun = [s.history.days[0].day for s in stories if s.history.days]
    firsts = [day for day in begun if day <= today]
    lasts = filter(None, (_last_day(story, today) for story in stories))
    first, last = min(firsts, default=today), max(lasts, default=None)
    if last is None:
        return ""
    shown = list(stories)
    origin = max(first, days_after(last, -SHELF_DAYS))
    figure, axes = bare_axes(SHELF_SIZE_PX, right=SHELF_RIGHT)
    order: list[VerdictWord] = ["wait", "go", "check", "no-go"]
    shown.sort(key=lambda story: order.index(story.verdict.verdict))
    ends = []
    for story in shown:
        end = _plot_line(axes, story, origin, last)
        if end is not None:
            ends.append((*end, story))
    span = max(float((last - origin).days), 1.0)
    _label_days(axes, origin, span + 0.4, most=3)
    axes.set(xlim=(-0.08 * span, span * 1.02), ylim=(0, TOP_PERCENT))
    _name_lines(axes, ends[-MOST_NAMES:], span)
    return svg.to_svg(figure, key=key)


def _last_day(story: JarStory, today: date) -> date | None:
    """The newest day of a jar up to today."""
    return next((d.day for d in reversed(story.history.days) if d.day <= today), None)


def _plot_line(axes: Any, story: JarStory, first: date, last: date) -> tuple[float, float] | None:
    newest = takewhile(lambda day: day.day >= first, reversed(story.history.days))
    days = [day for day in newest if day.day <= last][::-1]
    if not days:
        return None
    x = [float((d.day - first).days) for d in days]
    y = [d.coverage.percent for d in days]
    verdict = story.verdict.verdict
    strong = verdict in ("no-go", "check")
    colour, width = svg.VERDICT[verdict], 2.6 if strong else 1.6
    axes.plot(x, y, color=colour, lw=width, ls=DASHES[verdict], solid_capstyle="round")
    axes.plot(x[-1:], y[-1:], MARKERS[verdict], ms=9, color=colour, mec=svg.SHEET, mew=1)
    return x[-1], y[-1]


def _name_lines(axes: Any, ends: Sequence[tuple[float, float, JarStory]], span: float) -> None:
    """Write each jar's name at the end of its line, none over another."""
    px_per_day = SHELF_SIZE_PX[0] * (SHELF_RIGHT - LEFT_PX / SHELF_SIZE_PX[0]) / (1.1 * span)
    step = TOP_PERCENT / (SHELF_SIZE_PX[1] - LOW_PX - 8) * (TEXT_PX + 1.5)
    lines = {
        story.verdict.jar: LineEnd(
            story.verdict.jar, x, percent, len(_short_name(story)) * 0.65 * TEXT_PX / px_per_day
        )
        for x, percent, story in ends
    }
    fresh = [line for line in lines.values() if line.day >= span]
    old = [line for line in lines.values() if line.day < span]
    places = {
        **column_places(fresh, day=1.075 * span, step=step, top=TOP_PERCENT),
        **places_at_ends(old, step=step, top=TOP_PERCENT),
    }
    for x, percent, story in ends:
        place = places[story.verdict.jar]
        if place.leader:
            # grey and dotted, and beyond the last day: it is no data
            middle = place.percent + step / 2.6
            shape = {"color": svg.QUIET, "lw": 1, "ls": (0, (1, 2)), "clip_on": False}
            axes.plot([x + 0.03 * span, 1.06 * span], [percent, middle], **shape)
        colour = svg.VERDICT[story.verdict.verdict]
        strong = story.verdict.verdict in ("no-go", "check")
        weight = "bold" if strong else "normal"
        told = _short_name(story)
        text = _text(axes, place.day, place.percent, told, colour=colour, weight=weight)
        if x < span:  # lines of others pass behind it
            text.set_bbox({"facecolor": svg.SHEET, "edgecolor": "none", "alpha": 0.8, "pad": 1})


def _short_name(story: JarStory) -> str:
    name = printable(story.verdict.jar)
    return f"{name[: NAME_LETTERS - 1]}…" if len(name) > NAME_LETTERS else name


# --------------------------------------------------------------------------- shared
def _label_days(axes: Any, origin: date, last: float, *, most: int, margin: float = 0.0) -> None:
    """Label up to ``most`` days, a tenth of a name apart, none cut at the end.

    ``margin``: half the width of a name beyond what stands right of the chart, in days.
    """
    step = max(1, math.ceil((last + 0.5) / most), math.ceil(2.2 * margin))
    ticks = [float(day) for day in range(0, int(last) + 1, step) if day + margin <= last] or [0.0]
    axes.set_xticks(ticks, [_date(origin, tick) for tick in ticks])


def _date(origin: date, days: float) -> str:
    return tell_short_day(days_after(origin, days))


def _text(
    axes: Any,
    x: float,
    y: float,
    words: str,
    *,
    colour: str,
    ha: str = "left",
    weight: str = "normal",
) -> Any:
    style = {"color": colour, "fontsize": TEXT_PX, "ha": ha, "weight": weight}
    # A jar's name may hold a dollar sign, which would start a formula.
    return axes.text(x, y, words, parse_math=False, clip_on=False, **style)


def describe_shelf(stories: Sequence[JarStory]) -> str:
    """Text alternative of the shelf's chart: each jar with its verdict and coverage."""
    parts = []
    for story in stories:
        cover = story.verdict.coverage
        told = f"{cover.in_words()} %" if cover else "not scored"
        short = VERDICT_WORDS[story.verdict.verdict].short
        parts.append(f"{printable(story.verdict.jar)} {told}, {short}")
    return "Curves of all jars. Today: " + "; ".join(parts)
