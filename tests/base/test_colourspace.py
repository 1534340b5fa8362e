"""Colour mathematics against published values and independent libraries."""

import colour
import numpy as np
import pytest

from jarvision.base import colourspace as cs

# Sharma, Wu and Dalal (2005), Color Res. Appl. 30(1):21-30, table 1.
SHARMA_PAIRS = """
50,2.6772,-79.7751|50,0,-82.7485|2.0425
50,3.1571,-77.2803|50,0,-82.7485|2.8615
50,2.8361,-74.0200|50,0,-82.7485|3.4412
50,-1.3802,-84.2814|50,0,-82.7485|1.0000
50,-1.1848,-84.8006|50,0,-82.7485|1.0000
50,-0.9009,-85.5211|50,0,-82.7485|1.0000
50,0,0|50,-1,2|2.3669
50,-1,2|50,0,0|2.3669
50,2.49,-0.001|50,-2.49,0.0009|7.1792
50,2.49,-0.001|50,-2.49,0.0010|7.1792
50,2.49,-0.001|50,-2.49,0.0011|7.2195
50,2.49,-0.001|50,-2.49,0.0012|7.2195
50,-0.001,2.49|50,0.0009,-2.49|4.8045
50,-0.001,2.49|50,0.0010,-2.49|4.8045
50,-0.001,2.49|50,0.0011,-2.49|4.7461
50,2.5,0|50,0,-2.5|4.3065
50,2.5,0|73,25,-18|27.1492
50,2.5,0|61,-5,29|22.8977
50,2.5,0|56,-27,-3|31.9030
50,2.5,0|58,24,15|19.4535
50,2.5,0|50,3.1736,0.5854|1.0000
50,2.5,0|50,3.2972,0|1.0000
50,2.5,0|50,1.8634,0.5757|1.0000
50,2.5,0|50,3.2592,0.3350|1.0000
60.2574,-34.0099,36.2677|60.4626,-34.1751,39.4387|1.2644
63.0109,-31.0961,-5.8663|62.8187,-29.7946,-4.0864|1.2630
61.2901,3.7196,-5.3901|61.4292,2.2480,-4.9620|1.8731
35.0831,-44.1164,3.7933|35.0232,-40.0716,1.5901|1.8645
22.7233,20.0904,-46.6940|23.0331,14.9730,-42.5619|2.0373
36.4612,47.8580,18.3852|36.2715,50.5065,21.2231|1.4146
90.8027,-2.0831,1.4410|91.1528,-1.6435,0.0447|1.4441
90.9257,-0.5406,-0.9208|88.6381,-0.8985,-0.7239|1.5381
6.7747,-0.2908,-2.4247|5.8714,-0.0985,-2.2286|0.6377
2.0776,0.0795,-1.1350|0.9033,-0.0636,-0.5514|0.9082
"""
# Its hue difference is 180 degrees to rounding, so that either side of the seam is right.
SEAM_PAIR, SEAM_OTHER = 13, 4.7461


def _sharma() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rows = [line.split("|") for line in SHARMA_PAIRS.split()]
    one, two = (np.array([[float(v) for v in row[k].split(",")] for row in rows]) for k in (0, 1))
    return one, two, np.array([float(row[2]) for row in rows])


@pytest.fixture
def colours() -> np.ndarray:
    """Linear sRGB, with near-blacks for the straight parts of the curves."""
    rng = np.random.default_rng(20)
    return np.concatenate([rng.uniform(0, 1, (200, 3)), rng.uniform(0, 0.01, (50, 3))])


def test_ciede2000_gives_the_34_published_differences():
    one, two, published = _sharma()
    assert len(published) == 34
    seen = cs.delta_e_2000(one, two)
    if abs(seen[SEAM_PAIR] - SEAM_OTHER) < 1e-4:
        published[SEAM_PAIR] = SEAM_OTHER
    np.testing.assert_allclose(seen, published, atol=5.1e-5)


