"""The page and the curves: self-contained, escaped, readable without colour."""

from __future__ import annotations

import itertools
import re
import warnings
import weakref
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import html5lib
import pytest
from fake_shelf import (
    FIRST,
    TODAY,
    fake_refusal,
    fake_shelf,
    fake_story,
    with_pictures,
)

from jarvision.base.files import write_pieces
from jarvision.records import Finding, JarEntry, JarHistory, JarStory, ShelfResult, TrackedPatch
from jarvision.records.flags import CAUTIONS
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.report import write_report
from jarvision.report.cards import JarCard, build_card
from jarvision.report.charts import build_curve, draw_curve, draw_shelf
from jarvision.report.page import render_page
from jarvision.report.svg import THEMED
from jarvision.report.words import VERDICT_WORDS, by_urgency
from jarvision.verdict.plan import Plan, PlanItem

FACTS: dict[str, Any] = {
    "kind": "green", "patch": "green-1", "area_cm2": 2.5, "seen_on": TODAY, "photos": 4,
    "out_cm2": 0.3, "look_cm2": 0.2, "angle_deg": -14.0, "height_mm": 40.0, "days": 4,
    "rest_percent": 90.0, "percent": 71.0, "percent_per_day": 0.0, "expected_percent_per_day": 4.0,
}  # fmt: skip
HOSTILE = '<script>alert(1)</script>"><img src=x onerror=y>'


def parse(text: str) -> ET.Element:
    parser = html5lib.HTMLParser(strict=False, namespaceHTMLElements=False)
    return parser.parse(text)


@pytest.fixture(scope="module")
def pictured(tmp_path_factory: pytest.TempPathFactory) -> tuple[ShelfResult, Path]:
    out = tmp_path_factory.mktemp("out")
    shelf = fake_shelf()
    few = replace(shelf, stories=shelf.stories[2:4])
    return with_pictures(few, out), out


def test_the_page_asks_for_nothing_from_outside(pictured: tuple[ShelfResult, Path]) -> None:
    page = parse(render_page(*pictured))
    for element in page.iter():
        for name in ("src", "href", "xlink:href", "srcset", "action", "data"):
            value = element.get(name, "")
            assert not value or value.startswith(("data:image/jpeg", "#")), value
    text = render_page(*pictured)
    assert set(re.findall(r"url\((.)", text)) <= {"#"}  # clip paths of the same page
    assert "@import" not in text
    assert not list(page.iter("script")) and not list(page.iter("link"))


