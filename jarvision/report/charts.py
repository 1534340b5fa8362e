"""The curve of one jar: a PNG file (matplotlib), and an SVG that follows the page's colours."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final

from markupsafe import Markup, escape

from jarvision.files import write_whole
from jarvision.records import Growth, JarStory
from jarvision.report.words import VERDICT_WORDS

PNG_SIZE_IN: Final = (7.2, 4.0)
PNG_DPI: Final = 130
FORECAST_DAYS: Final = 10  # the curve is not drawn further than this behind the last photo

_INK, _QUIET, _LINE, _BAND = "#1d2b2a", "#6a7877", "#1f7a6c", "#1f7a6c"


@dataclass(frozen=True)
class Curve:
    """What both pictures show. Days are counted from ``origin``.

    ``points`` are ``(day, percent, low, high)``; ``curve`` rows are ``(day, percent, low, high)``.
    """

    origin: date
    points: tuple[tuple[float, float, float, float], ...]
    curve: tuple[tuple[float, float, float, float], ...]
    ready_percent: float
    ready: tuple[float, float, float] | None
    last_day: float

    def day_of(self, day: date) -> float:
        """Days since ``origin``."""
        return float((day - self.origin).days)


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
    last = max(points[-1][0], min(ready[2] if ready else 0.0, points[-1][0] + FORECAST_DAYS))
    rows = zip(
        growth.day_numbers,
        growth.curve_percent,
        growth.curve_low,
        growth.curve_high,
        strict=True,
    )
    fitted = tuple((t + shift, p, lo, hi) for t, p, lo, hi in rows)
    end = max(last + 0.6, 1.0)
    shown = tuple(row for row in fitted if 0.0 <= row[0] <= end)
    return Curve(origin, points, shown, ready_percent, ready, end)


def _ready_days(growth: Growth, origin: date) -> tuple[float, float, float] | None:
    if growth.ready_date is None:
        return None
    low, high = growth.ready_low or growth.ready_date, growth.ready_high or growth.ready_date
    middle, first, last = ((d - origin).days for d in (growth.ready_date, low, high))
    return float(middle), float(first), float(last)


def save_curve(path: Path, story: JarStory, *, ready_percent: float) -> Path | None:
    """Save the curve as PNG (936 x 520); None for a jar without a usable day.

    Raises
    ------
    NotWritableError
        When the file cannot be written.
    """
    curve = build_curve(story, ready_percent=ready_percent)
    if curve is None:
        return None
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=PNG_SIZE_IN, dpi=PNG_DPI, layout="constrained")
    canvas: Any = FigureCanvasAgg(figure)  # no pyplot: nothing global, nothing to close
    axes = figure.add_subplot()
    _plot_curve(axes, curve)
    word = VERDICT_WORDS[story.verdict.verdict]
    # A jar's name may hold a dollar sign, which would start a formula in the plot.
    name = story.verdict.jar.replace("$", r"\$")
    axes.set_title(f"{name}: {word.short}", loc="left", color=_INK, fontweight="bold")
    data = io.BytesIO()
    canvas.print_png(data)
    return write_whole(path, data.getvalue())


def _plot_curve(axes: Any, curve: Curve) -> None:
    day, percent, low, high = zip(*curve.points, strict=True)
    if curve.curve:
        t, p, lo, hi = zip(*curve.curve, strict=True)
        axes.fill_between(t, lo, hi, color=_BAND, alpha=0.18, lw=0, label="80 % band")
        axes.plot(t, p, color=_LINE, lw=2, label="fitted curve")
    below = [p - lo for p, lo in zip(percent, low, strict=True)]
    above = [hi - p for p, hi in zip(percent, high, strict=True)]
    label = "reading, 95 % interval"
    axes.errorbar(
        day, percent, yerr=(below, above), fmt="o", ms=5, color=_INK, capsize=3, lw=1, label=label
    )
    axes.axhline(curve.ready_percent, color=_QUIET, lw=1, ls=(0, (5, 4)))
    axes.annotate(
        f"ready {curve.ready_percent:.0f} %",
        (0.005, curve.ready_percent),
        xycoords=("axes fraction", "data"),
        xytext=(2, -11),
        textcoords="offset points",
        color=_QUIET,
        fontsize=8,
    )
    if curve.ready is not None:
        middle, first, last = curve.ready
        axes.axvspan(first, last, color="#b98a2f", alpha=0.15, lw=0, label="ready, 80 % interval")
        axes.axvline(middle, color="#8f6a1f", lw=1.4)
    ticks = _day_ticks(curve.last_day, most=8)
    axes.set_xticks(ticks, [_short_date(curve.origin, t) for t in ticks])
    axes.set(xlim=(-0.4, curve.last_day), ylim=(0, 102), ylabel="covered, %")
    axes.legend(loc="best", fontsize=8, framealpha=0.9, edgecolor="none")
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(colors=_QUIET)


def _day_ticks(last: float, *, most: int) -> list[float]:
    step = max(1, math.ceil((last + 1) / most))
    return [float(day) for day in range(0, int(last) + 1, step)]


def _short_date(origin: date, days: float) -> str:
    day = origin + timedelta(days=days)
    return f"{day.day} {day:%b}"


# --------------------------------------------------------------------------- SVG
WIDTH: Final = 520
HEIGHT: Final = 240
LEFT, RIGHT, TOP, BOTTOM = 40, 12, 14, 28


def curve_svg(story: JarStory, *, ready_percent: float, finding: str) -> Markup:
    """Return the curve as an SVG element; its colours are classes of the page's style sheet.

    ``finding`` is its text alternative. Empty for a jar without a usable day.
    """
    curve = build_curve(story, ready_percent=ready_percent)
    if curve is None:
        return Markup("")
    x = (WIDTH - LEFT - RIGHT) / (curve.last_day + 0.4)

    def at(day: float, percent: float) -> tuple[float, float]:
        kept = min(max(percent, 0.0), 100.0)
        return LEFT + (day + 0.4) * x, TOP + (100 - kept) / 100 * (HEIGHT - TOP - BOTTOM)

    parts = [_grid(at), *_date_labels(curve, at)]
    if curve.ready is not None:
        parts.append(_ready_mark(curve, at))
    if curve.curve:
        upper = [at(t, hi) for t, _, _, hi in curve.curve]
        lower = [at(t, lo) for t, _, lo, _ in reversed(curve.curve)]
        parts.append(f'<polygon class="band" points="{_pairs([*upper, *lower])}"/>')
        line = _pairs([at(t, p) for t, p, _, _ in curve.curve])
        parts.append(f'<polyline class="fit" points="{line}"/>')
    ready_y = at(0, curve.ready_percent)[1]
    parts.append(
        f'<path class="level" d="M{LEFT} {ready_y:.1f}H{WIDTH - RIGHT}"/>'
        f'<text class="small" x="{LEFT + 4}" y="{ready_y + 13:.1f}">'
        f"ready {curve.ready_percent:.0f} %</text>"
    )
    for day, percent, low, high in curve.points:
        (cx, cy), (_, y_low), (_, y_high) = at(day, percent), at(day, low), at(day, high)
        parts.append(
            f'<path class="bar" d="M{cx:.1f} {y_low:.1f}V{y_high:.1f}"/>'
            f'<circle class="dot" cx="{cx:.1f}" cy="{cy:.1f}" r="4"/>'
        )
    return Markup(
        f'<svg class="curve" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-label="{escape(finding)}">{"".join(parts)}</svg>'
    )


def _grid(at: Any) -> str:
    rows = []
    for percent in (0, 25, 50, 75, 100):
        y = at(0, percent)[1]
        rows.append(
            f'<path class="grid" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/>'
            f'<text class="small" text-anchor="end" x="{LEFT - 6}" y="{y + 4:.1f}">{percent}</text>'
        )
    return "".join(rows)


def _date_labels(curve: Curve, at: Any) -> list[str]:
    return [
        f'<text class="small" text-anchor="middle" x="{at(day, 0)[0]:.1f}" y="{HEIGHT - 8}">'
        f"{_short_date(curve.origin, day)}</text>"
        for day in _day_ticks(curve.last_day - 0.5, most=7)
    ]


def _ready_mark(curve: Curve, at: Any) -> str:
    assert curve.ready is not None
    middle, first, last = (at(day, 0)[0] for day in curve.ready)
    right = WIDTH - RIGHT
    if first > right:
        return ""
    width = max(2.0, min(last, right) - first)
    box = f'x="{first:.1f}" y="{TOP}" width="{width:.1f}" height="{HEIGHT - TOP - BOTTOM}"'
    line = f'<path class="due" d="M{middle:.1f} {TOP}V{HEIGHT - BOTTOM}"/>'
    return f'<rect class="when" {box}/>' + (line if middle <= right else "")


def _pairs(points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{px:.1f},{py:.1f}" for px, py in points)
