"""The page of a shelf of many jars, and the files of its jars: whole, escaped, never half."""

from __future__ import annotations

import hashlib
import os
from base64 import b64encode
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import unquote
from xml.etree import ElementTree as ET

import html5lib
import pytest
from fake_shelf import TODAY, fake_reading, fake_refusal, fake_shelf, fake_story, with_pictures

from jarvision.base.errors import NotWritableError
from jarvision.records import DiaryLine, JarEntry, JarStory, ShelfResult
from jarvision.records.flags import CAUTIONS
from jarvision.records.parts import MadeAnew
from jarvision.report import jar_files, write_report
from jarvision.report.farm import MOST_OPEN, write_farm
from jarvision.report.jar_files import JarFile, jar_page
from jarvision.report.places import place_of

HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=y>',
    "</script>",
    "a/../b",
    "=1+1",
    "é ü",
)
MANY = MOST_OPEN + 12


def parse(text: str) -> ET.Element:
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)


def shelf_of(*stories: JarStory) -> ShelfResult:
    readings = tuple(r for s in stories for d in s.history.days for r in d.readings)
    return replace(fake_shelf(), stories=stories, readings=readings)


def waiting(number: int) -> list[JarStory]:
    return [fake_story(f"K{n:03d}", "wait", ("still growing",)) for n in range(number)]


def written(shelf: ShelfResult, out: Path, **more: Any) -> ET.Element:
    write_report(shelf, out, one_file_jars=3, **more)
    return parse((out / "report.html").read_text("utf-8"))


def part(page: ET.Element, of: str) -> ET.Element:
    (found,) = [e for e in page.iter() if e.get("id") == of]
    return found


def told(element: ET.Element) -> str:
    return " ".join("".join(element.itertext()).split())


def names(out: Path) -> set[str]:
    return {path.name for path in (out / "jars").iterdir()}


def test_more_jars_than_the_limit_have_files_of_their_own(tmp_path: Path) -> None:
    shelf = fake_shelf()
    write_report(shelf, tmp_path, one_file_jars=len(shelf.stories))
    assert "<article" in (tmp_path / "report.html").read_text("utf-8")
    assert not (tmp_path / "jars").exists()
    page = written(shelf, tmp_path)
    assert not list(page.iter("article"))
    assert names(tmp_path) == {f"{s.verdict.jar}.html" for s in shelf.stories}
    for story in shelf.stories:
        own = parse((tmp_path / "jars" / f"{story.verdict.jar}.html").read_text("utf-8"))
        assert [told(e) for e in own.iter("h1")] == [f"Jar {story.verdict.jar}"]
        assert len(list(own.iter("article"))) == 1


def test_every_jar_stands_in_the_list_once_and_its_link_leads_to_its_file(tmp_path: Path) -> None:
    stories = [*waiting(MANY), *(fake_story(name, "check", (name,)) for name in HOSTILE)]
    page = written(shelf_of(*stories), tmp_path)
    rows = [e for e in part(page, "today").iter("li") if str(e.get("id", "")).startswith("jar-")]
    assert len(rows) == len({row.get("id") for row in rows}) == len(stories)
    for row in rows:
        link = next(row.iter("a"))
        path = tmp_path / unquote(link.get("href", ""))
        assert path.parent == tmp_path / "jars" and path.is_file()
        name = told(next(e for e in row.iter("b")))
        own = parse(path.read_text("utf-8"))
        assert f"Jar {name}" == told(next(own.iter("h1")))
        backs = {a.get("href") for a in own.iter("a") if "list" in told(a)}
        assert {unquote(str(back)) for back in backs} == {f"../report.html#{row.get('id')}"}


def test_hostile_names_stay_text_in_page_and_files(tmp_path: Path) -> None:
    stories = [
        fake_story(name, "check", (name,), species=name, refused=(fake_refusal(name, name, name),))
        for name in HOSTILE
    ]
    shelf = replace(shelf_of(*stories), folder=HOSTILE[0], warnings=HOSTILE)
    page = written(shelf, tmp_path)
    for tree in (page, *(parse(p.read_text("utf-8")) for p in (tmp_path / "jars").iterdir())):
        assert all(e.get("onerror") is None and e.get("src") != "x" for e in tree.iter())
    assert len(list(page.iter("script"))) == 1
    assert all(name in told(part(page, "today")) for name in HOSTILE)
    assert sorted(p.name for p in tmp_path.parent.iterdir() if p.suffix == ".html") == []


