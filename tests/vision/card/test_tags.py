"""Jar tags: the printed sheets and the reader."""

import shutil
import subprocess

import cv2
import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from jarvision.base.errors import NotWritableError, UsageError
from jarvision.vision.card import marks as printed
from jarvision.vision.card.draw import card_marks
from jarvision.vision.card.layout import TAG_COUNT, TAG_FAMILY, load_layout
from jarvision.vision.card.squares import squares_of_grey
from jarvision.vision.card.tags import TAG_MM, _page, draw_tags, read_tags

PX_PER_MM = 4.0


def _tag_on_grey(number: int, *, turn_deg: float = 0.0, grey: int = 170) -> np.ndarray:
    """A 20 mm tag with its white margin, at 4 px/mm, turned, blurred and noisy."""
    tag = printed.marker_cells(TAG_FAMILY, number, 5.0, 5.0, TAG_MM)
    paper = printed.paint([tag], area_mm=np.array([30.0, 30.0]), dpi=PX_PER_MM * 25.4)[..., 0]
    scene = np.full((300, 400), grey, dtype=np.uint8)
    turn = cv2.getRotationMatrix2D((60.0, 60.0), turn_deg, 1.0)
    turn[:, 2] += (130.0, 90.0)
    cv2.warpAffine(paper, turn, (400, 300), dst=scene, borderMode=cv2.BORDER_TRANSPARENT)
    noisy = cv2.GaussianBlur(scene, (0, 0), 1.2) + np.random.default_rng(1).normal(0, 3, (300, 400))
    return np.clip(noisy, 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("number", "turn_deg"), [(0, 0), (7, 12), (250, -20), (586, 90)])
def test_tag_is_read_with_its_number_and_place(number, turn_deg):
    (tag,) = read_tags(squares_of_grey(_tag_on_grey(number, turn_deg=turn_deg)))
    assert tag.number == number
    np.testing.assert_allclose(tag.centre_px, [189.5, 149.5], atol=1.0)
    sides = np.linalg.norm(tag.corners_px - np.roll(tag.corners_px, 1, axis=0), axis=1)
    np.testing.assert_allclose(sides, TAG_MM * PX_PER_MM, atol=2.5)


def test_place_does_not_depend_on_the_size_at_which_the_picture_is_searched():
    small = _tag_on_grey(42)
    large = cv2.resize(small, None, fx=6, fy=6, interpolation=cv2.INTER_LINEAR)
    (seen,), (expected,) = (read_tags(squares_of_grey(grey)) for grey in (large, small))
    np.testing.assert_allclose((seen.centre_px + 0.5) / 6 - 0.5, expected.centre_px, atol=0.5)


def test_several_tags_come_sorted_by_number():
    both = np.hstack([_tag_on_grey(31), _tag_on_grey(4)])
    assert [tag.number for tag in read_tags(squares_of_grey(both))] == [4, 31]


def test_nothing_is_read_from_noise_or_from_the_card_itself():
    noise = np.random.default_rng(2).integers(0, 256, (600, 800), dtype=np.uint8)
    assert read_tags(squares_of_grey(noise)) == ()
    layout = load_layout()
    area_mm = np.array([layout.width_mm, layout.height_mm])
    card = printed.paint(card_marks(layout), area_mm=area_mm, dpi=150)
    assert read_tags(squares_of_grey(cv2.cvtColor(card, cv2.COLOR_RGB2GRAY))) == ()


@pytest.mark.parametrize(
    ("kind", "size_mm"), [("pdf_a4", (210.0, 297.0)), ("pdf_letter", (215.9, 279.4))]
)
def test_sheets_have_the_paper_size_and_every_number_once(tmp_path, kind, size_mm):
    reader = PdfReader(getattr(draw_tags(tmp_path, 3, 40), kind))
    assert len(reader.pages) == 2
    box = reader.pages[0].mediabox
    seen_mm = [float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72]
    np.testing.assert_allclose(seen_mm, size_mm, atol=0.01)
    words = " ".join(page.extract_text() for page in reader.pages).split()
    numbers = [int(word) for word in words if word.isdigit() and word not in ("100", "20")]
    assert sorted(set(numbers)) == [n for n in range(3, 41) if n != 20]


def test_printed_sheet_reads_back_with_tags_of_20_mm(tmp_path):
    pdftoppm = shutil.which("pdftoppm")
    if pdftoppm is None:
        pytest.skip("needs pdftoppm to turn the sheet into a picture")
    sheet = draw_tags(tmp_path, 100, 127).pdf_a4
    command = [pdftoppm, "-gray", "-r", "150", "-singlefile", str(sheet), str(tmp_path / "sheet")]
    subprocess.run(command, check=True, timeout=60)
    tags = read_tags(squares_of_grey(np.asarray(Image.open(tmp_path / "sheet.pgm"))))
    assert [tag.number for tag in tags] == list(range(100, 128))
    sides = [np.linalg.norm(tag.corners_px[1] - tag.corners_px[0]) * 25.4 / 150 for tag in tags]
    np.testing.assert_allclose(sides, TAG_MM, atol=0.5)


@pytest.mark.parametrize(("first", "last"), [(-1, 3), (5, 4), (0, TAG_COUNT)])
def test_numbers_that_do_not_exist_are_refused(tmp_path, first, last):
    with pytest.raises(UsageError, match="do not exist"):
        draw_tags(tmp_path, first, last)


def test_every_number_of_the_family_can_be_printed():
    family = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, TAG_FAMILY))
    assert family.bytesList.shape[0] == TAG_COUNT


def test_folder_that_cannot_be_written_is_said_so(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    with pytest.raises(NotWritableError):
        draw_tags(blocked, 0, 1)


def test_a_sheet_has_cut_lines_around_its_own_tags_alone() -> None:
    for count, rows in ((1, 1), (4, 1), (5, 2), (24, 6), (28, 7)):
        cuts = next(m for m in _page(range(count)) if isinstance(m, printed.Boxes))
        lowest = max(y for _, y, width, height in cuts.rows if width > height)
        tags = [m for m in _page(range(count)) if isinstance(m, printed.Boxes)][1:]
        below = max(y + height for tag in tags for _, y, _, height in tag.rows)
        assert len([row for row in cuts.rows if row[2] > row[3]]) == rows + 1
        assert 0.0 < lowest - below < TAG_MM
