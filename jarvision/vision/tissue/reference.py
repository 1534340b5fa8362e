"""The jar's own bare look, and what of it the tissue network sees at every place.

A network that knows thousands of contents still cannot say whether pale stuff behind glass is rice
or growth. A photo of the same jar before anything grew can: what has one of those colours is bare.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.records import BoolArray, Float32Array

COLOURS = 12
"""Typical colours of bare contents that a look holds."""

CHANNELS = 6
"""Distance to the nearest colour, three differences to their mean, spread, known or not."""

_ROUNDS = 4
_LEAST = 200
_STRONGEST = np.float32(3.0)


@dataclass(frozen=True)
class ReferenceLook:
    """Bare contents of one jar.

    Attributes
    ----------
    colours
        ``(COLOURS, 3)`` in the network's three logs (:mod:`jarvision.vision.tissue.inputs`):
        luminance, red over green and blue over green, brought near -1 to 1.
    spread
        Standard deviation of the first log over the bare places.
    source
        Where it is from, in a word or two: ``first photo``, ``batch``, ``bare contents``.
    """

    colours: Float32Array
    spread: float
    source: str = "first photo"


def look_of(logs: Float32Array, bare: BoolArray, *, source: str) -> ReferenceLook | None:
    """Take the look from a photo of the jar; None when too few places are bare.

    Parameters
    ----------
    logs
        ``(3, rows, cols)``, the first channels of the network's inputs.
    bare
        ``(rows, cols)`` where contents are bare and seen.
    source
        See :class:`ReferenceLook`.
    """
    places = logs[:, bare].T
    if len(places) < _LEAST:
        return None
    some = places[:: max(1, len(places) // 4096)].astype(np.float32)
    order = np.argsort(some[:, 0], kind="stable")
    centres = some[order[np.linspace(0, len(some) - 1, COLOURS + 2).astype(int)[1:-1]]]
    for _ in range(_ROUNDS):  # k-means from places in order of their brightness
        nearest = _squares(some.T, centres).argmin(axis=0)
        for k in range(COLOURS):
            mine = some[nearest == k]
            if len(mine):
                centres[k] = mine.mean(axis=0)
    return ReferenceLook(centres, float(some[:, 0].std()), source)


def reference_channels(logs: Float32Array, look: ReferenceLook | None) -> Float32Array:
    """Channels ``(CHANNELS, rows, cols)`` for the network; all zero without a look.

    Distance d to the nearest colour as d / (1 + d); differences to the mean colour, at most 3
    either way; the look's spread; and 1 everywhere.
    """
    channels = np.zeros((CHANNELS, *logs.shape[1:]), np.float32)
    if look is None:
        return channels
    flat = logs.reshape(3, -1)
    nearest = np.asarray(cv2.sqrt(np.maximum(_squares(flat, look.colours).min(axis=0), 0.0)))
    nearest = nearest.reshape(logs.shape[1:])
    np.divide(nearest, 1.0 + nearest, out=channels[0])
    np.subtract(logs, look.colours.mean(axis=0)[:, None, None], out=channels[1:4])
    np.clip(channels[1:4], -_STRONGEST, _STRONGEST, out=channels[1:4])
    channels[4], channels[5] = look.spread, 1.0
    return channels


def with_reference(channels: Float32Array, look: ReferenceLook | None) -> Float32Array:
    """The network's inputs, with what the look says of them behind."""
    return np.concatenate([channels, reference_channels(channels[:3], look)])


def _squares(places: Float32Array, centres: Float32Array) -> Float32Array:
    """Squared distances ``(centres, places)`` of places ``(3, n)`` from centres ``(k, 3)``."""
    inner = (np.float32(-2.0) * centres) @ places
    inner += (centres * centres).sum(axis=1)[:, None]
    inner += (places * places).sum(axis=0)
    return np.asarray(inner, np.float32)
