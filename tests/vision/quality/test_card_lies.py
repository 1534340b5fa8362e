"""Cards that are not what they seem, or not there, are told."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest
import skimage.data
from drawn_cards import (
    DRAWN_PX_PER_MM,
    as_photo,
    judged,
    photographed,
)

from jarvision.base.colourspace import srgb_encode
from jarvision.base.errors import PhotoRefusedError
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.calibration.values import scale_layout
from jarvision.vision.card.find import find_card, read_swatches
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.card.page_edges import print_scale_seen
from jarvision.vision.colour.light import paper_layout
from jarvision.vision.quality.diagnose import find_card_or_say_why
from jarvision.vision.quality.figures import measure_card
from jarvision.vision.quality.gate import print_size_note
from jarvision.vision.read import wall_of


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
