"""An empty jar is no jar full of growth: the card's field shows through it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from drawn_jars import GREY, LAYOUT, DrawnJar, draw

from jarvision.base.colourspace import byte_to_linear_table
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import Wall
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.quality.gate import accept_filled, accept_upright
from jarvision.vision.quality.seen_through import (
    below_field,
    field_shows,
    field_within,
    reach_field,
)
from jarvision.vision.read import WallSight, wall_of

SETTINGS = PhotoSettings()
ANY_JAR = replace(SETTINGS, sight=replace(SETTINGS.sight, field_shows_max=1.0))
LABELLED = DrawnJar(lid_rgb=GREY, label_deg=(-60.0, 40.0))


@cache
def sight(jar: DrawnJar) -> WallSight:
    return wall_of(draw(jar).photo, layout=LAYOUT, settings=ANY_JAR)


def shows(seen: WallSight) -> float:
    return field_shows(seen.wall, seen.card, layout=LAYOUT, settings=SETTINGS.sight)


def test_an_empty_jar_is_refused() -> None:
    with pytest.raises(PhotoRefusedError) as refusal:
        wall_of(draw(replace(LABELLED, fill_mm=0.0)).photo, layout=LAYOUT, settings=SETTINGS)
    assert refusal.value.reason == "no_contents"


@pytest.mark.parametrize("fill_mm", [45.0, 85.0])
def test_contents_hide_the_foot_of_the_field(fill_mm: float) -> None:
    seen = sight(replace(LABELLED, fill_mm=fill_mm))
    assert shows(seen) < 0.05
    accept_filled(seen.wall, seen.card, layout=LAYOUT, settings=SETTINGS)


def test_contents_below_the_field_are_no_contents() -> None:
    """The white page shows above them, and would be read as growth."""
    with pytest.raises(PhotoRefusedError) as refusal:
        wall_of(draw(replace(LABELLED, fill_mm=20.0)).photo, layout=LAYOUT, settings=SETTINGS)
    assert refusal.value.reason == "no_contents"


def test_a_jar_upside_down_is_refused() -> None:
    """Its contents hang above the empty glass; at its foot the field shows, under it the page."""
    seen = sight(replace(LABELLED, fill_mm=60.0))
    linear = seen.wall.linear[::-1].copy()
    linear[below_field(seen.wall, seen.card, layout=LAYOUT)] = 0.6
    turned = replace(seen.wall, linear=linear)
    with pytest.raises(PhotoRefusedError) as refusal:
        accept_filled(turned, seen.card, layout=LAYOUT, settings=SETTINGS)
    assert refusal.value.reason == "no_contents"


def test_what_the_glass_mirrors_does_not_fill_an_empty_jar() -> None:
    """Grey light adds to all three channels alike: a white room in the glass is no contents."""
    seen = sight(replace(LABELLED, fill_mm=0.0))
    mirrored = replace(seen.wall, linear=seen.wall.linear * np.float32(0.6) + np.float32(0.25))
    assert shows(replace(seen, wall=mirrored)) == pytest.approx(shows(seen), abs=0.05)


def test_bluish_contents_are_contents() -> None:
    """Dark blue straw, pale blue mould: their blue exceeds red and green by far less."""
    seen = sight(LABELLED)
    for blue in ((0.01, 0.01, 0.03), (0.30, 0.34, 0.36)):
        painted = np.broadcast_to(np.float32(blue), seen.wall.linear.shape)
        assert shows(replace(seen, wall=replace(seen.wall, linear=painted))) == 0.0


def test_a_field_out_of_view_says_nothing() -> None:
    seen = sight(LABELLED)
    aside = replace(seen.wall, pixels=seen.wall.pixels + np.float32(1e4))
    assert shows(replace(seen, wall=aside)) == 0.0


def contents_over(wall_from: WallSight, *, glass: bool) -> Wall:
    """A wall called filled down to its foot, with the field behind clear glass there or without."""
    raw = wall_from.wall
    rows, cols = raw.linear.shape[:2]
    linear = np.full_like(raw.linear, 0.4)
    if glass:
        field = byte_to_linear_table()[np.array(LAYOUT.field.rgb8)]
        linear[rows // 2 : rows // 2 + round(12.0 / raw.step_mm)] = 0.8 * field + 0.1
    full = np.ones((rows, cols), dtype=np.bool_)
    cut = replace(raw, linear=linear)
    return cut.with_contents(
        floor_row=rows, filled=full, judged=full, line_sd_mm=1.0, floor_sd_mm=1.0
    )


def test_glass_among_what_was_called_contents_is_no_contents() -> None:
    """Contents of a jar on its head hang above it; its lid may hide the field's foot."""
    seen = sight(replace(LABELLED, fill_mm=60.0))
    whole, with_glass = (contents_over(seen, glass=glass) for glass in (False, True))
    assert field_within(whole, layout=LAYOUT, settings=SETTINGS.sight) == 0.0
    accept_upright(whole, seen.card, layout=LAYOUT, settings=SETTINGS)
    with pytest.raises(PhotoRefusedError) as refusal:
        accept_upright(with_glass, seen.card, layout=LAYOUT, settings=SETTINGS)
    assert refusal.value.reason == "no_contents"


@pytest.mark.parametrize(("low", "refused"), [(False, False), (True, True)])
def test_contents_that_end_with_the_field_are_the_page_behind_empty_glass(
    low: bool, refused: bool
) -> None:
    """A label over half of the field's foot, and the white page below it taken for contents."""
    seen = sight(replace(LABELLED, fill_mm=60.0))
    whole = contents_over(seen, glass=False)
    page = below_field(seen.wall, seen.card, layout=LAYOUT)
    wall = replace(whole, filled=page, judged=page) if low else whole
    assert reach_field(wall, seen.card, layout=LAYOUT) == (0.0 if low else 1.0)
    if not refused:
        accept_upright(wall, seen.card, layout=LAYOUT, settings=SETTINGS)
        return
    with pytest.raises(PhotoRefusedError) as refusal:
        accept_upright(wall, seen.card, layout=LAYOUT, settings=SETTINGS)
    assert refusal.value.reason == "no_contents"
