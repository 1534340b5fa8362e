"""Wall -> Tissue: what stands at every place, by a trained network on colour and texture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import Photo, Tissue, TissueClass, Wall
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.jar.unroll import burnt_out
from jarvision.vision.tissue.fill import find_contents
from jarvision.vision.tissue.inputs import network_inputs
from jarvision.vision.tissue.masks import mask_glare, mask_groove
from jarvision.vision.tissue.network import MULTIPLE, run_network

EVEN_CHANCE = 0.5
"""Bare or grown: the likelier of the two."""


@dataclass(frozen=True)
class Classified:
    """The wall cut at its floor, with ``filled`` and ``judged`` set, and its tissue."""

    wall: Wall
    tissue: Tissue


def classify(wall: Wall, photo: Photo, *, settings: PhotoSettings) -> Classified:
    """Find the contents on the wall and say what stands at every place of them."""
    burnt = burnt_out(wall, photo, settings=settings.masks)
    channels = network_inputs(wall, burnt, multiple=MULTIPLE)
    seen = run_network(channels, shape=burnt.shape)
    contents = find_contents(wall, seen.empty, settings=settings.jar)
    # Under the fill line nothing is empty glass: the best of the other classes.
    classes = seen.best.copy()
    plain = (classes == TissueClass.BARE) | (classes == TissueClass.MYCELIUM)
    grown = seen.covered >= EVEN_CHANCE
    classes[plain] = np.where(grown[plain], TissueClass.MYCELIUM, TissueClass.BARE)
    # Bare and growth are parted by the cover alone, and so is the chance of either.
    parted = seen.plain * np.where(grown, seen.covered, 1.0 - seen.covered)
    certainty = np.where(plain, parted, seen.share)
    classes[~contents.filled] = TissueClass.OUTSIDE
    step_mm = float(wall.heights_mm[0] - wall.heights_mm[1])
    classes = mask_glare(classes, burnt, step_mm=step_mm, settings=settings.masks)
    classes = mask_groove(classes, wall, settings=settings.masks)
    rows = slice(0, contents.floor_row)
    floor_mm = float(wall.heights_mm[contents.floor_row - 1]) - step_mm / 2
    return Classified(
        wall=Wall(
            linear=wall.linear[rows],
            angles_deg=wall.angles_deg,
            heights_mm=wall.heights_mm[rows] - floor_mm,
            radius_mm=wall.radius_mm,
            filled=contents.filled[rows],
            judged=classes[rows] > TissueClass.UNJUDGED,
            pixels=wall.pixels[rows],
            groove_mm=None if wall.groove_mm is None else wall.groove_mm - floor_mm,
            line_sd_mm=contents.line_sd_mm,
            floor_sd_mm=contents.floor_sd_mm,
        ),
        tissue=Tissue(
            classes=classes[rows],
            opacity=np.where(contents.filled, seen.opacity, np.float32(0.0))[rows],
            covered=np.where(contents.filled, seen.covered, np.float32(0.0))[rows],
            certainty=certainty[rows],
            caps=seen.caps[rows],
        ),
    )
