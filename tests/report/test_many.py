"""A page of many jars: equal lines put together, names found, a phone can open it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import html5lib
import pytest
from fake_shelf import TODAY, fake_shelf, fake_story, with_pictures

from jarvision.records import JarStory, ShelfResult, VerdictWord
from jarvision.report import write_report
from jarvision.report.many import MOST_LINES, MOST_ROWS
from jarvision.report.page import render_page
from jarvision.report.pictures import detail_for


def shelf_of(*stories: JarStory) -> ShelfResult:
    return replace(fake_shelf(), stories=stories, readings=(), warnings=())


def jars(number: int, verdict: VerdictWord = "wait", *, stem: str = "K") -> list[JarStory]:
    one = fake_story("X", verdict, (f"{verdict} as it is",))
    return [
        replace(
            one,
            history=replace(one.history, entry=replace(one.history.entry, jar=f"{stem}{n:03d}")),
            verdict=replace(one.verdict, jar=f"{stem}{n:03d}"),
        )
        for n in range(number)
    ]


def part(page: str, of: str) -> str:
    tree = html5lib.HTMLParser(namespaceHTMLElements=False).parse(page)
    (found,) = [e for e in tree.iter("section") if e.get("id") == of]
    return " ".join("".join(found.itertext()).split())


@pytest.mark.parametrize(("number", "lines"), [(MOST_LINES - 1, MOST_LINES - 1), (MOST_LINES, 1)])
def test_many_jars_that_wait_for_one_reason_stand_on_one_line(
    number: int, lines: int, tmp_path: Path
) -> None:
    odd = fake_story("Z1", "wait", ("for something else",))
    page = render_page(
        shelf_of(*jars(number), odd, *jars(2, "no-go", stem="N")), tmp_path, curves={}
    )
    today = part(page, "today")
    assert today.lower().count("wait as it is") == lines
    assert "Z1" in today and today.lower().count("no-go as it is") == 2
    for n in range(number):
        assert f"K{n:03d}" in today


def test_the_table_of_many_jars_shows_those_that_need_somebody_and_says_so(tmp_path: Path) -> None:
    few = [*jars(MOST_ROWS - 1), *jars(1, "check", stem="C")]
    assert "are left out" not in part(render_page(shelf_of(*few), tmp_path, curves={}), "shelf")
    table = part(
        render_page(shelf_of(*few, *jars(1, "go", stem="G")), tmp_path, curves={}), "shelf"
    )
    assert f"{MOST_ROWS - 1} jars that wait are left out." in table
    rows = table[table.index("Percent covered, by jar") :]
    assert "C000" in rows and "G000" in rows and "K001" not in rows


def test_many_jars_have_an_index_by_how_their_names_begin(tmp_path: Path) -> None:
    few = render_page(shelf_of(*jars(MOST_ROWS)), tmp_path, curves={})
    assert "Jars by name" not in few
    page = render_page(shelf_of(*jars(101), *jars(2, stem="Bee-")), tmp_path, curves={})
    index = page[page.index("Jars by name") : page.index("<article")]
    for title, count in (("K0", 100), ("K1", 1), ("Bee-0", 2)):
        assert f'{title} <span class="quiet">{count}</span>' in index
    anchors = {name.split('"')[0] for name in index.split('href="#')[1:]}
    assert len(anchors) == 103 and all(f'<article id="{anchor}"' in page for anchor in anchors)


def test_on_a_very_large_shelf_jars_that_wait_have_words_alone(tmp_path: Path) -> None:
    shelf = with_pictures(fake_shelf(), tmp_path)
    assert "data:image" in render_page(shelf, tmp_path, curves={})
    none = detail_for(161)
    assert not none.shows("wait") and none.shows("go") and none.frames == 0
    assert detail_for(160).shows("wait")
    many = replace(shelf, stories=(*shelf.stories, *jars(160)))
    page = render_page(many, tmp_path, curves={})
    cards = {card.split('"')[0]: card for card in page.split('<article id="')[1:]}
    for card in cards.values():
        waits = 'class="jar wait"' in card
        assert ("lie in overlays" in card) is waits
        assert ("<figure" in card) is not waits


def test_the_curve_of_a_jar_that_is_called_otherwise_now_goes(tmp_path: Path) -> None:
    shelf = fake_shelf()
    write_report(shelf, tmp_path)
    mine = tmp_path / "curves" / "notes.txt"
    mine.write_text("mine")
    first, *rest = shelf.stories
    renamed = replace(first, verdict=replace(first.verdict, jar="New"))
    write_report(replace(shelf, stories=(renamed, *rest)), tmp_path)
    names = {path.name for path in (tmp_path / "curves").iterdir()}
    assert names == {"New.svg", *(f"{s.verdict.jar}.svg" for s in rest), "notes.txt"}
    assert TODAY.isoformat() in (tmp_path / "verdicts.csv").read_text("utf-8")