def test_only_the_pages_own_script_may_run_and_nothing_is_asked_for(tmp_path: Path) -> None:
    page = written(with_pictures(fake_shelf(), tmp_path), tmp_path)
    (script,) = page.iter("script")
    digest = b64encode(hashlib.sha256((script.text or "").encode()).digest()).decode()
    policies = [e.get("content", "") for e in page.iter("meta") if e.get("http-equiv")]
    assert len(policies) == 1 and f"script-src 'sha256-{digest}'" in policies[0]
    assert policies[0].startswith("default-src 'none'; img-src data:;")
    for path in (tmp_path / "report.html", *(tmp_path / "jars").iterdir()):
        text = path.read_text("utf-8")
        assert "@import" not in text and "fetch(" not in text and "XMLHttp" not in text
        for element in parse(text).iter():
            for name in ("src", "srcset", "action", "data"):
                assert element.get(name, "data:image/jpeg").startswith("data:image/jpeg")
        if path.parent.name == "jars":
            assert "script" not in {e.tag for e in parse(text).iter()}


def test_the_rows_say_what_they_are_filtered_by(tmp_path: Path) -> None:
    story = fake_story("Z9", "go", ("fine",), species="enoki")
    entry = replace(story.history.entry, started=date(2026, 3, 1), parent="G1")
    moved = DiaryLine("Z9", "moved", TODAY, text="rack 2")
    history = replace(story.history, entry=entry, diary=(moved,))
    page = written(shelf_of(replace(story, history=history), *waiting(4)), tmp_path)
    row = part(page, "jar-Z9")
    assert {k: v for k, v in row.items() if k.startswith("data-")} == {
        "data-species": "enoki",
        "data-batch": "2026-03-01, spawn enoki rye grain",
        "data-place": "rack 2",
        "data-spawn": "G1",
    }


@pytest.mark.parametrize(
    ("photo", "place"),
    [
        ("rack 1/K1/x.jpg", "rack 1"),
        ("rack 1/2026-03-01/K1_a.jpg", "rack 1"),
        ("left/DCIM/k1/x.jpg", "left"),
        ("K1/x.jpg", ""),
        ("K1_2026-03-01.jpg", ""),
    ],
)
def test_a_jars_place_is_the_folder_that_is_no_jar_no_day_and_no_camera(
    photo: str, place: str
) -> None:
    story = fake_story("K1", "go", ("fine",))
    day = replace(
        story.history.days[-1], readings=(replace(fake_reading("K1", TODAY, 9.0), photo=photo),)
    )
    history = replace(story.history, days=(*story.history.days[:-1], day))
    assert place_of(replace(story, history=history)) == place


def test_the_newest_move_in_the_diary_tells_the_place() -> None:
    story = fake_story("K1", "go", ("fine",))
    lines = [("moved", 3, "left"), ("moved", 5, "right"), ("moved", 6, ""), ("note", 7, "up")]
    diary = tuple(
        DiaryLine("K1", what, TODAY - timedelta(days=10 - n), text=text)  # type: ignore[arg-type]
        for what, n, text in lines
    )
    assert place_of(replace(story, history=replace(story.history, diary=diary))) == "right"


def test_jars_that_wait_stand_in_a_fold_by_name_and_no_go_jars_never_do(tmp_path: Path) -> None:
    bad = [fake_story(f"N{n:02d}", "no-go", ("mould",)) for n in range(MANY)]
    late = [
        fake_story(f"K{n}", "wait", ("still growing",), middle=9.0 - n / 20) for n in range(120)
    ]
    page = written(shelf_of(*late, *bad), tmp_path)
    assert not list(part(page, "no-go").iter("details"))
    assert len(list(part(page, "no-go").iter("li"))) == MANY
    (fold,) = part(page, "wait").iter("details")
    rows = [str(e.get("id")) for e in fold.iter("li")]
    assert rows == [f"jar-K{n}" for n in range(120)]
    links = {told(a): a.get("href") for a in fold.iter("a") if told(a) in ("K", "K1")}
    assert links == {"K": "#jar-K0", "K1": "#jar-K100"}


