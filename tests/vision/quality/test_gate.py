"""Photos that would give a wrong coverage are refused, and sharpness is what was put in."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_cards import (
    BORDER_MM,
    DRAWN_PX_PER_MM,
    as_photo,
    judged,
    photographed,
)

from jarvision.base.errors import PhotoRefusedError
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.find import read_swatches
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.card.pose import card_to_photo
from jarvision.vision.colour.light import paper_layout
from jarvision.vision.quality.evenness import measure_evenness
from jarvision.vision.quality.gate import accept_card
from jarvision.vision.quality.sharpness import measure_sharpness

PIXEL_VARIANCE = 1.0 / 12.0  # of a pixel's own width, px^2
GAUSS_MTF50 = np.sqrt(2.0 * np.log(2.0)) / (2.0 * np.pi)  # times 1 / sigma


def expected_mm(sigma_px: float, px_per_mm: float) -> float:
    return float(np.sqrt(sigma_px**2 + PIXEL_VARIANCE)) / px_per_mm


# --------------------------------------------------------------------------- sharpness
@pytest.mark.parametrize("px_per_mm", [3.0, 4.3])
@pytest.mark.parametrize("roll", [0.0, 1.3, 8.0, -21.0])
@pytest.mark.parametrize("sigma_px", [0.8, 1.3])
def test_a_gaussian_blur_of_known_width_is_found(
    drawn: np.ndarray, layout: CardLayout, px_per_mm: float, roll: float, sigma_px: float
) -> None:
    rgb, card = photographed(drawn, px_per_mm, blur_px=(sigma_px, sigma_px), roll=roll)
    seen = measure_sharpness(rgb, card, layout=layout)
    sigma_mm = expected_mm(sigma_px, px_per_mm)
    for spread in (seen.across, seen.down):
        assert spread.edges >= 8
        assert spread.sigma_mm == pytest.approx(sigma_mm, rel=0.10)
        assert spread.mtf50_per_mm == pytest.approx(GAUSS_MTF50 / sigma_mm, rel=0.10)


@pytest.mark.parametrize("tilt", [6.0, 14.0])
def test_perspective_does_no_harm(drawn: np.ndarray, layout: CardLayout, tilt: float) -> None:
    rgb, card = photographed(drawn, 4.5, blur_px=(1.2, 1.2), tilt=tilt)
    seen = measure_sharpness(rgb, card, layout=layout)
    assert seen.rise_mm == pytest.approx(2.563 * expected_mm(1.2, 4.5), rel=0.12)


def test_motion_in_one_direction_shows_in_that_direction(
    drawn: np.ndarray, layout: CardLayout
) -> None:
    rgb, card = photographed(drawn, 5.0, blur_px=(0.7, 2.2), roll=1.0)
    seen = measure_sharpness(rgb, card, layout=layout)
    assert seen.across.sigma_mm == pytest.approx(expected_mm(2.2, 5.0), rel=0.1)
    assert seen.down.sigma_mm == pytest.approx(expected_mm(0.7, 5.0), rel=0.1)
    assert seen.rise_mm == seen.across.rise_mm


def test_a_finger_over_one_mark_edge_does_not_make_a_sharp_photo_blurred(
    drawn: np.ndarray, layout: CardLayout
) -> None:
    rgb, card = photographed(drawn, 5.0, blur_px=(1.0, 1.0))
    clean = measure_sharpness(rgb, card, layout=layout)
    mark = layout.markers[0]
    finger = np.array([[-9.0, 8.0], [1.5, 8.0], [1.5, 18.0], [-9.0, 18.0]])
    spot = card_to_photo(finger + mark.corners_mm[0], card.homography)
    soft = cv2.fillConvexPoly(rgb.copy(), np.rint(spot).astype(np.int32), (190, 140, 120))
    seen = measure_sharpness(np.asarray(soft), card, layout=layout)
    assert seen.rise_mm == pytest.approx(clean.rise_mm, rel=0.1)


# --------------------------------------------------------------------------- light
def lit(
    drawn: np.ndarray,
    *,
    strength: tuple[float, float] = (0.0, 0.0),
    red: tuple[float, float] = (0.0, 0.0),
) -> np.ndarray:
    """The card under light whose log rises by so much over its width and height."""
    rows, cols = drawn.shape[:2]
    border = round(BORDER_MM * DRAWN_PX_PER_MM)
    x = (np.arange(cols) - border) / (cols - 2 * border) - 0.5
    y = (np.arange(rows) - border) / (rows - 2 * border) - 0.5
    power = strength[0] * x[None, :] + strength[1] * y[:, None]
    tint = red[0] * x[None, :] + red[1] * y[:, None]
    gains = np.exp(np.stack([power + tint, power, power], axis=-1))
    return (drawn * gains / gains.max()).astype(np.float32)


@pytest.mark.parametrize("strength", [(0.0, 0.0), (0.6, 0.0), (0.0, -0.9), (-0.5, 0.7)])
def test_the_slope_of_the_light_is_found_in_both_directions(
    drawn: np.ndarray, layout: CardLayout, strength: tuple[float, float]
) -> None:
    rgb, card = photographed(lit(drawn, strength=strength), 4.0, gain=0.9)
    readings = read_swatches(rgb, card, layout=layout)
    even = measure_evenness(readings, readings.clipped < 0.02, layout=layout)
    assert even is not None
    assert even.strength == pytest.approx(strength, abs=0.06)
    assert np.abs(even.tint).max() < 0.06


def test_a_second_lamp_of_another_colour_is_told_from_a_brighter_side(
    drawn: np.ndarray, layout: CardLayout
) -> None:
    rgb, card = photographed(lit(drawn, red=(0.0, 0.8)), 4.0, gain=0.9)
    readings = read_swatches(rgb, card, layout=layout)
    even = measure_evenness(readings, readings.clipped < 0.02, layout=layout)
    assert even is not None
    assert even.tint_ratio == pytest.approx(np.exp(0.8), rel=0.06)
    assert even.tint[0, 1] == pytest.approx(0.8, abs=0.06)
    assert abs(even.tint[1]).max() < 0.06


def test_one_spoiled_grey_does_not_make_the_light_uneven(
    drawn: np.ndarray, layout: CardLayout
) -> None:
    rgb, card = photographed(drawn, 4.0)
    readings = read_swatches(rgb, card, layout=layout)
    linear = readings.linear.copy()
    linear[readings.names.index("grey-66-left")] *= 3.0
    even = measure_evenness(
        replace(readings, linear=linear), readings.clipped < 0.02, layout=layout
    )
    assert even is not None
    assert even.ratio < 1.1


# --------------------------------------------------------------------------- refusals
@pytest.mark.parametrize(("step", "reason"), [(5.3, ""), (10.6, "compressed")])
def test_a_file_that_lost_its_colours_is_refused(
    drawn: np.ndarray, layout: CardLayout, step: float, reason: str
) -> None:
    rgb, card = photographed(drawn, 4.5)
    photo = replace(as_photo(rgb), colour_step=step)
    swatches, paper = (read_swatches(rgb, card, layout=of) for of in (layout, paper_layout(layout)))
    try:
        accept_card(photo, card, swatches, paper, layout=layout, settings=PhotoSettings())
    except PhotoRefusedError as refusal:
        assert refusal.reason == reason
    else:
        assert not reason


def test_a_good_photo_is_accepted(drawn: np.ndarray, layout: CardLayout) -> None:
    rgb, card = photographed(drawn, 4.5, tilt=5.0, roll=2.0)
    assert judged(rgb, card, layout) == ""


@pytest.mark.parametrize(
    ("reason", "options"),
    [
        ("too_small", {"px_per_mm": 1.6, "blur_px": (0.3, 0.3)}),
        ("blurred", {"px_per_mm": 6.0, "blur_px": (3.0, 3.0)}),
        ("blurred", {"px_per_mm": 6.0, "blur_px": (0.6, 4.0)}),
        ("underexposed", {"px_per_mm": 4.5, "gain": 0.025}),
        ("underexposed", {"px_per_mm": 4.5, "gain": 0.3, "noise": 0.03}),
        ("overexposed", {"px_per_mm": 4.5, "gain": 4.0}),
        ("oblique", {"px_per_mm": 4.5, "tilt": 30.0}),
    ],
)
def test_each_fault_has_its_reason(
    drawn: np.ndarray, layout: CardLayout, reason: str, options: dict[str, float]
) -> None:
    rgb, card = photographed(drawn, **options)
    assert judged(rgb, card, layout) == reason
    assert PHOTO_REASONS[reason].remedy


def test_exposure_is_judged_by_the_cards_whites(drawn: np.ndarray, layout: CardLayout) -> None:
    rgb, card = photographed(drawn, 4.5)
    swatches = read_swatches(rgb, card, layout=layout)
    white = layout.nominal_linear.min(axis=1) >= PhotoSettings().colour.white_reflectance_min
    burnt = white.astype(float)
    one_left = np.where(np.arange(white.size) == np.flatnonzero(white)[0], 0.0, burnt)
    told = [
        judged(rgb, card, layout, replace(swatches, **change))
        for change in (
            {"clipped": burnt},
            {"clipped": one_left},
            {"linear": 0.02 * swatches.linear},
        )
    ]
    assert told == ["overexposed", "", "underexposed"]


@pytest.mark.parametrize(
    ("reason", "light"),
    [("uneven_light", {"strength": (-2.6, 0.0)}), ("mixed_light", {"red": (1.5, 0.0)})],
)
def test_bad_light_has_its_reason(
    drawn: np.ndarray, layout: CardLayout, reason: str, light: dict[str, tuple[float, float]]
) -> None:
    rgb, card = photographed(lit(drawn, **light), 4.5, gain=0.95)
    assert judged(rgb, card, layout) == reason
    assert PHOTO_REASONS[reason].remedy


def test_a_tint_that_is_taken_out_is_no_mixed_light(drawn: np.ndarray, layout: CardLayout) -> None:
    rgb, card = photographed(lit(drawn, red=(0.6, 0.0)), 4.5, gain=0.95)
    assert judged(rgb, card, layout) == ""


@pytest.mark.parametrize(("share", "reason"), [(0.1, ""), (0.3, "faded_card")])
def test_a_card_whose_black_is_pale_has_faded(
    drawn: np.ndarray, layout: CardLayout, share: float, reason: str
) -> None:
    rgb, card = photographed(drawn * (1.0 - share) + share, 4.5)
    assert judged(rgb, card, layout) == reason


def test_dim_light_from_one_side_fades_no_card(drawn: np.ndarray, layout: CardLayout) -> None:
    """Its black is held against the paper beside it, not against the brightest."""
    rgb, card = photographed(lit(drawn, strength=(-2.0, 0.0)), 4.5, gain=0.6)
    assert judged(rgb, card, layout) == ""
