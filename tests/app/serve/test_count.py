"""The counting pages: blind, point by point, undone, left and gone on with, by their own token."""

from __future__ import annotations

import html
import json
import re
import shutil
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from scoring import score_folder
from served import Browser, a_browser, an_office

from jarvision.base.errors import PhotoRefusedError
from jarvision.register.counts import CountedPoint, read_counts
from jarvision.run.workers import StandingWorker

SAMPLES = Path(__file__).parents[3] / "sample_images"
PHOTOS = ("SL04_2026-03-02.jpg", "SL08_2026-03-08.jpg")


@pytest.fixture(scope="module")
def scored(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two sample photos, scored once."""
    home = tmp_path_factory.mktemp("counting")
    (home / "photos").mkdir()
    for name in PHOTOS:
        shutil.copy2(SAMPLES / name, home / "photos" / name)
    score_folder(home / "photos", out=home / "report", publish=lambda _: None)
    return home


@pytest.fixture
def browser(scored: Path) -> Iterator[Browser]:
    (scored / "photos" / "counts.csv").unlink(missing_ok=True)
    office = an_office(scored / "photos", scored / "report")
    yield a_browser(office)
    office.desk.close()


def counts(scored: Path) -> tuple[CountedPoint, ...]:
    return read_counts(scored / "photos" / "counts.csv")


def open_wall(browser: Browser, who: str = "ann", **more: str) -> tuple[str, dict[str, Any]]:
    """Go to the next wall; its page, and what the script gets."""
    led = browser.get("/count/next?" + urlencode({"who": who, **more}))
    assert led.status == 303
    page = browser.get(led.headers["location"])
    assert page.status == 200
    asked = {k: v[0] for k, v in parse_qs(urlsplit(led.headers["location"]).query).items()}
    told = re.search(r'data-points="([^"]+)" data-done="(\d+)"', page.text)
    assert told is not None
    points = json.loads(html.unescape(told[1]))
    return page.text, {"asked": asked, "points": points, "done": int(told[2])}


def answer(browser: Browser, wall: dict[str, Any], at: int, word: str) -> int:
    _, _, angle, height = wall["points"][at]
    fields = {"answer": word, "angle": str(angle), "height": str(height)}
    return browser.post("/count/answer", {**wall["asked"], **fields}).status


def test_a_wall_is_counted_left_and_gone_on_with(browser: Browser, scored: Path) -> None:
    _, wall = open_wall(browser)
    for at, word in enumerate(("white", "bare", "off-colour", "cannot tell")):
        assert answer(browser, wall, at, word) == 200
    _, again = open_wall(browser)
    assert again["asked"] == wall["asked"]
    assert again["done"] == 4
    assert again["points"][4:] == wall["points"][4:]  # those to come keep their order
    for at in range(4, len(wall["points"])):
        answer(browser, again, at, "white")
    _, other = open_wall(browser)
    assert other["asked"]["photo"] != wall["asked"]["photo"]
    lines = counts(scored)
    assert len(lines) == len(wall["points"]) == lines[0].points
    assert [line.answer for line in lines[:4]] == ["white", "bare", "off-colour", "cannot tell"]
    assert {line.who for line in lines} == {"ann"}
    assert all(line.weight and 0 < line.weight <= 2 for line in lines)


def test_the_page_shows_the_wall_and_nothing_of_the_reading(browser: Browser) -> None:
    page, wall = open_wall(browser)
    words = re.sub(r'src="data:[^"]*"|data-points="[^"]*"', "", page)
    assert "data:image/jpeg;base64," in page
    assert "%" not in words.split("<main>")[1]
    assert "covered" not in words
    width = int(re.search(r'data-width="(\d+)"', page)[1])  # type: ignore[index]
    assert all(0 <= x <= width for x, *_ in wall["points"])
    assert 25 <= len(wall["points"]) <= 100


def test_the_last_answer_is_taken_back(browser: Browser, scored: Path) -> None:
    _, wall = open_wall(browser)
    answer(browser, wall, 0, "white")
    answer(browser, wall, 1, "bare")
    back = browser.post("/count/undo", wall["asked"])
    assert back.status == 200
    assert json.loads(back.text) == {"angle": wall["points"][1][2], "height": wall["points"][1][3]}
    assert [line.answer for line in counts(scored)] == ["white"]
    browser.post("/count/undo", wall["asked"])
    assert browser.post("/count/undo", wall["asked"]).status == 422


def test_a_second_person_and_a_second_round_get_the_same_points(
    browser: Browser, scored: Path
) -> None:
    _, wall = open_wall(browser)
    for at in range(len(wall["points"])):
        answer(browser, wall, at, "white")
    _, second = open_wall(browser, again="yes")
    assert (second["asked"]["photo"], second["asked"]["round"]) == (wall["asked"]["photo"], "2")
    assert second["points"] == wall["points"] and second["done"] == 0
    _, other = open_wall(browser, "ben", again="yes")
    assert (other["asked"]["photo"], other["asked"]["round"]) == (wall["asked"]["photo"], "1")


@pytest.mark.parametrize(
    "change",
    [
        {"answer": "covered"},
        {"photo": "0" * 64},
        {"photo": "../jars.csv"},
        {"round": "3"},
        {"angle": "abc"},
        {"height": ""},
    ],
)
def test_what_the_page_never_sends_is_refused_and_nothing_written(
    browser: Browser, scored: Path, change: dict[str, str]
) -> None:
    _, wall = open_wall(browser)
    _, _, angle, height = wall["points"][0]
    sent = {**wall["asked"], "answer": "white", "angle": str(angle), "height": str(height)}
    assert browser.post("/count/answer", {**sent, **change}).status == 400
    assert browser.post("/count/answer", {**sent, "angle": "1.0"}).status == 422  # no such point
    assert browser.post("/count/answer", {**sent, "csrf": "x"}).status == 403
    assert counts(scored) == ()


def test_a_name_is_cut_and_escaped(browser: Browser, scored: Path) -> None:
    who = '<b>"ann"\n' + "x" * 200
    page, wall = open_wall(browser, who)
    assert "<b>" not in page.split('data-who="')[1].split(">")[0]
    answer(browser, wall, 0, "white")
    (line,) = counts(scored)
    assert line.who.startswith('<b>"ann"x') and len(line.who) == 60


def test_when_no_wall_is_left_the_page_says_why(browser: Browser) -> None:
    led = browser.get("/count/next?who=ann&again=yes")
    assert "no counted wall" in browser.get(led.headers["location"]).text
    for _ in PHOTOS:
        _, wall = open_wall(browser)
        for at in range(len(wall["points"])):
            answer(browser, wall, at, "white")
    led = browser.get("/count/next?who=ann")
    told = browser.get(led.headers["location"]).text
    assert "Every wall that can be counted is counted" in told
    assert "2 walls" in told.split("What your counts say so far")[1]  # and what came of it
    assert "none is left" not in browser.get("/count?none=%3Cb%3E").text


def test_counts_go_beside_the_register_that_was_named(scored: Path, tmp_path: Path) -> None:
    (scored / "photos" / "counts.csv").unlink(missing_ok=True)
    papers = tmp_path / "papers"
    papers.mkdir()
    (papers / "jars.csv").write_text("jar,kind\nSL04,spawn\nSL08,spawn\n")
    (papers / "own.toml").write_text("[count]\nper_wall = 30\n")
    office = an_office(scored / "photos", scored / "report")
    office.keeper.register = papers / "jars.csv"
    office.keeper.settings_file = papers / "own.toml"
    browser = a_browser(office)
    _, wall = open_wall(browser)
    assert len(wall["points"]) < 40
    assert answer(browser, wall, 0, "white") == 200
    assert not (scored / "photos" / "counts.csv").exists()
    assert [line.answer for line in read_counts(papers / "counts.csv")] == ["white"]
    (papers / "own.toml").write_text("[count]\nper_wall = 60\n")  # while the server runs
    assert len(open_wall(browser)[1]["points"]) > 45
    office.desk.close()


def test_without_a_scoring_the_page_says_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    office = an_office(tmp_path / "photos", tmp_path / "out")
    page = a_browser(office).get("/count")
    assert page.status == 422
    assert "Nothing was scored yet" in page.text
    office.desk.close()


def test_a_photo_is_decoded_in_a_worker_never_in_the_server(
    scored: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def decodes_here(*_: Any, **__: Any) -> None:
        raise AssertionError("decoded in the server's own process")

    monkeypatch.setattr("jarvision.run.count_pictures.read_photo", decodes_here)
    office = an_office(scored / "photos", scored / "report")
    browser = a_browser(office)
    wall = browser.get("/count/next?who=ann").headers["location"]
    assert browser.get(wall).status == 500  # the stand-in decodes here
    with closing(StandingWorker()) as worker:
        office.guarded = worker.do
        page, _ = open_wall(browser)
    assert "data:image/jpeg;base64," in page
    office.desk.close()


def test_a_photo_that_ends_its_worker_is_told_and_the_server_goes_on(scored: Path) -> None:
    def ended(_: Any) -> Any:
        raise PhotoRefusedError("unreadable", "reading this photo ended its worker process, twice")

    office = an_office(scored / "photos", scored / "report")
    office.guarded = ended
    browser = a_browser(office)
    page = browser.get(browser.get("/count/next?who=ann").headers["location"])
    assert page.status == 422 and "ended its worker process" in page.text
    assert "Take it away on the jar" in page.text
    assert browser.get("/count").status == 200
    office.desk.close()
