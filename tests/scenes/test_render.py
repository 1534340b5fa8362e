"""Rendered photos against the truth that is told about them."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage

pytest.importorskip("mitsuba")
pytest.importorskip("colour")

from jarvision.records import TissueClass
from tests.accuracy.truth import PhotoTruth
from tests.scenes.render import Renderer
from tests.scenes.sampler import random_spec
from tests.scenes.spec import Extras, Jar, Phone
from tests.scenes.wall_paint import WallGrid, WallPaint

pytestmark = [pytest.mark.slow, pytest.mark.scenes]

SIZE = {"width": 252, "height": 336}
SHARP = Phone(aperture_mm=0.0, blur_px=0.0, sharpening=0.0)


@pytest.fixture(scope="module")
def renderer() -> Renderer:
    try:
        return Renderer("llvm_ad_spectral")
    except (ImportError, RuntimeError) as error:
        pytest.skip(f"no LLVM for mitsuba: {error}")


def checkered(*, cell_deg: float = 30.0, cell_mm: float = 17.0) -> WallPaint:
    """White mycelium and black bare squares on a smooth wall, filled to 85 mm."""
    grid = WallGrid(40.0, 120.0, 0.5)
    angle, height = np.meshgrid(grid.angles_deg, grid.heights_mm)
    white = (np.floor(angle / cell_deg) + np.floor(height / cell_mm)) % 2 == 0
    classes = np.where(white, TissueClass.MYCELIUM, TissueClass.BARE)
    classes = np.where(height > 85.0, TissueClass.OUTSIDE, classes)
    return WallPaint(
        albedo=np.where(white[..., None], 0.8, 0.04).astype(np.float32) * np.ones(3, np.float32),
        relief_mm=np.full(grid.shape, 0.2, dtype=np.float32),
        gloss=np.zeros(grid.shape, dtype=np.float32),
        classes=classes.astype(np.uint8),
        opacity=white.astype(np.float32),
        fill_height_mm=np.full(grid.cols, 85.0, dtype=np.float32),
        radius_mm=40.0,
        height_mm=120.0,
        pins=np.zeros(grid.shape, dtype=bool),
    )


@pytest.fixture(scope="module")
def shot(renderer):
    spec = random_spec(4, extras=Extras(), phone=SHARP, jar=Jar(wobble_mm=0.0))
    return renderer.photograph(spec, checkered(), **SIZE, spp=48, denoise=False)


def test_truth_map_agrees_with_the_picture_seen_through_the_glass(shot):
    maps = shot.truth.maps
    white, black = (maps.classes == k for k in (TissueClass.MYCELIUM, TissueClass.BARE))
    inside = [ndimage.binary_erosion(m, np.ones((3, 3))) for m in (white, black)]
    # the map's ray passes between photo pixels 4r+1 and 4r+2: average those four
    light = shot.signal[..., 1]
    at_ray = light.reshape(84, 4, 63, 4)[:, 1:3, :, 1:3].mean(axis=(1, 3))
    assert inside[0].sum() > 30
    assert inside[1].sum() > 30
    front = np.abs(maps.angle_deg) < 60.0
    bright, dark = at_ray[inside[0] & front], at_ray[inside[1] & front]
    threshold = (np.median(bright) + np.median(dark)) / 2.0
    wrong = (bright < threshold).sum() + (dark > threshold).sum()
    assert wrong / (bright.size + dark.size) < 0.02  # lamps mirrored in the glass


def test_wall_place_and_contents_place_differ_by_the_depth_alone(shot):
    maps = shot.truth.maps
    front = (np.abs(maps.angle_deg) < 30.0) & np.isfinite(maps.contents_angle_deg)
    assert front.sum() > 200
    # 0.2 mm behind the wall, met at up to 45 degrees: up to 0.2 mm aside, 0.29 deg of 40 mm radius
    np.testing.assert_allclose(maps.angle_deg[front], maps.contents_angle_deg[front], atol=0.4)
    np.testing.assert_allclose(maps.height_mm[front], maps.contents_height_mm[front], atol=0.2)


def test_card_corners_stand_where_the_homography_says(shot):
    card = shot.truth.numbers["card"]
    corners = np.array([[0, 0, 1], [190, 0, 1], [190, 260, 1], [0, 260, 1]])
    mapped = corners @ np.array(card["homography"]).T
    np.testing.assert_allclose(mapped[:, :2] / mapped[:, 2:], card["corners_px"], atol=1e-6)
    inside = np.array(card["corners_px"])
    assert inside.min() >= 0
    assert (inside < [SIZE["width"], SIZE["height"]]).all()


def test_drawn_field_edge_lies_on_the_true_homography(shot):
    """The left edge of the card's plain field (x = 32 mm), found in the picture, within a pixel."""
    homography = np.array(shot.truth.numbers["card"]["homography"])
    red = shot.signal[..., 0] / np.median(shot.signal[..., 0])
    misses = []
    for y_mm in np.linspace(60.0, 110.0, 11):
        ends = np.array([[26.0, y_mm, 1.0], [38.0, y_mm, 1.0], [32.0, y_mm, 1.0]]) @ homography.T
        ends = ends[:, :2] / ends[:, 2:]
        t = np.linspace(0.0, 1.0, 60)[:, None]
        line = ends[0] * (1 - t) + ends[1] * t
        profile = ndimage.map_coordinates(red, [line[:, 1], line[:, 0]], order=1)
        level = (profile[:10].mean() + profile[-10:].mean()) / 2.0
        crossing = np.argmax(profile < level)
        misses.append(np.linalg.norm(line[crossing] - ends[2]))
    assert np.median(misses) < 1.0


