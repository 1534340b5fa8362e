"""The bench for photos of another renderer, on made-up answers and a wall whose truth is known."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import cv2
import numpy as np
import pytest

from jarvision.records import Coverage, TissueClass, Wall
from tests.accuracy.figures import Answer
from tests.accuracy.foreign import area_rows, coverage_rows, place_rows, silent, wrong_percent
from tests.accuracy.foreign_reading import READ_AS, TRUE_KINDS, Places, Seen
from tests.accuracy.foreign_truth import IGNORED, ForeignPhoto, read_set


def photo(true: float, *, scenario: str = "healthy", mask: Path = Path("m.png")) -> ForeignPhoto:
    return ForeignPhoto(Path("p.jpg"), mask, "J1", "2026-03-02", scenario, "", true, "growing")


def answer(true: float, said: float, *, half: float = 2.0) -> Answer:
    cover = Coverage(said, said - half, said + half, said, 100.0)
    return Answer("x", "healthy", true, true, coverage=cover)


def seen_alone(photo: ForeignPhoto, answer: Answer) -> Seen:
    return Seen(photo, answer, None, together=answer, today=answer)


def places(counts: Counter[str], **cells: tuple[str, float]) -> Places:
    table = np.zeros((len(TRUE_KINDS), len(READ_AS) + 1))
    columns = [name for name, _ in READ_AS]
    for kind, (read, area) in cells.items():
        table[TRUE_KINDS.index(TissueClass[kind.upper()]), columns.index(read)] += area
    return Places(table, counts)


def test_bands_and_scenarios_count_every_photo_once() -> None:
    seen = [seen_alone(photo(true), answer(true, true + 1.0)) for true in (0.0, 30.0, 100.0)]
    rows = {row[0]: row[1] for row in coverage_rows(seen)}
    assert rows["**all**"] == rows["healthy"] == "3 of 3"
    assert [rows[f"{band} % covered"] for band in ("0 to 5", "25 to 50", "95 to 100")] == [
        "1 of 1"
    ] * 3


def test_days_read_together_have_rows_of_their_own_where_jars_have_several_days() -> None:
    far, near = answer(30.0, 50.0), answer(30.0, 32.0)
    seen = [Seen(photo(30.0), far, None, together=near, today=answer(30.0, 40.0))]
    seen += [seen_alone(photo(true), answer(true, true + 2.0)) for true in (5.0, 60.0, 95.0)]
    rows = {row[0]: row[2] for row in coverage_rows(seen)}
    assert rows["**all**"] == "6.5"
    assert (rows["days read together"], rows["... by the days before"]) == ("2.0", "4.0")
    assert "days read together" not in {row[0] for row in coverage_rows(seen[:1])}


def test_refused_photos_leave_dashes() -> None:
    refused = seen_alone(photo(40.0), Answer("x", "", 40.0, 40.0, reason="no_jar: none"))
    assert coverage_rows([refused])[0][1:3] == ("0 of 1", "–")


def test_an_error_is_silent_when_the_interval_denies_the_truth() -> None:
    assert silent([answer(10.0, 14.9), answer(10.0, 30.0, half=25.0)]) == []
    assert len(silent([answer(10.0, 16.0)])) == 1


def test_places_are_shares_of_their_true_kind() -> None:
    both = [
        places(Counter(), bare=("bare", 3.0), mycelium=("growth", 4.0)),
        places(Counter(), bare=("stain", 1.0)),
    ]
    assert place_rows(both)[0][:4] == ("bare (50.0 %)", "75.0", "0.0", "25.0")
    assert wrong_percent(both) == pytest.approx(12.5)


def test_only_clean_photos_count_for_false_alarms() -> None:
    said = Counter({"stain|1 to 4|said": 1, "stain|1 to 4|false": 1})
    rows = dict(area_rows([places(said, bare=("stain", 2.0)), places(said, stain=("stain", 2.0))]))
    assert rows["clean photos with a false stain area"] == "1 of 1"


def test_truth_is_read_jar_by_jar_and_mapped_on_to_the_wall(tmp_path: Path) -> None:
    folder = tmp_path / "truth" / "single"
    folder.mkdir(parents=True)
    with (folder / "truth.csv").open("w", newline="") as table:
        writer = csv.writer(table)
        writer.writerow(["image", "jar_id", "date", "scenario", "coverage_front60_percent"])
        writer.writerow(["J2/a.jpg", "J2", "2026-03-02", "healthy", "10"])
        writer.writerow(["J1/b.jpg", "J1", "2026-03-03", "healthy", "20"])
        writer.writerow(["J1/b.jpg", "J1", "2026-03-03", "healthy", "25"])
    found = read_set(tmp_path, "single")
    assert [(p.jar, p.true_percent) for p in found] == [("J1", 25.0), ("J2", 10.0)]

    mask = np.array([[0, 1, 2], [7, 9, 9]], np.uint8).repeat(2, 0).repeat(2, 1)
    cv2.imwrite(str(tmp_path / "mask.png"), mask)
    wall = small_wall(np.stack(np.meshgrid(np.arange(3), np.arange(2)), axis=-1))
    classes = photo(0.0, mask=tmp_path / "mask.png").classes_at(wall, photo_scale=0.5)
    assert classes.tolist() == [
        [TissueClass.OUTSIDE, TissueClass.BARE, TissueClass.MYCELIUM],
        [TissueClass.WET, IGNORED, IGNORED],
    ]


def small_wall(pixels: np.ndarray) -> Wall:
    rows, cols = pixels.shape[:2]
    return Wall(
        linear=np.zeros((rows, cols, 3), np.float32),
        angles_deg=np.arange(cols, dtype=float),
        heights_mm=np.arange(rows, dtype=float)[::-1],
        radius_mm=40.0,
        filled=np.ones((rows, cols), np.bool_),
        judged=np.ones((rows, cols), np.bool_),
        pixels=pixels.astype(np.float32),
    )
