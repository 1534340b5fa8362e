"""Photos that would give a wrong coverage are refused, and sharpness is what was put in."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data
from scipy.ndimage import gaussian_filter

from jarvision.base.colourspace import byte_to_linear_table, srgb_encode
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import CardFit, ColourFit, Photo, RawWall, SwatchReadings
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.calibration.values import scale_layout
from jarvision.vision.card import marks as printed
from jarvision.vision.card.draw import card_marks
from jarvision.vision.card.find import find_card, read_swatches
from jarvision.vision.card.layout import CardLayout, load_layout
from jarvision.vision.card.page_edges import print_scale_seen
from jarvision.vision.card.pose import card_to_photo
from jarvision.vision.colour.light import paper_layout
from jarvision.vision.quality.diagnose import find_card_or_say_why
from jarvision.vision.quality.evenness import measure_evenness
from jarvision.vision.quality.figures import measure_card
from jarvision.vision.quality.gate import accept_card, accept_wall, print_size_note
from jarvision.vision.quality.glare import glare_share
from jarvision.vision.quality.sharpness import measure_sharpness
from jarvision.vision.read import wall_of

DRAWN_DPI = 381.0  # 15 px a mm
DRAWN_PX_PER_MM = DRAWN_DPI / 25.4
CARD_MM = np.array([190.0, 260.0])
FRAME_MM = (310.0, 280.0)  # rows, columns of the photo at the card: room for a rolled card
BORDER_MM = 10.0  # of white paper around the card
PIXEL_VARIANCE = 1.0 / 12.0  # of a pixel's own width, px^2
GAUSS_MTF50 = np.sqrt(2.0 * np.log(2.0)) / (2.0 * np.pi)  # times 1 / sigma


@pytest.fixture(scope="module")
def layout() -> CardLayout:
    return load_layout()


@pytest.fixture(scope="module")
def drawn(layout: CardLayout) -> np.ndarray:
    """The card in linear light, with white paper around it."""
    area = np.array([layout.width_mm, layout.height_mm])
    rgb = printed.paint(card_marks(layout), area_mm=area, dpi=DRAWN_DPI)
    linear = byte_to_linear_table()[rgb].astype(np.float32)
    border = round(BORDER_MM * DRAWN_PX_PER_MM)
    return cv2.copyMakeBorder(linear, *(border,) * 4, cv2.BORDER_CONSTANT, value=(1.0,) * 3)


def pose(px_per_mm: float, *, roll: float = 0.0, tilt: float = 0.0) -> tuple[np.ndarray, float]:
    """Homography from card mm to px of a pinhole camera before the card, and its focal length."""
    rows, cols = (round(side * px_per_mm) for side in FRAME_MM)
    focal = 1.2 * rows
    turn, _ = cv2.Rodrigues(np.deg2rad([tilt, 0.7 * tilt, 0.0]))
    about, _ = cv2.Rodrigues(np.deg2rad([0.0, 0.0, roll]))
    rotation = turn @ about
    shift = np.array([0.0, 0.0, focal / px_per_mm]) - rotation @ np.array([95.0, 130.0, 0.0])
    camera = np.array([[focal, 0, (cols - 1) / 2], [0, focal, (rows - 1) / 2], [0, 0, 1]])
    return camera @ np.column_stack([rotation[:, :2], shift]), focal


def photographed(
    drawn: np.ndarray,
    px_per_mm: float,
    *,
    blur_px: tuple[float, float] = (0.8, 0.8),
    roll: float = 0.0,
    tilt: float = 0.0,
    gain: float = 0.7,
    noise: float = 0.004,
) -> tuple[np.ndarray, CardFit]:
    """A photo of the card with pixels that gather light, a blur (down, across) and a noise."""
    homography, focal = pose(px_per_mm, roll=roll, tilt=tilt)
    fine = 2
    larger = np.array([[fine, 0, (fine - 1) / 2], [0, fine, (fine - 1) / 2], [0, 0, 1.0]])
    size = np.array(drawn.shape[1::-1])
    smaller = np.minimum(size, np.rint(size * 2 * fine * px_per_mm / DRAWN_PX_PER_MM)).astype(int)
    drawn = cv2.resize(drawn, smaller.tolist(), interpolation=cv2.INTER_AREA)
    step = (CARD_MM + 2 * BORDER_MM) / smaller
    to_mm = np.diag([*step, 1.0])
    to_mm[:2, 2] = step / 2 - BORDER_MM
    rows, cols = (round(side * px_per_mm) for side in FRAME_MM)
    big = cv2.warpPerspective(
        drawn, larger @ homography @ to_mm, (cols * fine, rows * fine), borderValue=(0.4,) * 3
    )
    light = cv2.resize(big, (cols, rows), interpolation=cv2.INTER_AREA)
    light = gaussian_filter(light, (*blur_px, 0.0)) * gain
    grain = noise * np.random.default_rng(7).standard_normal(light.shape)
    rgb = np.rint(255.0 * srgb_encode(np.clip(light + grain, 0.0, 1.0))).astype(np.uint8)
    return rgb, find_card(rgb, focal)


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
def as_photo(rgb: np.ndarray) -> Photo:
    focal_px = 1.2 * rgb.shape[0]
    evening = datetime(2026, 3, 2, 18, 0)
    return Photo(Path("a.jpg"), "a.jpg", rgb, 1.0, focal_px, True, evening, "exif")


def judged(
    rgb: np.ndarray, card: CardFit, layout: CardLayout, swatches: SwatchReadings | None = None
) -> str:
    """Reason word of a photo, empty for a good one."""
    photo = as_photo(rgb)
    swatches = swatches or read_swatches(rgb, card, layout=layout)
    paper = read_swatches(rgb, card, layout=paper_layout(layout))
    try:
        accept_card(photo, card, swatches, paper, layout=layout, settings=PhotoSettings())
    except PhotoRefusedError as refusal:
        assert refusal.detail
        return refusal.reason
    return ""


@pytest.mark.parametrize(("step", "reason"), [(5.3, ""), (10.6, "compressed")])
def test_a_file_that_lost_its_colours_is_refused(
    drawn: np.ndarray, layout: CardLayout, step: float, reason: str
) -> None:
    rgb, card = photographed(drawn, 4.5)
    photo = replace(as_photo(rgb), colour_step=step)
    swatches = read_swatches(rgb, card, layout=layout)
    try:
        accept_card(photo, card, swatches, layout=layout, settings=PhotoSettings())
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


# --------------------------------------------------------------------------- size of the print
def on_a_page(drawn: np.ndarray, page_mm: tuple[float, float], scale: float) -> np.ndarray:
    """A photo of an A4 or Letter page with the card printed at a scale, before a darker wall."""
    size = (np.array(page_mm) / scale * DRAWN_PX_PER_MM).round().astype(int)
    page = np.ones((size[1], size[0], 3), np.float32)
    inner = drawn[150:-150, 150:-150]  # without its own border
    top, left = (page.shape[0] - inner.shape[0]) // 2, (page.shape[1] - inner.shape[1]) // 2
    page[top : top + inner.shape[0], left : left + inner.shape[1]] = inner
    wall = cv2.copyMakeBorder(page, *(500,) * 4, cv2.BORDER_CONSTANT, value=(0.4, 0.38, 0.35))
    wall = cv2.resize(wall, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    return np.rint(255.0 * srgb_encode(0.7 * wall)).astype(np.uint8)


@pytest.mark.parametrize("page_mm", [(210.0, 297.0), (215.9, 279.4)])
@pytest.mark.parametrize(
    ("scale", "reason", "noted"),
    [(1.0, "", False), (0.975, "", True), (0.94, "print_size", True), (1.05, "print_size", True)],
)
def test_the_pages_edges_tell_the_size_of_the_print(
    drawn: np.ndarray,
    layout: CardLayout,
    page_mm: tuple[float, float],
    scale: float,
    reason: str,
    noted: bool,
) -> None:
    rgb = on_a_page(drawn, page_mm, scale)
    card = find_card(rgb, 1.2 * rgb.shape[0])
    assert judged(rgb, card, layout) == reason
    readings = [read_swatches(rgb, card, layout=of) for of in (layout, paper_layout(layout))]
    quality = measure_card(rgb, card, *readings, layout=layout, settings=PhotoSettings())
    assert quality.print_scale == pytest.approx(scale, abs=0.004)
    note = print_size_note(quality, beyond=PhotoSettings().acceptance.print_off_told)
    assert bool(note) == noted


def test_a_size_that_was_told_is_right(drawn: np.ndarray, layout: CardLayout) -> None:
    rgb = on_a_page(drawn, (210.0, 297.0), 0.94)
    told = scale_layout(layout, 0.94)
    card = find_card(rgb, 1.2 * rgb.shape[0], layout=told)
    assert judged(rgb, card, told) == ""


def test_a_page_that_is_trimmed_or_on_a_board_says_nothing_of_its_size(
    drawn: np.ndarray, layout: CardLayout
) -> None:
    for page_mm in ((198.0, 268.0), (230.0, 305.0), (223.0, 297.0)):
        rgb = on_a_page(drawn, page_mm, 1.0)
        assert print_scale_seen(rgb, find_card(rgb, 1.2 * rgb.shape[0]), layout=layout) is None


def test_a_thing_that_leans_on_the_page_does_not_hide_its_edge(
    drawn: np.ndarray, layout: CardLayout
) -> None:
    rgb = on_a_page(drawn, (210.0, 297.0), 1.0)
    card = find_card(rgb, 1.2 * rgb.shape[0])
    rgb[700:900, :260] = (90, 40, 30)
    assert print_scale_seen(rgb, card, layout=layout) == pytest.approx(1.0, abs=0.004)


# --------------------------------------------------------------------------- no card
def from_afar(rgb: np.ndarray) -> np.ndarray:
    """The photo, small, in the middle of a wider view of a plain wall."""
    small = cv2.resize(rgb, None, fx=0.3, fy=0.3, interpolation=cv2.INTER_AREA)
    wide = np.full_like(rgb, 140)
    top, left = (np.array(wide.shape[:2]) - small.shape[:2]) // 2
    wide[top : top + small.shape[0], left : left + small.shape[1]] = small
    return wide


@pytest.mark.parametrize(
    ("reason", "spoil"),
    [
        ("too_small", from_afar),
        ("blurred", lambda rgb: cv2.GaussianBlur(rgb, (0, 0), 10.0)),
        ("underexposed", lambda rgb: rgb // 32),
        ("overexposed", lambda rgb: np.full_like(rgb, 255)),
        ("no_card", lambda rgb: rgb[: rgb.shape[0] // 2]),
        ("no_card", lambda rgb: skimage.data.coffee()),
    ],
)
def test_a_card_that_was_not_found_is_explained(
    drawn: np.ndarray,
    layout: CardLayout,
    reason: str,
    spoil: Callable[[np.ndarray], np.ndarray],
) -> None:
    rgb, _ = photographed(drawn, 4.5)
    with pytest.raises(PhotoRefusedError) as refusal:
        find_card_or_say_why(as_photo(np.ascontiguousarray(spoil(rgb))), layout=layout)
    assert refusal.value.reason == reason


def test_a_mirrored_card_is_told(drawn: np.ndarray, layout: CardLayout) -> None:
    rgb, _ = photographed(drawn, 4.5)
    with pytest.raises(PhotoRefusedError) as refusal:
        find_card_or_say_why(as_photo(np.ascontiguousarray(rgb[:, ::-1])), layout=layout)
    assert (refusal.value.reason, "mirrored" in refusal.value.detail) == ("no_card", True)


def test_two_cards_in_one_photo_are_told(drawn: np.ndarray, layout: CardLayout) -> None:
    """Where the photo cannot be used, they are why; and one card is never taken for two."""
    one, _ = photographed(drawn, 1.6, blur_px=(0.3, 0.3))
    reasons = []
    for rgb in (one, np.concatenate([one, one], axis=1)):
        with pytest.raises(PhotoRefusedError) as refusal:
            wall_of(as_photo(np.ascontiguousarray(rgb)), layout=layout, settings=PhotoSettings())
        reasons.append(refusal.value.reason)
    assert reasons == ["too_small", "two_cards"]


# --------------------------------------------------------------------------- hidden, glare
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
