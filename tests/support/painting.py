"""Painted jars as walls of photos, for tests of what is seen on them."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from functools import cache
from pathlib import Path

import numpy as np
from walls import flat_wall

from jarvision.records import Photo, Wall
from tests.scenes.contents import JarRecipe, paint
from tests.training.painted_walls import shade


def photo_of(rgb: np.ndarray) -> Photo:
    return Photo(
        path=Path("wall.png"), name="wall.png", rgb=rgb, scale=1.0, focal_px=1500.0,
        focal_known=True, taken_at=datetime(2026, 3, 1, 12), time_source="exif",
    )  # fmt: skip


@cache
def painted(day: float) -> tuple[Wall, np.ndarray]:
    """A painted jar of rye within 60 degrees under one lamp: wall and true classes."""
    jar = paint(JarRecipe(seed=41, substrate="rye", speed_mm_per_day=3.0), day=day)
    front = np.abs(jar.angles_deg) <= 60.0
    colour = shade(jar, np.random.default_rng([41, round(day)]))[:, front]
    wall = replace(
        flat_wall(jar.classes[:, front], linear=colour),
        angles_deg=jar.angles_deg[front].astype(np.float64),
        heights_mm=jar.heights_mm.astype(np.float64),
        radius_mm=jar.radius_mm,
    )
    return wall, jar.classes[:, front]
