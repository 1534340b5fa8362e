"""A coloured lamp on the jar alone is told from mould, which colours a part of the wall."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawn_jars import GREY, LAYOUT, DrawnJar, draw

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import RawWall
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.quality.gate import accept_filled, accept_light
from jarvision.vision.quality.jar_light import wall_tint
from jarvision.vision.read import wall_of

SETTINGS = PhotoSettings()
SHAPE = (300, 280)
WHITE, STRAW, BROWN = (0.75, 0.74, 0.66), (0.42, 0.31, 0.18), (0.12, 0.085, 0.05)
PINK, GREEN = (0.55, 0.22, 0.2), (0.08, 0.16, 0.06)
LAMPS = {
    "pink": (1.25, 0.5, 1.2),
    "green": (0.6, 1.2, 0.6),
    "amber": (1.25, 0.85, 0.4),
    "blue": (0.55, 0.65, 1.5),
}


def wall(*colours: tuple[float, float, float]) -> RawWall:
    """Level bands of equal height of some colours, with a little grain."""
    rows = np.arange(SHAPE[0]) * len(colours) // SHAPE[0]
    flat = np.array(colours, np.float32)[rows][:, None] * np.ones((1, SHAPE[1], 1), np.float32)
    grain = np.random.default_rng(3).normal(1.0, 0.1, (*SHAPE, 1)).astype(np.float32)
    return RawWall(
        linear=flat * grain,
        angles_deg=np.linspace(-60.0, 60.0, SHAPE[1]),
        heights_mm=np.linspace(82.0, 0.0, SHAPE[0]),
        radius_mm=37.0,
        pixels=np.zeros((*SHAPE, 2), np.float32),
    )


def refused(given: RawWall) -> str:
    """What is told of the light, empty when it is accepted."""
    try:
        accept_light(given, np.ones(SHAPE, np.bool_), settings=SETTINGS)
    except PhotoRefusedError as refusal:
        assert refusal.reason == "other_light"
        return refusal.detail
    return ""


@pytest.mark.parametrize(
    "colours", [(WHITE,), (STRAW,), (BROWN,), (WHITE, STRAW), (WHITE, BROWN, STRAW)]
)
def test_contents_and_growth_have_no_lamp_of_their_own(
    colours: tuple[tuple[float, float, float], ...],
) -> None:
    assert refused(wall(*colours)) == ""


@pytest.mark.parametrize("mould", [PINK, GREEN])
def test_mould_is_no_lamp_while_a_tenth_is_something_else(
    mould: tuple[float, float, float],
) -> None:
    assert refused(wall(*[mould] * 9, WHITE)) == ""
    assert refused(wall(*[mould] * 9, STRAW)) == ""


@pytest.mark.parametrize("hue", list(LAMPS))
@pytest.mark.parametrize("colours", [(WHITE,), (WHITE, STRAW)])
def test_a_lamp_on_the_jar_is_told_by_its_hue(
    hue: str, colours: tuple[tuple[float, float, float], ...]
) -> None:
    seen = wall(*colours)
    lit = replace(seen, linear=seen.linear * np.array(LAMPS[hue], np.float32))
    assert f"looks {hue}" in refused(lit)


def test_the_field_in_a_lamp_of_little_blue_is_no_contents() -> None:
    """Its red then outdoes its green by far more than that of the pinkest mould."""
    field = (0.2, 0.005, 0.1)
    assert "a part of what is in the jar looks pink" in refused(wall(*[STRAW] * 9, field))
    assert refused(wall(*[STRAW] * 9, PINK)) == ""


def test_the_strength_of_the_light_says_nothing_of_its_colour() -> None:
    seen = wall(WHITE, STRAW)
    for gain in (0.3, 1.5):
        assert refused(replace(seen, linear=seen.linear * np.float32(gain))) == ""


def test_where_nothing_is_filled_nothing_is_said() -> None:
    assert wall_tint(wall(PINK), np.zeros(SHAPE, np.bool_)) is None


def test_a_blue_lamp_is_not_taken_for_an_empty_jar() -> None:
    """Contents then exceed in blue as the card's field does; but so do those below the field."""
    seen = wall_of(
        draw(DrawnJar(lid_rgb=GREY)).photo,
        layout=LAYOUT,
        settings=replace(SETTINGS, sight=replace(SETTINGS.sight, field_shows_max=1.0)),
    )
    painted = np.ones_like(seen.wall.linear) * np.float32((0.3, 0.35, 0.8))
    with pytest.raises(PhotoRefusedError) as refusal:
        accept_filled(
            replace(seen.wall, linear=painted), seen.card, layout=LAYOUT, settings=SETTINGS
        )
    assert refusal.value.reason == "other_light"


def test_pale_contents_in_bluish_light_are_contents() -> None:
    """White by 0.8, bluer by a fifth, exceeds the field's own line; its ratio does not."""
    seen = wall_of(draw(DrawnJar(lid_rgb=GREY)).photo, layout=LAYOUT, settings=SETTINGS)
    painted = np.ones_like(seen.wall.linear) * np.float32((0.7, 0.72, 0.85))
    accept_filled(replace(seen.wall, linear=painted), seen.card, layout=LAYOUT, settings=SETTINGS)
