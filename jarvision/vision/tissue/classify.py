"""RawWall -> Wall, Tissue: what stands at every place, by a network on colour and texture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import (
    BareLook,
    Photo,
    RawWall,
    Tissue,
    TissueClass,
    Wall,
)
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.jar.unroll import burnt_out
from jarvision.vision.tissue.experts import consult
from jarvision.vision.tissue.fill import find_contents
from jarvision.vision.tissue.inputs import network_inputs
from jarvision.vision.tissue.labels import find_labels
from jarvision.vision.tissue.masks import mask_glare, mask_groove
from jarvision.vision.tissue.network import MULTIPLE, chances_of, run_network
from jarvision.vision.tissue.outshone import outshone_points
from jarvision.vision.tissue.veil import (
    find_veil,
    less_head_down,
    look_head_down,
    with_hidden_beside,
)

EVEN_CHANCE = 0.5
"""Bare or grown: the likelier of the two."""


@dataclass(frozen=True)
class Classified:
    """The wall cut at its floor, with ``filled`` and ``judged`` set, and its tissue."""

    wall: Wall
    tissue: Tissue


def classify(
    raw: RawWall, photo: Photo, *, settings: PhotoSettings, bare: BareLook | None = None
) -> Classified:
    """Find the contents on the wall and say what stands at every place of them.

    ``bare`` is what this jar's contents look like where nothing grows; None: not known.
    """
    burnt = burnt_out(raw, photo, settings=settings.masks)
    channels = network_inputs(raw, burnt, multiple=MULTIPLE)
    rows, cols = burnt.shape
    first = run_network("specialist", channels)[:, :rows, :cols]
    empty, upright = chances_of(first, TissueClass.OUTSIDE, TissueClass.UNJUDGED)
    contents = find_contents(raw, empty, settings=settings.jar)
    opinion = consult(raw, channels, first, contents.filled, bare=bare)
    seen = opinion.seen
    # Under the fill line nothing is empty glass: the best of the other classes.
    classes = seen.best.copy()
    plain = (classes == TissueClass.BARE) | (classes == TissueClass.MYCELIUM)
    grown = seen.covered >= EVEN_CHANCE
    classes[plain] = np.where(grown[plain], TissueClass.MYCELIUM, TissueClass.BARE)
    # Bare and growth are parted by the cover alone, and so is the chance of either.
    parted = seen.plain * np.where(grown, seen.covered, 1.0 - seen.covered)
    certainty = np.where(plain, parted, seen.share)
    classes[~contents.filled] = TissueClass.OUTSIDE
    classes = mask_glare(classes, burnt, step_mm=raw.step_mm, settings=settings.masks)
    classes = mask_groove(classes, raw, settings=settings.masks)
    stuck = find_labels(raw, contents.filled, settings=settings.label)
    veiled = stuck & (classes > TissueClass.UNJUDGED)
    doubted, less, more = np.zeros_like(veiled), 0.0, 0.0
    said = look_head_down(channels, upright, contents.filled)
    if said is not None:
        veil = find_veil(raw, said, classes, contents.filled, settings=settings.veil)
        veiled = with_hidden_beside(veiled | veil.hidden, seen.best, contents.filled)
        doubted = veil.doubted & ~veiled
        less = less_head_down(seen.covered, said, contents.filled, ~(veiled | doubted))
        more = outshone_points(
            raw, classes, seen.covered, contents.filled, doubted, settings=settings.veil
        )
    classes[veiled] = TissueClass.UNJUDGED
    inside = slice(0, contents.floor_row)
    return Classified(
        wall=raw.with_contents(
            floor_row=contents.floor_row,
            filled=contents.filled,
            judged=classes > TissueClass.UNJUDGED,
            line_sd_mm=contents.line_sd_mm,
            floor_sd_mm=contents.floor_sd_mm,
        ),
        tissue=Tissue(
            classes=classes[inside],
            opacity=np.where(contents.filled, seen.opacity, np.float32(0.0))[inside],
            covered=np.where(contents.filled, seen.covered, np.float32(0.0))[inside],
            certainty=certainty[inside],
            caps=seen.caps[inside],
            novelty=opinion.novelty,
            forecast_points=opinion.forecast_points,
            dispute_points=opinion.dispute_points,
            look_known=bare is not None,
            veiled=veiled[inside] if veiled.any() else None,
            doubted=doubted[inside] if doubted.any() else None,
            less_head_down_points=less,
            outshone_points=more,
        ),
    )
