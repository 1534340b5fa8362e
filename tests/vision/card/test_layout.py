"""The card as data: sizes, room, gamut, and what the colour fit needs of it."""

from dataclasses import replace
from itertools import combinations

import cv2
import numpy as np
import pytest

from jarvision.base import colourspace
from jarvision.vision.card import layout as layout_module
from jarvision.vision.card.layout import TAG_FAMILY, Box, CardLayout, load_layout

LIGHTEST_L, DARKEST_L = 96.0, 12.0  # what an inkjet on matte paper can still tell apart
STRONGEST_CHROMA = 66.0


@pytest.fixture(scope="module")
def card() -> CardLayout:
    return load_layout()


def _boxes(card: CardLayout) -> dict[str, Box]:
    marks = {f"mark {m.id}": Box(m.x_mm, m.y_mm, m.size_mm, m.size_mm) for m in card.markers}
    return {**marks, **{s.name: s for s in card.swatches}, "field": card.field}


def test_active_area_fits_a4_and_letter_with_margins(card):
    assert (card.width_mm, card.height_mm) == (190.0, 260.0)


def test_everything_lies_on_the_card_and_nothing_overlaps(card):
    boxes = _boxes(card)
    for name, box in boxes.items():
        assert box.x_mm >= 0 and box.x_mm + box.width_mm <= card.width_mm, name
        assert box.y_mm >= 0 and box.y_mm + box.height_mm <= card.height_mm + 1e-9, name
    for (name, one), (other, two) in combinations(boxes.items(), 2):
        apart_x = max(one.x_mm, two.x_mm) - min(one.x_mm + one.width_mm, two.x_mm + two.width_mm)
        apart_y = max(one.y_mm, two.y_mm) - min(one.y_mm + one.height_mm, two.y_mm + two.height_mm)
        gap_mm = max(apart_x, apart_y)
        assert gap_mm > 1.0, f"{name} and {other}"
        if "mark" in name + other:
            cell_mm = card.markers[0].size_mm / 7
            assert gap_mm >= cell_mm, f"white margin between {name} and {other}"


def test_marks_stand_in_the_corners_clockwise_from_top_left(card):
    middle = np.array(card.centre_mm)
    sides = [tuple(np.sign(m.corners_mm.mean(axis=0) - middle)) for m in card.markers]
    assert sides == [(-1, -1), (1, -1), (1, 1), (-1, 1)]


def test_marks_cannot_be_taken_for_one_another_or_for_jar_tags(card):
    family = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.marker_family))
    cells = [cv2.aruco.generateImageMarker(family, m.id, 7)[1:6, 1:6] > 0 for m in card.markers]
    turned = [[np.rot90(c, k) for k in range(4)] for c in cells]
    for i, j in combinations(range(len(cells)), 2):
        assert min(int((cells[i] != other).sum()) for other in turned[j]) >= 12
    for i, four in enumerate(turned):
        assert min(int((cells[i] != other).sum()) for other in four[1:]) >= 12
    assert card.marker_family != TAG_FAMILY


def test_swatches_have_room_and_their_own_names(card):
    assert len(set(card.names)) == len(card.names) >= 30
    for swatch in card.swatches:
        assert min(swatch.width_mm, swatch.height_mm) >= 10.0
        inner, outer = (0.0, 32.0) if swatch.x_mm < 95 else (158.0, 190.0)
        assert inner <= swatch.x_mm and swatch.x_mm + swatch.width_mm <= outer


def test_every_colour_is_printable_and_means_the_same_in_lab_and_in_8_bits(card):
    for swatch in (*card.swatches, card.field):
        linear = colourspace.lab_to_linear(swatch.lab)
        assert np.all((linear > 0.01) & (linear < 0.99)), swatch
        assert DARKEST_L <= swatch.lab[0] <= LIGHTEST_L
        assert np.hypot(*swatch.lab[1:]) <= STRONGEST_CHROMA
        shown = colourspace.linear_to_lab(colourspace.srgb_decode(np.array(swatch.rgb8) / 255))
        assert colourspace.delta_e_2000(shown, swatch.lab) < 0.02, swatch


def test_colours_of_the_swatches_are_far_enough_apart_to_be_told_apart(card):
    colours = {s.lab: s.name for s in card.swatches}
    for one, two in combinations(colours, 2):
        assert colourspace.delta_e_2000(one, two) >= 5.0, (colours[one], colours[two])


def test_swatches_condition_a_three_by_three_and_a_root_polynomial_fit(card):
    linear = card.nominal_linear
    red, green, blue = linear.T
    roots = np.sqrt(np.column_stack([red * green, green * blue, red * blue]))
    assert np.linalg.cond(linear) < 10.0
    assert np.linalg.cond(np.column_stack([linear, roots])) < 100.0


def test_equal_greys_on_both_sides_show_the_slope_of_the_light_in_both_directions(card):
    greys = [s for s in card.swatches if s.role == "grey"]
    left = {s.lab: s.centre_mm for s in greys if s.x_mm < 95}
    right = {s.lab: s.centre_mm for s in greys if s.x_mm > 95}
    assert left.keys() == right.keys() and len(left) >= 6
    steps = np.array([np.subtract(right[lab], left[lab]) for lab in left])
    # two unknown slopes from the differences: well conditioned means neither hides the other
    assert np.linalg.cond(steps) < 2.0


def test_field_has_a_hue_that_nothing_in_a_jar_has(card):
    _, a, b = card.field.lab
    hue_deg = np.rad2deg(np.arctan2(b, a)) % 360
    assert 285 <= hue_deg <= 305 and 35 <= np.hypot(a, b) <= 40
    living = [s.lab for s in card.swatches if s.role in ("contents", "mould")]
    assert colourspace.delta_e_2000(living, card.field.lab).min() > 20
    assert (card.field.x_mm, card.field.x_mm + card.field.width_mm) == (32.0, 158.0)


def test_slanted_square_is_turned_by_five_degrees_about_its_centre(card):
    square = card.slanted_square
    corners = square.corners_mm
    np.testing.assert_allclose(corners.mean(axis=0), (square.centre_x_mm, square.centre_y_mm))
    edge = corners[1] - corners[0]
    assert np.linalg.norm(edge) == pytest.approx(square.side_mm)
    assert np.rad2deg(np.arctan2(edge[1], edge[0])) == pytest.approx(5.0)


def test_calibration_is_found_beside_and_inside_the_package(tmp_path, monkeypatch):
    find = layout_module.calibration_folder.__wrapped__
    assert (find() / "card.toml").is_file()
    module = tmp_path / "site" / "jarvision" / "vision" / "card" / "layout.py"
    inside = tmp_path / "site" / "jarvision" / "calibration"
    inside.mkdir(parents=True)
    monkeypatch.setattr(layout_module, "__file__", str(module))
    with pytest.raises(FileNotFoundError):
        find()
    (inside / "card.toml").write_text("version = 1\n")
    assert find() == inside


def test_layout_is_read_once_and_cannot_be_changed(card):
    assert load_layout() is card
    with pytest.raises(AttributeError):
        card.version = 2
    assert replace(card, version=2).version == 2
