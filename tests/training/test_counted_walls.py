"""Exported counts as sparse labels: the loss looks at counted points, and nowhere else."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from fake_shelf import fake_scene  # noqa: E402 - PyTorch first: without it there is nothing to test

from jarvision.records import Wall  # noqa: E402
from jarvision.register.counts import CountedPoint, PointWord  # noqa: E402
from jarvision.run.count_export import export_counts  # noqa: E402

from .counted_walls import load_counted, point_loss  # noqa: E402
from .tissue_nets import COVER  # noqa: E402
from .training_walls import CANVAS  # noqa: E402

PHOTO = "ab" * 32
PLACES: tuple[tuple[float, float, PointWord], ...] = (
    (0.0, 50.0, "white"),
    (-30.0, 20.0, "bare"),
    (15.0, 80.0, "off-colour"),
    (40.0, 60.0, "cannot tell"),
)


@pytest.fixture
def wall() -> Wall:
    return fake_scene(0.5)[2]


@pytest.fixture
def folder(tmp_path: Path, wall: Wall) -> Path:
    now = datetime(2026, 3, 1)
    points = [CountedPoint(PHOTO, a, h, word, "ann", now, len(PLACES)) for a, h, word in PLACES]
    export_counts(points, {PHOTO: "a.jpg"}, lambda _: wall, tmp_path, licence="CC BY 4.0")
    return tmp_path


def test_points_lie_where_they_were_counted(folder: Path, wall: Wall) -> None:
    counted = load_counted(folder)
    assert counted.x.shape[2:] == CANVAS
    assert counted.covered.tolist() == [1.0, 0.0, 0.0]  # what could not be told teaches nothing
    top = np.flatnonzero(wall.filled.any(axis=1))[0]
    for (_, row, col), (angle, height, _) in zip(counted.places.tolist(), PLACES, strict=False):
        assert wall.angles_deg[col] == pytest.approx(angle, abs=0.5)
        assert wall.heights_mm[top + row] == pytest.approx(height, abs=0.3)


def test_the_loss_is_of_the_counted_points_alone(folder: Path) -> None:
    counted = load_counted(folder)
    out = torch.zeros((1, COVER + 1, *CANVAS))
    assert point_loss(out, counted).item() == pytest.approx(np.log(2.0))
    out[0, COVER] = -50.0
    wall, row, col = counted.places[0]
    out[wall, COVER, row, col] = 50.0
    assert point_loss(out, counted).item() == pytest.approx(0.0, abs=1e-6)
    out[0, COVER, 0, 0] = 50.0  # nobody has counted there
    assert point_loss(out, counted).item() == pytest.approx(0.0, abs=1e-6)
