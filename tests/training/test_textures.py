"""The table of textures, and packing without a network."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.training.textures import (
    DEBIAN,
    GROWTH,
    SIDE_PX,
    Pick,
    pack,
    read_picks,
    read_textures,
    unit_px,
)


def test_every_pick_is_named_once_with_its_hash_and_licence() -> None:
    picks = read_picks()
    assert len({pick.sha256 for pick in picks}) == len(picks)
    assert all(len(pick.sha256) == 64 and pick.licence and pick.material for pick in picks)
    assert {pick.split for pick in picks} == {"train", "held"}


def test_no_package_stands_on_both_sides() -> None:
    sides = {split: {p.package for p in read_picks() if p.split == split}
             for split in ("train", "held")}  # fmt: skip
    assert not sides["train"] & sides["held"]
    assert sides["train"] <= set(DEBIAN)


def test_packed_pictures_come_back(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    smooth = np.full((SIDE_PX, 40, 3), 90, np.uint8)
    noisy = rng.integers(0, 255, (50, SIDE_PX, 3), dtype=np.uint8)
    picks = [Pick("held", kind, "none", "a-package", f"x/{kind}.png", "0" * 64, "CC0")
             for kind in ("rock", GROWTH[0])]  # fmt: skip
    pack([(picks[0], smooth), (picks[1], noisy)], tmp_path / "held.npz")
    first, second = read_textures(tmp_path / "held.npz")
    assert (first.material, first.is_growth, second.is_growth) == ("rock", False, True)
    assert first.rgb.shape == smooth.shape
    assert int(np.abs(first.rgb.astype(int) - 90).max()) <= 2
    assert second.name == "a-package/white.png"


def test_units_of_coarse_pictures_are_larger() -> None:
    rng = np.random.default_rng(2)
    fine = rng.integers(0, 255, (128, 128, 1), dtype=np.uint8).repeat(3, axis=2)
    coarse = fine[:16, :16].repeat(8, axis=0).repeat(8, axis=1)
    assert unit_px(np.ascontiguousarray(coarse)) > unit_px(np.ascontiguousarray(fine))
