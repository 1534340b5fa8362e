"""What hides the card's field is told from it in any light, whatever colours hide it."""

from __future__ import annotations

import numpy as np
import pytest

from jarvision.base.colourspace import byte_to_linear_table, srgb_bytes
from jarvision.records import ColourFit
from jarvision.settings.jar import JarSettings
from jarvision.vision.card.layout import load_layout
from jarvision.vision.colour.light import field_terms
from jarvision.vision.jar.plane_view import (
    BOTTOM_MM,
    LEFT_MM,
    PX_PER_MM,
    RIGHT_MM,
    TOP_MM,
    PlaneView,
)
from jarvision.vision.jar.span import hidden_field

LAYOUT = load_layout()
SETTINGS = JarSettings()
WHITE, GRAIN, LID = (0.6, 0.6, 0.58), (0.2, 0.1, 0.04), (0.6, 0.4, 0.05)
SHAPE = round((BOTTOM_MM - TOP_MM) * PX_PER_MM), round((RIGHT_MM - LEFT_MM) * PX_PER_MM)


def fitted(blue_tint: float) -> ColourFit:
    """An ideal camera; the light's blue grows by ``blue_tint`` from the middle to the right."""
    light = np.zeros((3, 5))
    light[2, 0] = blue_tint
    return ColourFit(
        matrix=np.eye(3, 4), used=np.ones(3, np.bool_), de00=np.zeros(3), reference="nominal",
        tone=np.zeros((3, 2)), gain=np.ones(3), light_field=light, expected_de00=0.0,
    )  # fmt: skip


def hidden_where(*, blue_tint: float = 0.0, **shares: float) -> tuple[np.ndarray, np.ndarray]:
    """A jar in the field's middle, its lid, growth and grain so tall (mm), and what was found.

    Both are cut to the field, a margin of 2 mm left out at every border.
    """
    field = LAYOUT.field
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] / PX_PER_MM
    x, y = x + LEFT_MM, y + TOP_MM
    linear = np.broadcast_to(byte_to_linear_table()[np.array(field.rgb8)], (*SHAPE, 3)).copy()
    there = np.abs(x - LAYOUT.centre_mm[0]) < 45.0
    colours = {"lid": LID, "white": WHITE, "grain": GRAIN}
    bottom, hides = field.y_mm + field.height_mm, np.zeros(SHAPE, np.bool_)
    for name in ("grain", "white", "lid"):
        part = there & (y <= bottom) & (y > bottom - shares[name])
        linear[part] = colours[name]
        hides |= part
        bottom -= shares[name]
    points = np.stack([x, y], axis=-1).reshape(-1, 2)
    light = fitted(blue_tint)
    linear *= np.exp(field_terms(points, LAYOUT) @ light.light_field.T).reshape(*SHAPE, 3)
    view = PlaneView(srgb_bytes(np.clip(linear, 0.0, 1.0)), np.eye(3), SHAPE)
    found = hidden_field(view, light, layout=LAYOUT, settings=SETTINGS)
    clear = np.zeros(SHAPE, np.bool_)
    clear[view.window((field.y_mm + 2, field.y_mm + field.height_mm - 2),
                      (field.x_mm + 2, field.x_mm + field.width_mm - 2))] = True  # fmt: skip
    for edge in (-45.0, 45.0):
        clear &= np.abs(x - LAYOUT.centre_mm[0] - edge) > 2.0
    clear &= np.abs(y - bottom) > 2.0
    return found[clear], hides[clear]


@pytest.mark.parametrize(
    ("lid", "white", "grain"),
    [(0, 80, 0), (20, 60, 0), (20, 30, 30), (25, 60, 15), (0, 20, 70), (40, 40, 5)],
)
def test_white_growth_hides_the_field_beside_lid_and_grain_of_any_colour(
    lid: float, white: float, grain: float
) -> None:
    """A yellow lid lies as far below white as white below the field: white is not the field."""
    found, hides = hidden_where(lid=lid, white=white, grain=grain)
    np.testing.assert_array_equal(found, hides)


@pytest.mark.parametrize("blue_tint", [-0.35, -0.2, 0.2, 0.35])
def test_white_in_cool_light_is_not_the_field_in_warm_light(blue_tint: float) -> None:
    """Light that doubles its blue over the card: white on one side, field on the other."""
    found, hides = hidden_where(blue_tint=blue_tint, lid=20, white=70, grain=0)
    assert (found == hides).mean() > 0.999


def test_a_free_field_hides_nothing() -> None:
    found, _ = hidden_where(lid=0, white=0, grain=0)
    assert not found.any()
