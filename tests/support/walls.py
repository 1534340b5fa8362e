"""Walls and tissues made by hand, for the stages behind the unrolled wall."""

from __future__ import annotations

import numpy as np

from jarvision.records import Tissue, TissueClass, Wall

CELL_MM = 0.25
RADIUS_MM = 40.0
CELL_DEG = float(np.rad2deg(CELL_MM / RADIUS_MM))  # cells are square on the glass


def flat_wall(classes: np.ndarray, *, linear: np.ndarray | None = None) -> Wall:
    """The wall that a class map was read from: quarter-millimetre cells, floor at height 0."""
    rows, cols = classes.shape
    return Wall(
        linear=np.full((rows, cols, 3), 0.3, np.float32) if linear is None else linear,
        angles_deg=(np.arange(cols) - (cols - 1) / 2) * CELL_DEG,
        heights_mm=(rows - 0.5 - np.arange(rows)) * CELL_MM,
        radius_mm=RADIUS_MM,
        filled=classes != TissueClass.OUTSIDE,
        judged=classes > TissueClass.UNJUDGED,
        pixels=np.stack(np.meshgrid(np.arange(cols), np.arange(rows)), axis=-1).astype(np.float32),
    )


def tissue_of(classes: np.ndarray, *, caps: np.ndarray | None = None) -> Tissue:
    """The tissue of a class map without any doubt: growth hides all, the rest nothing."""
    grown = np.isin(classes, (TissueClass.MYCELIUM, TissueClass.STAIN))
    return Tissue(
        classes=classes,
        opacity=grown.astype(np.float32),
        covered=grown.astype(np.float32),
        certainty=np.ones(classes.shape, np.float32),
        caps=np.zeros(classes.shape, np.float32) if caps is None else caps,
    )
