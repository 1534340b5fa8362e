"""The drawn card: paper sizes, places and colours, read back from the files."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader
from pypdf.generic import ContentStream

from jarvision.base.errors import NotWritableError
from jarvision.vision.card import marks as printed
from jarvision.vision.card.draw import CardFiles, draw_card
from jarvision.vision.card.layout import CardLayout, load_layout

MM = 72.0 / 25.4  # points
PLACE_TOLERANCE_MM = 0.01
PAPERS_MM = {"pdf_a4": (210.0, 297.0), "pdf_letter": (215.9, 279.4)}


@pytest.fixture(scope="module")
def card() -> CardLayout:
    return load_layout()


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> CardFiles:
    return draw_card(tmp_path_factory.mktemp("card"))


@pytest.fixture(scope="module")
def picture(files: CardFiles) -> np.ndarray:
    return np.asarray(Image.open(files.png))


def _boxes_in_pdf(path: Path) -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
    """Every rectangle of the page: (left, top, width, height) mm from the paper's top left, rgb."""
    reader = PdfReader(path)
    page = reader.pages[0]
    matrix, stack, colour, boxes = np.eye(3), [], (0.0, 0.0, 0.0), []
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        values = [float(v) for v in operands] if operator in (b"cm", b"rg", b"re") else []
        if operator == b"cm":
            a, b, c, d, e, f = values
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif operator == b"q":
            stack.append(matrix)
        elif operator == b"Q":
            matrix = stack.pop()
        elif operator == b"rg":
            colour = tuple(values)
        elif operator == b"re":
            x, y, width, height = values
            left, bottom, _ = np.array([x, y, 1]) @ matrix
            top = float(page.mediabox.height) - bottom - height
            boxes.append(((left / MM, top / MM, width / MM, height / MM), colour))
    return boxes


@pytest.mark.parametrize("kind", PAPERS_MM)
def test_pdf_page_has_the_paper_size_and_the_card_centred_at_full_scale(files, card, kind):
    path = getattr(files, kind)
    reader = PdfReader(path)
    width, height = PAPERS_MM[kind]
    assert len(reader.pages) == 1
    box = reader.pages[0].mediabox
    np.testing.assert_allclose(
        [float(box.width) / MM, float(box.height) / MM], [width, height], atol=PLACE_TOLERANCE_MM
    )
    offset = np.array([(width - card.width_mm) / 2, (height - card.height_mm) / 2])
    boxes = _boxes_in_pdf(path)
    for thing in (card.field, *card.swatches):
        left, top = offset[0] + thing.x_mm, offset[1] + thing.y_mm
        place = (left, top, thing.width_mm, thing.height_mm)
        colours = [rgb for seen, rgb in boxes if np.allclose(seen, place, atol=PLACE_TOLERANCE_MM)]
        assert len(colours) == 1, thing
        # the colour is the nominal one to the last bit
        np.testing.assert_array_equal(np.rint(np.array(colours[0]) * 255), thing.rgb8)


def test_scale_bar_in_the_pdf_measures_100_mm(files, card):
    bar = card.scale_bar
    offset_x = (210.0 - card.width_mm) / 2
    ticks = [
        seen
        for seen, _ in _boxes_in_pdf(files.pdf_a4)
        if abs(seen[2] - bar.line_mm) < 0.01 and abs(seen[3] - bar.end_tick_mm) < 0.01
    ]
    assert len(ticks) == 2
    (left, *_), (right, *_) = sorted(ticks)
    assert left == pytest.approx(offset_x + bar.x_mm, abs=PLACE_TOLERANCE_MM)
    assert right + bar.line_mm - left == pytest.approx(100.0, abs=PLACE_TOLERANCE_MM)


def test_pdf_says_how_to_stand_the_card_with_its_font_inside(files):
    page = PdfReader(files.pdf_letter).pages[0]
    text = page.extract_text()
    for words in ("version 1", "100 %", "100 mm", "6 to 8 cm", "no flash"):
        assert words in text
    fonts = [font.get_object() for font in page["/Resources"]["/Font"].values()]
    embedded = [font for font in fonts if "/FontDescriptor" in font]
    assert embedded and all("/FontFile2" in font["/FontDescriptor"] for font in embedded)


def test_pdf_asks_the_printer_not_to_scale(files):
    viewer = PdfReader(files.pdf_a4).trailer["/Root"]["/ViewerPreferences"]
    assert viewer["/PrintScaling"] == "/None"


def test_same_card_gives_the_same_files(files, tmp_path):
    again = draw_card(tmp_path)
    for name in ("pdf_a4", "pdf_letter", "png"):
        assert getattr(again, name).read_bytes() == getattr(files, name).read_bytes()


def test_picture_is_the_active_area_at_300_dpi(files, picture):
    with Image.open(files.png) as image:
        assert image.size == (2244, 3071)
        assert image.mode == "RGB"
        np.testing.assert_allclose(image.info["dpi"], 300, atol=0.01)
    assert np.all(picture[0] == 255) and np.all(picture[:, 0] == 255)


def test_every_pixel_of_a_swatch_has_its_nominal_colour_up_to_its_edge(picture, card):
    scale = 300 / 25.4
    for thing in (card.field, *card.swatches):
        left, top = np.ceil([thing.x_mm * scale, thing.y_mm * scale]).astype(int)
        right, bottom = np.floor(
            [(thing.x_mm + thing.width_mm) * scale, (thing.y_mm + thing.height_mm) * scale]
        ).astype(int)
        assert np.all(picture[top:bottom, left:right] == thing.rgb8), thing
        assert np.all(picture[top - 3, left:right] == 255), thing


def test_smoothed_edge_carries_the_light_of_the_share_it_covers():
    # a black box over 0.25 of one pixel leaves 0.75 of the light: sRGB 225 (IEC 61966-2-1)
    box = printed.Boxes(((1.0, 1.0, 1.25, 2.0),), printed.BLACK)
    row = printed.paint([box], area_mm=np.array([4.0, 4.0]), dpi=25.4)[2, :, 0]
    np.testing.assert_array_equal(row, [255, 0, 225, 255])


def test_slanted_square_covers_its_true_area(picture, card):
    square = card.slanted_square
    scale = 300 / 25.4
    half = round(0.62 * square.side_mm * scale)
    col, row = round(square.centre_x_mm * scale), round(square.centre_y_mm * scale)
    part = picture[row - half : row + half, col - half : col + half, 0] / 255.0
    linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    share = (1.0 - linear).sum() / (1.0 - linear.min())
    assert share / scale**2 == pytest.approx(square.side_mm**2, rel=1e-3)


def test_folder_that_cannot_be_written_is_said_so(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    with pytest.raises(NotWritableError, match="cannot be written"):
        draw_card(blocked)
