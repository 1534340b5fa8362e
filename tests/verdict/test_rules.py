"""Rules that need the wall itself, from readings with thumbnails to the verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest
import skimage.data
from judging import healthy, judge, with_patches, words
from shelves import Story, kjma, oyster, patch, reading, told
from walls import CELL_MM, COLS, ROWS, photographed, tissue_of

from jarvision.history.build import build_history
from jarvision.records import Finding, Growth, Patch, Reading, TissueClass, Verdict
from jarvision.register.species import find_profile
from jarvision.verdict.decide import decide
from jarvision.vision.tissue.thumbnail import shrink

GRAVEL = skimage.data.gravel()


def found(verdict: Verdict) -> list[str]:
    return [finding.word for finding in verdict.findings]


def shown(
    number: int,
    percent: float,
    *,
    turn_deg: float = 0.0,
    white_mm: float = 0.0,
    patches: Sequence[Patch] = (),
) -> Reading:
    """A jar whose contents show, with a white disc of radius ``white_mm`` in the middle."""
    wall = photographed(GRAVEL, turn_deg)
    rows, cols = np.meshgrid(np.arange(ROWS), np.arange(COLS), indexing="ij")
    white = CELL_MM * np.hypot(rows - ROWS / 2, cols - COLS / 2) < white_mm
    classes = np.where(white, TissueClass.MYCELIUM, TissueClass.BARE).astype(np.uint8)
    classes[_places(patches)] = TissueClass.GREEN
    linear = np.where(white[..., None], np.float32(0.8), wall.linear)
    thumbnail = shrink(replace(wall, linear=linear), tissue_of(classes))
    return reading(number, percent, patches=patches, thumbnail=thumbnail)


def _places(patches: Sequence[Patch]) -> np.ndarray:
    """Where the patches lie on the wall: discs of their area."""
    rows, cols = np.meshgrid(np.arange(ROWS), np.arange(COLS), indexing="ij")
    heights = (ROWS - 0.5 - rows) * CELL_MM
    across = (cols - (COLS - 1) / 2) * CELL_MM
    there = np.zeros((ROWS, COLS), dtype=bool)
    for spot in patches:
        middle = np.deg2rad(spot.angle_deg) * 40.0
        away = np.hypot(across - middle, heights - spot.height_mm)
        there |= away < 10 * np.sqrt(spot.area_cm2 / np.pi)
    return there


# --------------------------------------------------------------------------- spots on a white wall
def white_with(spots: Mapping[int, Patch], days: int) -> list[Reading]:
    """A jar that is white all over, with a green spot on some days."""
    return [
        shown(n, 99, white_mm=200.0, patches=[spots[n]] if n in spots else ()) for n in range(days)
    ]


@pytest.mark.parametrize(("at_deg", "days"), [(10.0, 3), (56.0, 0)])
def test_a_place_in_view_is_seen_without_its_spot_though_no_turn_can_be_found(
    at_deg: float, days: int
) -> None:
    history = build_history(white_with({2: patch("green", 0.6, at_deg, 40)}, 6), oyster())
    assert history.days[-1].cleared == ()
    assert history.days[-1].absent.get("green-1", 0) == days


def test_a_spot_that_comes_back_is_counted_anew() -> None:
    spot = patch("green", 0.6, 10, 40)
    history = build_history(white_with({2: spot, 5: spot}, 7), oyster())
    assert history.days[4].absent == {"green-1": 2}
    assert history.days[6].absent == {"green-1": 1}


@pytest.mark.parametrize(("white_mm", "cleared"), [(0.0, ("green-1",)), (200.0, ())])
def test_a_spot_is_gone_only_where_every_turn_since_it_was_seen_is_known(
    white_mm: float, cleared: tuple[str, ...]
) -> None:
    """A jar turned away on a white wall, whose other side shows its contents from then on."""
    spot = patch("green", 0.6, 10, 40)
    before = [shown(n, 80, white_mm=white_mm, patches=[spot] if n else ()) for n in range(2)]
    after = [shown(n, 80, turn_deg=4.0) for n in range(2, 6)]
    days = build_history([*before, *after], oyster()).days
    assert [day.turn is not None and day.turn.found for day in days[3:]] == [True] * 3
    assert days[-1].cleared == cleared
    assert days[2].cleared == ()


# --------------------------------------------------------------------------- mould still white
def whitening(radii_mm: Mapping[int, float], days: int) -> list[Reading]:
    """A young jar over so many days, with a white disc whose radius is given from a day on."""
    level, readings = 0.0, []
    for number, percent in enumerate(kjma(np.arange(days), t95=14.0)):
        level = radii_mm.get(number, level)
        readings.append(shown(number, float(percent), white_mm=level))
    return readings


def test_white_that_runs_faster_than_the_species_is_looked_at_until_it_slows() -> None:
    readings = whitening({5: 4.0, 6: 18.0}, 8)
    assert judge(readings[:6])[0].verdict == "wait"
    verdict, flags = judge(readings[:7])
    assert (verdict.verdict, found(verdict)) == ("check", ["fast_front"])
    assert "fast_front" in words(flags)
    assert verdict.findings[0].numbers["mm_per_day"] == pytest.approx(14.0, abs=3.0)
    assert judge(readings)[0].verdict == "wait"
    assert judge(whitening({5: 4.0, 6: 18.0, 7: 32.0}, 8))[0].verdict == "check"


def test_no_front_is_too_fast_for_a_jar_that_was_shaken_days_before() -> None:
    """It grows from many new places at once; a gentle shake shows in no drop of the coverage."""
    readings = whitening({5: 4.0, 6: 18.0}, 7)
    assert found(judge(readings)[0]) == ["fast_front"]
    for shaken, fast in ((4, False), (0, True)):
        words_of = found(judge(readings, diary=[told("shaken", shaken)])[0])
        assert ("fast_front" in words_of) == fast, shaken


def test_white_that_runs_as_its_species_does_is_left_alone() -> None:
    readings = whitening({n: 3.0 * n for n in range(3, 9)}, 9)
    verdict, flags = judge(readings)
    assert verdict.verdict == "wait"
    assert "fast_front" not in words(flags)


# --------------------------------------------------------------------------- a bare area is gone
def vanishing(areas_cm2: Sequence[float]) -> list[Reading]:
    """A jar that is full and rested, with a bare area that ends on the last days but two."""
    story = healthy(20)
    first = 18 - len(areas_cm2)
    story.patches = {first + n: [patch("bare", area)] for n, area in enumerate(areas_cm2)}
    return story.readings()


def test_a_bare_area_that_vanishes_sooner_than_it_can_close_is_looked_at() -> None:
    verdict, flags = judge(vanishing([3.0] * 5))
    assert (verdict.verdict, found(verdict)) == ("check", ["vanished"])
    assert "turned" in words(flags)
    assert verdict.findings[0].numbers["days"] == 1
    assert "was the jar turned?" in verdict.reasons[0]


def test_a_bare_area_that_closes_at_its_species_speed_is_forgotten() -> None:
    closing = [np.pi * (radius / 10) ** 2 for radius in (12.0, 9.0, 6.0, 3.0)]
    verdict, _ = judge(vanishing(closing))
    assert verdict.verdict == "go"


# --------------------------------------------------------------------------- turned and back
AWAY_DEG = 170.0


def turning(sides: Sequence[tuple[float, Sequence[Patch]]]) -> list[Reading]:
    """A young jar, each day turned so far and with these patches in view."""
    percents = kjma(np.arange(len(sides)), t95=20.0)
    return [
        shown(number, float(percent), turn_deg=turn, patches=patches)
        for number, (percent, (turn, patches)) in enumerate(zip(percents, sides, strict=True))
    ]


def spot(area_cm2: float) -> list[Patch]:
    return [patch("green", area_cm2, 10, 40)]


def test_a_mould_is_known_again_when_its_jar_is_turned_away_and_back() -> None:
    sides = [(0, []), (0, spot(0.4)), (AWAY_DEG, []), (AWAY_DEG, []), (0, spot(0.4))]
    readings = turning(sides)
    assert found(judge(readings[:2])[0]) == ["perhaps_mould"]
    verdict, flags = judge(readings[:3])
    assert found(verdict) == ["perhaps_mould"]
    assert {"turned", "off_colour"} <= words(flags)
    assert "turned" not in words(judge(readings[:4])[1])
    verdict, flags = judge(readings)
    assert (verdict.verdict, found(verdict)) == ("no-go", ["mould"])
    assert verdict.findings[0].numbers["photos"] == 2
    assert "turned" in words(flags)


def test_only_the_same_side_seen_again_clears_a_small_spot() -> None:
    small, clean = spot(0.1), (0, [])
    away = turning([clean, (0, small), *[(AWAY_DEG, [])] * 4])
    assert found(judge(away)[0]) == ["perhaps_mould"]
    back = turning([clean, (0, small), (AWAY_DEG, []), clean, clean])
    assert found(judge(back[:4])[0]) == ["perhaps_mould"]
    assert judge(back)[0].verdict == "wait"


def test_a_rested_jar_waits_for_nothing_but_its_doubts() -> None:
    readings = with_patches(Story(kjma(np.arange(17))), [patch("bare", 1.0)], since=16)
    assert found(judge(readings)[0]) == ["bare_left"]


@pytest.mark.parametrize(("species", "verdict"), [("oyster", "no-go"), ("", "check")])
def test_a_species_that_is_not_known_may_be_one_that_keeps_gaps(species: str, verdict: str) -> None:
    story = with_patches(healthy(18), [patch("bare", 3.0)], since=11)
    gap = judge(story, oyster(species=species))[0]
    assert (gap.verdict, found(gap)[0]) == (verdict, "dead_patch")
    rates = {"percent_per_day": 0.0, "expected_percent_per_day": 6.0}
    for level, said in ((87.0, verdict), (80.0, "no-go")):
        readings = [reading(n, level) for n in range(12)]
        history = build_history(readings, oyster(species=species))
        stall = Finding.of("stall", days=9.0, percent=level, **rates)
        growth, today = Growth("logistic", stall=stall), history.days[-1].day
        stalled = decide(history, growth, find_profile(species), today=today)[0]
        assert (stalled.verdict, found(stalled)[0]) == (said, "stall")