def test_jars_and_photos_that_are_missing_are_told_by_day_and_fault(tmp_path: Path) -> None:
    refused = [fake_refusal(f"IMG_{n}.jpg", "", "jar_mismatch") for n in range(3)]
    shelf = shelf_of(*waiting(MANY))
    late = replace(shelf, scored_on=TODAY + timedelta(days=1))
    now = [replace(r, taken_at=datetime(2026, 3, 11, 8)) for r in refused]
    late = replace(late, readings=(*late.readings, *now))
    page = written(late, tmp_path)
    text = told(part(page, "today"))
    assert f"Photograph again {MANY + 3}" in text and "Last one Tue 10 Mar: K000, K001" in text
    photos = told(part(page, "photos"))
    assert ": 3. " in photos and "IMG_0.jpg, IMG_1.jpg, IMG_2.jpg" in photos
    assert all(caution in told(part(page, "cautions")) for caution in CAUTIONS)


def test_the_file_of_a_jar_is_made_from_its_record_alone(tmp_path: Path) -> None:
    shelf = with_pictures(fake_shelf(), tmp_path)

    def made(shelf: ShelfResult, **more: Any) -> dict[str, tuple[JarFile, str]]:
        """By jar: what its file was made from, and the file."""
        asked: dict[str, tuple[JarFile, str]] = {}

        def noted(told: JarFile, *, curve: str, out: Path) -> str:
            page = jar_page(told, curve=curve, out=out)
            asked[told.story.verdict.jar] = (told, page)
            return page

        write_farm(shelf, tmp_path, make=noted, **more)
        return asked

    before = made(shelf)
    # more jars, some of which go before it, in another order: the same record, the same file
    others = tuple(fake_story(f"A{n}", "no-go", ("mould",)) for n in range(3))
    after = made(replace(shelf, stories=(*others, *shelf.stories)))
    assert set(before) == {s.verdict.jar for s in shelf.stories} < set(after)
    assert all(before[jar] == after[jar] for jar in before)
    # what its kin has come to is part of it
    register = {"J01": JarEntry("J01", parent="J04"), "J04": JarEntry("J04")}
    kin = made(shelf, register=register)
    assert kin["J01"][0] != before["J01"][0] and kin["J02"] == before["J02"]
    kept = {jar: page for jar, (_, page) in kin.items()}
    write_farm(shelf, tmp_path, make=lambda told, *, curve, out: kept[told.story.verdict.jar])
    assert (tmp_path / "jars" / "J01.html").read_text("utf-8") == kept["J01"]


class Remembered(MadeAnew):
    """Keeps texts by what they are made of, as the store does."""

    def __init__(self) -> None:
        self.texts: dict[str, str] = {}

    def text(
        self, kind: str, jar: str, made_of: tuple[object, ...], make: Callable[[], str]
    ) -> str:
        key = repr((kind, jar, made_of))
        if key not in self.texts:
            self.texts[key] = make()
        return self.texts[key]


def test_the_file_of_a_jar_that_is_as_it_was_is_not_made_again(tmp_path: Path) -> None:
    shelf = replace(with_pictures(fake_shelf(), tmp_path), parts=Remembered())

    def made(shelf: ShelfResult) -> set[str]:
        asked = set()

        def noted(told: JarFile, *, curve: str, out: Path) -> str:
            asked.add(told.story.verdict.jar)
            return jar_page(told, curve=curve, out=out)

        write_farm(shelf, tmp_path, make=noted)
        return asked

    every = {story.verdict.jar for story in shelf.stories}
    assert made(shelf) == every
    assert made(shelf) == set()
    first = shelf.stories[0]
    path = tmp_path / "jars" / f"{first.verdict.jar}.html"
    path.unlink()
    assert made(shelf) == {first.verdict.jar} and path.is_file()
    path.write_text("somebody else's")
    assert made(shelf) == {first.verdict.jar} and "somebody" not in path.read_text("utf-8")
    picture = first.history.days[-1].readings[0].wall_picture
    os.utime(tmp_path / picture, (1, 1))
    assert made(shelf) == {first.verdict.jar}


