"""The page and the curves: self-contained, escaped, readable without colour."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import html5lib
import numpy as np
import pytest
from fake_shelf import FILL_MM, TODAY, cover, fake_scene, fake_shelf, fake_story, with_pictures
from PIL import Image

from jarvision import ink
from jarvision.flags import CAUTIONS, PHOTO_REASONS
from jarvision.labels import Label, spread_out, write_labels
from jarvision.overlay import (
    CAPTION_HEIGHT_PX,
    STRIP_PX_PER_MM,
    STRIP_TOP_MM,
    Caption,
    draw_overlay,
    draw_refusal,
    draw_wall_strip,
)
from jarvision.records import JarEntry, JarHistory, JarStory, ShelfResult
from jarvision.report import write_report
from jarvision.report.charts import build_curve
from jarvision.report.page import render_page
from jarvision.report.words import VERDICT_WORDS, by_urgency

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
    assert "url(" not in text
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
    assert len(pictures) == 2 * (1 + 1 + 8)  # two jars: overlay, wall, eight days
    assert all(len(p.get("alt", "")) > 8 for p in pictures)
    alts = " | ".join(p.get("alt", "") for p in pictures)
    assert re.search(r"J04 on .*covered 91\.\d %.*green 2\.5 cm²", alts)


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


def test_curves_are_written_for_every_jar_and_stay_inside_out(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_report(fake_shelf(fake_story("../../x$y", "wait", ("r",)), never_seen()), out)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out"]
    curves = list((out / "curves").iterdir())
    assert len(curves) == 6
    for path in curves:
        with Image.open(path) as picture:
            assert picture.size == (936, 520)


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


def test_an_off_colour_patch_is_drawn_and_labelled_beside_the_jar() -> None:
    rgb, jar, wall, tissue, patches = fake_scene(0.9, seed=3, spot="green")
    caption = Caption("J1", TODAY, cover(90))
    inputs = {"jar": jar, "wall": wall, "tissue": tissue, "caption": caption}
    before = rgb.copy()
    with_patch = draw_overlay(rgb, patches=patches, **inputs)
    without = draw_overlay(rgb, patches=(), **inputs)
    assert (rgb == before).all()
    assert with_patch.shape[0] == 1000
    assert with_patch.dtype == rgb.dtype
    changed = (with_patch != without).any(axis=2)
    assert changed.sum() > 2000
    assert not changed[-CAPTION_HEIGHT_PX:].any()  # the caption tells coverage, not patches


def test_the_wall_strip_has_one_scale_in_mm_and_stands_on_the_floor() -> None:
    _, _, wall, tissue, patches = fake_scene(0.7)
    strip = draw_wall_strip(wall, tissue, patches)
    width_mm = 2 * math.pi / 3 * wall.radius_mm  # -60 to 60 degrees
    height_mm = FILL_MM + STRIP_TOP_MM
    assert strip.shape[1] / STRIP_PX_PER_MM == pytest.approx(width_mm, abs=0.5)
    assert strip.shape[0] / STRIP_PX_PER_MM == pytest.approx(height_mm, abs=0.5)


def test_labels_never_hide_one_another_and_count_those_left_out() -> None:
    places = np.array([[300.0, 400.0 + i] for i in range(9)], dtype=np.float32)
    labels = [
        Label("bare", "1.0 cm²", place[None], ink.OTHER, (2, float(i)))
        for i, place in enumerate(places)
    ]
    tops = spread_out([float(y) for y in places[:, 1]], 912)
    assert all(b - a >= ink.TAG_HEIGHT for a, b in itertools.pairwise(tops))
    assert tops[0] >= 0 and tops[-1] + ink.TAG_HEIGHT <= 912
    some, more = (np.zeros((912, 800, 3), dtype=np.uint8) for _ in range(2))
    write_labels(some, labels[:6], sides=(200, 600))
    write_labels(more, labels, sides=(200, 600))
    changed = np.argwhere((some != more).any(axis=2))
    assert len(changed) > 0
    assert changed[:, 0].min() > 860  # only the line that counts the others


def test_a_refused_photo_is_drawn_whole_with_its_advice_in_lines_below() -> None:
    rgb = fake_scene(0.5)[0]
    short = draw_refusal(rgb, title="Not used", text="blurred")
    long = draw_refusal(rgb, title="Not used", text="Wipe the lens and try again. " * 5)
    assert short.shape[1] == long.shape[1] == 640
    assert long.shape[0] > short.shape[0] > 640 * rgb.shape[0] / rgb.shape[1]
