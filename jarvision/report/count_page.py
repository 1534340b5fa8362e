"""``counts.html``: how far readings agree with what was counted, as two plots and in words."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from jarvision.base.files import write_whole
from jarvision.base.text import printable
from jarvision.report import svg
from jarvision.report.count_words import tell_shelf_counts
from jarvision.report.templating import template
from jarvision.truth.compare import ShelfCounts, figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PAGE_NAME: Final = "counts.html"
_SIZE_PX: Final = (326, 300)
_TEXT_PX: Final = 14.5
_DPI: Final = 72.0


@dataclass(frozen=True)
class Plot:
    """One plot of the page."""

    svg: Markup
    caption: str


def write_count_page(counts: ShelfCounts, out: Path, *, title: str) -> Path:
    """Write the page into ``out``.

    Raises
    ------
    NotWritableError
    """
    page = template("counts.html.j2").render(
        title=printable(title),
        plots=draw_plots(counts) if counts.compared else (),
        lines=[printable(line) for line in tell_shelf_counts(counts)]
        or ["Nothing was counted yet."],
    )
    return write_whole(out / PAGE_NAME, page.encode("utf-8"))


def draw_plots(counts: ShelfCounts) -> tuple[Plot, ...]:
    """Reading against count, and their difference against their mean."""
    found = figures("", counts.compared)
    against = (
        f"Reading against count, {found.walls} walls, each with its 95 % intervals. On the line "
        "both say the same."
    )
    bland = (
        "Difference (reading less count) against the mean of both. The line is the mean "
        "difference, dashes the limits that hold 95 % of the differences."
    )
    return (
        _plot(lambda axes: _draw_against(axes, counts), "against", against),
        _plot(lambda axes: _draw_difference(axes, counts), "difference", bland),
    )


def _plot(draw: object, key: str, caption: str) -> Plot:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(_SIZE_PX[0] / _DPI, _SIZE_PX[1] / _DPI), dpi=_DPI)
    axes = figure.add_axes((0.17, 0.16, 0.8, 0.8))
    assert callable(draw)
    draw(axes)
    for name, spine in axes.spines.items():
        spine.set_visible(name in ("left", "bottom"))
        spine.set_color(svg.RULE)
    axes.tick_params(colors=svg.QUIET, labelsize=_TEXT_PX * 0.9)
    for label in (axes.xaxis.label, axes.yaxis.label):
        label.set_color(svg.QUIET)
        label.set_fontsize(_TEXT_PX)
    figure.patch.set_visible(False)
    axes.patch.set_visible(False)
    return Plot(svg.in_page(svg.to_svg(figure, key=key), finding=caption, css_class=key), caption)


def _draw_against(axes: Axes, counts: ShelfCounts) -> None:
    for jar in counts.compared:
        count, read = jar.pair.count, jar.pair.read
        axes.plot([count.low, count.high], [read.percent] * 2, color=svg.QUIET, linewidth=0.8)
        axes.plot([count.percent] * 2, [read.low, read.high], color=svg.FIT, linewidth=0.8)
        axes.plot(count.percent, read.percent, "o", color=svg.FIT, markersize=4)
    axes.plot([0, 100], [0, 100], color=svg.INK, linewidth=0.8)
    axes.set(xlim=(-2, 102), ylim=(-2, 102), xlabel="counted, %", ylabel="read, %")


def _draw_difference(axes: Axes, counts: ShelfCounts) -> None:
    found = figures("", counts.compared)
    pairs = [jar.pair for jar in counts.compared]
    axes.axhline(0.0, color=svg.RULE, linewidth=0.8)
    axes.axhline(found.mean_difference, color=svg.INK, linewidth=1.0)
    for limit in found.limits or ():
        axes.axhline(limit, color=svg.QUIET, linewidth=0.8, linestyle=(0, (4, 2)))
    means = [(pair.count.percent + pair.read.percent) / 2 for pair in pairs]
    axes.plot(means, [-pair.difference for pair in pairs], "o", color=svg.FIT, markersize=4)
    axes.set(xlim=(-2, 102), xlabel="mean of both, %", ylabel="read less counted, points")
