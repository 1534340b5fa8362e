"""How unlike the bare contents look to what the network learned from."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.distance import mahalanobis
from skimage import data

from jarvision.records import BoolArray, Float32Array, TissueClass
from jarvision.settings.tissue import CoverageSettings
from jarvision.vision.photo import read_photo
from jarvision.vision.read import PhotoAnalysis, look
from jarvision.vision.tissue import novelty
from jarvision.vision.tissue.coverage import measure_coverage
from jarvision.vision.tissue.novelty import describe, novelty_of

SAMPLES = Path(__file__).parents[3] / "sample_images"
STEP_MM, CELL_CM2 = 0.275, 0.275**2 / 100.0


@cache
def sight(name: str) -> PhotoAnalysis:
    return look(read_photo(SAMPLES / name, name=name))


def bare_in(seen: PhotoAnalysis) -> np.ndarray:
    """Where its contents are bare and seen."""
    bare = seen.tissue.classes == TissueClass.BARE
    return np.asarray(bare & seen.wall.judged & seen.wall.filled)


def gravel(scale: int = 1) -> tuple[Float32Array, BoolArray]:
    """A photograph of gravel as brown contents, and that all of it is bare."""
    grey = (data.gravel()[:300:scale, :300:scale] / 255.0) ** 2.2
    linear = grey[..., None] * np.array([0.5, 0.3, 0.15])
    return linear.astype(np.float32), np.ones(linear.shape[:2], np.bool_)


def test_distances_are_those_of_a_general_library() -> None:
    seen = sight("SL02_2026-03-04.jpg")
    bare = (seen.tissue.classes == TissueClass.BARE) & seen.wall.judged & seen.wall.filled
    numbers = describe(
        seen.wall.linear, bare, step_mm=seen.wall.step_mm, cell_cm2=seen.wall.cell_cm2
    )
    middle, whiten, looks = novelty._known()
    inverse = whiten @ whiten.T
    unwhite = looks @ np.linalg.inv(whiten) + middle
    expected = min(mahalanobis(numbers, one, inverse) for one in unwhite)
    assert novelty_of(seen.wall, bare_in(seen)) == pytest.approx(expected, rel=1e-3)


def test_the_sample_shelf_is_known_and_a_strange_texture_is_not() -> None:
    seen = sight("SL02_2026-03-04.jpg")
    known = novelty_of(seen.wall, bare_in(seen))
    strange = seen.wall.linear.copy()
    rows, cols = strange.shape[:2]
    brick = np.resize(data.brick(), (rows, cols)) / 255.0  # rows break up: no kernels at all
    strange *= brick[..., None].astype(np.float32)
    other = novelty_of(replace(seen.wall, linear=strange), bare_in(seen))
    assert known is not None and other is not None
    assert known < CoverageSettings().novelty_from
    assert other > known + 1.0


def test_little_bare_contents_say_nothing() -> None:
    full = sight("SL01_2026-03-09.jpg")
    assert novelty_of(full.wall, bare_in(full)) is None
    linear, bare = gravel()
    some = np.zeros_like(bare)
    some[:40, :40] = True  # 1.2 cm2
    assert describe(linear, some, step_mm=STEP_MM, cell_cm2=CELL_CM2) is None


def test_more_light_changes_the_mean_light_alone() -> None:
    linear, bare = gravel()
    one, two = (
        describe(linear * np.float32(gain), bare, step_mm=STEP_MM, cell_cm2=CELL_CM2)
        for gain in (1.0, 1.5)
    )
    assert one is not None and two is not None
    assert two[0] - one[0] == pytest.approx(np.log(1.5), abs=0.05)
    np.testing.assert_allclose(two[1:], one[1:], atol=0.25)


def test_coarser_pieces_have_less_fine_detail() -> None:
    fine, coarse = (
        describe(*pair, step_mm=STEP_MM, cell_cm2=CELL_CM2) for pair in ((gravel(2)), (gravel(1)))
    )
    assert fine is not None and coarse is not None
    assert coarse[6] < fine[6]  # spread of the detail at 0.6 mm


def half_width(settings: CoverageSettings, **changes: float | None) -> float:
    seen = sight("SL02_2026-03-06.jpg")
    told = measure_coverage(seen.wall, replace(seen.tissue, **changes), settings=settings)
    return told.high - told.percent  # the lower end takes in growth that may be a veil, too


def test_doubt_counts_more_where_contents_look_unknown() -> None:
    settings = replace(CoverageSettings(), novelty_points=0.0)
    none, known, between, strange = (
        half_width(settings, novelty=value)
        for value in (None, settings.novelty_from, 2.6, settings.novelty_full)
    )
    assert none == known < between < strange
    doubled = replace(settings, doubt_weight=settings.strange_doubt_weight)
    assert strange == pytest.approx(half_width(doubled, novelty=None))


@pytest.mark.parametrize(
    ("what", "weight"),
    [
        ("novelty", "novelty_points"),
        ("forecast_points", "forecast_weight"),
        ("dispute_points", "dispute_weight"),
    ],
)
def test_the_interval_grows_with_novelty_the_expected_error_and_dispute(
    what: str, weight: str
) -> None:
    settings = CoverageSettings()
    first = settings.novelty_full if what == "novelty" else 0.0
    beyond = settings.novelty_full - settings.novelty_from if what == "novelty" else 0.0
    near, far = (half_width(settings, **{what: first + more}) for more in (0.0, 8.0))
    points = getattr(settings, weight)
    added = (points * (beyond + 8.0)) ** 2 - (points * beyond) ** 2
    assert far == pytest.approx(np.sqrt(near**2 + added))
