"""Refuse photos that would give a wrong coverage, with the reason that helps most.

The limits and what they were measured from stand in :class:`AcceptanceSettings` of
:mod:`jarvision.settings.acceptance`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import BoolArray, CardFit, ColourFit, Photo, RawWall, SwatchReadings, Wall
from jarvision.settings.acceptance import AcceptanceSettings
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.jar.unroll import burnt_out
from jarvision.vision.quality.figures import (
    CardQuality,
    count_clipped,
    hidden_swatches,
    measure_card,
)
from jarvision.vision.quality.glare import glare_share
from jarvision.vision.quality.jar_focus import jar_blur_mm
from jarvision.vision.quality.jar_light import wall_tint
from jarvision.vision.quality.seen_through import (
    below_field,
    field_shows,
    field_within,
    reach_field,
)

_EVERY = 4
"""Every fourth row and column of the wall tell whether half as much is burnt out as may be."""


def accept_card(
    photo: Photo,
    card: CardFit,
    swatches: SwatchReadings,
    paper: SwatchReadings,
    *,
    layout: CardLayout,
    settings: PhotoSettings,
) -> CardQuality:
    """Check size, view, sharpness, exposure, light and print, in the order to put them right.

    Raises
    ------
    PhotoRefusedError
        ``compressed``, ``too_small``, ``oblique``, ``blurred``, ``overexposed``, ``underexposed``,
        ``uneven_light``, ``mixed_light``, ``faded_card`` or ``print_size``.
    """
    _check_file(photo, settings.acceptance)
    quality = measure_card(photo.rgb, card, swatches, paper, layout=layout, settings=settings)
    limits = settings.acceptance
    _check_view(quality, limits)
    _check_exposure(quality, limits)
    _check_light(quality, limits)
    if quality.black > limits.black_max:
        raise PhotoRefusedError(
            "faded_card", f"the card's black has {quality.black:.0%} of the light of its paper"
        )
    told = print_size_note(quality, beyond=limits.print_off_max)
    if told:
        raise PhotoRefusedError("print_size", told)
    return quality


def print_size_note(quality: CardQuality, *, beyond: float) -> str:
    """What the page's edges say against the size the card is taken for; empty up to ``beyond``."""
    scale = quality.print_scale
    if scale is None or abs(scale - 1.0) <= beyond:
        return ""
    return (
        f"by the edges of its page the card is printed at {scale:.1%} of the size it is taken for"
    )


def accept_filled(
    wall: RawWall, card: CardFit, *, layout: CardLayout, settings: PhotoSettings
) -> None:
    """Check that something stands in the jar, and on its floor.

    Raises
    ------
    PhotoRefusedError
        ``no_contents``, or ``other_light`` where a blue lamp makes contents look like the field.
    """
    shows = field_shows(wall, card, layout=layout, settings=settings.sight)
    if shows > settings.sight.field_shows_max:
        accept_light(wall, below_field(wall, card, layout=layout), settings=settings)
        raise PhotoRefusedError(
            "no_contents", f"the card's field shows through {shows:.0%} of the wall at its foot"
        )


def accept_upright(
    wall: Wall, card: CardFit, *, layout: CardLayout, settings: PhotoSettings
) -> None:
    """Check that there is no empty glass among or under the contents, nor all of them glass.

    Raises
    ------
    PhotoRefusedError
        ``no_contents``, or ``not_enough_seen`` where fog or a label hides what stands there.
    """
    reach = reach_field(wall, card, layout=layout)
    if reach < settings.sight.field_reach_min:
        accept_seen(100.0 * float(wall.judged[wall.filled].mean()), settings=settings)
        raise PhotoRefusedError(
            "no_contents",
            f"contents are seen above the foot of the card's field over {reach:.0%} of their width",
        )
    shows = field_within(wall, layout=layout, settings=settings.sight)
    if shows > settings.sight.field_shows_max:
        raise PhotoRefusedError(
            "no_contents", f"the card's field shows through {shows:.0%} of the wall under the top"
        )


def accept_seen(percent: float, *, settings: PhotoSettings) -> None:
    """Check that enough of the contents can be judged, percent.

    Raises
    ------
    PhotoRefusedError
        ``not_enough_seen``.
    """
    if percent < settings.coverage.seen_min_percent:
        raise PhotoRefusedError(
            "not_enough_seen", f"only {percent:.0f} % of the wall can be judged"
        )


def accept_light(wall: RawWall, contents: BoolArray, *, settings: PhotoSettings) -> None:
    """Check that the contents ``(rows, cols)`` stand in the card's light, and in no lamp's own.

    Raises
    ------
    PhotoRefusedError
        ``other_light``.
    """
    tint = wall_tint(wall, contents)
    if tint is None:
        return
    limits = settings.sight
    for hue, cast, most in (
        ("pink", tint.pink[0], limits.pink_cast_max),
        ("green", -tint.pink[1], limits.green_cast_max),
        ("amber", -tint.blue[1], limits.amber_cast_max),
        ("blue", tint.blue[0], limits.blue_cast_max),
    ):
        if cast > most:
            raise PhotoRefusedError(
                "other_light",
                f"everything in the jar looks {hue}: a ratio of {np.exp(cast):.2f}, at most "
                f"{np.exp(most):.2f} is known of contents",
            )
    if tint.pink[1] > limits.pink_part_max:
        raise PhotoRefusedError(
            "other_light",
            f"a part of what is in the jar looks pink: a ratio of {np.exp(tint.pink[1]):.1f}, at "
            f"most {np.exp(limits.pink_part_max):.1f} can be contents or mould",
        )


