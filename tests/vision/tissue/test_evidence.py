"""Stain and wet on small walls on which it is known what speaks for them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from walls import CELL_MM, COLS, RADIUS_MM, ROWS, flat_wall, tissue_of

from jarvision.records import OFF_COLOUR, BareLook, Tissue, TissueClass, Wall
from jarvision.settings.evidence import EvidenceSettings
from jarvision.settings.tissue import CoverageSettings
from jarvision.vision.tissue.coverage import measure_coverage
from jarvision.vision.tissue.evidence import unproven_cm2, weigh_evidence
from jarvision.vision.tissue.inputs import colour_logs
from jarvision.vision.tissue.patches import find_patches
from jarvision.vision.tissue.thumbnail import shrink, unpack_thumbnail

LIMITS = EvidenceSettings()
BARE, MYCELIUM, STAIN, WET = (
    TissueClass.BARE,
    TissueClass.MYCELIUM,
    TissueClass.STAIN,
    TissueClass.WET,
)


def plain(kind: TissueClass) -> np.ndarray:
    return np.full((ROWS, COLS), kind, dtype=np.uint8)


def disc(classes: np.ndarray, kind: TissueClass, radius_mm: float, height_mm: float) -> np.ndarray:
    """A disc in the middle of the wall, laid over its classes."""
    wall = flat_wall(classes)
    along, up = np.meshgrid(np.deg2rad(wall.angles_deg) * RADIUS_MM, wall.heights_mm)
    classes[np.hypot(along, up - height_mm) < radius_mm] = kind
    return classes


def foot(classes: np.ndarray, height_mm: float, kind: TissueClass = WET) -> np.ndarray:
    """A zone of that height on the floor."""
    classes[-round(height_mm / CELL_MM) :] = kind
    return classes


def unsure(classes: np.ndarray, certainty: float = 0.9) -> Tissue:
    return replace(tissue_of(classes), certainty=np.full(classes.shape, certainty, np.float32))


def weigh(classes: np.ndarray, bare: BareLook | None = None, **more: object) -> Tissue:
    wall = flat_wall(classes, **more)  # type: ignore[arg-type]
    return weigh_evidence(wall, unsure(classes), settings=LIMITS, bare=bare)


def cm2(tissue: Tissue, kind: TissueClass) -> float:
    return float(np.count_nonzero(tissue.classes == kind)) * CELL_MM**2 / 100.0


# --------------------------------------------------------------------------- stain
def test_a_stain_amid_growth_stays_as_it_is() -> None:
    classes = disc(plain(MYCELIUM), STAIN, 12.0, 40.0)
    tissue = unsure(classes)
    assert weigh_evidence(flat_wall(classes), tissue, settings=LIMITS) is tissue


def test_a_stain_amid_bare_contents_is_bare_and_no_longer_covers() -> None:
    classes = disc(plain(BARE), STAIN, 12.0, 40.0)
    seen = weigh(classes)
    stained = classes == STAIN
    assert cm2(seen, STAIN) == 0.0
    np.testing.assert_allclose(seen.covered[stained], 0.1, atol=1e-6)  # what was not stain
    np.testing.assert_allclose(seen.certainty[stained], 0.9, atol=1e-6)
    assert seen.opacity[stained].max() <= 0.1 + 1e-6
    assert unproven_cm2(flat_wall(classes), seen) == pytest.approx(np.pi * 1.2**2, rel=0.02)
    assert {p.kind for p in find_patches(flat_wall(classes), seen)} == {"bare"}


@pytest.mark.parametrize(("growth_left", "kept"), [(0.4, False), (0.7, True)])
def test_most_of_what_surrounds_a_stain_must_be_growth(growth_left: float, kept: bool) -> None:
    classes = plain(BARE)
    classes[: round(ROWS * growth_left)] = MYCELIUM
    classes[:, COLS // 2 - 20 : COLS // 2 + 20] = STAIN  # a band from top to foot
    assert (cm2(weigh(classes), STAIN) > 0.0) is kept


def test_a_wall_that_is_stain_all_over_has_no_growth_to_speak_for_it() -> None:
    seen = weigh(plain(STAIN))
    assert cm2(seen, STAIN) == 0.0
    with_a_speck = weigh(disc(plain(STAIN), MYCELIUM, 1.0, 40.0))
    assert cm2(with_a_speck, STAIN) == 0.0
    with_a_fifth = weigh(disc(plain(STAIN), MYCELIUM, 25.0, 40.0))
    assert cm2(with_a_fifth, STAIN) > 40.0


def test_what_cannot_be_judged_around_a_stain_neither_speaks_for_it_nor_against() -> None:
    classes = disc(plain(TissueClass.UNJUDGED), STAIN, 12.0, 40.0)
    assert cm2(weigh(classes), STAIN) == 0.0
    classes[:, : COLS // 2 - 30][classes[:, : COLS // 2 - 30] != STAIN] = MYCELIUM
    assert cm2(weigh(classes), STAIN) > 4.0


def test_bits_of_a_stain_are_judged_together() -> None:
    """A cell of bare contents between two bits is no gap: the two lie amid growth, as one."""
    classes = disc(plain(MYCELIUM), STAIN, 12.0, 40.0)
    middle = ROWS - round(40.0 / CELL_MM)
    classes[middle - 2 : middle + 2][classes[middle - 2 : middle + 2] == STAIN] = BARE
    assert cm2(weigh(classes), STAIN) > 4.0


@pytest.mark.parametrize("mould", OFF_COLOUR)
def test_mould_needs_no_evidence_wherever_it_stands(mould: TissueClass) -> None:
    for ground in (BARE, STAIN, WET, MYCELIUM):
        seen = weigh(disc(plain(ground), mould, 6.0, 40.0))
        assert cm2(seen, mould) == pytest.approx(np.pi * 0.36, rel=0.03)


def test_a_stain_amid_mould_is_no_bare_spot() -> None:
    classes = disc(disc(plain(BARE), TissueClass.GREEN, 16.0, 40.0), STAIN, 10.0, 40.0)
    assert cm2(weigh(classes), STAIN) > 3.0


def test_the_interval_of_a_stain_without_evidence_reaches_up_to_what_it_may_be() -> None:
    classes = plain(BARE)
    classes[:, : COLS // 2] = STAIN
    wall = flat_wall(classes)
    coverage = measure_coverage(wall, weigh(classes), settings=CoverageSettings())
    assert coverage.percent == pytest.approx(5.0, abs=1.0)
    assert coverage.low < 5.0
    assert coverage.high >= 50.0


def test_a_thumbnail_tells_a_stain_without_evidence_from_one_with() -> None:
    for ground, opaque in ((BARE, False), (MYCELIUM, True)):
        classes = disc(plain(ground), STAIN, 12.0, 40.0)
        small = unpack_thumbnail(shrink(flat_wall(classes), weigh(classes)))
        inside = small.classes == STAIN
        assert np.count_nonzero(inside) * small.cell_cm2 == pytest.approx(np.pi * 1.44, rel=0.15)
        assert np.mean((small.opacity[inside] >= 0.5) == opaque) > 0.9


# --------------------------------------------------------------------------- wet
def look_of_light(linear: float) -> BareLook:
    logs = colour_logs(np.full((1, 1, 3), linear, np.float32))[:, 0, 0]
    colour = (float(logs[0]), float(logs[1]), float(logs[2]))
    return BareLook((colour,) * 12, 0.3, 40.0)


@pytest.mark.parametrize("height_mm", [3.0, 12.0, 40.0])
def test_water_pooled_from_the_foot_is_wet(height_mm: float) -> None:
    seen = weigh(foot(plain(BARE), height_mm))
    assert cm2(seen, WET) == pytest.approx(COLS * CELL_MM * height_mm / 100.0, rel=0.02)


def test_a_wet_look_off_the_foot_is_bare() -> None:
    seen = weigh(disc(plain(BARE), WET, 10.0, 45.0))
    assert (cm2(seen, WET), cm2(seen, STAIN)) == (0.0, 0.0)
    assert unproven_cm2(flat_wall(seen.classes), seen) == 0.0  # nothing that days could prove


def test_a_wet_look_that_hardly_stands_on_the_foot_is_bare() -> None:
    classes = disc(plain(BARE), WET, 20.0, 21.0)  # a disc touches the floor with its lowest part
    assert cm2(weigh(classes), WET) == 0.0


def test_contents_that_look_wet_from_foot_to_top_have_no_level() -> None:
    assert cm2(weigh(plain(WET)), WET) == 0.0


@pytest.mark.parametrize(("dry_share", "wet"), [(0.1, True), (0.4, False)])
def test_below_the_level_of_water_nothing_is_dry(dry_share: float, wet: bool) -> None:
    """Dark contents look wet here and there; islands of dry ones show that no water stands."""
    classes = foot(plain(BARE), 20.0)
    every = round(np.sqrt(144.0 / dry_share))  # holes of 12 x 12 cells, so far apart
    for row in range(ROWS - 70, ROWS - 16, every):
        for col in range(4, COLS - 12, every):
            classes[row : row + 12, col : col + 12] = BARE
    assert (cm2(weigh(classes), WET) > 8.0) is wet


def test_growth_below_the_level_of_water_does_not_dry_it() -> None:
    classes = foot(plain(BARE), 20.0)
    classes[-60:-30, 20:300] = MYCELIUM
    assert cm2(weigh(classes), WET) > 8.0


@pytest.mark.parametrize(("light", "wet"), [(0.5, True), (0.755, False), (1.2, False)])
def test_wet_contents_are_clearly_darker_than_the_jars_own(light: float, wet: bool) -> None:
    """Wetting takes about half the light of grain; a shadow's edge or a lamp far less."""
    classes = disc(plain(BARE), WET, 10.0, 45.0)
    dry = 0.3
    linear = np.where((classes == WET)[..., None], light * dry, dry)
    linear = np.repeat(linear, 3, axis=2).astype(np.float32)
    seen = weigh(classes, bare=look_of_light(dry), linear=linear)
    assert (cm2(seen, WET) > 2.0) is wet


def test_without_stain_and_wet_nothing_changes() -> None:
    classes = disc(plain(MYCELIUM), BARE, 12.0, 40.0)
    wall: Wall = flat_wall(classes)
    tissue = tissue_of(classes)
    assert weigh_evidence(wall, tissue, settings=LIMITS) is tissue
