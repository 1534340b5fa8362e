"""Fruit bodies seen from above, drawn over the photo: each in its outline, the largest named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from jarvision.records import ByteArray, Float32Array
from jarvision.records.surface import FruitKind
from jarvision.vision.overlay import strokes
from jarvision.vision.overlay.callouts import Callout
from jarvision.vision.overlay.places import PictureFrame

_RANK: Final = 0  # named before bare places and what was not judged
_WIDTHS: Final[dict[FruitKind, int]] = {"pin": 2, "cap": 4}
_LARGEST: Final[dict[FruitKind, str]] = {"pin": "largest pin", "cap": "largest cap"}


@dataclass(frozen=True)
class Body:
    """A pin or cap: its closed outline ``(k, 2)`` in photo pixels, and its diameter."""

    kind: FruitKind
    outline_px: Float32Array
    diameter_mm: float


def draw_bodies(
    picture: ByteArray, bodies: Sequence[Body], *, frame: PictureFrame
) -> list[Callout]:
    """Draw all into a picture; callouts of the largest pin and cap, with how many there are."""
    named = []
    for kind, width in _WIDTHS.items():
        own = [body for body in bodies if body.kind == kind]
        places = [frame.place(body.outline_px) for body in own]
        for place in places:
            strokes.outline(picture, place, strokes.JAR, width=width)
        if own:
            largest = max(range(len(own)), key=lambda at: own[at].diameter_mm)
            much = f"{own[largest].diameter_mm:.0f} mm, of {len(own)}"
            place = places[largest]
            named.append(Callout(_LARGEST[kind], much, place, strokes.JAR, (_RANK, 0.0)))
    return named
