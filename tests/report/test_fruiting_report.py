"""A jar seen from above stands on the page, in explain, in the tables and in JSON."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from tops import a_fruiting_run, day, fruiting_jar, top

from jarvision.app.cli.document import result_document
from jarvision.records import ShelfResult
from jarvision.register.jars import Register
from jarvision.register.species import SpeciesBook
from jarvision.register.species.profiles import load_profiles
from jarvision.report.page import render_page
from jarvision.report.plan_files import to_calendar
from jarvision.report.read_back import read_result
from jarvision.report.story import tell_story
from jarvision.report.tables import write_tables
from jarvision.run.packing import pack_record, unpack_record
from jarvision.settings.groups import Settings
from jarvision.verdict.assess import tell_stories
from jarvision.verdict.plan import make_plan

TODAY = 16


def shelf(today: int = TODAY, *, green: float = 0.0) -> ShelfResult:
    seen = a_fruiting_run() | {today: top(pins=[5.0], cap=31.0, green=green)}
    history = fruiting_jar(seen, diary={8: "fruiting"})
    stories = tell_stories(
        [history],
        Register({"F01": history.entry}),
        today=day(today),
        settings=Settings(),
        species=SpeciesBook(load_profiles()),
    )
    return ShelfResult("shelf", day(today), (), stories)


def lines_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text("utf-8").splitlines()))


def test_the_page_tells_the_stage_and_when_to_cut_and_is_of_one_piece(tmp_path: Path) -> None:
    result = shelf()
    page = render_page(result, tmp_path, plan=make_plan(result))
    assert "From above: harvest soon" in page
    assert "<dt>Cut</dt>" in page
    assert "Largest cap" in page
    assert "31\N{NO-BREAK SPACE}mm (30 to 32)" in page
    # nobody photographed its wall: what is covered is told of the surface alone
    assert "<dt>Surface covered</dt>" in page
    assert "<dt>Covered</dt>" not in page


def test_a_jar_with_mould_has_no_stage_to_look_forward_to(tmp_path: Path) -> None:
    page = render_page(shelf(green=3.0), tmp_path)
    assert "From above: " not in page
    assert "green growth on the surface" in page.lower()


def test_explain_tells_it_from_the_first_photo_to_the_cut() -> None:
    result = shelf()
    told = {c.heading: c.sentences for c in tell_story(result.stories[0], scored_on=day(TODAY))}
    above = " ".join(told["From above"])
    assert "photographed from above on 18 days" in above
    assert "12 Mar to 13 Mar: moist enough." not in above
    assert "13 Mar: pinning." in above
    assert "80 % interval" in above
    assert told["Photos"] == ("No photo of its wall could be used.",)


def test_the_tables_hold_the_days_and_can_be_read_back(tmp_path: Path) -> None:
    write_tables(shelf(), tmp_path)
    rows = lines_of(tmp_path / "tops.csv")
    assert len(rows) == 18
    last = next(row for row in rows if row["date"] == str(day(TODAY)))
    assert (last["stage"], last["largest_cap_mm"], last["moisture"]) == (
        "harvest-soon",
        "31.0",
        "moist",
    )
    assert last["cut_low"] <= last["cut_date"] <= last["cut_high"]
    (verdict,) = lines_of(tmp_path / "verdicts.csv")
    assert (verdict["stage"], verdict["cut_date"]) == ("harvest-soon", last["cut_date"])
    assert read_result(tmp_path).stories[0].verdict.verdict == "wait"


def test_json_names_stage_and_cut_and_every_day() -> None:
    (jar,) = result_document(shelf())["jars"]
    assert jar["fruiting"]["stage"] == "harvest-soon"
    assert jar["fruiting"]["cut_low"] <= jar["fruiting"]["cut_date"]
    assert [d["stage"] for d in jar["fruiting"]["days"]][:3] == ["recovering"] * 3


def test_the_calendar_has_the_day_to_cut() -> None:
    text = to_calendar(make_plan(shelf()), shelf="shelf").decode()
    assert "SUMMARY:Cut: F01" in text
    assert "80 % interval" in text.replace("\r\n ", "")


def test_a_kept_result_brings_its_days_from_above_back() -> None:
    result = shelf()
    again = unpack_record(ShelfResult, pack_record(result))
    assert again.stories[0].fruiting == result.stories[0].fruiting
    assert again.stories[0].history.tops == result.stories[0].history.tops


@pytest.mark.parametrize("width", [31.0, 40.0])
def test_what_could_not_be_told_says_why(tmp_path: Path, width: float) -> None:
    seen = a_fruiting_run() | {TODAY: top(moisture=None, cap=width)}
    history = fruiting_jar(seen, diary={8: "fruiting"})
    (story,) = tell_stories(
        [history],
        Register({"F01": history.entry}),
        today=day(TODAY),
        settings=Settings(),
        species=SpeciesBook(load_profiles()),
    )
    page = render_page(ShelfResult("shelf", day(TODAY), (), (story,)), tmp_path)
    assert "a lamp is mirrored on the surface" in page
