"""Is the card alone in a photo? A jar before its field tints what the camera makes of the rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import CardFit, Photo
from jarvision.vision.card.find import read_swatches
from jarvision.vision.card.layout import CardLayout, Swatch

BOXES = (9, 11)
"""Places of the field that are looked at, across and down: some 13 mm apart."""

BOX_MM = 4.0

LESS_BLUE_MAX = 0.4
"""A place is the field where the log ratio of blue to the mean of red and green lies so little
below that of the bluest places. The field is printed with one of about 1.0 all over, whatever the
inks; white, grain and straw lie below 0, bluish moulds below 0.45."""

BLUEST_QUANTILE = 0.95

HIDDEN_SHARE_MAX = 0.05
"""Of the places, so few may be something else: a mirrored lamp, a crumb. A jar hides 30 to 55 % on
the sample photos and on those of another renderer (told with a like rule, and in view when this
was set), the bare card none."""

_DARKEST = 1e-4  # floor of a logarithm, linear


def accept_alone(photo: Photo, card: CardFit, *, layout: CardLayout) -> None:
    """Raise unless all of the card's field is in view.

    Raises
    ------
    PhotoRefusedError
        ``card_hidden``: something stands before it.
    """
    boxes = replace(layout, swatches=_boxes(layout))
    seen = np.maximum(read_swatches(photo.rgb, card, layout=boxes).linear, _DARKEST)
    blue = np.log(seen[:, 2]) - np.log(0.5 * (seen[:, 0] + seen[:, 1]))
    hidden = float(np.mean(blue < np.quantile(blue, BLUEST_QUANTILE) - LESS_BLUE_MAX))
    if hidden > HIDDEN_SHARE_MAX:
        raise PhotoRefusedError(
            "card_hidden",
            f"something hides {hidden:.0%} of the card's blue field: no jar may stand before it",
        )


def _boxes(layout: CardLayout) -> tuple[Swatch, ...]:
    """Small squares all over the field, none at its edge."""
    field = layout.field
    across, down = BOXES
    return tuple(
        Swatch(
            field.x_mm + (column + 0.5) / across * field.width_mm - BOX_MM / 2,
            field.y_mm + (row + 0.5) / down * field.height_mm - BOX_MM / 2,
            BOX_MM,
            BOX_MM,
            name=f"field-{row}-{column}",
            role="primary",
            lab=field.lab,
        )
        for row in range(down)
        for column in range(across)
    )
