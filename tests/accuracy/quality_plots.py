"""Draw the table of :mod:`tests.accuracy.quality_sweep`: error against each figure of quality."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pandas as pd

from jarvision.photo_settings import AcceptanceSettings

BINS = 9
LARGEST_ERROR = 12.0  # points: what lies above is drawn at the upper edge


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
        Panel("px_per_mm", ("none", "shrink"), "px per mm on the card", limits.px_per_mm_min),
        Panel("white_level", ("none", "dim"), "signal of white", limits.white_level_min, log=True),
        Panel(
            "clipped_swatches",
            ("none", "brighten"),
            "swatches burnt out",
            limits.clipped_swatches_max,
        ),
        Panel("noise", ("none", "noise"), "spread inside swatches", limits.noise_max),
        Panel("light_ratio", ("none", "slope"), "brighter / darker side", limits.light_ratio_max),
        Panel("tint_ratio", ("none", "two lamps"), "change of colour ratio", limits.tint_ratio_max),
        Panel("glare_percent", ("none", "flash"), "wall under lamps, %", limits.glare_max_percent),
        Panel("hidden_swatches", ("none", "thumb"), "swatches hidden", limits.hidden_swatches_max),
    )


def draw(table: pd.DataFrame, panel: Panel, path: Path) -> None:
    """One picture: every photo a dot, median and 90th percentile of the error, share not read."""
    mpl.use("Agg")
    import matplotlib.pyplot as plt

    rows = table[table["spoiler"].isin(panel.spoilers) & table[panel.figure].notna()]
    value = rows[panel.figure].to_numpy(float)
    error = rows["error"].abs().to_numpy(float)
    middles, groups = _bins(value, log=panel.log)
    median, high, lost = np.array(
        [
            (
                np.nanmedian(error[g]) if np.isfinite(error[g]).any() else np.nan,
                np.nanpercentile(error[g], 90) if np.isfinite(error[g]).any() else np.nan,
                100.0 * np.isnan(error[g]).mean(),
            )
            for g in groups
        ]
    ).T
    figure, axes = plt.subplots(figsize=(4.2, 2.8), dpi=100, layout="constrained")
    axes.plot(value, np.minimum(error, LARGEST_ERROR), ".", ms=2.5, color="0.7", zorder=1)
    axes.plot(middles, median, "-o", ms=3, color="#1b6ca8", label="median")
    axes.plot(middles, np.minimum(high, LARGEST_ERROR), "-s", ms=3, color="#c8553d", label="90 %")
    axes.axvline(panel.limit, color="black", lw=1, ls="--", label="limit")
    if lost.max() > 0.0:
        axes.plot(
            middles,
            lost * LARGEST_ERROR / 100.0,
            ":",
            color="0.35",
            label="not read (full = 100 %)",
        )
    if panel.log:
        axes.set_xscale("log")
    axes.set(xlabel=panel.label, ylabel="coverage error, points", ylim=(0.0, LARGEST_ERROR + 0.3))
    axes.legend(fontsize=7, frameon=False)
    figure.savefig(path)
    plt.close(figure)


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
    """All pictures of a table, ``quality-FIGURE.png``, and the binned numbers on the screen."""
    table = pd.read_csv(source)
    folder.mkdir(parents=True, exist_ok=True)
    for panel in panels(AcceptanceSettings()):
        draw(table, panel, folder / f"quality-{panel.figure.replace('_', '-')}.png")