def test_photo_of_the_same_seed_is_the_same_and_its_exif_fits_the_camera(renderer, shot):
    again = renderer.photograph(shot.spec, checkered(), **SIZE, spp=48, denoise=False)
    # the search tree is built by threads in any order: a hit in ten thousand falls the other way
    same = np.isclose(again.signal, shot.signal, rtol=1e-3, atol=1e-5)
    assert same.mean() > 0.99
    np.testing.assert_array_equal(again.truth.maps.classes, shot.truth.maps.classes)
    exif = Image.open(io.BytesIO(shot.jpeg)).getexif().get_ifd(0x8769)
    camera = shot.truth.numbers["camera"]
    diagonal = np.hypot(SIZE["width"], SIZE["height"])
    assert camera["focal_px"] == pytest.approx(exif[0xA405] / 43.27 * diagonal)


def test_second_scene_reuses_the_compiled_kernels(renderer, shot):
    import drjit as dr

    with dr.scoped_set_flag(dr.JitFlag.KernelHistory, True):
        dr.kernel_history_clear()
        renderer.photograph(random_spec(9), checkered(), **SIZE, spp=1, denoise=False)
        kernels = dr.kernel_history([dr.KernelType.JIT])
    heavy = [k for k in kernels if k["operation_count"] > 2000]
    assert heavy
    assert all(k["cache_hit"] for k in heavy)


def test_denoising_keeps_the_texture_of_the_contents(renderer):
    pytest.importorskip("pyoidn")
    from tests.scenes.contents import JarRecipe, paint

    spec = random_spec(4, extras=Extras(), phone=SHARP)
    contents = paint(JarRecipe(seed=4, cell_mm=0.5), day=8.0)
    best = renderer.photograph(spec, contents, **SIZE, spp=512, denoise=False)
    clean = renderer.photograph(spec, contents, **SIZE, spp=64, denoise=True)
    jar = np.repeat(np.repeat(best.truth.maps.classes > 1, 4, axis=0), 4, axis=1)
    fine = [
        (s.signal[..., 1] - ndimage.gaussian_filter(s.signal[..., 1], 2.0))[jar]
        for s in (best, clean)
    ]
    assert np.corrcoef(fine)[0, 1] > 0.9
    assert fine[1].std() / fine[0].std() > 0.85


def test_the_closed_form_of_the_glass_agrees_with_traced_rays(renderer):
    """Straight wall only: shoulder, foot and groove are no cylinder. Snell's law both times."""
    spec = random_spec(4, extras=Extras(), phone=SHARP, jar=Jar(wobble_mm=0.0, groove_depth_mm=0.0))
    told = renderer.photograph(spec, checkered(), **SIZE, spp=1, denoise=False).truth
    maps = told.maps
    nothing = np.zeros((1, 1))
    truth = PhotoTruth("", told.numbers, nothing, nothing, nothing, nothing, nothing)
    row, col = np.mgrid[: maps.angle_deg.shape[0], : maps.angle_deg.shape[1]]
    angles, heights = truth.places(np.stack([4 * col + 1.5, 4 * row + 1.5], axis=-1))
    wall = (np.abs(maps.angle_deg) < 60.0) & (maps.height_mm > 12.0) & (maps.height_mm < 85.0)
    assert wall.sum() > 200
    assert np.mean(np.abs(angles - maps.angle_deg)[wall] < 0.3) > 0.98
    assert np.mean(np.abs(heights - maps.height_mm)[wall] < 0.3) > 0.98
