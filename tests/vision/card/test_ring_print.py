"""The drawn ring: what is printed where, read back from its files."""

from itertools import combinations

import cv2
import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from jarvision.vision.card import marks as printed
from jarvision.vision.card.draw import CardFiles, draw_ring
from jarvision.vision.card.layout import load_layout, load_ring

MM = 72.0 / 25.4  # points
SCALE = 300 / 25.4
RING = load_ring()


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> CardFiles:
    return draw_ring(tmp_path_factory.mktemp("ring"))


@pytest.fixture(scope="module")
def picture(files: CardFiles) -> np.ndarray:
    return np.asarray(Image.open(files.png))


def test_swatches_are_those_of_the_card_by_name_order_and_colour():
    card = load_layout()
    assert RING.names == card.names
    np.testing.assert_array_equal(RING.nominal_lab, card.nominal_lab)


def test_no_two_marks_of_ring_and_card_are_alike_however_they_lie():
    card = load_layout()
    assert RING.marker_family == card.marker_family
    family = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, RING.marker_family))
    ids = [mark.id for mark in (*RING.markers, *card.markers)]
    cells = {
        n: cv2.aruco.Dictionary.getBitsFromByteList(family.bytesList[n : n + 1], family.markerSize)
        for n in ids
    }
    assert len(cells) == 8
    apart = [
        np.count_nonzero(cells[one] != np.rot90(cells[other], turn))
        for one, other in combinations(ids, 2)
        for turn in range(4)
    ]
    assert min(apart) == 10  # of 25, as ring.toml says


def test_everything_that_is_measured_stays_clear_of_the_widest_hole_and_of_the_edge():
    assert RING.mouth is not None
    x, y = RING.field.centre_mm
    assert (x, y) == RING.centre_mm
    corners = np.array(
        [
            (box.x_mm + across * box.width_mm, box.y_mm + down * box.height_mm)
            for box in RING.swatches
            for across in (0, 1)
            for down in (0, 1)
        ]
    )
    corners = np.concatenate([corners, *(mark.corners_mm for mark in RING.markers)])
    assert np.hypot(*(corners - [x, y]).T).min() > max(RING.mouth.diameters_mm) / 2 + 5
    assert corners.min() >= 4 and corners.max() <= RING.width_mm - 4


def test_nothing_printed_overlaps_anything_else():
    boxes = [(s.x_mm, s.y_mm, s.width_mm, s.height_mm) for s in RING.swatches]
    boxes += [(m.x_mm, m.y_mm, m.size_mm, m.size_mm) for m in RING.markers]
    for (x1, y1, w1, h1), (x2, y2, w2, h2) in combinations(boxes, 2):
        assert x1 + w1 <= x2 or x2 + w2 <= x1 or y1 + h1 <= y2 or y2 + h2 <= y1


@pytest.mark.parametrize(
    ("kind", "paper"), [("pdf_a4", (210.0, 297.0)), ("pdf_letter", (215.9, 279.4))]
)
def test_pdf_has_the_paper_size_and_says_how_to_use_the_ring(files, kind, paper):
    reader = PdfReader(getattr(files, kind))
    box = reader.pages[0].mediabox
    np.testing.assert_allclose([float(box.width) / MM, float(box.height) / MM], paper, atol=0.01)
    text = reader.pages[0].extract_text()
    for words in ("jarvision ring", "100 %", "slit", "never touches", "hood lifted"):
        assert words in text


def test_picture_shows_disc_circles_and_swatches_in_their_place(picture):
    assert picture.shape == (1890, 1890, 3)
    x, y = RING.field.centre_mm

    def at(radius_mm: float, deg: float) -> tuple[int, ...]:
        col = (x + radius_mm * np.cos(np.deg2rad(deg))) * SCALE - 0.5
        row = (y + radius_mm * np.sin(np.deg2rad(deg))) * SCALE - 0.5
        return tuple(int(v) for v in picture[round(row), round(col)])

    assert RING.mouth is not None
    for deg in (60, 90, 150, 200, 300):
        for width in RING.mouth.diameters_mm:
            assert at(width / 2, deg) == (255, 255, 255)
            assert at(width / 2 + 1.0, deg) == RING.field.rgb8
        assert at(RING.field.width_mm / 2 + 0.3, deg) == (255, 255, 255)
    for swatch in RING.swatches:
        col, row = (round(v * SCALE - 0.5) for v in swatch.centre_mm)
        assert tuple(int(v) for v in picture[row, col]) == swatch.rgb8


def test_painted_disc_has_the_area_of_its_circle():
    disc = printed.Disc(10.0, 9.5, 7.3, printed.BLACK)
    rgb = printed.paint([disc], area_mm=np.array([20.0, 20.0]), dpi=10 * 25.4)[..., 0] / 255.0
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    assert (1.0 - linear).sum() / 100.0 == pytest.approx(np.pi * 7.3**2, rel=1e-3)
