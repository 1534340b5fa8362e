"""Walls and tissues made by hand, for the stages behind the unrolled wall."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import COVERED, Tissue, TissueClass, Wall

CELL_MM = 0.25
RADIUS_MM = 40.0
ROWS, COLS = 320, 335  # 80 mm high, 120 degrees of that radius
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


def photographed(texture: np.ndarray, turn_deg: float, *, bright: float = 1.0) -> Wall:
    """A wall whose contents look like a photo of a real surface, the jar turned by ``turn_deg``."""
    # The whole girth is 1005 cells; kernels of 4 mm are 16 cells wide.
    girth = cv2.resize(
        texture.astype(np.float32) / 255.0, (1005, ROWS), interpolation=cv2.INTER_AREA
    )
    first = round((180.0 - 60.0 - turn_deg) / 360.0 * 1005)
    grey = 0.05 + 0.5 * girth[:, np.arange(first, first + COLS) % 1005]
    classes = np.full((ROWS, COLS), TissueClass.BARE, dtype=np.uint8)
    return flat_wall(classes, linear=np.repeat(bright * grey[..., None], 3, axis=2))


def tissue_of(classes: np.ndarray, *, caps: np.ndarray | None = None) -> Tissue:
    """The tissue of a class map without any doubt: growth hides all, the rest nothing."""
    grown = np.isin(classes, COVERED)
    return Tissue(
        classes=classes,
        opacity=grown.astype(np.float32),
        covered=grown.astype(np.float32),
        certainty=np.ones(classes.shape, np.float32),
        caps=np.zeros(classes.shape, np.float32) if caps is None else caps,
    )
