"""What the network, the floor and the masks make of one wall together."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from painting import painted, photo_of
from walls import CELL_MM

from jarvision.records import TissueClass, Wall
from jarvision.settings.tissue import CoverageSettings
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.tissue import classify as joining
from jarvision.vision.tissue.classify import Classified, classify
from jarvision.vision.tissue.coverage import measure_coverage
from jarvision.vision.tissue.experts import Opinion
from jarvision.vision.tissue.fill import fill_height_mm
from jarvision.vision.tissue.veil import Veil

GROOVE_MM = 60.0
FLOOR_MM = 3.0
LAMP = np.s_[150:190, 60:100]
FOG = np.s_[150:250, 150:200]
BESIDE = np.s_[160:200, 200:210]
DOUBTED = np.s_[200:230, 60:100]
TURNED = np.s_[265:295, 20:50]


@cache
def joined() -> tuple[Wall, Classified, Opinion]:
    """A half grown wall with a mirrored lamp, a groove and fog: as it went in, came out, and why.

    The glass floor lies ``FLOOR_MM`` above the lowest row; fog is told by a stand-in.
    """
    wall, _ = painted(6.0)
    wall = replace(wall, heights_mm=wall.heights_mm - FLOOR_MM, groove_mm=GROOVE_MM)
    grey = np.full((*wall.filled.shape, 3), 128, dtype=np.uint8)
    grey[LAMP] = 255
    heard: list[Opinion] = []

    def consult(*args: object, **more: object) -> Opinion:
        heard.append(consulted(*args, **more))  # type: ignore[arg-type]
        seen = heard[-1].seen  # classes that the chance of cover contradicts
        seen.best[TURNED][:15], seen.covered[TURNED][:15] = TissueClass.BARE, 0.9
        seen.best[TURNED][15:], seen.covered[TURNED][15:] = TissueClass.MYCELIUM, 0.1
        seen.best[BESIDE] = TissueClass.UNJUDGED
        return heard[-1]

    def find_veil(raw: Wall, *args: object, **more: object) -> Veil:
        veiled, doubted = np.zeros((2, *wall.filled.shape), dtype=np.bool_)
        veiled[FOG] = doubted[FOG] = doubted[DOUBTED] = True
        return Veil(veiled, doubted)

    def outshone(*args: np.ndarray, **more: object) -> float:
        return float(args[-1].sum())  # places that are doubted

    consulted = joining.consult
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(joining, "consult", consult)
        patched.setattr(joining, "find_veil", find_veil)
        patched.setattr(joining, "outshone_points", outshone)
        found = classify(wall, photo_of(grey), settings=PhotoSettings())
    return wall, found, heard[0]


def inside() -> tuple[slice, slice]:
    """The part of the wall that is contents on all sides, a margin left out."""
    wall = joined()[1].wall
    top = int(wall.filled.argmax(axis=0).max()) + 8
    return slice(top, len(wall.filled) - 8), slice(None)


def test_heights_begin_at_the_floor_and_grow_upwards_by_the_cell() -> None:
    raw, found, _ = joined()
    wall = found.wall
    assert wall.heights_mm[-1] == pytest.approx(CELL_MM / 2)
    assert np.diff(wall.heights_mm) == pytest.approx(-CELL_MM)
    floor_mm = raw.heights_mm[len(wall.heights_mm) - 1] - CELL_MM / 2
    assert wall.groove_mm == pytest.approx(GROOVE_MM - floor_mm)
    assert wall.heights_mm == pytest.approx(raw.heights_mm[: len(wall.heights_mm)] - floor_mm)
    assert fill_height_mm(wall) == pytest.approx(wall.filled.sum(axis=0)[0] * CELL_MM, abs=2.0)


def test_glare_fog_and_groove_are_no_part_of_what_was_seen() -> None:
    _, found, _ = joined()
    wall, classes = found.wall, found.tissue.classes
    groove = np.abs(wall.heights_mm - (wall.groove_mm or 0.0)) < PhotoSettings().masks.groove_mm
    hidden = np.zeros(wall.filled.shape, dtype=np.bool_)
    hidden[LAMP] = hidden[FOG] = hidden[BESIDE] = True
    hidden[groove] = True
    hidden &= wall.filled
    assert hidden.sum() > 0.1 * wall.filled.sum()
    assert not wall.judged[hidden].any()
    assert (classes[hidden] == TissueClass.UNJUDGED).all()
    assert (wall.judged == (classes > TissueClass.UNJUDGED)).all()
    cover = measure_coverage(wall, found.tissue, settings=CoverageSettings())
    seen = 100.0 * float(np.mean(wall.judged[wall.filled]))
    assert cover.seen_percent == pytest.approx(seen)
    assert cover.seen_percent == pytest.approx(
        100.0 * (1 - hidden.sum() / wall.filled.sum()), abs=1.5
    )


def test_a_veil_is_told_where_it_was_found_and_nowhere_where_there_is_none() -> None:
    _, found, _ = joined()
    veiled = found.tissue.veiled
    assert veiled is not None
    assert veiled.shape == found.tissue.classes.shape
    assert veiled[FOG].all()
    assert veiled[BESIDE].all()  # the networks call it hidden, and the veil touches it
    assert veiled.sum() == veiled[FOG].size + veiled[BESIDE].size


def test_what_is_doubted_is_told_where_no_veil_was_found() -> None:
    _, found, _ = joined()
    doubted = found.tissue.doubted
    assert doubted is not None
    assert doubted[DOUBTED].all()
    assert doubted.sum() == doubted[DOUBTED].size
    assert found.tissue.outshone_points == doubted.sum()


def test_bare_and_growth_are_parted_by_the_chance_of_cover_alone() -> None:
    classes = joined()[1].tissue.classes[TURNED]
    assert (classes[:15] == TissueClass.MYCELIUM).all()
    assert (classes[15:] == TissueClass.BARE).all()


def test_nothing_grows_above_the_fill_line() -> None:
    _, found, _ = joined()
    above, tissue = ~found.wall.filled, found.tissue
    assert above.any()
    assert not tissue.opacity[above].any()
    assert not tissue.covered[above].any()
    assert (tissue.classes[above] == TissueClass.OUTSIDE).all()
    assert (tissue.classes[~above] != TissueClass.OUTSIDE).all()


def test_a_place_is_as_sure_as_the_chance_of_what_it_is_called() -> None:
    _, found, opinion = joined()
    seen, there = opinion.seen, inside()
    rows = slice(0, len(found.wall.filled))
    covered, plain, certainty = seen.covered[rows], seen.plain[rows], found.tissue.certainty
    bare, grown = (
        (found.tissue.classes == kind)[there] for kind in (TissueClass.BARE, TissueClass.MYCELIUM)
    )
    assert min(bare.sum(), grown.sum()) > 1000
    np.testing.assert_allclose(
        certainty[there][bare], (plain * (1 - covered))[there][bare], atol=1e-6
    )
    np.testing.assert_allclose(certainty[there][grown], (plain * covered)[there][grown], atol=1e-6)
    assert (covered[there][bare] < 0.5).all()
    assert (covered[there][grown] >= 0.5).all()


def test_what_the_floor_and_the_line_are_unsure_of_goes_along() -> None:
    _, found, _ = joined()
    assert 0.0 < found.wall.line_sd_mm < 5.0
    assert 0.0 < found.wall.floor_sd_mm < 5.0