def test_links_lead_to_places_on_the_page_and_ids_are_unique(
    pictured: tuple[ShelfResult, Path],
) -> None:
    page = parse(render_page(*pictured))
    ids = [e.get("id") for e in page.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    assert {a.get("href") for a in page.iter("a")} <= {f"#{name}" for name in ids}


def test_every_picture_says_its_finding(pictured: tuple[ShelfResult, Path]) -> None:
    page = parse(render_page(*pictured))
    pictures = list(page.iter("img"))
    told = [p for p in pictures if p.get("class") != "thumb"]  # those stand beside their words
    assert len(told) == 2 * (1 + 1 + 8)  # two jars: overlay, wall, eight days
    assert all(len(p.get("alt", "")) > 8 for p in told)
    assert all(p.get("alt") is not None for p in pictures)
    alts = " | ".join(p.get("alt", "") for p in pictures)
    assert re.search(r"J04 on .*covered 91\.\d\s%.*green 2\.5\scm²", alts)


def test_hostile_text_stays_text(tmp_path: Path) -> None:
    story = fake_story(HOSTILE, "check", (HOSTILE,), species=HOSTILE, flags=(("stall", HOSTILE),))
    shelf = replace(fake_shelf(story), folder=HOSTILE, warnings=(HOSTILE,))
    page = parse(render_page(shelf, tmp_path))
    assert not list(page.iter("script"))
    assert all(e.get("onerror") is None and e.get("src") != "x" for e in page.iter())
    assert HOSTILE in "".join(page.itertext())


def test_verdicts_are_told_by_words_in_order_of_urgency(tmp_path: Path) -> None:
    text = "".join(parse(render_page(fake_shelf(), tmp_path)).find("body").itertext())
    places = [text.rindex(words.heading) for words in VERDICT_WORDS.values()]
    assert places == sorted(places)
    assert [s.verdict.jar for s in by_urgency(fake_shelf().stories)][:2] == ["J04", "J03"]


def test_mould_comes_first_in_what_must_be_taken_out() -> None:
    words = ("stall", "dead_patch", "wet", "mould")  # a later ready date for each
    stories = tuple(
        fake_story(f"X{n}", "no-go", (Finding.of(word, "no-go", **FACTS),), middle=3.0 + n)
        for n, word in enumerate(words)
    )
    ranked = [s.verdict.findings[0].word for s in by_urgency(stories)]
    assert ranked == ["mould", "wet", "dead_patch", "stall"]
    go = fake_story("A", "go", ("fine",))
    assert by_urgency((go, *stories))[-1] is go


def test_what_the_grower_noted_stands_with_the_jar(tmp_path: Path) -> None:
    story = fake_shelf().stories[0]
    assert "Your note" not in plain_text(render_page(fake_shelf(story), tmp_path))
    entry = replace(story.history.entry, notes="<i>from the January culture")
    noted = replace(story, history=replace(story.history, entry=entry))
    told = plain_text(render_page(replace(fake_shelf(), stories=(noted,)), tmp_path))
    assert "Your note: <i>from the January culture" in told


def test_refused_photos_come_with_their_remedy_and_cautions_are_there(tmp_path: Path) -> None:
    text = " ".join("".join(parse(render_page(fake_shelf(), tmp_path)).itertext()).split())
    for word in ("blurred", "jar_mismatch"):
        assert PHOTO_REASONS[word].remedy in text
    assert "IMG_0042.jpg" in text
    assert all(caution in text for caution in CAUTIONS)


def test_a_jar_that_must_go_shows_no_date_to_look_forward_to(tmp_path: Path) -> None:
    stories = tuple(s for s in fake_shelf().stories if s.verdict.verdict == "no-go")
    assert stories[0].growth.ready_date is not None
    page = parse(render_page(replace(fake_shelf(), stories=stories), tmp_path))
    assert "Ready" not in [e.text for e in page.iter("dt")]


def never_seen() -> JarStory:
    story = fake_shelf().stories[2]
    history = JarHistory(JarEntry("J09"), (), story.history.refused)
    verdict = replace(story.verdict, jar="J09", coverage=None)
    return replace(story, history=history, verdict=verdict)


def test_a_jar_without_a_usable_photo_has_a_card_and_no_curve(tmp_path: Path) -> None:
    assert build_curve(never_seen(), ready_percent=95) is None
    page = render_page(replace(fake_shelf(), stories=(never_seen(),)), tmp_path)
    assert "No usable photo yet" in page


def test_the_curves_of_jars_that_differ_in_capitals_only_have_files_of_their_own(
    tmp_path: Path,
) -> None:
    twins = (fake_story("J01x", "go", ("fine",)), fake_story("j01X", "wait", ("growing",)))
    write_report(fake_shelf(*twins), tmp_path)
    names = [path.name for path in (tmp_path / "curves").iterdir()]
    assert "J01.svg" in names
    assert len({name.casefold() for name in names}) == len(names) == 7


def test_curves_are_written_for_every_jar_and_stay_inside_out(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_report(fake_shelf(fake_story("../../x$y", "wait", ("r",)), never_seen()), out)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out"]
    curves = list((out / "curves").iterdir())
    assert len(curves) == 6
    for path in curves:
        assert ET.parse(path).getroot().tag == "{http://www.w3.org/2000/svg}svg"


def test_the_curve_keeps_readings_and_forecast_on_one_calendar() -> None:
    story = fake_shelf().stories[1]
    curve = build_curve(story, ready_percent=95)
    assert curve is not None and curve.ready is not None and story.growth.ready_date is not None
    assert curve.origin == story.history.days[0].day
    assert curve.ready[0] == (story.growth.ready_date - curve.origin).days
    by_day = {round(t, 3): p for t, p, _, _ in curve.curve}
    for day, percent, low, high in curve.points:
        assert low <= percent <= high
        assert by_day[day] == pytest.approx(percent, abs=0.01)


def test_the_page_is_html_that_a_strict_parser_takes(pictured: tuple[ShelfResult, Path]) -> None:
    shelf, out = pictured
    odd = fake_story("<b>&amp;", "check", ('"quoted" <i>',), refused=(fake_refusal("x", "", "?"),))
    shelf = replace(shelf, stories=(*shelf.stories, odd, never_seen()))
    html5lib.HTMLParser(strict=True).parse(render_page(shelf, out))


def test_headings_go_down_one_level_at_a_time(pictured: tuple[ShelfResult, Path]) -> None:
    page = parse(render_page(*pictured))
    levels = [int(e.tag[1]) for e in page.iter() if re.fullmatch(r"h\d", str(e.tag))]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))


def asked_again(page: ET.Element) -> int:
    """Number of photos in the heading that asks for them; 0 without it."""
    headings = ["".join(e.itertext()).split() for e in page.iter("h3")]
    return sum(int(words[-1]) for words in headings if words[:2] == ["Photograph", "again"])


