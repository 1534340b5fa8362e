"""The renderer's parts that need no mitsuba: lamps, camera response, geometry, EXIF."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

colour = pytest.importorskip("colour")
cv2 = pytest.importorskip("cv2")

from tests.scenes import camera, lights  # noqa: E402
from tests.scenes.meshes import JarFrame, rounded  # noqa: E402
from tests.scenes.pinhole import FULL_FRAME_DIAGONAL_MM, CardInWorld, Pinhole, hold  # noqa: E402
from tests.scenes.render import encode  # noqa: E402
from tests.scenes.sampler import random_spec  # noqa: E402
from tests.scenes.spec import CardPose, Phone  # noqa: E402

PLAIN = Phone(
    vignetting=0.0, blur_px=0.0, sharpening=0.0, full_well_electrons=1e9, read_noise_electrons=0.0
)


@pytest.mark.parametrize(
    ("name", "kelvin", "tolerance"),
    [("A", 2856, 15), ("D65", 6504, 15), ("D50", 5003, 15), ("2700K", 2700, 15), ("FL2", 4230, 30)],
)
def test_lamps_have_their_published_colour_temperature(name, kelvin, tolerance):
    # CIE 15:2018, tables of illuminants and of fluorescent lamps; blackbody by definition.
    # McCamy's formula and the cut at 400 and 700 nm take up to 15 K.
    assert lights.correlated_temperature_k(name) == pytest.approx(kelvin, abs=tolerance)


@pytest.mark.parametrize("name", lights.ALL_SPECTRA)
def test_every_lamp_has_unit_luminance_and_no_negative_power(name):
    values = lights.spectrum(name)
    assert values.min() >= 0.0
    assert values @ lights.matching_functions()[:, 1] == pytest.approx(1.0)


@pytest.mark.parametrize("number", range(len(camera.CAMERAS)))
def test_cameras_see_nearly_but_not_exactly_as_the_eye_does(number):
    curves, eye = camera.sensitivities(number).T, lights.matching_functions()
    fitted = eye @ np.linalg.lstsq(eye, curves, rcond=None)[0]
    misfit = np.linalg.norm(curves - fitted) / np.linalg.norm(curves)
    assert curves.min() >= 0.0
    assert 0.02 < misfit < 0.35  # 0 would be a colorimeter


@pytest.mark.parametrize("number", range(len(camera.CAMERAS)))
def test_camera_matrix_keeps_white_and_renders_daylight_colours_closely(number):
    matrix = camera.colour_matrix(number)
    np.testing.assert_allclose(matrix @ np.ones(3), 1.0, atol=1e-12)
    rng = np.random.default_rng(77)  # not the colours that the matrix was fitted to
    t = np.linspace(-1.0, 1.0, lights.WAVELENGTHS_NM.size)
    c = rng.normal(0.0, [[1.5], [1.5], [1.0]], (3, 200))
    reflectance = 1.0 / (1.0 + np.exp(-(c[0] * t[:, None] ** 2 + c[1] * t[:, None] + c[2])))
    lamp = lights.spectrum("D65")
    raw = (camera.sensitivities(number) * lamp) @ reflectance
    seen = matrix @ (raw / (camera.sensitivities(number) @ lamp)[:, None])
    xyz = ((lights.matching_functions().T * lamp) @ reflectance).T
    white = lights.matching_functions().T @ lamp
    white_xy = colour.XYZ_to_xy(white)
    seen_xyz = colour.RGB_to_XYZ(seen.T, "sRGB")
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    difference = colour.delta_E(
        colour.XYZ_to_Lab(xyz / white[1], white_xy),
        colour.XYZ_to_Lab(seen_xyz, d65),
        method="CIE 2000",
    )
    assert np.median(difference) < 3.0


@pytest.mark.parametrize("lamp", ["D65", "A", "FL2", "LED-B3"])
def test_full_white_balance_makes_grey_grey_under_any_lamp(lamp):
    white = camera.camera_white(0, lamp)
    grey = np.broadcast_to(0.3 * white, (40, 30, 3)).astype(np.float32)
    picture = camera.develop(grey, PLAIN, white=white, seed=1)
    assert np.ptp(picture.reshape(-1, 3).mean(axis=0)) <= 1.0


def test_weak_white_balance_leaves_lamp_light_warm():
    white = camera.camera_white(0, "A")
    grey = np.broadcast_to(0.3 * white, (40, 30, 3)).astype(np.float32)
    weak = Phone(**{**PLAIN.__dict__, "balance_strength": 0.7})
    red, _, blue = camera.develop(grey, weak, white=white, seed=1).reshape(-1, 3).mean(axis=0)
    assert red > blue + 10


def test_exposure_error_of_one_ev_halves_linear_light():
    white = camera.camera_white(1, "D65")
    ramp = np.linspace(0.05, 0.5, 200)[:, None, None] * white * np.ones((1, 30, 1))
    phones = [Phone(**{**PLAIN.__dict__, "exposure_error_ev": ev}) for ev in (0.0, -1.0)]
    full, half = (
        camera.develop(ramp.astype(np.float32), p, white=white, seed=1)[60:160].astype(float)
        for p in phones
    )
    linear = [
        colour.models.eotf_sRGB(picture.mean(axis=(1, 2)) / 255.0) for picture in (full, half)
    ]
    np.testing.assert_allclose(linear[1] / linear[0], 0.5, atol=0.01)


def test_shot_noise_follows_the_square_root_of_the_electrons():
    phone = Phone(full_well_electrons=4000.0, read_noise_electrons=0.0, denoise=0.0)
    light = np.full((300, 300, 3), 0.25)
    noisy = camera.sensor_noise(light, phone, np.random.default_rng(2))
    assert noisy.std() * 4000.0 == pytest.approx(np.sqrt(1000.0), rel=0.02)


def test_projection_agrees_with_opencv():
    rng = np.random.default_rng(3)
    card = CardInWorld.standing(CardPose(lean_deg=2.0, turn_deg=-1.0, roll_deg=0.7))
    points = np.column_stack([rng.uniform(0, 190, 50), rng.uniform(0, 260, 50), np.zeros(50)])
    eye = hold(
        Phone(roll_deg=1.5, side_mm=12.0),
        card.to_world(points),
        jar_middle=np.array([95.0, 180.0, -70.0]),
        width=1512,
        height=2016,
    )
    rotation, translation = eye.card_pose(card)
    expected, _ = cv2.projectPoints(
        points, cv2.Rodrigues(rotation)[0], translation, eye.matrix, None
    )
    np.testing.assert_allclose(eye.project(card.to_world(points)), expected[:, 0], atol=1e-6)
    mapped = np.column_stack([points[:, :2], np.ones(50)]) @ eye.card_homography(card).T
    np.testing.assert_allclose(mapped[:, :2] / mapped[:, 2:], expected[:, 0], atol=1e-6)


def test_equivalent_focal_length_means_the_angle_across_the_diagonal():
    eye = Pinhole(np.eye(3), np.zeros(3), 43, 1512, 2016)
    corner = eye.matrix[:2, 2] + 0.5  # from the middle to the outer corner of the frame
    half_angle = np.arctan(np.hypot(*corner) / eye.focal_px)
    assert half_angle == pytest.approx(np.arctan(FULL_FRAME_DIAGONAL_MM / 2 / 43), rel=1e-9)


def test_jar_angle_is_zero_towards_the_camera_and_grows_to_its_right():
    eye = np.array([130.0, 150.0, -420.0])
    frame = JarFrame.facing(axis_x=90.0, axis_z=-70.0, floor_y=272.0, camera=eye)
    camera_right = np.array([1.0, 0.0, 0.0])
    right_of_front = frame.place(np.array([40.0]), np.array([0.3]), np.array([50.0]))[0]
    front = frame.place(np.array([40.0]), np.array([0.0]), np.array([50.0]))[0]
    on_sight, off_axis = eye - front, eye - np.array([90.0, 0.0, -70.0])
    assert on_sight[0] * off_axis[2] == pytest.approx(on_sight[2] * off_axis[0])
    assert (right_of_front - front) @ camera_right > 0
    angle, height = frame.cylinder(right_of_front)
    assert np.deg2rad(angle) == pytest.approx(0.3)
    assert height == pytest.approx(50.0)


def test_rounded_corner_is_an_arc_of_the_wanted_radius():
    path = rounded(np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 90.0]]), np.array([0.0, 6.0, 0.0]))
    arc = path[1:-1]
    np.testing.assert_allclose(np.hypot(*(arc - [34.0, 6.0]).T), 6.0, atol=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_every_drawn_scene_shares_out_all_its_light(seed):
    spec = random_spec(seed)
    total = spec.room.ambient_share + sum(lamp.share for lamp in spec.lamps)
    assert total == pytest.approx(1.0)
    assert spec == random_spec(seed)


def test_jpeg_carries_time_orientation_and_focal_length():
    picture = np.zeros((40, 30, 3), dtype=np.uint8)
    data = encode(picture, Phone(), taken_at="2026-03-05T08:07:06", focal_35mm=47)
    exif = Image.open(io.BytesIO(data)).getexif()
    details = exif.get_ifd(0x8769)
    assert exif[0x0112] == 1
    assert details[0x9003] == "2026:03:05 08:07:06"
    assert details[0xA405] == 47
