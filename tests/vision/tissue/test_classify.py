"""The tissue network and its masks: what must hold whatever it was trained on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from painting import painted, photo_of
from walls import flat_wall

from jarvision.records import TissueClass, Wall
from jarvision.settings.tissue import MaskSettings
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.jar.unroll import burnt_out
from jarvision.vision.tissue import network
from jarvision.vision.tissue.classify import Classified, classify
from jarvision.vision.tissue.inputs import CHANNELS, network_inputs
from jarvision.vision.tissue.masks import mask_glare, mask_groove
from jarvision.vision.tissue.network import CLASSES, MULTIPLE, run_network, told_by

MASKS = MaskSettings()
CELL_MM = 0.25
NOT_BURNT = np.zeros((64, 64), dtype=np.bool_)


def classed(wall: Wall) -> Classified:
    rows, cols = wall.filled.shape
    grey = np.full((rows, cols, 3), 128, dtype=np.uint8)  # nothing is burnt out
    return classify(wall, photo_of(grey), settings=PhotoSettings())


# --------------------------------------------------------------------------- network
@pytest.mark.parametrize("shape", [(64, 64), (131, 77), (33, 200)])
def test_any_size_of_wall_gives_chances(shape: tuple[int, int]) -> None:
    rng = np.random.default_rng(2)
    whole = [size + -size % MULTIPLE for size in shape]
    channels = rng.normal(0.0, 1.0, (CHANNELS, *whole)).astype(np.float32)
    rows, cols = shape
    seen = told_by(run_network("specialist", channels)[:, :rows, :cols])
    assert set(np.unique(seen.best)) <= set(range(1, CLASSES))
    for chance in (seen.empty, seen.share, seen.plain, seen.opacity, seen.covered, seen.caps):
        assert chance.shape == seen.best.shape == shape
        assert chance.min() >= 0.0
        assert chance.max() <= 1.0 + 1e-6
    assert (seen.empty + seen.share).max() <= 1.0 + 1e-5
    grown = np.isin(seen.best, (TissueClass.BARE, TissueClass.MYCELIUM))
    assert (seen.plain[grown] >= seen.share[grown] - 1e-6).all()


def test_places_lie_as_the_training_framework_shuffles_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """PyTorch's documentation of PixelShuffle: channel ``r i + j`` goes to row i, column j."""
    squares = np.random.default_rng(4).normal(size=(13 * 16, 5, 3)).astype(np.float32)

    class Net:
        def run(self, outputs: None, inputs: dict[str, np.ndarray]) -> list[np.ndarray]:
            return [squares[None].copy()]

    monkeypatch.setattr(network, "_net", lambda expert: Net())
    laid = run_network("specialist", np.zeros((CHANNELS, 20, 12), np.float32))
    assert laid.shape == (13, 20, 12)
    for channel in range(16):
        np.testing.assert_array_equal(
            laid[3, channel // 4 :: 4, channel % 4 :: 4], squares[48 + channel]
        )


def test_the_same_wall_gives_the_same_answer() -> None:
    wall, classes = painted(14.0)
    nothing = np.zeros(classes.shape, dtype=np.bool_)
    channels = network_inputs(wall, nothing, multiple=MULTIPLE)
    first, second = (run_network("specialist", channels) for _ in range(2))
    np.testing.assert_array_equal(first, second)


def test_a_brighter_lamp_moves_the_lightness_channel_alone() -> None:
    rng = np.random.default_rng(3)
    linear = rng.uniform(0.2, 0.6, (64, 64, 3)).astype(np.float32)
    bare = np.full((64, 64), TissueClass.BARE, dtype=np.uint8)
    dim, bright = (
        network_inputs(flat_wall(bare, linear=linear * gain), NOT_BURNT) for gain in (1.0, 1.5)
    )
    assert (bright[0] - dim[0]).min() > 0.2
    np.testing.assert_allclose(bright[1:], dim[1:], atol=0.03)


def test_black_pixels_make_finite_inputs() -> None:
    bare = np.full((64, 64), TissueClass.BARE, dtype=np.uint8)
    below = np.full((64, 64, 3), -0.01, dtype=np.float32)  # correction can undershoot
    assert np.isfinite(network_inputs(flat_wall(bare, linear=below), NOT_BURNT)).all()


@pytest.mark.parametrize(("day", "most"), [(3.0, TissueClass.BARE), (14.0, TissueClass.MYCELIUM)])
def test_a_bare_and_a_covered_wall_are_told_apart(day: float, most: TissueClass) -> None:
    """Painted walls; what lies between is tested on rendered photos, in tests/accuracy."""
    wall, truth = painted(day)
    classes = classed(wall).tissue.classes
    contents = truth[: len(classes)] > TissueClass.UNJUDGED  # above: no glass, no lid, no photo
    assert np.mean(truth[truth > TissueClass.UNJUDGED] == most) > 0.95
    assert np.mean(classes[contents] == most) > 0.95


# --------------------------------------------------------------------------- burnt-out places
def test_only_pixels_with_all_channels_at_their_end_are_burnt_out() -> None:
    rgb = np.full((64, 64, 3), 200, dtype=np.uint8)
    rgb[10:20, 10:20] = 255
    rgb[30:40, 30:40] = (255, 255, 180)  # yellow in strong light has a colour left
    wall = flat_wall(np.full((64, 64), TissueClass.BARE, dtype=np.uint8))
    burnt = burnt_out(wall, photo_of(rgb), settings=MASKS)
    assert burnt[10:20, 10:20].all()
    assert burnt.sum() == 100


def glare(around: TissueClass, *, cells: int = 10) -> tuple[np.ndarray, np.ndarray]:
    """A burnt-out square that was called growth, amid a class; the map and the mask of it."""
    classes = np.full((64, 64), around, dtype=np.uint8)
    burnt = np.zeros((64, 64), dtype=np.bool_)
    burnt[25 : 25 + cells, 25 : 25 + cells] = True
    classes[burnt] = TissueClass.MYCELIUM
    return mask_glare(classes, burnt, step_mm=CELL_MM, settings=MASKS), burnt


def test_a_mirrored_lamp_on_grain_is_not_counted_as_growth() -> None:
    masked, burnt = glare(TissueClass.BARE)
    assert (masked[burnt] == TissueClass.UNJUDGED).all()
    assert (masked == TissueClass.MYCELIUM).sum() == 0


def test_burnt_out_growth_amid_growth_stays_growth() -> None:
    masked, _ = glare(TissueClass.MYCELIUM)
    assert (masked == TissueClass.MYCELIUM).all()


def test_sparkle_on_wet_kernels_is_let_be() -> None:
    cells = int(np.sqrt(MASKS.spot_min_mm2) / CELL_MM) - 1
    masked, burnt = glare(TissueClass.BARE, cells=cells)
    assert (masked[burnt] == TissueClass.MYCELIUM).all()


def test_glare_above_the_contents_makes_no_contents() -> None:
    masked, burnt = glare(TissueClass.OUTSIDE)
    assert (masked[~burnt] == TissueClass.OUTSIDE).all()


@pytest.mark.parametrize(("share", "hidden"), [(0.55, True), (0.65, False)])
def test_a_burnt_out_area_is_a_lamp_where_less_than_three_fifths_around_it_grow(
    share: float, hidden: bool
) -> None:
    row, col = np.indices((64, 64))
    grown = (7 * row + 3 * col) % 20 < 20 * share
    classes = np.where(grown, TissueClass.MYCELIUM, TissueClass.BARE).astype(np.uint8)
    burnt = np.zeros((64, 64), dtype=np.bool_)
    burnt[25:35, 25:35] = True
    masked = mask_glare(classes, burnt, step_mm=CELL_MM, settings=MASKS)
    assert (masked[burnt] == TissueClass.UNJUDGED).all() == hidden


def test_a_lamp_takes_its_rim_of_false_growth_along_and_nothing_beyond() -> None:
    classes = np.full((64, 64), TissueClass.BARE, dtype=np.uint8)
    burnt = np.zeros((64, 64), dtype=np.bool_)
    burnt[30:34, 30:34] = True
    classes[28:36, 28:36] = TissueClass.MYCELIUM  # half a millimetre of bloom
    classes[24, 24] = classes[39, 39] = TissueClass.MYCELIUM  # in the corners: 2 mm away
    masked = mask_glare(classes, burnt, step_mm=CELL_MM, settings=MASKS)
    assert (masked[28:36, 28:36] == TissueClass.UNJUDGED).all()
    assert masked[24, 24] == masked[39, 39] == TissueClass.MYCELIUM
    ring = masked[25:39, 25:39].copy()
    ring[3:11, 3:11] = TissueClass.BARE
    assert (ring == TissueClass.BARE).all()  # what is bare around it stays
    assert (masked == TissueClass.UNJUDGED).sum() == 64


def test_what_is_burnt_out_is_known_by_all_three_bytes() -> None:
    wall = flat_wall(np.full((64, 64), TissueClass.BARE, dtype=np.uint8))
    for level, count in ((251, 0), (252, 64 * 64)):
        rgb = np.full((64, 64, 3), level, dtype=np.uint8)
        assert burnt_out(wall, photo_of(rgb), settings=MASKS).sum() == count


def test_a_groove_is_taken_out_of_what_can_be_judged_and_nothing_else() -> None:
    classes = np.full((120, 40), TissueClass.MYCELIUM, dtype=np.uint8)
    classes[:30] = TissueClass.OUTSIDE
    wall = flat_wall(classes)
    assert mask_groove(classes, wall, settings=MASKS) is classes  # no groove is known
    masked = mask_groove(classes, replace(wall, groove_mm=15.0), settings=MASKS)
    rows = np.flatnonzero((masked == TissueClass.UNJUDGED).all(axis=1))
    assert wall.heights_mm[rows].min() == pytest.approx(15.0 - MASKS.groove_mm, abs=CELL_MM)
    assert wall.heights_mm[rows].max() == pytest.approx(15.0 + MASKS.groove_mm, abs=CELL_MM)
    others = np.delete(np.arange(120), rows)
    assert np.array_equal(masked[others], classes[others])