def test_a_file_that_stays_the_same_is_not_written_again(tmp_path: Path) -> None:
    shelf = fake_shelf()
    written(shelf, tmp_path)
    before = {p.name: p.stat().st_mtime_ns for p in (tmp_path / "jars").iterdir()}
    first, *rest = shelf.stories
    verdict = replace(first.verdict, verdict="check")
    written(replace(shelf, stories=(replace(first, verdict=verdict), *rest)), tmp_path)
    after = {p.name: p.stat().st_mtime_ns for p in (tmp_path / "jars").iterdir()}
    assert {name for name in before if before[name] != after[name]} == {f"{first.verdict.jar}.html"}


def test_files_of_jars_that_are_gone_go_and_those_of_others_stay(tmp_path: Path) -> None:
    written(fake_shelf(), tmp_path)
    mine = tmp_path / "jars" / "mine.html"
    mine.write_text("<title>my own page</title>")
    written(replace(fake_shelf(), stories=fake_shelf().stories[1:]), tmp_path)
    assert names(tmp_path) == {"J02.html", "J03.html", "J04.html", "J05.html", "mine.html"}
    write_report(fake_shelf(), tmp_path, one_file_jars=40)
    assert names(tmp_path) == {"mine.html"}
    mine.unlink()
    write_report(fake_shelf(), tmp_path, one_file_jars=40)
    assert (tmp_path / "jars").exists()  # empty, and perhaps the grower's
    written(fake_shelf(), tmp_path)
    write_report(fake_shelf(), tmp_path, one_file_jars=40)
    assert not (tmp_path / "jars").exists()


def links_lead_somewhere(out: Path) -> bool:
    page = parse((out / "report.html").read_text("utf-8"))
    links = [unquote(a.get("href", "")) for a in page.iter("a")]
    files = [link for link in links if link.startswith("jars/")]
    return bool(files) and all((out / link).is_file() for link in files)


def after_so_many(number: int, real: Callable[..., Any]) -> Callable[..., Any]:
    calls = iter(range(1000))

    def write(*args: Any) -> Any:
        if next(calls) >= number:
            raise KeyboardInterrupt
        return real(*args)

    return write


@pytest.mark.parametrize("at", range(5))
def test_a_run_that_is_stopped_anywhere_leaves_a_page_that_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    old, new = fake_shelf(), replace(fake_shelf(), stories=fake_shelf().stories[1:])
    changed = [replace(s, verdict=replace(s.verdict, verdict="check")) for s in new.stories]
    added = fake_story("New", "wait", ("still growing",))
    written(old, tmp_path)
    page = (tmp_path / "report.html").read_bytes()
    write = after_so_many(at, jar_files.write_whole)
    monkeypatch.setattr("jarvision.report.jar_files.write_whole", write)
    if at < 4:  # three files have changed, one is new
        with pytest.raises(KeyboardInterrupt):
            written(replace(new, stories=(*changed, added)), tmp_path)
        assert (tmp_path / "report.html").read_bytes() == page
    else:
        written(replace(new, stories=(*changed, added)), tmp_path)
        assert (tmp_path / "report.html").read_bytes() != page
    assert links_lead_somewhere(tmp_path)


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "jars").write_text("a file of the grower's, where the folder should be")
    with pytest.raises(NotWritableError):
        written(fake_shelf(), tmp_path)
    assert (tmp_path / "jars").read_text().startswith("a file")


def test_a_shelf_where_nothing_could_be_read_has_a_page(tmp_path: Path) -> None:
    blind = [replace(s, history=replace(s.history, days=())) for s in waiting(4)]
    page = written(shelf_of(*blind), tmp_path)
    assert "Never: K000" in told(part(page, "today"))
    assert not list(part(page, "shelf").iter("svg"))
