"""Patches of truth and answer held against each other on one wall, and the verdict they give."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta

import cv2
import numpy as np

from jarvision.growth.forecast import fit_growth
from jarvision.history.build import build_history
from jarvision.records import BoolArray, ByteArray, Coverage, JarEntry, Patch, Reading, VerdictWord
from jarvision.register.species import find_profile
from jarvision.verdict.decide import decide
from jarvision.vision.tissue.patches import KIND_OF_CLASS

SIZES = {"0.25 to 1": (0.25, 1.0), "1 to 4": (1.0, 4.0), "over 4": (4.0, np.inf)}
"""Areas from and below, cm2, that are counted apart."""

OVERLAP = 0.3
"""A patch is found when this share of it is called so, and false when less of it is so."""

NEAR_CELLS = 9
"""Edges may be off by a millimetre."""


def match_patches(truth: ByteArray, answer: ByteArray, *, cell_cm2: float) -> Counter[str]:
    """Count ``KIND|SIZE|true``, ``...|found``, ``...|said`` and ``...|false``.

    Mould colours count as one kind too (``off-colour``): any of them is the same alarm.
    """
    counts: Counter[str] = Counter()
    kinds = {kind: (int(number),) for number, kind in KIND_OF_CLASS.items()}
    kinds["off-colour"] = sum((kinds[k] for k in ("green", "black", "pink", "yellow")), ())
    for kind, numbers in kinds.items():
        is_so, said_so = np.isin(truth, numbers), np.isin(answer, numbers)
        for name, here, there in (("true", is_so, said_so), ("said", said_so, is_so)):
            near = cv2.dilate(there.astype(np.uint8), np.ones((NEAR_CELLS, NEAR_CELLS))) > 0
            for size, area in _areas(here, cell_cm2=cell_cm2):
                overlap = float(near[area].mean()) >= OVERLAP
                counts[f"{kind}|{size}|{name}"] += 1
                counts[f"{kind}|{size}|found"] += name == "true" and overlap
                counts[f"{kind}|{size}|false"] += name == "said" and not overlap
    return counts


def _areas(mask: BoolArray, *, cell_cm2: float) -> Iterator[tuple[str, BoolArray]]:
    """Connected areas with the name of their size."""
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(opened, connectivity=8)
    areas = stats[:, cv2.CC_STAT_AREA] * cell_cm2
    for n in range(1, count):
        for size, (least, below) in SIZES.items():
            if least <= areas[n] < below:
                yield size, labels == n


def verdict_if_unchanged(coverage: Coverage, patches: tuple[Patch, ...]) -> VerdictWord:
    """The verdict of an old jar that has looked like this for a week: the easiest way to a go."""
    today = date(2026, 3, 8)
    reading = Reading(
        photo="x", jar="x", view="front", taken_at=datetime(2026, 3, 8), time_source="exif",
        status="ok", coverage=coverage, patches=patches, fill_height_mm=80.0,
        colour_de00_median=1.5,
    )  # fmt: skip
    week = [
        replace(reading, photo=f"x{d}", taken_at=reading.taken_at - timedelta(days=d))
        for d in range(7)
    ]
    entry = JarEntry("x", species="oyster", started=date(2026, 2, 14))
    history = build_history(week, entry)
    profile = find_profile("oyster")
    growth = fit_growth(history, profile, today=today)
    return decide(history, growth, profile, today=today)[0].verdict
