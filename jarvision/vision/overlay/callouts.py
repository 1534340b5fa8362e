"""Labels beside the jar: who stands where, so that none hides another or the jar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from jarvision.records import ByteArray, Float32Array
from jarvision.vision.overlay import strokes

MOST_CALLOUTS: Final = 6  # more hide the jar; the rest are counted in one line


@dataclass(frozen=True)
class Callout:
    """Two lines beside the jar; ``rank`` sorts, the lowest is written first."""

    what: str
    much: str
    points: Float32Array
    colour: strokes.Colour
    rank: tuple[int, float]

    def is_left_of(self, x: float) -> bool:
        """Tell whether the middle of what is named lies left of ``x``."""
        return bool(self.points[:, 0].mean() < x)

    def anchor(self, *, on_left: bool) -> Float32Array:
        """The point that is nearest to the side where the callout stands."""
        x = self.points[:, 0]
        point: Float32Array = self.points[np.argmin(x) if on_left else np.argmax(x)]
        return point


def write_callouts(
    picture: ByteArray, callouts: Sequence[Callout], *, sides: tuple[float, float]
) -> None:
    """Write callouts beside the jar, each joined to its place by a thin line, none over another.

    Parameters
    ----------
    picture
        ``(rows, cols, 3)`` ``uint8``, drawn into.
    sides
        x of the jar's left and right edge, px.
    """
    left, right = sides
    ranked = sorted(callouts, key=lambda callout: callout.rank)
    shown, hidden = ranked[:MOST_CALLOUTS], ranked[MOST_CALLOUTS:]
    for on_left in (True, False):
        side = [
            (callout, callout.anchor(on_left=on_left))
            for callout in shown
            if callout.is_left_of((left + right) / 2) is on_left
        ]
        side.sort(key=lambda pair: float(pair[1][1]))
        tops = spread_out([float(anchor[1]) for _, anchor in side], picture.shape[0])
        for (callout, anchor), y in zip(side, tops, strict=True):
            width = strokes.tag_width(callout.what, callout.much)
            x = max(6.0, left - width - 10) if on_left else right + 10
            x = min(x, picture.shape[1] - width - 6.0)
            near = (x + width if on_left else x, y + strokes.TAG_HEIGHT / 2)
            strokes.leader(picture, anchor, np.array(near, dtype=np.float32), callout.colour)
            strokes.tag(picture, callout.what, callout.much, (int(x), int(y)), callout.colour)
    if hidden:
        note = f"+ {len(hidden)} more"
        strokes.text(picture, note, (10, picture.shape[0] - 14), size=26, cased=True)


def spread_out(anchors: Sequence[float], height: int) -> list[float]:
    """Tops of callouts that stand at their anchors, by y, as far as they fit below each other.

    ``height`` of the picture and all places in px.
    """
    step = strokes.TAG_HEIGHT + 10.0
    tops: list[float] = []
    for anchor in anchors:
        tops.append(max(anchor - strokes.TAG_HEIGHT / 2, tops[-1] + step if tops else 8.0))
    limit = height - strokes.TAG_HEIGHT - 8.0
    for place in reversed(range(len(tops))):
        tops[place] = min(tops[place], limit)
        limit = tops[place] - step
    return tops