def test_a_jar_without_a_photo_of_today_is_asked_for(tmp_path: Path) -> None:
    shelf = fake_shelf()
    late = replace(shelf, scored_on=TODAY + timedelta(days=1))
    only_jars = replace(shelf, readings=tuple(r for r in shelf.readings if r.jar))
    assert asked_again(parse(render_page(only_jars, tmp_path))) == 0
    assert asked_again(parse(render_page(shelf, tmp_path))) == 1  # a photo of no jar, today
    staying = [s for s in shelf.stories if s.verdict.verdict != "no-go"]
    assert 0 < len(staying) < len(shelf.stories), "one must go out of the room, not before a card"
    assert asked_again(parse(render_page(late, tmp_path))) == len(staying)


def test_a_photo_refused_today_without_a_better_one_must_be_taken_again(tmp_path: Path) -> None:
    text = "".join(parse(render_page(fake_shelf(), tmp_path)).itertext())
    again, earlier = text.index("Take again today"), text.index("Earlier: nothing to do")
    assert again < text.rindex("IMG_0042.jpg") < earlier < text.rindex("J03_2026-03-09.jpg")


def test_the_plan_tells_later_days_and_leaves_todays_list_alone(tmp_path: Path) -> None:
    items = (
        PlanItem(TODAY, "isolate", ("J04",), "Keep it closed.", "act"),
        PlanItem(TODAY + timedelta(days=1), "use", ("J01",), "Look it over.", low=TODAY),
        PlanItem(TODAY + timedelta(days=4), "use", ("J02",), "Look it over."),
    )
    plan = Plan(TODAY, TODAY + timedelta(days=13), items, undated=("J05",))
    page = parse(render_page(fake_shelf(), tmp_path, plan=plan))
    (section,) = [e for e in page.iter("section") if e.get("id") == "next"]
    text = " ".join("".join(section.itertext()).split())
    assert "Keep it closed." not in text
    assert text.count("Look it over.") == 1  # the same words once
    assert "Tomorrow" in text and "J02" in text and "without a date yet: J05" in text


def plain_text(page: str) -> str:
    return " ".join("".join(parse(page).itertext()).split())


def test_a_number_and_its_unit_stay_on_one_line(tmp_path: Path) -> None:
    page = render_page(fake_shelf(), tmp_path)
    figures = re.findall(r'class="much">([^<]*\d[^<]*)<', page)
    assert figures and all(re.fullmatch(r"\d+\N{NO-BREAK SPACE}%", told) for told in figures)


def test_the_start_of_a_jar_has_its_year_where_that_is_another(tmp_path: Path) -> None:
    story = fake_shelf().stories[0]
    for started, told in ((date(2026, 3, 1), "Sun 1 Mar"), (date(2025, 12, 1), "Mon 1 Dec 2025")):
        entry = replace(story.history.entry, started=started)
        jar = replace(story, history=replace(story.history, entry=entry))
        page = render_page(replace(fake_shelf(), stories=(jar,)), tmp_path)
        assert f"started {told}<" in page


def test_a_card_names_its_relatives_with_their_verdicts(tmp_path: Path) -> None:
    shelf = fake_shelf()
    assert "spawn from" not in plain_text(render_page(shelf, tmp_path))
    lines = [JarEntry("J01", parent="M"), JarEntry("J04", parent="M"), JarEntry("M")]
    register = {line.jar: line for line in lines}
    told = plain_text(render_page(shelf, tmp_path, register=register))
    assert "spawn from M no photo same spawn J04 No-go" in told


def test_without_a_register_a_parent_is_known_by_its_name(tmp_path: Path) -> None:
    story = fake_shelf().stories[0]
    entry = replace(story.history.entry, parent="M")
    story = replace(story, history=replace(story.history, entry=entry))
    told = plain_text(render_page(replace(fake_shelf(), stories=(story,)), tmp_path))
    assert "spawn from M no photo" in told


def test_the_table_of_days_shows_what_days_csv_holds(tmp_path: Path) -> None:
    shelf = fake_shelf()
    page = parse(render_page(shelf, tmp_path))
    rows = {}
    for row in page.iter("tr"):
        cells = [" ".join("".join(c.itertext()).split()) for c in row]
        rows[cells[0].split(",")[0]] = cells[1:]
    assert len(rows) == 1 + len(shelf.stories)
    for story in shelf.stories:
        percents = [f"{d.coverage.percent:.0f}" for d in story.history.days]
        assert rows[story.verdict.jar] == percents


