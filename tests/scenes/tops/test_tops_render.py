"""Rendered photos from above: truth against closed forms, pictures against truth."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage

pytest.importorskip("mitsuba")
pytest.importorskip("colour")

from jarvision.records import TissueClass
from tests.scenes.tops import droplets, sampler
from tests.scenes.tops.render import TopRenderer
from tests.scenes.tops.sheet import plain_sheet
from tests.scenes.tops.spec import Cap, Fruit, Ground, Held, Hood, Mouth, Pin, TopClass, TopSpec
from tests.scenes.tops.surface import CELL_MM, Surface, side_mm

pytestmark = [pytest.mark.slow, pytest.mark.scenes]

MOUTH = Mouth(inner_mm=70.0)
DISC_MM = 21.0  # radius of the growth in the middle
SIZE = {"width": 240, "height": 320}
DOWN = Held(distance_mm=300.0)


@pytest.fixture(scope="module")
def renderer():
    try:
        return TopRenderer("llvm_ad_spectral", sheet=plain_sheet())
    except (ImportError, RuntimeError) as error:
        pytest.skip(f"no LLVM for mitsuba: {error}")


def plate(depth_mm: float = 20.0) -> Surface:
    """Level black contents with a white disc of growth."""
    n = round(side_mm(MOUTH) / CELL_MM)
    axis = (np.arange(n) + 0.5) * CELL_MM - n * CELL_MM / 2.0
    white = np.hypot(axis[None], axis[:, None]) <= DISC_MM
    return Surface(
        cell_mm=CELL_MM,
        albedo=np.where(white[..., None], 0.8, 0.03).astype(np.float32) * np.ones(3, np.float32),
        z_mm=np.full((n, n), depth_mm, np.float32),
        gloss=np.zeros((n, n), np.float32),
        tissue=np.where(white, TissueClass.MYCELIUM, TissueClass.BARE).astype(np.uint8),
        opacity=white.astype(np.float32),
    )


def told(renderer, spec, drops=None, *, depth_mm=20.0, size=SIZE):
    """The truth of a scene on the plate."""
    from tests.scenes.tops.stage import TopGeometry
    from tests.scenes.tops.truth import tell

    geometry = TopGeometry(spec, plain_sheet(), size["width"], size["height"])
    geometry.__dict__["surface"] = plate(depth_mm)
    if drops is not None:
        geometry.__dict__["drops"] = drops
    built = renderer._stage.build(geometry)
    return geometry, built, tell(built, geometry)


def spec_of(**changes):
    base = {"mouth": MOUTH, "ground": Ground(depth_mm=20.0), "held": DOWN}
    light = sampler.draw_place(np.random.default_rng(3), DOWN)
    return TopSpec(**(base | light | {"phone": sampler.sharp_phone()} | changes))


def test_shares_of_a_disc_are_those_of_its_area(renderer):
    _, _, truth = told(renderer, spec_of())
    surface = truth.numbers["surface"]
    # contents end 0.1 mm before the glass, on a mesh of 0.3 mm
    radius = MOUTH.radius_mm - 0.15
    assert surface["visible_cm2"] == pytest.approx(np.pi * radius**2 / 100.0, rel=0.006)
    assert surface["covered_share"] == pytest.approx((DISC_MM / radius) ** 2, abs=0.003)
    assert surface["bare_share"] == pytest.approx(1.0 - surface["covered_share"])
    assert surface["below_rim_mm"] == pytest.approx(20.0, abs=0.02)


@pytest.mark.parametrize("depth_mm", [6.0, 38.0])
def test_depth_is_told_from_a_leaning_phone_too(renderer, depth_mm):
    held = Held(distance_mm=300.0, lean_deg=15.0, lean_to_deg=30.0)
    spec = spec_of(held=held, ground=Ground(depth_mm=depth_mm))
    _, _, truth = told(renderer, spec, depth_mm=depth_mm)
    assert truth.numbers["surface"]["below_rim_mm"] == pytest.approx(depth_mm, abs=0.02)


def test_every_droplet_of_a_known_number_is_counted_and_nothing_else_changes(renderer):
    rng = np.random.default_rng(1)
    line = np.linspace(-20.0, 20.0, 9)
    grid = np.stack(np.meshgrid(line, line), axis=-1).reshape(-1, 2)
    size = rng.uniform(0.4, 2.4, len(grid))
    drops = droplets.Drops(grid[:, 0], grid[:, 1], np.full(len(grid), 20.0), size, 0.4 * size,
                           np.ones(len(grid)))  # fmt: skip
    _, _, dry = told(renderer, spec_of())
    _, _, truth = told(renderer, spec_of(), drops)
    wet = truth.numbers["droplets"]
    assert wet["count"] == 81
    assert wet["mean_mm"] == pytest.approx(size.mean())
    assert wet["per_cm2"] == pytest.approx(81 / truth.numbers["surface"]["visible_cm2"])
    shares = [one.numbers["surface"]["covered_share"] for one in (truth, dry)]
    assert shares[0] == pytest.approx(shares[1], abs=1e-4)  # a cell is 1.6e-5 of the surface
    area = (truth.flat == TopClass.DROPLET).sum() * 0.25**2
    assert area == pytest.approx((np.pi / 4 * size**2).sum(), rel=0.05)


def test_a_hood_hides_nothing_from_the_truth(renderer):
    _, _, bare = told(renderer, spec_of())
    _, _, truth = told(renderer, spec_of(hood=Hood(on=True)))
    assert truth.numbers["hood_on"]
    np.testing.assert_array_equal(truth.mask, bare.mask)


def test_a_flat_cap_hides_the_disc_that_geometry_says(renderer):
    """A plate of 30 mm, 20 mm above the rim, seen from 300 mm: its shadow on the plane below."""
    cap = Cap(0.0, 0.0, 0.0, 0.0, -20.0, 30.0, 1.0, wave=0.0)
    _, _, truth = told(renderer, spec_of(fruit=Fruit(caps=(cap,))))
    hidden = 15.0 * (300.0 + 20.0) / (300.0 - 20.0)
    left = np.pi * ((MOUTH.radius_mm - 0.15) ** 2 - hidden**2) / 100.0
    assert truth.numbers["surface"]["visible_cm2"] == pytest.approx(left, rel=0.01)
    (one,) = truth.numbers["caps"]
    assert one["seen_share"] == pytest.approx(1.0, abs=0.03)
    assert one["widest_mm"] == pytest.approx(30.0, rel=1e-3)


def test_a_pin_under_a_cap_is_not_seen_and_one_beside_it_is(renderer):
    cap = Cap(0.0, 0.0, 0.0, 0.0, -10.0, 20.0, 1.0, wave=0.0)
    pins = (Pin(3.0, 0.0, 4.0, 2.0), Pin(-20.0, 5.0, 4.0, 2.0), Pin(-24.0, 5.0, 1.5, 1.0))
    _, _, truth = told(renderer, spec_of(fruit=Fruit(pins=pins, caps=(cap,))))
    assert [pin["tip_seen"] for pin in truth.numbers["pins"]] == [False, True, True]
    assert truth.numbers["pins"][0]["pixels"] == 0
    assert truth.numbers["pins"][1]["pixels"] > 0
    x, y = truth.numbers["pins"][1]["tip_px"]
    assert truth.mask[round(y), round(x)] == TopClass.PIN


def test_sheet_corners_stand_where_the_homography_says(renderer):
    held = Held(distance_mm=300.0, lean_deg=15.0, lean_to_deg=30.0, turn_deg=9.0)
    _, _, truth = told(renderer, spec_of(held=held))
    sheet = truth.numbers["sheet"]
    corners = np.array([[0, 0, 1], [160, 0, 1], [160, 160, 1], [0, 160, 1]])
    mapped = corners @ np.array(sheet["homography"]).T
    np.testing.assert_allclose(mapped[:, :2] / mapped[:, 2:], sheet["corners_px"], atol=1e-6)
    assert not sheet["cut_off"]


def test_the_picture_is_bright_where_the_mask_says_growth(renderer):
    from tests.scenes.tops.render import _trace

    geometry, built, truth = told(renderer, spec_of())
    light = _trace(built.scene, built.shapes, geometry, spp=16, spp_around=2).light[..., 1]
    inside = [ndimage.binary_erosion(truth.mask == kind, iterations=2)
              for kind in (TopClass.GROWTH, TopClass.BARE)]  # fmt: skip
    bright, dark = light[inside[0]], light[inside[1]]
    assert bright.size > 500
    assert dark.size > 500
    limit = (np.median(bright) + np.median(dark)) / 2.0
    wrong = (bright < limit).sum() + (dark > limit).sum()
    assert wrong / (bright.size + dark.size) < 0.02


def test_a_second_photo_reuses_the_kernel_and_the_jpeg_tells_its_camera(renderer, tmp_path):
    import drjit as dr

    one = renderer.photograph(sampler.random_top(2_000_003), **SIZE, spp=2, spp_around=1)
    with dr.scoped_set_flag(dr.JitFlag.KernelHistory, True):
        dr.kernel_history_clear()
        renderer.photograph(sampler.random_top(2_000_004), **SIZE, spp=2, spp_around=1)
        kernels = dr.kernel_history([dr.KernelType.JIT])
    heavy = [kernel for kernel in kernels if kernel["operation_count"] > 2000]
    assert heavy
    assert all(kernel["cache_hit"] for kernel in heavy)
    one.save(tmp_path, "a")
    exif = Image.open(io.BytesIO(one.jpeg)).getexif().get_ifd(0x8769)
    assert exif[0xA405] == one.truth.numbers["camera"]["focal_35mm"]
    np.testing.assert_array_equal(np.asarray(Image.open(tmp_path / "a.mask.png")), one.truth.mask)
