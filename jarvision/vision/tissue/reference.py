"""The jar's own bare look, and what of it the tissue network sees at every place.

A network that knows thousands of contents still cannot say whether pale stuff behind glass is rice
or growth. A photo of the same jar before anything grew can: what has one of those colours is bare.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import cv2
import numpy as np

from jarvision.records import BareLook, BoolArray, Float32Array, Tissue, TissueClass, Wall
from jarvision.vision.tissue.inputs import colour_logs
from jarvision.vision.tissue.novelty import novelty_of

COLOURS: Final = 12
"""Typical colours of bare contents that a look holds."""

REFERENCE_CHANNELS: Final = 6
"""Distance to the nearest colour, three differences to their mean, spread, known or not."""

BARE_AT_MOST: Final = 0.2
"""Chance of growth up to which a place teaches the bare look: growth among it would be learned as
bare, while bare places left out cost nothing."""

LEAST_CM2: Final = 8.0
"""Less than this, some forty kernels, does not show how contents differ among themselves."""

_ROUNDS = 4
_SAMPLE = 4096
_STRONGEST = np.float32(3.0)


def bare_look_of(wall: Wall, tissue: Tissue, *, nothing_grown: bool = False) -> BareLook | None:
    """What the contents look like where nothing grows; None where too little of them shows.

    ``nothing_grown``: the grower says so of the whole jar; else what is called bare is learned.
    """
    bare = wall.judged & wall.filled
    if not nothing_grown:
        bare &= (tissue.classes == TissueClass.BARE) & (tissue.covered <= BARE_AT_MOST)
    area_cm2 = float(np.count_nonzero(bare)) * wall.cell_cm2
    if area_cm2 < LEAST_CM2:
        return None
    look = look_of(colour_logs(wall.linear), bare, area_cm2)
    return replace(look, novelty=novelty_of(wall, bare) if nothing_grown else tissue.novelty)


def look_of(logs: Float32Array, bare: BoolArray, area_cm2: float) -> BareLook:
    """The look of the places ``bare`` ``(rows, cols)`` in the logs ``(3, rows, cols)``.

    Typical colours are the centres of k-means (MacQueen 1967, from memory), begun with places in
    order of their light, so that the same photo always gives the same look.
    """
    places = logs[:, bare].T
    some = places[:: max(1, len(places) // _SAMPLE)].astype(np.float32)
    order = np.argsort(some[:, 0], kind="stable")
    centres = some[order[np.linspace(0, len(some) - 1, COLOURS + 2).astype(int)[1:-1]]]
    for _ in range(_ROUNDS):
        nearest = _squares(some.T, centres).argmin(axis=0)
        for k in range(COLOURS):
            mine = some[nearest == k]
            if len(mine):
                centres[k] = mine.mean(axis=0)
    colours = tuple((float(a), float(b), float(c)) for a, b, c in centres)
    return BareLook(colours, float(some[:, 0].std()), area_cm2)


def reference_channels(logs: Float32Array, look: BareLook | None) -> Float32Array:
    """Channels ``(6, rows, cols)`` for the network; all zero without a look.

    Distance d to the nearest colour as d / (1 + d); differences to the mean colour, at most 3
    either way; the look's spread; and 1 everywhere.
    """
    channels = np.zeros((REFERENCE_CHANNELS, *logs.shape[1:]), np.float32)
    if look is None:
        return channels
    colours = np.array(look.colours, np.float32)
    squares = _squares(logs.reshape(3, -1), colours).min(axis=0)
    nearest = np.asarray(cv2.sqrt(np.maximum(squares, 0.0))).reshape(logs.shape[1:])
    np.divide(nearest, 1.0 + nearest, out=channels[0])
    np.subtract(logs, colours.mean(axis=0)[:, None, None], out=channels[1:4])
    np.clip(channels[1:4], -_STRONGEST, _STRONGEST, out=channels[1:4])
    channels[4], channels[5] = look.spread, 1.0
    return channels


def with_reference(channels: Float32Array, look: BareLook | None) -> Float32Array:
    """The network's inputs ``(7, rows, cols)``, and behind them what the look says of them."""
    return np.concatenate([channels, reference_channels(channels[:3], look)])


def _squares(places: Float32Array, centres: Float32Array) -> Float32Array:
    """Squared distances ``(centres, places)`` of places ``(3, n)`` from centres ``(k, 3)``."""
    inner = np.asarray((-2.0 * centres) @ places, dtype=np.float32)
    inner += (centres * centres).sum(axis=1)[:, None]
    inner += (places * places).sum(axis=0)
    return inner