def accept_focus(wall: Wall, *, settings: PhotoSettings) -> None:
    """Check that the jar is in focus, whatever the card is; a wall that does not tell passes.

    Raises
    ------
    PhotoRefusedError
        ``blurred``.
    """
    blur = jar_blur_mm(wall)
    most = settings.sight.jar_blur_max_mm
    if blur > most:
        raise PhotoRefusedError(
            "blurred", f"the jar is blurred by {blur:.2f} mm, at most {most:.2f} mm can be used"
        )


def accept_wall(
    photo: Photo,
    wall: RawWall,
    swatches: SwatchReadings,
    colour: ColourFit,
    *,
    settings: PhotoSettings,
) -> None:
    """Check what stands before the card, and glare on the jar.

    Raises
    ------
    PhotoRefusedError
        ``card_hidden``, ``glare`` or ``overexposed``.
    """
    limits = settings.acceptance
    hidden = hidden_swatches(swatches, colour, settings=settings)
    count = int(np.count_nonzero(hidden))
    if count > limits.hidden_swatches_max:
        names = ", ".join(np.array(swatches.names)[hidden][:3])
        raise PhotoRefusedError(
            "card_hidden",
            f"{count} of {hidden.size} swatches look wrong ({names}, ...)",
        )
    sparse = replace(wall, pixels=np.ascontiguousarray(wall.pixels[::_EVERY, ::_EVERY]))
    if 200.0 * burnt_out(sparse, photo, settings=settings.masks).mean() < limits.glare_max_percent:
        return  # a spot of glare is burnt out: there is not enough of it
    glare = 100.0 * glare_share(wall, photo, settings=settings)
    if glare > limits.glare_max_percent:
        # where the card burns out too, it is the whole photo that is too bright
        reason = "overexposed" if count_clipped(swatches, settings=settings) else "glare"
        raise PhotoRefusedError(reason, f"{glare:.0f} % of the jar's wall is burnt out")


def _check_file(photo: Photo, limits: AcceptanceSettings) -> None:
    if photo.colour_step > limits.colour_step_max:
        raise PhotoRefusedError(
            "compressed",
            f"the file keeps colours in steps of {photo.colour_step:.0f} of 255 levels,"
            f" at most {limits.colour_step_max:.0f} can be used",
        )


def _check_view(quality: CardQuality, limits: AcceptanceSettings) -> None:
    if quality.px_per_mm < limits.px_per_mm_min:
        raise PhotoRefusedError(
            "too_small",
            f"{quality.px_per_mm:.1f} pixels a mm on the card, {limits.px_per_mm_min:.1f} needed",
        )
    across, down = quality.oblique_deg
    if np.hypot(across, down) > limits.oblique_max_deg:
        from_where = (
            f"from the {'right' if across > 0.0 else 'left'}"
            if abs(across) > abs(down)
            else f"from {'below' if down > 0.0 else 'above'}"
        )
        raise PhotoRefusedError(
            "oblique", f"taken {max(abs(across), abs(down)):.0f} degrees {from_where}"
        )
    rise = quality.sharpness.rise_mm
    if rise > limits.edge_rise_max_mm:
        raise PhotoRefusedError(
            "blurred",
            f"edges of the card are {rise:.2f} mm wide, at most {limits.edge_rise_max_mm:.2f} mm "
            "can be used",
        )


def _check_exposure(quality: CardQuality, limits: AcceptanceSettings) -> None:
    if quality.white_clipped > limits.white_clipped_max:
        raise PhotoRefusedError("overexposed", "every white swatch of the card is burnt out")
    if quality.clipped_swatches > limits.clipped_swatches_max:
        raise PhotoRefusedError(
            "overexposed", f"{quality.clipped_swatches} swatches of the card are burnt out"
        )
    if quality.white_level < limits.white_level_min:
        raise PhotoRefusedError(
            "underexposed",
            f"the card's white reaches only {quality.white_level:.0%} of the full signal",
        )
    if quality.noise > limits.noise_max:
        raise PhotoRefusedError(
            "underexposed",
            f"plain colours vary by {quality.noise:.0%}: the camera had little light",
        )


def _check_light(quality: CardQuality, limits: AcceptanceSettings) -> None:
    even = quality.evenness
    if even is None:
        return
    if even.ratio > limits.light_ratio_max:
        sideways = abs(even.strength[0]) > abs(even.strength[1])
        names = ("left", "right") if sideways else ("top", "bottom")
        rising = even.strength[0 if sideways else 1] > 0.0
        bright, dark = names[::-1] if rising else names
        raise PhotoRefusedError(
            "uneven_light", f"the card's {bright} is {even.ratio:.1f} times as bright as its {dark}"
        )
    if even.tint_ratio > limits.tint_ratio_max:
        raise PhotoRefusedError(
            "mixed_light",
            f"the colour of the light changes by a factor of {even.tint_ratio:.2f} over the card",
        )
