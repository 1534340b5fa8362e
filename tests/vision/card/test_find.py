"""Finding the card and reading its swatches, on pictures whose truth is known."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data
from PIL import Image

from jarvision.base import colourspace
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import CardFit
from jarvision.vision.card import marks as printed
from jarvision.vision.card.draw import card_marks
from jarvision.vision.card.find import find_card, read_swatches
from jarvision.vision.card.layout import CardLayout, load_layout
from jarvision.vision.card.pose import card_to_photo
from jarvision.vision.card.squares import find_squares
from jarvision.vision.card.tags import read_tags
from jarvision.vision.jar.glass import Viewpoint

DPI = 300.0
DRAWN_PX_PER_MM = DPI / 25.4
OVERSAMPLING = 2  # the scene is warped at twice its size, then averaged down: no aliasing
WALL_RGB = (150, 140, 120)

# a distant jar, a usual photo and a close one: px per mm and (rows, cols)
SCALES = [(3.3, (1100, 800)), (5.0, (1600, 1200)), (6.0, (2016, 1512))]
# pictures in scikit-image's wheel: none shows the card
OTHER_PICTURES = ["astronaut", "chelsea", "coffee", "color", "hubble_deep_field", "ihc"]
OTHER_PICTURES += ["motorcycle_left", "retina", "rocket", "page", "text", "chessboard_RGB"]


@dataclass(frozen=True)
class Scene:
    """A picture of the card and the pose it was made with."""

    rgb: np.ndarray
    homography: np.ndarray
    rotation: np.ndarray
    translation: np.ndarray
    focal_px: float

    @property
    def camera_mm(self) -> np.ndarray:
        return -self.rotation.T @ self.translation


@pytest.fixture(scope="module")
def layout() -> CardLayout:
    return load_layout()


@pytest.fixture(scope="module")
def drawn(layout: CardLayout) -> np.ndarray:
    area_mm = np.array([layout.width_mm, layout.height_mm])
    return printed.paint(card_marks(layout), area_mm=area_mm, dpi=DPI)


def _cover(drawn: np.ndarray, box_mm: tuple[float, ...], rgb: tuple[int, ...]) -> np.ndarray:
    """The drawn card with something in front of a part of it."""
    x, y, width, height = (round(side * DRAWN_PX_PER_MM) for side in box_mm)
    covered = drawn.copy()
    covered[y : y + height, x : x + width] = rgb
    return covered


def _photograph(
    drawn: np.ndarray,
    px_per_mm: float,
    shape: tuple[int, int],
    *,
    seed: int,
    tilt_deg: float = 8.0,
    blur_px: float = 1.5,
    noise: float = 3.0,
) -> Scene:
    """A pinhole picture of the card, tilted by up to ``tilt_deg`` about each axis."""
    rng = np.random.default_rng(seed)
    rows, cols = shape
    focal_px = 0.9 * rows
    rotation, _ = cv2.Rodrigues(np.deg2rad(rng.uniform(-tilt_deg, tilt_deg, 3)))
    middle = np.array([95.0, 130.0, 0.0])
    place = np.array([*rng.uniform(-6.0, 6.0, 2), focal_px / px_per_mm])
    translation = place - rotation @ middle
    camera = np.array([[focal_px, 0, (cols - 1) / 2], [0, focal_px, (rows - 1) / 2], [0, 0, 1]])
    homography = camera @ np.column_stack([rotation[:, :2], translation])

    drawn_to_mm = np.diag([1 / DRAWN_PX_PER_MM, 1 / DRAWN_PX_PER_MM, 1.0])
    drawn_to_mm[:2, 2] = 0.5 / DRAWN_PX_PER_MM
    finer = np.diag([OVERSAMPLING, OVERSAMPLING, 1.0])
    finer[:2, 2] = (OVERSAMPLING - 1) / 2
    smooth = cv2.GaussianBlur(
        drawn, (0, 0), max(0.3, 0.35 * DRAWN_PX_PER_MM / (px_per_mm * OVERSAMPLING))
    )
    size = (cols * OVERSAMPLING, rows * OVERSAMPLING)
    large = cv2.warpPerspective(
        smooth, finer @ homography @ drawn_to_mm, size, borderValue=WALL_RGB
    )
    picture = cv2.resize(large, (cols, rows), interpolation=cv2.INTER_AREA)
    picture = cv2.GaussianBlur(picture, (0, 0), blur_px) + rng.normal(0, noise, (rows, cols, 3))
    rgb = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    return Scene(rgb, homography, rotation, translation, focal_px)


def _worst_miss_px(fit: CardFit, scene: Scene, layout: CardLayout) -> float:
    """Largest distance between true and found places over the whole card."""
    x, y = np.meshgrid(np.linspace(0, layout.width_mm, 9), np.linspace(0, layout.height_mm, 9))
    points = np.stack([x, y], axis=-1)
    miss = card_to_photo(points, fit.homography) - card_to_photo(points, scene.homography)
    return float(np.linalg.norm(miss, axis=-1).max())


def _angle_deg(one: np.ndarray, two: np.ndarray) -> float:
    return float(np.rad2deg(np.arccos(np.clip((np.trace(one @ two.T) - 1) / 2, -1, 1))))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("px_per_mm", "shape"), SCALES)
def test_card_and_camera_are_found_where_they_are(drawn, layout, px_per_mm, shape, seed):
    scene = _photograph(drawn, px_per_mm, shape, seed=seed)
    fit = find_card(scene.rgb, scene.focal_px)
    assert fit.markers == (1, 2, 3, 5)
    assert _worst_miss_px(fit, scene, layout) < 0.3
    assert fit.reprojection_px < 0.2
    assert np.linalg.norm(fit.camera_position_mm - scene.camera_mm) < 0.5
    assert _angle_deg(fit.rotation, scene.rotation) < 0.1
    assert fit.px_per_mm == pytest.approx(px_per_mm, rel=0.02)
    assert fit.camera_position_mm[2] < 0  # the viewer is before the card


@pytest.mark.parametrize("hidden", range(4))
def test_three_marks_suffice(drawn, layout, hidden):
    mark = layout.markers[hidden]
    covered = _cover(drawn, (mark.x_mm - 2, mark.y_mm - 2, 26.0, 26.0), (120, 90, 60))
    scene = _photograph(covered, 3.3, (1100, 800), seed=10 + hidden)
    fit = find_card(scene.rgb, scene.focal_px)
    assert fit.markers == tuple(m.id for m in layout.markers if m is not mark)
    # 1.2 px here is 0.4 mm, at the corner that nothing holds
    assert _worst_miss_px(fit, scene, layout) < 1.2
    assert np.linalg.norm(fit.camera_position_mm - scene.camera_mm) < 1.0


@pytest.mark.parametrize("jar_rgb", [(225, 220, 205), (70, 60, 50)])
def test_jar_of_115_mm_in_front_does_no_harm(drawn, layout, jar_rgb):
    # seen from 45 cm with its axis at 70 mm it hides 138 mm of the card's width
    covered = _cover(drawn, (26.0, 80.0, 138.0, 180.0), jar_rgb)
    scene = _photograph(covered, 4.0, (1300, 1000), seed=20)
    assert _worst_miss_px(find_card(scene.rgb, scene.focal_px), scene, layout) < 0.3


@pytest.mark.parametrize("cut_mm", [0.4, 1.0, 2.0, 3.5, 6.0])
@pytest.mark.parametrize("both", [False, True])
@pytest.mark.parametrize("jar_rgb", [(225, 220, 205), (70, 60, 50)])
def test_marks_cut_by_a_wide_jar_are_refused_or_harmless(drawn, layout, cut_mm, both, jar_rgb):
    left = 23.0 - cut_mm
    right = 167.0 + (cut_mm if both else -5.0)
    covered = _cover(drawn, (left, 80.0, right - left, 180.0), jar_rgb)
    scene = _photograph(covered, 4.0, (1300, 1000), seed=26)
    try:
        fit = find_card(scene.rgb, scene.focal_px)
    except PhotoRefusedError as refused:
        assert both and refused.reason == "no_card"
    else:
        # 2 px here is half a millimetre, at the cut corner
        assert _worst_miss_px(fit, scene, layout) < 2.0


@pytest.mark.parametrize(("blur_px", "light"), [(3.0, 1.0), (1.5, 0.25), (0.5, 1.4)])
def test_soft_dark_and_bright_photos_keep_the_card(drawn, layout, blur_px, light):
    scene = _photograph(drawn, 4.0, (1300, 1000), seed=21, blur_px=blur_px)
    lit = np.clip(scene.rgb * light, 0, 255).astype(np.uint8)
    assert _worst_miss_px(find_card(lit, scene.focal_px), scene, layout) < 0.4


def test_homography_and_pose_tell_the_same_places(drawn, layout):
    scene = _photograph(drawn, 5.0, (1600, 1200), seed=22)
    fit = find_card(scene.rgb, scene.focal_px)
    flat = np.column_stack([layout.centres_mm, np.zeros(len(layout.swatches))])
    by_pose = Viewpoint.of_card(fit, np.eye(3)).project(flat)
    miss = by_pose - card_to_photo(layout.centres_mm, fit.homography)
    assert np.linalg.norm(miss, axis=1).max() < 0.2


def test_curled_card_keeps_all_marks_and_its_swatches_in_place(drawn, layout):
    # a sheet curled forwards about its vertical middle by 3 mm at its sides, seen from 300 mm
    sagitta_mm, distance_mm, scale = 3.0, 300.0, 5.0
    middle = np.array(layout.centre_mm)

    def to_photo(points_mm: np.ndarray) -> np.ndarray:
        offset = points_mm - middle
        forwards = sagitta_mm * (offset[..., :1] / middle[0]) ** 2
        return (offset * distance_mm / (distance_mm - forwards)) * scale + (599.5, 799.5)

    cols, rows = np.meshgrid(np.arange(1200), np.arange(1600))
    photo = np.stack([cols, rows], axis=-1).astype(np.float64)
    points = (photo - (599.5, 799.5)) / scale + middle
    for _ in range(6):  # invert by fixed-point steps: each shrinks the error a hundredfold
        points -= (to_photo(points) - photo) / scale
    source = (points * DRAWN_PX_PER_MM - 0.5).astype(np.float32)
    smooth = cv2.GaussianBlur(drawn, (0, 0), 1.0)
    rgb = cv2.remap(smooth, source[..., 0], source[..., 1], cv2.INTER_LINEAR, borderValue=WALL_RGB)
    fit = find_card(rgb, distance_mm * scale)
    assert fit.markers == (1, 2, 3, 5)
    miss = card_to_photo(layout.centres_mm, fit.homography) - to_photo(layout.centres_mm)
    assert np.linalg.norm(miss, axis=1).max() / scale < 0.3  # mm
    assert 0.1 < fit.reprojection_px / scale < 0.5  # and the fit says that something is off


def test_mark_in_a_wrong_place_is_left_out(drawn, layout):
    mark = layout.markers[1]
    left, top = round(mark.x_mm * DRAWN_PX_PER_MM), round(mark.y_mm * DRAWN_PX_PER_MM)
    side = round(mark.size_mm * DRAWN_PX_PER_MM)
    stray = drawn[top : top + side, left : left + side]
    moved = _cover(drawn, (mark.x_mm - 2, mark.y_mm - 2, 26.0, 26.0), (255, 255, 255))
    moved[top + 700 : top + 700 + side, left - 600 : left - 600 + side] = stray
    moved[top + 660 : top + 700, left - 640 : left - 560 + side] = 255  # its white margin
    moved[top + 700 : top + 740 + side, left - 640 : left - 600] = 255
    moved[top + 700 : top + 740 + side, left - 600 + side : left - 560 + side] = 255
    moved[top + 700 + side : top + 740 + side, left - 640 : left - 560 + side] = 255
    scene = _photograph(moved, 5.0, (1600, 1200), seed=23)
    fit = find_card(scene.rgb, scene.focal_px)
    assert fit.markers == (1, 3, 5)
    assert _worst_miss_px(fit, scene, layout) < 1.2


def test_refusal_names_the_marks_that_are_missing(drawn, layout):
    covered = _cover(drawn, (0.0, 225.0, 190.0, 35.0), (90, 60, 40))
    scene = _photograph(covered, 4.0, (1300, 1000), seed=24)
    with pytest.raises(PhotoRefusedError) as refused:
        find_card(scene.rgb, scene.focal_px)
    assert refused.value.reason == "no_card"
    assert refused.value.detail == (
        "corner marks not found: bottom right, bottom left "
        "(out of view, or behind a wide jar: step back to 55 cm)"
    )


def test_mirrored_card_is_refused(drawn):
    scene = _photograph(drawn, 4.0, (1300, 1000), seed=25)
    with pytest.raises(PhotoRefusedError, match="none"):
        find_card(np.ascontiguousarray(scene.rgb[:, ::-1]), scene.focal_px)


@pytest.mark.parametrize("name", OTHER_PICTURES)
def test_pictures_of_other_things_hold_neither_card_nor_tag(name):
    folder = Path(skimage.data.__file__).parent
    (path,) = (p for p in folder.glob(f"{name}.*") if p.suffix in (".png", ".jpg"))
    rgb = np.asarray(Image.open(path).convert("RGB"))
    with pytest.raises(PhotoRefusedError) as refused:
        find_card(rgb, 1.2 * max(rgb.shape))
    assert refused.value.reason == "no_card"
    assert read_tags(find_squares(rgb)) == ()


# --------------------------------------------------------------------------- swatches
def test_swatches_of_a_blurred_noisy_photo_read_their_nominal_colours(drawn, layout):
    scene = _photograph(drawn, 3.3, (1100, 800), seed=30)
    read = read_swatches(scene.rgb, find_card(scene.rgb, scene.focal_px))
    assert read.names == layout.names
    seen = colourspace.linear_to_lab(read.linear)
    assert colourspace.delta_e_2000(seen, layout.nominal_lab).max() < 0.6
    assert read.spread.max() < 0.15
    assert read.clipped.max() < 0.02


def test_medians_are_taken_in_linear_light():
    # half light: sRGB 188 (IEC 61966-2-1), not 128
    layout = load_layout()
    scene = _flat_photo(layout, value=188)
    read = read_swatches(*scene)
    np.testing.assert_allclose(read.linear, 0.5, atol=0.003)
    assert np.all(read.spread == 0.0) and np.all(read.clipped == 0.0)


def test_glare_over_a_third_of_a_swatch_leaves_its_median_and_shows_as_clipping(layout):
    rgb, fit = _flat_photo(layout, value=120)
    swatch = layout.swatches[4]
    left, top = (round(v * fit.px_per_mm) for v in (swatch.x_mm, swatch.y_mm))
    glare_rows = round(0.4 * swatch.height_mm * fit.px_per_mm)
    rgb[top : top + glare_rows, left : left + round(swatch.width_mm * fit.px_per_mm)] = 255
    read = read_swatches(rgb, fit)
    np.testing.assert_allclose(read.linear[4], colourspace.srgb_decode(120 / 255), atol=1e-9)
    # the inner 60 % begins a fifth down: glare to two fifths hides a third of it
    assert read.clipped[4] == pytest.approx(1 / 3, abs=0.05)
    assert np.delete(read.clipped, 4).max() == 0.0


def test_shadow_across_a_swatch_shows_as_spread(layout):
    rgb, fit = _flat_photo(layout, value=120)
    swatch = layout.swatches[7]
    x, y = (round(v * fit.px_per_mm) for v in swatch.centre_mm)
    rgb[y - 28 : y - 8, x - 55 : x + 55] //= 2
    read = read_swatches(rgb, fit)
    assert read.spread[7] > 0.25
    np.testing.assert_allclose(read.linear[7], colourspace.srgb_decode(120 / 255), atol=1e-9)
    assert np.delete(read.spread, 7).max() == 0.0


def test_swatches_outside_the_picture_cannot_be_taken_for_readings(layout):
    rgb, fit = _flat_photo(layout, value=120)
    half = rgb[:, : rgb.shape[1] // 2]
    read = read_swatches(half, fit)
    outside = layout.centres_mm[:, 0] > layout.width_mm / 2
    assert np.all(read.clipped[outside] == 1.0) and np.all(np.isinf(read.spread[outside]))
    assert np.all(read.linear[outside] == 0.0) and np.all(read.linear[~outside] > 0.0)


def _flat_photo(layout: CardLayout, *, value: int) -> tuple[np.ndarray, CardFit]:
    """One plain tone seen head on at 5 px/mm, with a fit that says where the card is."""
    scale = 5.0
    rows, cols = round(layout.height_mm * scale), round(layout.width_mm * scale)
    homography = np.array([[scale, 0, -0.5], [0, scale, -0.5], [0, 0, 1.0]])
    fit = CardFit(
        homography=homography,
        camera=np.eye(3),
        rotation=np.eye(3),
        translation=np.array([0.0, 0.0, 1.0]),
        markers=(1, 2, 3, 5),
        reprojection_px=0.0,
        px_per_mm=scale,
        outline_px=card_to_photo(layout.corners_mm, homography),
    )
    return np.full((rows, cols, 3), value, dtype=np.uint8), fit
