"""The bare look and its novelty: each number against its formula."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from walls import flat_wall, tissue_of

from jarvision.records import BareLook, TissueClass
from jarvision.vision.tissue.inputs import colour_logs
from jarvision.vision.tissue.novelty import describe
from jarvision.vision.tissue.reference import bare_look_of, look_of, reference_channels

STEP_MM = 0.275
CELL_CM2 = STEP_MM**2 / 100.0


# --------------------------------------------------------------------------- the bare look
def test_twelve_kinds_of_pieces_are_the_twelve_colours_of_a_look() -> None:
    rng = np.random.default_rng(3)
    kinds = np.sort(rng.uniform(-2.0, 2.0, (12, 3)), axis=0)
    kinds[:, 0] = np.linspace(-2.0, 2.0, 12)
    logs = np.repeat(kinds, 200, axis=0) + rng.normal(0.0, 0.01, (2400, 3))
    field = rng.permutation(logs).T.reshape(3, 40, 60).astype(np.float32)
    look = look_of(field, np.ones((40, 60), bool), 33.0)
    np.testing.assert_allclose(np.array(sorted(look.colours)), kinds, atol=0.01)
    assert look.spread == pytest.approx(field[0].std(), rel=1e-5)
    assert look.area_cm2 == 33.0


def test_a_place_sees_the_nearest_colour_the_middle_of_all_and_the_spread() -> None:
    colours = ((0.0, 0.0, 0.0), (2.0, 0.0, -1.0))
    look = BareLook(colours, 0.35, 40.0)
    logs = np.array([[0.0, 3.0, 9.0], [0.0, 4.0, -9.0], [0.0, 0.0, 0.0]], np.float32)[:, None, :]
    found = reference_channels(logs, look)[:, 0]
    nearest = np.array([0.0, np.sqrt(1 + 16 + 1), np.sqrt(49 + 81 + 1)])
    np.testing.assert_allclose(found[0], nearest / (1 + nearest), atol=1e-5)
    away = logs[:, 0] - np.array([1.0, 0.0, -0.5])[:, None]
    np.testing.assert_allclose(found[1:4], np.clip(away, -3.0, 3.0), atol=1e-6)
    np.testing.assert_allclose(found[4:], np.array([[0.35] * 3, [1.0] * 3]), atol=1e-6)
    assert found.shape == (6, 3)


def wall_of(cm2: float, covered: float = 0.0) -> tuple:
    """A wall with so much bare contents, the rest grown, and how sure it is that these are bare."""
    rng = np.random.default_rng(2)
    classes = np.full((200, 200), TissueClass.MYCELIUM, np.uint8)
    classes.flat[: round(cm2 / 0.000625)] = TissueClass.BARE
    grey = np.where(classes == TissueClass.BARE, 0.2, 0.8)[..., None]
    linear = (grey * rng.uniform(0.8, 1.2, (200, 200, 1)) * np.ones(3)).astype(np.float32)
    tissue = tissue_of(classes)
    tissue.covered[classes == TissueClass.BARE] = covered
    return flat_wall(classes, linear=linear), replace(tissue, novelty=2.5)


@pytest.mark.parametrize(
    ("cm2", "covered", "taught"), [(7.9, 0.0, 0), (8.1, 0.0, 1), (9.0, 0.2, 1), (9.0, 0.21, 0)]
)
def test_a_look_is_learned_from_eight_square_centimetres_that_are_surely_bare(
    cm2: float, covered: float, taught: bool
) -> None:
    wall, tissue = wall_of(cm2, covered)
    look = bare_look_of(wall, tissue)
    assert (look is not None) == bool(taught)
    if look is not None:
        assert look.area_cm2 == pytest.approx(cm2, abs=0.001)
        assert look.novelty == 2.5
        bare = colour_logs(wall.linear)[:, tissue.classes == TissueClass.BARE]
        assert np.min(look.colours, axis=0)[0] >= bare[0].min()
        assert np.max(look.colours, axis=0)[0] <= bare[0].max()


def test_what_is_hidden_or_above_the_fill_line_teaches_nothing() -> None:
    wall, tissue = wall_of(24.0)
    some = wall.judged.copy()
    some[:, ::2] = False
    look = bare_look_of(replace(wall, judged=some), tissue)
    assert look is not None
    assert look.area_cm2 == pytest.approx(12.0, abs=0.01)
    low = bare_look_of(replace(wall, filled=some), tissue, nothing_grown=True)
    assert low is not None
    assert low.area_cm2 == pytest.approx(12.5, abs=0.01)


# --------------------------------------------------------------------------- novelty
def textured() -> np.ndarray:
    rng = np.random.default_rng(5)
    field = gaussian_filter(rng.normal(size=(240, 320)), 3.0, mode="wrap")
    light = np.exp(0.4 * field / field.std() - 1.5)
    tint = np.exp(0.1 * rng.normal(size=(240, 320, 3)))
    return (light[..., None] * tint * np.array([0.5, 0.3, 0.15])).astype(np.float32)


def halved(values: np.ndarray) -> np.ndarray:
    """Means of squares of two by two places."""
    return np.asarray(
        values.reshape(values.shape[0] // 2, 2, values.shape[1] // 2, 2, -1).mean(axis=(1, 3))
    )


def test_a_look_is_described_by_its_light_its_tints_and_its_detail_at_four_sizes() -> None:
    linear, bare = textured(), np.ones((240, 320), np.bool_)
    bare[:, :100] = False
    found = describe(linear, bare, step_mm=STEP_MM, cell_cm2=CELL_CM2)
    assert found is not None
    light = halved(linear.astype(float)) + 0.004
    weight = halved(bare[..., None].astype(float))[..., 0] > 0.5
    level = np.log(light @ np.array([0.2126, 0.7152, 0.0722]))
    expected = [level[weight].mean(), level[weight].std()]
    for band in (0, 2):
        tint = np.log(light[..., band] / light[..., 1])[weight]
        expected += [tint.mean(), tint.std()]
    finer = level
    for scale_mm in (0.6, 1.2, 2.4, 4.8):
        sigma = scale_mm / (2 * STEP_MM)
        around = gaussian_filter(weight.astype(float), sigma, mode="mirror")
        coarser = gaussian_filter(level * weight, sigma, mode="mirror") / np.maximum(around, 1e-3)
        detail = (finer - coarser)[weight]
        spread = detail.std() + 1e-3
        expected += [np.log(spread), np.mean(((detail - detail.mean()) / spread) ** 3)]
        finer = coarser
    np.testing.assert_allclose(found, expected, atol=0.03)


@pytest.mark.parametrize(("cm2", "described"), [(3.9, False), (4.1, True)])
def test_four_square_centimetres_describe_a_look(cm2: float, described: bool) -> None:
    bare = np.zeros((240, 320), np.bool_)
    rows = round(cm2 / CELL_CM2 / 240)
    bare[:rows, :240] = True
    found = describe(
        textured(), bare, step_mm=STEP_MM, cell_cm2=CELL_CM2 * cm2 / (rows * 240 * CELL_CM2)
    )
    assert (found is not None) == described


def test_threads_of_bare_contents_describe_nothing() -> None:
    bare = np.zeros((240, 320), np.bool_)
    bare[:, ::4] = True  # a cell wide: 14 cm2 in all, and no square that is mostly bare
    assert describe(textured(), bare, step_mm=STEP_MM, cell_cm2=CELL_CM2) is None
