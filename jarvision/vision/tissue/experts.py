"""Which network is believed: the specialist on contents that it knows, else mostly the two others.

A network is as sure of itself on contents that it never saw as on others, so it cannot say itself
how far to trust it. The look of the bare contents can (:mod:`jarvision.vision.tissue.novelty`).
Opinions are mixed by their logits, that is, by the products of their odds (logarithmic opinion
pool: Genest and Zidek 1986, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from typing import Final

import cv2
import numpy as np

from jarvision.records import BareLook, BoolArray, Float32Array, RawWall, TissueClass
from jarvision.vision.tissue.network import (
    CLASSES,
    COVER,
    LOG_ERROR,
    Expert,
    Seen,
    chances,
    run_network,
    told_by,
)
from jarvision.vision.tissue.novelty import novelty_of
from jarvision.vision.tissue.reference import with_reference

KNOWN_WITHIN: Final = 2.1
STRANGE_FROM: Final = 3.1
"""Distance of a look from the nearest known one up to which the specialist is believed alone, and
from which on the generalist leads: half, and nine of ten of the jars that it learned from lie
within these."""

LOST_FROM: Final = 10.0
SAY_OF_THE_SPECIALIST: Final = (1.0, 0.5, 0.0)
"""Weight of the specialist's logits up to ``KNOWN_WITHIN``, at ``STRANGE_FROM`` and from
``LOST_FROM`` on, straight lines between: on contents that are only
strange it still knows glass, fog and dense growth best; far from all it knows it took bare pale
sawdust for growth so loudly that nobody could outvote it."""

SAY_OF_THE_OTHERS: Final[dict[Expert, float]] = {"generalist": 1.5, "naturalist": 0.5}
"""Weights of their logits on strange contents. At even weights families left out were read as well,
but on gravel smooth round white colonies, which the naturalist alone takes for stones, 16 points
too low."""

_NEITHER: Final = [
    kind
    for kind in TissueClass
    if kind not in {TissueClass.OUTSIDE, TissueClass.BARE, TissueClass.MYCELIUM}
]

LOUDEST: Final = 10.0
"""Logits are cut here before they are mixed: nothing is surer than 1 in 20,000."""

_LOG_ERROR_LIMITS = (-6.5, 0.0)  # as in training: a seventh of a point to all of the wall


@dataclass(frozen=True)
class Opinion:
    """What the networks say of a wall together.

    Attributes
    ----------
    seen
        The mixed opinion.
    novelty
        How unlike the known ones the bare contents look; None where too little of them shows.
    forecast_points
        Error of the coverage that generalist and naturalist expect, as far as it counts.
    dispute_points
        How far apart the coverages are that these two say, as far as it counts.
    """

    seen: Seen
    novelty: float | None
    forecast_points: float = 0.0
    dispute_points: float = 0.0


def consult(
    raw: RawWall,
    channels: Float32Array,
    first: Float32Array,
    filled: BoolArray,
    *,
    bare: BareLook | None,
) -> Opinion:
    """Ask generalist and naturalist where the contents are strange, and mix what all say.

    Parameters
    ----------
    channels
        Inputs of the specialist, padded.
    first
        Its logits ``(outputs, rows, cols)``, as large as the wall; they are used up.
    filled
        ``(rows, cols)`` where contents stand.
    bare
        What this jar's contents look like where nothing grows; None: not known.
    """
    found = _bare_places(first) & filled
    novelty = bare.novelty if bare else novelty_of(raw, found)
    if not filled.any() or (novelty is not None and novelty <= KNOWN_WITHIN):
        return Opinion(told_by(first), novelty)
    rows, cols = filled.shape
    inputs = with_reference(channels, bare)
    others = [run_network(expert, inputs) for expert in SAY_OF_THE_OTHERS]
    second = _pooled(others)[:, :rows, :cols]
    dispute = _dispute_points([logits[:, :rows, :cols] for logits in others], filled)
    del others  # eight megabytes each
    if novelty is None or bare is None:
        novelty = _shared_novelty(raw, found, _bare_places(second) & filled)
    strange = strangeness(novelty)
    error = np.clip(second[LOG_ERROR][filled].mean(), *_LOG_ERROR_LIMITS)
    return Opinion(
        seen=told_by(_mixed(first, second, novelty)),
        novelty=novelty,
        forecast_points=100.0 * strange * float(np.exp(error)),
        dispute_points=strange * dispute,
    )


def _dispute_points(others: list[Float32Array], filled: BoolArray) -> float:
    """How far apart the coverages are that the others say, points."""
    percents = [100.0 * float(chances(one[COVER][filled]).mean()) for one in others]
    return max(percents) - min(percents)


def strangeness(novelty: float | None) -> float:
    """How far the others are believed, 0 to 1; 0 where no bare contents show to be mistaken."""
    if novelty is None:
        return 0.0
    return float(np.clip((novelty - KNOWN_WITHIN) / (STRANGE_FROM - KNOWN_WITHIN), 0.0, 1.0))


def _pooled(others: list[Float32Array]) -> Float32Array:
    """The logits of the others together, by their weights."""
    says = np.fromiter(SAY_OF_THE_OTHERS.values(), np.float32)
    first, second = (logits.reshape(len(logits), -1) for logits in others)
    share, rest = (float(say) for say in says / says.sum())
    pooled = cv2.addWeighted(first, share, second, rest, 0.0)
    return np.asarray(pooled, dtype=np.float32).reshape(others[0].shape)


def _bare_places(logits: Float32Array) -> BoolArray:
    """Where bare or grown is likelier than any other class but OUTSIDE, and not covered."""
    plain = np.maximum(logits[TissueClass.BARE], logits[TissueClass.MYCELIUM])
    rest = reduce(np.maximum, (logits[kind] for kind in _NEITHER))
    return np.asarray((plain > rest) & (logits[COVER] < 0.0))


def _shared_novelty(raw: RawWall, one: BoolArray, other: BoolArray) -> float | None:
    """Novelty of what all call bare, else of what generalist and naturalist alone do.

    The specialist takes strange contents for growth.
    """
    both = novelty_of(raw, other & one)
    return novelty_of(raw, other) if both is None else both


def _mixed(first: Float32Array, second: Float32Array, novelty: float | None) -> Float32Array:
    """The specialist's logits and those of the others together, as strange as the contents are.

    Black mould is the others' alone: an airy turf over contents that the specialist does not
    know looks to it like thin growth, so it would outvote who sees it.
    """
    shares = (
        _say_of_the_specialist(novelty),
        sum(SAY_OF_THE_OTHERS.values()) * strangeness(novelty),
    )
    said = [_comparable(logits[: len(first)]) for logits in (first, second)]
    flat = [logits.reshape(len(first), -1) for logits in said]
    summed = cv2.addWeighted(flat[0], shares[0], flat[1], shares[1], 0.0)
    mixed = np.asarray(summed, dtype=np.float32).reshape(first.shape)
    rest = reduce(np.maximum, (second[kind] for kind in TissueClass if kind != TissueClass.BLACK))
    black = second[TissueClass.BLACK] > rest
    if black.any():
        np.copyto(mixed, said[1], where=black)
    return mixed


def _say_of_the_specialist(novelty: float | None) -> float:
    far = (KNOWN_WITHIN, STRANGE_FROM, LOST_FROM)
    return 1.0 if novelty is None else float(np.interp(novelty, far, SAY_OF_THE_SPECIALIST))


def _comparable(logits: Float32Array) -> Float32Array:
    """Logits in which the likeliest class has 0 and none is louder than :data:`LOUDEST`."""
    said = logits.copy()
    said[:CLASSES] -= said[:CLASSES].max(axis=0)
    return np.clip(said, -LOUDEST, LOUDEST, out=said)