def test_a_chart_has_every_reading_and_says_when_a_thing_was_seen_first() -> None:
    green = TrackedPatch("green-1", "green", 2.5, 22.0, 40.0, "growing")
    story = fake_story("J04", "no-go", ("r",), flags=(("off_colour", "r"),), patch=green)
    curve = build_curve(story, ready_percent=95)
    assert curve is not None
    assert curve.sightings == ((5.0, "green"),)
    drawn = ET.fromstring(draw_curve(story, ready_percent=95, key="k"))
    words = [e.text for e in drawn.iter() if e.tag.endswith("}text")]
    assert "green seen" in words
    normal = replace(story.profile, normal_kinds=("green",))
    quiet = build_curve(replace(story, profile=normal), ready_percent=95)
    assert quiet is not None and quiet.sightings == ()


def test_refused_photos_and_the_forecast_are_marked_in_the_chart() -> None:
    late = fake_refusal("x.jpg", "J02", "blurred", FIRST + timedelta(days=2))
    curve = build_curve(fake_story("J02", "wait", ("r",), refused=(late,)), ready_percent=95)
    assert curve is not None
    assert curve.refused == (2.0,)


def test_charts_in_the_page_follow_its_theme_and_share_no_ids(
    pictured: tuple[ShelfResult, Path],
) -> None:
    text = render_page(*pictured)
    charts = re.findall(r'<svg class="curve".*?</svg>', text, re.DOTALL)
    assert len(charts) == 3
    for chart in charts:
        assert not [colour for colour in THEMED if colour in chart]
        assert "var(--ink)" in chart or "var(--quiet)" in chart
    for name in THEMED.values():
        assert f"{name}:" in text


def test_names_in_other_scripts_are_drawn_without_a_word_about_fonts() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        chart = draw_shelf([fake_story("罐", "go", ("r",))], key="k", today=TODAY)
    assert "罐" in chart


def test_names_of_lines_never_stand_over_one_another() -> None:
    drawn = ET.fromstring(draw_shelf(fake_shelf().stories, key="s", today=TODAY))
    names = {f"J0{n}" for n in range(1, 6)}
    places = sorted(
        float(e.get("y", "nan"))
        for e in drawn.iter()
        if e.tag.endswith("}text") and e.text in names
    )
    assert len(places) == len(names)
    assert all(b - a > 11 for a, b in itertools.pairwise(places))


def test_the_pages_own_weight_stays_small(pictured: tuple[ShelfResult, Path]) -> None:
    shelf, out = pictured
    ten = tuple(
        replace(s, verdict=replace(s.verdict, jar=f"X{n}"))
        for n, s in enumerate(fake_shelf().stories * 2)
    )
    text = render_page(replace(shelf, stories=ten), out)
    own = re.sub(r"data:image/jpeg;base64,[^\"]*", "", text)
    assert len(own.encode()) < 300_000


def test_a_page_that_cannot_be_made_whole_leaves_the_old_one(tmp_path: Path) -> None:
    page = tmp_path / "report.html"
    page.write_text("yesterday")

    def pieces() -> Iterator[bytes]:
        yield b"today, half"
        raise RuntimeError("a jar that cannot be drawn")

    with pytest.raises(RuntimeError):
        write_pieces(page, pieces())
    assert page.read_text() == "yesterday"
    assert list(tmp_path.iterdir()) == [page]


def test_no_more_than_two_jars_are_held_while_the_page_is_made(
    pictured: tuple[ShelfResult, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    shelf, out = pictured
    made: list[weakref.ref[JarCard]] = []

    def watched(*args: Any) -> JarCard:
        assert sum(card() is not None for card in made) <= 1  # the one before
        card = build_card(*args)
        made.append(weakref.ref(card))
        return card

    monkeypatch.setattr("jarvision.report.page.build_card", watched)
    six = tuple(
        replace(s, verdict=replace(s.verdict, jar=f"X{n}")) for n, s in enumerate(shelf.stories * 3)
    )
    render_page(replace(shelf, stories=six), out)
    assert len(made) == len(six)


def test_the_page_says_how_old_its_photos_were(tmp_path: Path) -> None:
    shelf = fake_shelf()
    assert 'class="age"' not in render_page(shelf, tmp_path)
    same = replace(shelf, made_on=shelf.scored_on)
    assert 'class="age"' not in render_page(same, tmp_path)
    later = replace(shelf, made_on=shelf.scored_on + timedelta(days=3))
    page = render_page(later, tmp_path)
    assert "The newest photos were 3 days old when this was made, on" in page
    early = replace(shelf, made_on=shelf.scored_on - timedelta(days=3))  # --today lies ahead
    assert 'class="age"' not in render_page(early, tmp_path)
