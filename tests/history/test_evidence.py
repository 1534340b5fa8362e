"""Stain over days: walls on which it is known what was there before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import skimage.data
from shelves import oyster, reading
from walls import COLS, ROWS, photographed

from jarvision.history.build import build_history
from jarvision.records import DiaryLine, JarDay, Reading, TissueClass
from jarvision.settings.evidence import EvidenceSettings
from jarvision.settings.groups import Settings
from jarvision.vision.tissue.coverage import measure_coverage
from jarvision.vision.tissue.evidence import unproven_cm2, weigh_evidence
from jarvision.vision.tissue.patches import find_patches
from jarvision.vision.tissue.thumbnail import shrink
from tests.support.walls import tissue_of

PHOTO = Settings().photo
BARE, MYCELIUM, STAIN, GREEN = (
    TissueClass.BARE,
    TissueClass.MYCELIUM,
    TissueClass.STAIN,
    TissueClass.GREEN,
)
Box = tuple[slice, slice]
MIDDLE: Box = np.s_[120:240, 100:220]  # 9 cm2
ALL: Box = np.s_[:, :]


def wall_map(ground: TissueClass, *boxes: tuple[Box, TissueClass]) -> np.ndarray:
    classes = np.full((ROWS, COLS), ground, dtype=np.uint8)
    for box, kind in boxes:
        classes[box] = kind
    return classes


def photo(
    number: int, classes: np.ndarray, turn_deg: float = 0.0, *, pattern: bool = True
) -> Reading:
    """What the line makes of a wall of gravel on which the network sees these classes."""
    gravel = skimage.data.gravel() if pattern else np.full((512, 512), 128)
    wall = photographed(gravel, turn_deg)
    seen = replace(tissue_of(classes), certainty=np.full(classes.shape, 0.9, np.float32))
    tissue = weigh_evidence(wall, seen, settings=EvidenceSettings())
    return reading(
        number,
        0.0,
        coverage=measure_coverage(wall, tissue, settings=PHOTO.coverage),
        patches=find_patches(wall, tissue),
        thumbnail=shrink(wall, tissue),
        radius_mm=wall.radius_mm,
        unproven_cm2=unproven_cm2(wall, tissue),
    )


def days_of(photos: Sequence[Reading]) -> tuple[JarDay, ...]:
    return build_history(photos, oyster()).days


def area(day: JarDay, kind: str) -> float:
    return sum(p.area_cm2 for p in day.patches if p.kind == kind)


WHITE = wall_map(MYCELIUM)
SKIN = wall_map(STAIN)
ISLAND = wall_map(MYCELIUM, (MIDDLE, BARE))
STAINED_ISLAND = wall_map(MYCELIUM, (MIDDLE, STAIN))


# --------------------------------------------------------------------------- proven
def test_a_skin_over_all_of_a_wall_that_was_white_is_stain() -> None:
    alone, _ = photo(5, SKIN), photo(1, WHITE)
    assert alone.coverage is not None and alone.coverage.percent < 15.0
    day = days_of([photo(1, WHITE), alone])[-1]
    assert day.coverage.percent > 97.0
    assert day.coverage.low > 85.0
    assert area(day, "stain") > 60.0
    assert area(day, "bare") == 0.0
    assert day.readings[0].unproven_cm2 == 0.0


def test_a_skin_on_the_first_photo_is_bare_and_stays_so_on_the_next() -> None:
    days = days_of([photo(1, SKIN), photo(2, SKIN)])
    for day in days:
        assert day.coverage.percent < 15.0
        assert day.coverage.high == 100.0
        assert area(day, "stain") == 0.0
        assert day.readings[0].unproven_cm2 > 60.0


def test_only_what_was_white_is_proven_of_an_area() -> None:
    left = np.s_[:, : COLS // 2]
    before = wall_map(BARE, (left, MYCELIUM))
    day = days_of([photo(1, before), photo(9, SKIN)])[-1]
    assert day.coverage.percent == pytest.approx(50.0, abs=6.0)
    whole = area(day, "stain") + area(day, "bare")
    assert area(day, "stain") == pytest.approx(0.5 * whole, rel=0.1)
    assert day.readings[0].unproven_cm2 == pytest.approx(0.5 * whole, rel=0.1)


def test_proof_does_not_creep_outwards_from_day_to_day() -> None:
    left = np.s_[:, : COLS // 2]
    before = wall_map(BARE, (left, MYCELIUM))
    photos = [photo(1, before)] + [photo(n, SKIN, turn_deg=n % 3 - 1.0) for n in range(9, 19)]
    first, *_, last = days_of(photos)[1:]
    assert last.coverage.percent == pytest.approx(first.coverage.percent, abs=4.0)


def test_a_turned_jar_is_proven_where_it_was_white() -> None:
    step = round(20.0 / 120.0 * COLS)
    before = wall_map(BARE, (np.s_[:, : COLS // 2], MYCELIUM))
    day = days_of([photo(1, before), photo(9, SKIN, turn_deg=20.0)])[-1]
    assert day.turn is not None and day.turn.found
    # what was white on the left half reaches 20 degrees further to the right now
    assert day.coverage.percent == pytest.approx(100.0 * (0.5 + step / COLS), abs=7.0)


@pytest.mark.parametrize(("white_share", "proven"), [(0.8, False), (0.95, True)])
def test_a_jar_that_may_have_turned_was_white_all_over_or_proves_nothing(
    white_share: float, proven: bool
) -> None:
    before = wall_map(BARE, (np.s_[:, : round(white_share * COLS)], MYCELIUM))
    photos = [photo(1, before, pattern=False), photo(2, SKIN, pattern=False)]
    day = days_of(photos)[-1]
    assert day.turn is not None and not day.turn.found
    assert (area(day, "stain") > 60.0) is proven


def test_a_skin_over_contents_that_were_bare_yesterday_is_not_proven_by_older_white() -> None:
    day = days_of([photo(1, WHITE), photo(2, wall_map(BARE)), photo(3, SKIN)])[-1]
    assert area(day, "stain") == 0.0


# --------------------------------------------------------------------------- refuted
def test_an_island_that_was_bare_yesterday_is_no_stain_today() -> None:
    assert area(days_of([photo(2, STAINED_ISLAND)])[-1], "stain") > 5.0
    day = days_of([photo(1, ISLAND), photo(2, STAINED_ISLAND)])[-1]
    assert area(day, "stain") == 0.0
    assert [p.patch for p in day.patches] == ["bare-1"]
    assert day.coverage.percent == pytest.approx(
        days_of([photo(1, ISLAND)])[0].coverage.percent, abs=2.0
    )


def test_it_stays_bare_on_the_days_after() -> None:
    photos = [photo(1, ISLAND), *(photo(n, STAINED_ISLAND) for n in range(2, 9))]
    days = days_of(photos)
    assert [area(day, "stain") for day in days] == [0.0] * len(days)
    assert {p.patch for day in days for p in day.patches} == {"bare-1"}


def test_an_island_that_had_the_time_to_grow_over_may_be_stained() -> None:
    wait = Settings().tracking.stain_after_days
    day = days_of([photo(1, ISLAND), photo(1 + wait, STAINED_ISLAND)])[-1]
    assert area(day, "stain") > 5.0


def test_a_place_that_was_white_in_between_may_be_stained() -> None:
    day = days_of([photo(1, ISLAND), photo(2, WHITE), photo(3, STAINED_ISLAND)])[-1]
    assert area(day, "stain") > 5.0


def test_a_place_that_was_white_once_may_be_stained_whatever_was_read_there_since() -> None:
    day = days_of([photo(1, WHITE), photo(2, ISLAND), photo(3, STAINED_ISLAND)])[-1]
    assert area(day, "stain") > 5.0


def test_a_stain_where_mould_was_last_seen_is_not_called_bare() -> None:
    mouldy = wall_map(MYCELIUM, (MIDDLE, GREEN))
    day = days_of([photo(1, ISLAND), photo(2, mouldy), photo(3, STAINED_ISLAND)])[-1]
    assert area(day, "stain") > 5.0


def test_what_is_known_to_be_bare_no_longer_widens_the_interval() -> None:
    doubted = photo(2, wall_map(BARE, (MIDDLE, STAIN)))
    alone = days_of([doubted])[-1].coverage
    day = days_of([photo(1, wall_map(BARE)), doubted])[-1]
    assert alone.high > 12.0
    assert day.coverage.high < 5.0
    assert day.readings[0].unproven_cm2 == 0.0


def test_a_stain_that_spreads_over_growth_beside_a_bare_spot_stays() -> None:
    beside: Box = np.s_[120:240, 180:300]
    before = wall_map(MYCELIUM, (np.s_[120:240, 160:180], BARE))
    after = wall_map(MYCELIUM, (np.s_[120:240, 160:180], BARE), (beside, STAIN))
    day = days_of([photo(1, before), photo(2, after)])[-1]
    assert area(day, "stain") == pytest.approx(9.0, rel=0.1)


def test_another_side_of_the_jar_proves_and_refutes_nothing() -> None:
    elsewhere = photo(2, STAINED_ISLAND, turn_deg=180.0)
    day = days_of([photo(1, wall_map(BARE)), elsewhere])[-1]
    assert area(day, "stain") > 5.0


@pytest.mark.parametrize("before", [ISLAND, WHITE, SKIN])
def test_mould_is_never_touched(before: np.ndarray) -> None:
    mouldy = wall_map(MYCELIUM, (MIDDLE, GREEN))
    day = days_of([photo(1, before), photo(2, mouldy)])[-1]
    assert area(day, "green") == pytest.approx(9.0, rel=0.05)


def test_the_photos_of_other_sides_stay_as_read() -> None:
    side = replace(photo(2, STAINED_ISLAND), view="b", photo="side.jpg")
    day = days_of([photo(1, ISLAND), photo(2, STAINED_ISLAND), side])[-1]
    assert sum(r.area_cm2("stain") for r in day.readings) == side.area_cm2("stain")


# --------------------------------------------------------------------------- lasting
def test_a_place_that_was_white_on_two_days_is_not_bare_because_it_looks_so_once() -> None:
    alone = days_of([photo(3, ISLAND)])[-1]
    assert area(alone, "bare") == pytest.approx(9.0, rel=0.1)
    day = days_of([photo(1, WHITE), photo(2, WHITE), photo(3, ISLAND)])[-1]
    assert day.turn is not None and day.turn.found
    assert area(day, "bare") == 0.0
    assert day.coverage.percent == pytest.approx(100.0, abs=1.0)
    # it may be gone all the same: that end of the interval stays
    assert day.coverage.low == pytest.approx(alone.coverage.low, abs=0.1)
    assert day.coverage.high == 100.0


def test_white_on_one_day_may_be_the_misreading() -> None:
    day = days_of([photo(1, ISLAND), photo(2, WHITE), photo(3, ISLAND)])[-1]
    assert area(day, "bare") == pytest.approx(9.0, rel=0.1)
    assert day.coverage.percent < 95.0


def test_what_looks_bare_day_after_day_is_gone() -> None:
    away = Settings().tracking.gone_after_days
    photos = [photo(1, WHITE), photo(2, WHITE), *(photo(n, ISLAND) for n in range(3, 5 + away))]
    islands = [area(day, "bare") for day in days_of(photos)[2:]]
    assert islands[: away - 1] == [0.0] * (away - 1)
    assert islands[away - 1 :] == pytest.approx([9.0] * 3, rel=0.1)


def test_only_the_part_that_was_white_lasts() -> None:
    half: Box = np.s_[120:240, 100:160]
    before = wall_map(MYCELIUM, (half, BARE))
    day = days_of([photo(1, before), photo(2, before), photo(3, ISLAND)])[-1]
    assert area(day, "bare") == pytest.approx(4.5, rel=0.15)


def test_the_white_of_a_jar_that_was_told_to_be_shaken_does_not_last() -> None:
    photos = [photo(1, WHITE), photo(2, WHITE), photo(3, ISLAND)]
    shaken = DiaryLine("K1", "shaken", photos[-1].taken_at.date())
    day = build_history(photos, oyster(), diary=[shaken]).days[-1]
    assert area(day, "bare") == pytest.approx(9.0, rel=0.1)


def test_the_white_of_a_jar_that_may_have_turned_does_not_last() -> None:
    photos = [photo(n, walls, pattern=False) for n, walls in enumerate((WHITE, WHITE, ISLAND), 1)]
    day = days_of(photos)[-1]
    assert day.turn is not None and not day.turn.found
    assert area(day, "bare") == pytest.approx(9.0, rel=0.1)


def test_a_wet_foot_is_wet_whatever_grew_there() -> None:
    soaked = wall_map(MYCELIUM, (np.s_[ROWS - 80 :, :], TissueClass.WET))
    alone = days_of([photo(3, soaked)])[-1]
    day = days_of([photo(1, WHITE), photo(2, WHITE), photo(3, soaked)])[-1]
    assert day.coverage.percent == pytest.approx(alone.coverage.percent, abs=0.5)
    assert area(day, "wet") == area(alone, "wet") > 5.0
