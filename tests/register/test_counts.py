"""counts.csv: lines are added and never touched, slips are taken back, wrong lines are told."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from jarvision.base.errors import UsageError
from jarvision.register.counts import (
    COUNT_COLUMNS,
    POINT_WORDS,
    CountedPoint,
    PointWord,
    add_points,
    read_counts,
    undo_point,
)

PHOTO, OTHER = "0f" * 32, "ab" * 32
NOW = datetime(2026, 3, 9, 18, 5, 7)


def point(
    angle: float = 1.25, answer: PointWord = "white", *, who: str = "ann", round_: int = 1
) -> CountedPoint:
    return CountedPoint(PHOTO, angle, 12.5, answer, who, NOW, 50, 0.75, round_)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "counts.csv"


def test_what_was_added_is_read_back_in_its_order(path: Path) -> None:
    words = enumerate(POINT_WORDS)
    given = [CountedPoint(PHOTO, float(n), 2.0, word, "Zoë", NOW, 25) for n, word in words]
    add_points(path, given)
    assert read_counts(path) == tuple(given)
    assert path.read_text(encoding="utf-8").splitlines()[0] == ",".join(COUNT_COLUMNS)


def test_no_file_is_no_counts(path: Path) -> None:
    assert read_counts(path) == ()


def test_the_last_answer_at_a_point_counts_and_each_person_and_round_has_its_own(
    path: Path,
) -> None:
    add_points(path, [point()])
    add_points(path, [point(answer="bare")])
    add_points(path, [point(who="ben")])
    add_points(path, [point(answer="cannot tell", round_=2)])
    told = {(p.who, p.round_): p.answer for p in read_counts(path)}
    assert told == {("ann", 1): "bare", ("ben", 1): "white", ("ann", 2): "cannot tell"}


def test_the_last_answer_is_taken_back_and_its_line_stays(path: Path) -> None:
    add_points(path, [point(1.0)])
    add_points(path, [point(2.0, "bare")])
    add_points(path, [point(3.0, who="ben")])
    before = path.read_text(encoding="utf-8")
    assert undo_point(path, PHOTO, "ann", 1, now=NOW).angle_deg == 2.0
    assert path.read_text(encoding="utf-8").startswith(before)
    assert [p.angle_deg for p in read_counts(path)] == [1.0, 3.0]
    undo_point(path, PHOTO, "ann", 1, now=NOW)
    with pytest.raises(UsageError, match="Nothing was counted"):
        undo_point(path, PHOTO, "ann", 1, now=NOW)
    add_points(path, [point(2.0)])
    assert [p.angle_deg for p in read_counts(path)] == [3.0, 2.0]


def test_a_file_that_a_spreadsheet_has_saved_is_read_and_added_to(path: Path) -> None:
    head = ";".join(COUNT_COLUMNS)
    path.write_text(f"{head}\n{OTHER};-4,50;8,00;bare;ann;2026-03-09T10:00:00;1;30;0,9\n", "utf-8")
    add_points(path, [point()])
    first, second = read_counts(path)
    assert (first.angle_deg, first.weight, first.points) == (-4.5, 0.9, 30)
    assert second == point()


@pytest.mark.parametrize(
    ("column", "cell", "told"),
    [
        ("photo", "photo.jpg", "no SHA-256"),
        ("answer", "grey", "none of white"),
        ("angle_deg", "400", "outside"),
        ("height_mm", "nan", "outside"),
        ("points", "0", "outside"),
        ("weight", "-1", "outside"),
        ("when", "yesterday", "yesterday"),
    ],
)
def test_a_wrong_line_is_told_with_its_number(
    path: Path, column: str, cell: str, told: str
) -> None:
    add_points(path, [point()])
    head, line = path.read_text(encoding="utf-8").splitlines()
    cells = line.split(",")
    cells[COUNT_COLUMNS.index(column)] = cell
    path.write_text(f"{head}\n{line}\n{','.join(cells)}\n", encoding="utf-8")
    with pytest.raises(UsageError, match=rf"line 3: .*{told}"):
        read_counts(path)


def test_a_name_that_would_break_the_line_is_refused(path: Path) -> None:
    with pytest.raises(UsageError, match="line break"):
        add_points(path, [point(who="ann\nben")])
    assert not path.exists()


def test_a_name_that_a_spreadsheet_would_run_is_kept_as_text(path: Path) -> None:
    add_points(path, [point(who="=1+1")])
    assert read_counts(path)[0].who == "=1+1"
    assert ",=1" not in path.read_text(encoding="utf-8")
