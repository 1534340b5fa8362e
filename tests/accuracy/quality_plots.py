"""Draw the table of :mod:`tests.accuracy.quality_sweep`: error against each figure of quality."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pandas as pd

from jarvision.settings.acceptance import AcceptanceSettings
from jarvision.settings.sight import SightSettings

BINS = 9
LARGEST = 12.0  # points: what lies above is drawn at the upper edge


@dataclass(frozen=True)
class Panel:
    """One figure of quality: where it stands in the table, and the limit that is in force."""

    figure: str
    spoilers: tuple[str, ...]
    label: str
    limit: float
    log: bool = False


def panels(limits: AcceptanceSettings) -> tuple[Panel, ...]:
    """All figures with a limit."""
    return (
        Panel("rise_mm", ("none", "defocus", "shake"), "edge rise, mm", limits.edge_rise_max_mm),
        Panel(
            "jar_blur_mm",
            ("none", "jar out of focus"),
            "blur on the jar, mm",
            SightSettings().jar_blur_max_mm,
        ),
        Panel("px_per_mm", ("none", "shrink"), "px per mm on the card", limits.px_per_mm_min),
        Panel("white_level", ("none", "dim"), "signal of white", limits.white_level_min, log=True),
        Panel(
            "clipped_swatches",
            ("none", "brighten"),
            "swatches burnt out",
            limits.clipped_swatches_max,
        ),
        Panel("noise", ("none", "noise"), "spread inside swatches", limits.noise_max),
        Panel(
            "light_ratio",
            ("none", "slope"),
            "brighter / darker side",
            limits.light_ratio_max,
            log=True,
        ),
        Panel(
            "tint_ratio",
            ("none", "two lamps"),
            "change of colour ratio",
            limits.tint_ratio_max,
            log=True,
        ),
        Panel("glare_percent", ("none", "flash"), "wall under lamps, %", limits.glare_max_percent),
        Panel("hidden_swatches", ("none", "thumb"), "swatches hidden", limits.hidden_swatches_max),
    )


def draw(table: pd.DataFrame, panel: Panel, path: Path) -> None:
    """One picture: every photo a dot at its error; lines over groups of photos."""
    mpl.use("Agg")
    import matplotlib.pyplot as plt
    from matplotlib.ticker import LogLocator, NullFormatter

    rows = table[table["spoiler"].isin(panel.spoilers) & table[panel.figure].notna()]
    value = rows[panel.figure].to_numpy(float).round(3)
    error = rows["error"].abs().to_numpy(float)
    before = table[table["spoiler"] == "none"].set_index("photo")["error"]
    moved = (rows["error"] - rows["photo"].map(before)).abs().to_numpy(float)
    middles, groups = _bins(value, log=panel.log)
    figure, axes = plt.subplots(figsize=(4.2, 2.8), dpi=100, layout="constrained")
    axes.plot(value, np.minimum(error, LARGEST), ".", ms=2.5, color="0.75", zorder=1)
    for numbers, share, style, label in (
        (error, 50.0, {"color": "#1b6ca8", "marker": "o"}, "error, median"),
        (error, 90.0, {"color": "#c8553d", "marker": "s"}, "error, 90 %"),
        (moved, 90.0, {"color": "#3c7a3a", "marker": "^"}, "moved by, 90 %"),
    ):
        heights = [_percentile(numbers[group], share) for group in groups]
        axes.plot(middles, np.minimum(heights, LARGEST), ms=3, lw=1.2, label=label, **style)
    lost = np.array([np.isnan(error[group]).mean() for group in groups])
    if lost.max() > 0.0:
        axes.plot(middles, lost * LARGEST, ":", color="0.35", label="not read (top: all)")
    axes.axvline(panel.limit, color="black", lw=1, ls="--", label="limit")
    if panel.log:
        axes.set_xscale("log")
        axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axes.xaxis.set_major_formatter("{x:g}")
        axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set(xlabel=panel.label, ylabel="points of coverage", ylim=(0.0, LARGEST + 0.3))
    axes.legend(fontsize=6.5, framealpha=0.7, edgecolor="none")
    figure.savefig(path)
    plt.close(figure)


def _percentile(numbers: np.ndarray, share: float) -> float:
    read = numbers[np.isfinite(numbers)]
    return float(np.percentile(read, share)) if read.size else float("nan")


def _bins(value: np.ndarray, *, log: bool) -> tuple[np.ndarray, list[np.ndarray]]:
    """Middles and indices of groups of about equal size, equal values kept together."""
    order = np.argsort(value, kind="stable")
    cuts = np.unique(np.quantile(value, np.linspace(0.0, 1.0, BINS + 1)))
    place = np.clip(np.searchsorted(cuts, value, side="right") - 1, 0, max(len(cuts) - 2, 0))
    groups = [order[place[order] == k] for k in np.unique(place)]
    mean = [
        np.exp(np.log(np.maximum(value[g], 1e-6)).mean()) if log else value[g].mean()
        for g in groups
    ]
    return np.array(mean), groups


def draw_all(source: Path, folder: Path) -> None:
    """All pictures of a table, ``quality-FIGURE.png``."""
    table = pd.read_csv(source)
    folder.mkdir(parents=True, exist_ok=True)
    for panel in panels(AcceptanceSettings()):
        draw(table, panel, folder / f"quality-{panel.figure.replace('_', '-')}.png")
