"""What counted points say, in sentences: the same at the terminal and on the page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from statistics import fmean

from jarvision.base.text import counted
from jarvision.truth.adjust import Adjustment, MeanCoverage
from jarvision.truth.compare import ErrorFigures, ShelfCounts, figures, figures_by
from jarvision.truth.counted import Repeat, repeats_of


def tell_shelf_counts(counts: ShelfCounts) -> list[str]:
    """Tell all that was counted on a shelf; empty where nothing was."""
    if not counts.points:
        return []
    lines = []
    if counts.compared:
        lines.append(tell_figures(figures("all counted walls", counts.compared)))
        groups = figures_by(counts.compared)
        lines += [
            tell_figures(replace(group, name=f"{sort} {group.name}"))
            for sort, own in groups.items()
            for group in own
        ]
    else:
        lines.append("counted walls: none is finished yet.")
    lines.append(tell_adjustment(counts.adjustment))
    if counts.left_out:
        lines.append(
            f"{counted(counts.left_out, 'counted wall')} not compared: its photo is not read by "
            "this version with these settings."
        )
    return lines + tell_repeats(repeats_of(counts.points))


def tell_figures(found: ErrorFigures) -> str:
    """Tell the figures of some walls in one line."""
    parts = [f"{counted(found.walls, 'wall')}, {counted(found.points, 'point')}"]
    if found.bias is not None:
        bias = found.bias
        parts.append(
            f"readings are {-bias.points:+.1f} points off on average (95 % interval "
            f"{-bias.high:+.1f} to {-bias.low:+.1f}, from {counted(bias.walls, 'wall')} drawn)"
        )
    if found.own_error > 0.0:
        parts.append(
            f"one reading is off by {found.own_error:.1f} points (with the error of counting "
            f"{found.error:.1f})"
        )
    else:
        parts.append(f"readings differ by no more than counts err ({found.error:.1f} points)")
    if found.concordance is not None:
        parts.append(f"concordance {found.concordance:.3f}")
    hold = found.hold
    parts.append(
        f"{hold.count} of {hold.of} intervals hold ({hold.low_percent:.0f} to "
        f"{hold.high_percent:.0f} %)"
    )
    return f"{found.name}: {'; '.join(parts)}."


def tell_mean(mean: MeanCoverage, readings: Sequence[float]) -> str:
    """Tell the mean coverage of all walls, as it was read and as counts put it right."""
    return (
        f"mean coverage of all {counted(len(readings), 'wall')}: read {fmean(readings):.1f} %, by "
        f"your counts {mean.percent:.1f} % (95 % interval {mean.low:.1f} to {mean.high:.1f} %)."
    )


def tell_adjustment(adjustment: Adjustment | None) -> str:
    """Tell whether readings are put right, and by what."""
    if adjustment is None:
        return "Readings stand as they are: too few walls were drawn and counted to put them right."
    end = "high" if adjustment.share > 0 else "low"
    return (
        f"Readings are put right by {counted(adjustment.rectifier.walls, 'wall')} with "
        f"{counted(adjustment.points_counted, 'point')}: each is moved by "
        f"{100 * abs(adjustment.share):.0f} % of the way to the {end} end of its interval, and "
        f"intervals are {adjustment.stretch:.2f} times as wide. readings.csv has the raw numbers, "
        "too."
    )


def tell_repeats(repeats: Iterable[Repeat]) -> list[str]:
    """Tell how far counts of the same walls agree: by one person, and by two."""
    return [_tell_repeat(repeat) for repeat in repeats]


def _tell_repeat(repeat: Repeat) -> str:
    found = repeat.found
    who = (
        f"{repeat.people[0] or 'one person'} twice"
        if repeat.by_one
        else " and ".join(person or "somebody" for person in repeat.people)
    )
    kappa = "" if found.kappa is None else f", Cohen's kappa {found.kappa:.2f}"
    return (
        f"{counted(repeat.walls, 'wall')} counted by {who}: {found.alike} of "
        f"{counted(found.points, 'point')} alike{kappa}; "
        f"coverage differs by {found.difference_percent:+.1f} points (standard error "
        f"{found.sd_percent:.1f})."
    )
