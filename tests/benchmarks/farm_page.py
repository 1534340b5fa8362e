"""The farm and the cluster, as parts of the page, and the memory over time as a picture."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.benchmarks.cluster import Clustered
from tests.benchmarks.farm import Farm

PICTURE = "farm-memory.svg"


def farm_lines(farms: Sequence[Farm]) -> Iterator[str]:
    """What runs over a farm cost."""
    yield from (
        "## A farm",
        "",
        "Simulated readings; processor time of the whole run, ms a photo, with all that is fixed",
        "in it; largest resident memory of the parent. First: all stories and the report. Again:",
        "nothing changed, the page included. One: a photo more of one jar.",
        "",
        "| photos | jars | stories told | first | again | one | memory, first | memory, again |",
        "|---|---|---|---|---|---|---|---|",
    )
    for farm in farms:
        yield (
            f"| {farm.photos:,} | {farm.jars} | {farm.told} | {farm.first_ms:.2f} "
            f"| {farm.again_ms:.2f} | {farm.one_ms:.2f} | {farm.first_mb:.0f} MB "
            f"| {farm.again_mb:.0f} MB |"
        )
    yield from (
        "",
        "Where fewer stories were told than there are jars, the others were given theirs, and all",
        "readings were kept before the first run: the columns `again` and `memory` lack nothing by",
        "that, `first` does.",
        "",
        f"![memory of the parent over time](pictures/{PICTURE})",
    )


def cluster_lines(found: Sequence[Clustered]) -> Iterator[str]:
    """What a cluster costs beside reading."""
    yield from (
        "## A cluster",
        "",
        "A local Dask cluster and simulated readings: what it costs beside reading a photo, ms.",
        "",
        "| photos | workers | parent, CPU | workers, CPU | by the clock | parent | worker |",
        "|---|---|---|---|---|---|---|",
    )
    for one in found:
        yield (
            f"| {one.photos:,} | {one.workers} | {one.parent_ms:.1f} | {one.workers_ms:.1f} "
            f"| {one.clock_ms:.1f} | {one.parent_mb:.0f} MB | {one.worker_mb:.0f} MB |"
        )


def draw_memory(farms: Sequence[Farm], path: Path) -> None:
    """Draw the parent's memory over time, a line for each farm, its first run and the next."""
    import matplotlib as mpl

    mpl.use("agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(6.4, 3.4), layout="constrained")
    for farm in farms:
        runs = (("first", farm.looks, "-"), ("again", farm.later, ":"))
        for name, looks, style in runs:
            times = [look.seconds / looks[-1].seconds for look in looks]
            megabytes = [look.parent_mb for look in looks]
            axes.plot(times, megabytes, style, label=f"{farm.photos:,} photos, {name}")
    axes.axhline(400.0, color="0.4", lw=0.8)
    axes.text(0.01, 404.0, "limit", color="0.4", va="bottom")
    axes.set(
        xlabel="share of the run's time",
        ylabel="memory of the parent, MB",
        ylim=(0, 440),
        xlim=(0, 1),
    )
    axes.legend(loc="lower right", fontsize=8)
    path.parent.mkdir(parents=True, exist_ok=True)
    mpl.rcParams["svg.hashsalt"] = "farm"
    figure.savefig(path, metadata={"Date": None})
    pyplot.close(figure)
