"""The CSV files: a contract of names and columns, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from fake_shelf import fake_reading, fake_shelf, fake_story

from jarvision.base.csv_text import to_csv
from jarvision.base.errors import NotWritableError
from jarvision.records import Coverage
from jarvision.report.tables import write_tables

CONTRACT = {
    "readings.csv": "photo, jar, view, taken_at, status, reason, coverage_percent, coverage_low, "
    "coverage_high, soft_coverage_percent, seen_percent, bare_cm2, offcolour_cm2, stain_cm2, "
    "wet_cm2, fill_height_mm, colour_de00_median",
    "days.csv": "jar, date, views, coverage_percent, coverage_low, coverage_high, seen_percent",
    "patches.csv": "jar, date, patch, kind, area_cm2, angle_deg, height_mm, trend",
    "verdicts.csv": "jar, species, verdict, reasons, coverage_percent, ready_date, ready_low, "
    "ready_high",
    "flags.csv": "jar, date, severity, flag, message",
}


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize(("name", "columns"), CONTRACT.items())
def test_columns_begin_as_promised(tmp_path: Path, name: str, columns: str) -> None:
    write_tables(fake_shelf(), tmp_path)
    wanted = columns.split(", ")
    header = (tmp_path / name).read_text(encoding="utf-8").splitlines()[0].split(",")
    assert header[: len(wanted)] == wanted


def test_an_empty_shelf_still_has_every_header(tmp_path: Path) -> None:
    empty = replace(fake_shelf(), readings=(), stories=())
    for path in write_tables(empty, tmp_path):
        assert len(path.read_text(encoding="utf-8").splitlines()) == 1


def test_every_photo_is_a_row_and_refused_ones_have_no_numbers(tmp_path: Path) -> None:
    shelf = fake_shelf()
    write_tables(shelf, tmp_path)
    table = rows(tmp_path / "readings.csv")
    assert [row["photo"] for row in table] == [r.photo for r in shelf.readings]
    refused = [row for row in table if row["status"] == "unusable"]
    assert {row["reason"] for row in refused} == {"blurred", "jar_mismatch"}
    measured = [c for c in table[0] if c.endswith(("_percent", "_cm2", "_mm", "_low", "_high"))]
    assert all(row[column] == "" for row in refused for column in measured)


def test_pandas_reads_numbers_and_dates_back(tmp_path: Path) -> None:
    shelf = fake_shelf()
    write_tables(shelf, tmp_path)
    days = pd.read_csv(tmp_path / "days.csv", parse_dates=["date"])
    truth = [d.coverage.percent for s in shelf.stories for d in s.history.days]
    assert days["coverage_percent"].to_numpy() == pytest.approx(truth, abs=0.05)
    assert days["date"].dt.year.eq(2026).all()


def test_the_same_shelf_gives_the_same_bytes(tmp_path: Path) -> None:
    first = [p.read_bytes() for p in write_tables(fake_shelf(), tmp_path)]
    second = [p.read_bytes() for p in write_tables(fake_shelf(), tmp_path)]
    assert first == second


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-cmd", "@sum", "\t=1", "\r=1", "  =1"])
def test_cells_that_a_spreadsheet_would_run_are_made_harmless(text: str) -> None:
    (_, row) = csv.reader(to_csv(["a"], [[text]]).splitlines())
    assert row[0].startswith("'")


@pytest.mark.parametrize("text", ["-5", "+3.2", "J-1", "a=b", "07", ""])
def test_harmless_cells_stay_as_they_are(text: str) -> None:
    (_, row) = csv.reader(to_csv(["a", "b"], [[text, "x"]]).splitlines())
    assert row[0] == text


def test_hostile_names_stay_one_row_of_text(tmp_path: Path) -> None:
    jar = '=HYPERLINK("x"),\n<script>\udcff'
    story = fake_story(jar, "check", ("a\nb",))
    shelf = replace(fake_shelf(), readings=(), stories=(story,))
    write_tables(shelf, tmp_path)
    (row,) = rows(tmp_path / "verdicts.csv")
    assert row["jar"] == "'" + '=HYPERLINK("x"), <script>\\udcff'
    assert row["reasons"] == "a b"


def test_what_is_not_a_number_is_empty_and_zero_has_no_sign(tmp_path: Path) -> None:
    reading = replace(
        fake_reading("J1", fake_shelf().scored_on, 0.0),
        coverage=Coverage(-0.0, -0.0, float("nan"), 0.0, 90.0),
        fill_height_mm=float("inf"),
    )
    write_tables(replace(fake_shelf(), readings=(reading,), stories=()), tmp_path)
    (row,) = rows(tmp_path / "readings.csv")
    assert (row["coverage_percent"], row["coverage_high"], row["fill_height_mm"]) == ("0.0", "", "")


def test_a_file_that_cannot_be_written_is_told_and_leaves_no_rest(tmp_path: Path) -> None:
    (tmp_path / "days.csv").mkdir()
    with pytest.raises(NotWritableError):
        write_tables(fake_shelf(), tmp_path)
    assert not list(tmp_path.glob(".*.part"))
