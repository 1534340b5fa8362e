"""Swatches that are hidden, and walls that are burnt out."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from drawn_cards import (
    as_photo,
)

from jarvision.base.colourspace import srgb_encode
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import ColourFit, Photo, RawWall, SwatchReadings
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.quality.gate import accept_wall
from jarvision.vision.quality.glare import glare_share


def fitted(layout: CardLayout, wrong: int) -> tuple[SwatchReadings, ColourFit]:
    """Clean readings of which so many did not agree with the card."""
    names = layout.names
    linear = layout.nominal_linear
    readings = SwatchReadings(names, linear, np.full(len(names), 0.02), np.zeros(len(names)))
    used = np.arange(len(names)) >= wrong
    fit = ColourFit(
        matrix=np.eye(3, 4),
        used=used,
        de00=np.where(used, 1.0, 30.0),
        reference="nominal",
        tone=np.zeros((3, 2)),
        gain=np.ones(3),
        light_field=np.zeros((3, 5)),
        expected_de00=1.0,
    )
    return readings, fit


@pytest.mark.parametrize(("wrong", "reason"), [(0, ""), (4, ""), (10, "card_hidden")])
def test_a_hand_on_the_card_is_told_by_the_number_of_its_swatches(
    layout: CardLayout, wrong: int, reason: str
) -> None:
    wall, photo = wall_photo(0.35, 0.0)
    readings, fit = fitted(layout, wrong)
    seen = ""
    try:
        accept_wall(photo, wall, readings, fit, settings=PhotoSettings())
    except PhotoRefusedError as refusal:
        seen = refusal.reason
    assert seen == reason


@pytest.mark.parametrize(("clipped", "reason"), [(0.0, "glare"), (0.5, "overexposed")])
def test_a_burnt_out_wall_is_glare_unless_the_card_burns_out_too(
    layout: CardLayout, clipped: float, reason: str
) -> None:
    wall, photo = wall_photo(0.35, 0.1)
    readings, fit = fitted(layout, 0)
    readings.clipped[0] = clipped
    with pytest.raises(PhotoRefusedError) as refusal:
        accept_wall(photo, wall, readings, fit, settings=PhotoSettings())
    assert refusal.value.reason == reason


def wall_photo(level: float, spot: float) -> tuple[RawWall, Photo]:
    """A flat wall of one linear level with a burnt-out disc over a share of it."""
    side = 200
    y, x = np.mgrid[:side, :side]
    radius = side * np.sqrt(spot / np.pi)
    light = np.full((side, side, 3), level)
    light[np.hypot(x - side / 2, y - side / 2) < radius] = 1.3
    light = cv2.GaussianBlur(light, (0, 0), 0.8)
    rgb = np.rint(255.0 * srgb_encode(np.clip(light, 0.0, 1.0))).astype(np.uint8)
    wall = RawWall(
        linear=light.astype(np.float32),
        angles_deg=np.linspace(-60.0, 60.0, side),
        heights_mm=0.25 * np.arange(side)[::-1],
        radius_mm=24.0,
        pixels=np.stack([x, y], axis=-1).astype(np.float32),
    )
    return wall, as_photo(rgb)


@pytest.mark.parametrize("share", [0.03, 0.1, 0.3])
def test_a_mirrored_lamp_is_measured(share: float) -> None:
    wall, photo = wall_photo(0.35, share)
    assert glare_share(wall, photo, settings=PhotoSettings()) == pytest.approx(share, rel=0.1)


def test_growth_that_burns_out_amid_bright_growth_is_no_lamp() -> None:
    wall, photo = wall_photo(0.9, 0.1)
    assert glare_share(wall, photo, settings=PhotoSettings()) == 0.0