def test_ciede2000_is_symmetric_zero_on_equals_and_broadcasts():
    one, two, _ = _sharma()
    keep = np.arange(len(one)) != SEAM_PAIR
    np.testing.assert_allclose(
        cs.delta_e_2000(one, two)[keep], cs.delta_e_2000(two, one)[keep], atol=1e-9
    )
    assert np.all(cs.delta_e_2000(one, one) == 0.0)
    table = cs.delta_e_2000(one[:, None], two[None])
    assert table.shape == (34, 34)
    np.testing.assert_allclose(np.diag(table), cs.delta_e_2000(one, two))


def test_ciede2000_agrees_with_an_independent_library(colours):
    lab = cs.linear_to_lab(colours)
    other = np.roll(lab, 1, axis=0)
    np.testing.assert_allclose(
        cs.delta_e_2000(lab, other), colour.delta_E(lab, other, method="CIE 2000"), atol=1e-6
    )


def test_srgb_curve_has_the_constants_of_the_standard():
    # IEC 61966-2-1:1999: 12.92 below the knee; the power law's 1.055, 0.055 and 2.4 above it
    assert cs.srgb_decode(0.04045) == pytest.approx(0.04045 / 12.92)
    assert cs.srgb_decode(0.5) == pytest.approx(((0.5 + 0.055) / 1.055) ** 2.4)
    assert cs.srgb_encode(0.0031308) == pytest.approx(12.92 * 0.0031308)
    assert cs.srgb_encode(1.0) == pytest.approx(1.0)


def test_bytes_of_linear_light_are_the_nearest_and_never_wrap() -> None:
    every = np.arange(256)
    np.testing.assert_array_equal(cs.srgb_bytes(cs.byte_to_linear_table()), every)
    assert cs.srgb_bytes([-0.2, 1.7, np.nan, np.inf]).tolist() == [0, 255, 0, 255]


def test_srgb_curve_agrees_with_an_independent_library_and_with_its_table():
    encoded = np.arange(256) / 255.0
    np.testing.assert_allclose(cs.srgb_decode(encoded), colour.cctf_decoding(encoded), atol=1e-12)
    np.testing.assert_allclose(cs.srgb_encode(encoded), colour.cctf_encoding(encoded), atol=1e-12)
    np.testing.assert_array_equal(cs.byte_to_linear_table(), cs.srgb_decode(encoded))


def test_matrix_rounds_to_the_one_printed_in_the_standard():
    printed = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    np.testing.assert_allclose(cs.rgb_to_xyz_matrix(), printed, atol=5.1e-5)


def test_white_has_no_tint():
    np.testing.assert_allclose(cs.linear_to_lab([1.0, 1.0, 1.0]), [100.0, 0.0, 0.0], atol=1e-9)
    np.testing.assert_allclose(cs.linear_to_lab([0.2, 0.2, 0.2])[1:], 0.0, atol=1e-9)


def test_lab_of_linear_colour_agrees_with_an_independent_library(colours):
    xyz = colour.RGB_to_XYZ(colours, "sRGB", apply_cctf_decoding=False)
    np.testing.assert_allclose(cs.linear_to_xyz(colours), xyz, atol=1e-4)
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    np.testing.assert_allclose(cs.linear_to_lab(colours), colour.XYZ_to_Lab(xyz, white), atol=0.05)


def test_every_conversion_and_its_inverse_cancel(colours):
    np.testing.assert_allclose(cs.lab_to_linear(cs.linear_to_lab(colours)), colours, atol=1e-9)
    np.testing.assert_allclose(cs.srgb_decode(cs.srgb_encode(colours)), colours, atol=1e-6)
    np.testing.assert_allclose(cs.srgb_encode(cs.srgb_decode(-colours)), -colours, atol=1e-6)


def test_slopes_of_lab_are_those_of_small_steps(colours):
    for linear in np.concatenate([colours[:40], [[0.0, 0.0, 0.0], [0.004, 0.006, 0.002]]]):
        steps = 1e-6 * np.eye(3)
        up, down = cs.linear_to_lab(linear + steps), cs.linear_to_lab(linear - steps)
        np.testing.assert_allclose(
            cs.lab_slopes(linear), (up - down).T / 2e-6, rtol=1e-4, atol=1e-3
        )
