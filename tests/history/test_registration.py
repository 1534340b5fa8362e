"""A turned jar is found by its contents: thumbnails, phase correlation, the same place again."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest
import skimage.data
from walls import COLS, RADIUS_MM, ROWS, flat_wall, photographed, tissue_of

from jarvision.history.registration import find_turn, moved
from jarvision.records import Tissue, TissueClass, Turn, Wall, WallThumbnail
from jarvision.settings.groups import Settings
from jarvision.vision.tissue.thumbnail import (
    SMALL_CELL_DEG,
    SMALL_CELL_MM,
    SmallWall,
    shrink,
    unpack_thumbnail,
)

LIMITS = Settings().tracking


def small(wall: Wall) -> SmallWall:
    classes = np.full(wall.filled.shape, TissueClass.BARE, dtype=np.uint8)
    return unpack_thumbnail(shrink(wall, tissue_of(classes)))


# Photographs bundled with scikit-image: real surfaces, none of them a jar.
TEXTURES = {"gravel": skimage.data.gravel, "grass": skimage.data.grass, "brick": skimage.data.brick}


@pytest.mark.parametrize("turn_deg", [-55.0, -20.0, -3.0, 0.0, 7.0, 31.0, 60.0])
@pytest.mark.parametrize("name", ["gravel", "grass"])
def test_the_turn_of_a_real_surface_is_found_to_a_degree(name: str, turn_deg: float) -> None:
    texture = TEXTURES[name]()
    turn = find_turn(
        small(photographed(texture, 0.0)),
        small(photographed(texture, turn_deg, bright=0.6)),
        settings=LIMITS,
    )
    assert turn.found
    assert turn.turn_deg == pytest.approx(turn_deg, abs=0.2)
    assert turn.rise_mm == pytest.approx(0.0, abs=0.2)


def test_growth_over_a_half_of_the_wall_does_not_hide_the_turn() -> None:
    texture = skimage.data.gravel()
    before, after = photographed(texture, 0.0), photographed(texture, 18.0)
    discs = skimage.data.binary_blobs(512, blob_size_fraction=0.15, volume_fraction=0.5, rng=3)
    white = np.array(discs[:ROWS, :COLS])
    linear = np.where(white[..., None], np.float32(0.8), after.linear)
    turn = find_turn(small(before), small(replace(after, linear=linear)), settings=LIMITS)
    assert turn.found
    assert turn.turn_deg == pytest.approx(18.0, abs=0.5)


def test_a_floor_found_two_millimetres_lower_is_a_rise() -> None:
    wall = photographed(skimage.data.gravel(), 0.0)
    raised = replace(wall, heights_mm=wall.heights_mm + 4.0)
    turn = find_turn(small(wall), small(raised), settings=LIMITS)
    assert turn.found
    assert turn.rise_mm == pytest.approx(4.0, abs=0.3)


def test_a_turn_out_of_view_and_another_jar_are_not_found() -> None:
    texture = skimage.data.gravel()
    here = small(photographed(texture, 0.0))
    assert not find_turn(here, small(photographed(texture, 180.0)), settings=LIMITS).found
    for name, other in TEXTURES.items():
        if name != "gravel":
            assert not find_turn(here, small(photographed(other(), 0.0)), settings=LIMITS).found


def test_a_wall_without_any_pattern_gives_no_turn() -> None:
    plain = small(photographed(np.full((512, 512), 128), 0.0))
    assert find_turn(plain, plain, settings=LIMITS) == Turn()


def test_a_map_is_moved_to_where_its_places_are_on_the_next_day() -> None:
    field = np.arange(40.0 * 60).reshape(40, 60)
    turned = moved(field, 40, Turn(3 * SMALL_CELL_DEG, 2 * SMALL_CELL_MM, 1.0, found=True))
    # up by two rows, to the right by three columns
    assert turned[10, 20] == field[12, 17]
    assert np.isnan(turned[:, :3]).all()
    assert np.isnan(turned[-2:]).all()
    # a map with five rows more at its top still stands on the same floor
    assert moved(field, 45, Turn())[-1, 0] == field[-1, 0]


# --------------------------------------------------------------------------- thumbnails
def half_grown() -> tuple[Wall, Tissue]:
    classes = np.full((ROWS, COLS), TissueClass.BARE, dtype=np.uint8)
    classes[:, COLS // 2 :] = TissueClass.MYCELIUM
    classes[:40] = TissueClass.OUTSIDE
    return flat_wall(classes), tissue_of(classes)


def test_a_thumbnail_keeps_coverage_classes_and_what_was_not_seen() -> None:
    wall, tissue = half_grown()
    seen = unpack_thumbnail(shrink(wall, tissue))
    assert np.nanmean(seen.opacity) == pytest.approx(0.5, abs=0.01)
    assert np.isnan(seen.opacity[:5]).all()
    assert set(np.unique(seen.classes[6:, :29])) == {TissueClass.BARE}
    assert set(np.unique(seen.classes[6:, 31:])) == {TissueClass.MYCELIUM}
    covered_cm2 = np.count_nonzero(seen.opacity >= 0.5) * seen.cell_cm2
    assert covered_cm2 == pytest.approx(np.count_nonzero(tissue.opacity) * wall.cell_cm2, rel=0.03)


def test_a_thumbnail_is_small_enough_to_cross_processes_and_to_be_kept() -> None:
    rng = np.random.default_rng(1)
    noisy = rng.integers(0, 255, (512, 512)).astype(np.uint8)
    wall = photographed(noisy, 0.0)
    thumbnail = shrink(wall, tissue_of(np.full((ROWS, COLS), TissueClass.BARE, dtype=np.uint8)))
    assert len(pickle.dumps(thumbnail)) < 10_000
    assert thumbnail.radius_mm == RADIUS_MM


def test_a_broken_thumbnail_is_told_apart() -> None:
    thumbnail = shrink(*half_grown())
    with pytest.raises(ValueError, match="cannot hold"):
        unpack_thumbnail(replace(thumbnail, rows=thumbnail.rows + 1))
    assert isinstance(thumbnail, WallThumbnail)
