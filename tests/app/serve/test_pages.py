"""Today's list, jars and forms: what is written is what the command line would have written."""

from __future__ import annotations

import csv
import json
import time
from datetime import timedelta
from pathlib import Path
from typing import get_args
from urllib.parse import quote

import pytest
from served import TODAY

from jarvision.records import View

from .conftest import REGISTER, Served, photo, sha_of

HOSTILE = "<b>J&1"


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def page_of(jar: str) -> str:
    return f"/jar?name={quote(jar)}"


def wait_until_kept(served: Served) -> None:
    """Wait as long as it takes that nothing is left to be kept."""
    for _ in range(200):
        served.settle()
        if not served.office.keeper._unkept:
            return
        time.sleep(0.02)


def test_the_first_page_leads_along_the_shelf(served: Served) -> None:
    first = served.browser.get("/").text
    assert "<h1>Photograph K01</h1>" in first and "4 jars of 4 still to photograph" in first
    served.send(photo("40 percent"), "jar=K01")
    assert "<h1>Photograph K02</h1>" in served.browser.get("/").text
    assert "<h1>Photograph K03</h1>" in served.browser.get("/?jar=K03").text
    assert "<h1>Photograph</h1>" in served.browser.get("/?by=tag").text
    assert "<h1>Photograph K02</h1>" in served.browser.get("/?jar=nobody").text


def test_a_photo_that_asks_is_shown_on_the_first_page(served: Served) -> None:
    content = photo("50 no label")
    served.send(content, "")
    assert f'data-shown="{sha_of(content)}"' in served.browser.get("/").text
    assert 'data-shown=""' in served.browser.get("/?shown=%22%3E%3Cscript%3E").text.replace(
        sha_of(content), ""
    )


def test_todays_list_has_each_jar_once_and_what_is_left(served: Served) -> None:
    empty = served.browser.get("/today").text
    assert empty.count('class="button second" href="/?jar=') == 4
    served.send(photo("40 percent"), "jar=K01")
    told = served.browser.get("/today").text
    assert 'href="/jar?name=K01"' in told and "Leave alone" in told
    assert told.count('class="button second" href="/?jar=') == 3
    assert "A photo cannot prove" in told or "caution" in told.lower()


def test_a_shelf_without_a_jar_says_how_to_begin(served: Served) -> None:
    (served.folder / "jars.csv").unlink()
    assert "No jar on the shelf yet" in served.browser.get("/today").text
    answer = served.browser.post("/jars", {"jar": "N1", "kind": "spawn", "started": "2026-03-02"})
    assert answer.headers["location"] == "/jar?name=N1"
    assert "N1" in (served.folder / "jars.csv").read_text()
    assert "<h1>Photograph N1</h1>" in served.browser.get("/").text


def test_a_jars_page_shows_the_reports_card_and_the_forms(served: Served) -> None:
    served.send(photo("40 percent"), "jar=K01")
    served.send(photo("blurred"), "jar=K01")
    page = served.browser.get(page_of("K01"))
    assert page.status == 200
    for words in ("Covered", "40 %", "oyster", "What became of it", "Photos that were not used"):
        assert words in page.text, words
    assert "script-src 'self'" in page.headers["content-security-policy"]
    assert "No usable photo yet" in served.browser.get(page_of("K03")).text


def test_a_jars_page_tells_how_its_kin_stands(served: Served) -> None:
    """Although it has no place on this page that a link could lead to."""
    register = served.folder / "jars.csv"
    register.write_text(
        REGISTER.replace(
            "<b>J&1,fruiting,oyster,straw,2026-03-03,", "F1,fruiting,oyster,straw,2026-03-03,K01"
        )
    )
    served.send(photo("40 percent"), "jar=K01")
    served.send(photo("41 percent"), "jar=F1")
    page = served.browser.get(page_of("F1")).text
    kin = page[page.index("Family") :]
    assert "K01" in kin and "no photo" not in kin and 'href="#jar' not in kin


def test_names_with_html_in_them_stay_names(served: Served) -> None:
    served.send(photo("40 percent"), f"jar={quote(HOSTILE)}")
    served.browser.post("/jar/event", {"name": HOSTILE, "what": "note", "text": "<img src=x>"})
    for path in ("/", "/today", "/jars", page_of(HOSTILE), f"/?jar={quote(HOSTILE)}"):
        page = served.browser.get(path)
        assert page.status == 200, path
        assert "&lt;b&gt;J&amp;1" in page.text
        assert "<b>J" not in page.text and "<img src=x" not in page.text, path
    wrong = served.browser.get(page_of("<script>alert(1)</script>"))
    assert wrong.status == 422 and "<script>alert" not in wrong.text


# --------------------------------------------------------------------------- outcomes, events
def test_an_outcome_is_recorded_with_the_verdict_and_ends_the_story(served: Served) -> None:
    served.send(photo("40 percent"), "jar=K01")
    given = {"name": "K01", "outcome": "contaminated", "note": "green, at the lid"}
    assert served.browser.post("/jar/outcome", given).headers["location"] == "/jar?name=K01"
    [line] = rows_of(served.folder / "outcomes.csv")
    assert (line["jar"], line["outcome"], line["date"]) == ("K01", "contaminated", "2026-03-10")
    assert (line["note"], line["verdict"]) == ("green, at the lid", "wait")
    assert "Its story is over" in served.browser.get(page_of("K01")).text
    assert "Photograph K02" in served.browser.get("/").text
    assert "Recorded as contaminated" in served.browser.get("/today").text
    undone = served.browser.post("/jar/outcome/undo", {"name": "K01", "date": "2026-03-10"})
    assert undone.status == 303
    assert "Its story is over" not in served.browser.get(page_of("K01")).text
    assert len(rows_of(served.folder / "outcomes.csv")) == 2  # lines are only ever added


def test_an_event_is_told_in_the_diary_and_taken_back(served: Served) -> None:
    served.send(photo("40 percent"), "jar=K01")
    for what, text in (("shaken", ""), ("temperature", "21,5"), ("note", "moved up")):
        sent = {"name": "K01", "what": what, "text": text, "date": "2026-03-09"}
        assert served.browser.post("/jar/event", sent).status == 303
    lines = rows_of(served.folder / "diary.csv")
    assert [(line["what"], line["celsius"], line["text"]) for line in lines] == [
        ("shaken", "", ""), ("temperature", "21.5", ""), ("note", "", "moved up"),
    ]  # fmt: skip
    assert "moved up" in served.browser.get(page_of("K01")).text
    back = {"name": "K01", "what": "note", "date": "2026-03-09"}
    assert served.browser.post("/jar/event/undo", back).status == 303
    assert "moved up" not in served.browser.get(page_of("K01")).text


def test_a_look_settles_a_doubt(served: Served) -> None:
    """A jar that stands still for days asks for a look."""
    for day in range(1, 10):
        taken = f"2026-03-0{day}"
        (served.folder / f"K03_{taken}.jpg").write_bytes(photo(f"{min(40 + 5 * day, 60)} percent"))
    served.office.keeper.score_all(fleet=served.office.keeper.fleet, tell=print)
    page = served.browser.get(page_of("K03")).text
    assert "You looked, and it is fine" in page
    assert served.browser.post("/jar/seen", {"name": "K03", "note": "smells fresh"}).status == 303
    assert rows_of(served.folder / "seen.csv")[0]["note"] == "smells fresh"
    settled = served.browser.get(page_of("K03")).text
    assert "You looked, and it is fine" not in settled
    assert served.browser.post("/jar/seen", {"name": "K03"}).status == 422


def test_the_register_is_put_right(served: Served) -> None:
    sent = {"name": "K02", "kind": "spawn", "species": "shiitake", "notes": ""}
    assert served.browser.post("/jar/register", sent).status == 303
    line = next(row for row in rows_of(served.folder / "jars.csv") if row["jar"] == "K02")
    assert (line["species"], line["substrate"]) == ("shiitake", "rye")  # what was not sent stays
    history = (served.folder / "jars_history.csv").read_text()
    assert "K02" in history
    assert served.browser.post("/jar/register", sent).status == 303  # as it is: nothing to write
    assert (served.folder / "jars_history.csv").read_text() == history


@pytest.mark.parametrize(
    ("path", "fields", "words"),
    [
        ("/jar/outcome", {"name": "K09", "outcome": "clean"}, "No jar is called"),
        ("/jar/outcome", {"name": "K01", "outcome": "eaten"}, "is no outcome"),
        ("/jar/outcome", {"name": "K01", "outcome": "clean", "date": "2027-01-01"}, "ahead"),
        ("/jar/outcome", {"name": "K01", "outcome": "clean", "date": "someday"}, "not a date"),
        ("/jar/outcome", {"name": "K01", "outcome": "harvested", "grams": "much"}, "no number"),
        ("/jar/outcome", {"name": "K01", "outcome": "harvested", "grams": "nan"}, "no number"),
        ("/jar/outcome", {"name": "K01", "outcome": "clean", "note": "x" * 600}, "too long"),
        ("/jar/outcome", {"name": "K01", "outcome": "clean", "note": "a\nb"}, "line break"),
        ("/jar/outcome/undo", {"name": "K01", "date": "2026-03-01"}, "Nothing is recorded"),
        ("/jar/outcome/undo", {"name": "K01"}, "not a date"),
        ("/jar/event", {"name": "K01", "what": "sung to"}, "nothing that a diary holds"),
        ("/jar/event", {"name": "K01", "what": "temperature"}, "degrees are missing"),
        ("/jar/event", {"name": "K01", "what": "temperature", "text": "900"}, "no number"),
        ("/jar/seen", {"name": "K01"}, "no doubt"),
        ("/jar/seen", {"name": "K01", "note": "a\nb"}, "line break"),
        ("/jar/register", {"name": "K01", "kind": "teapot"}, "teapot"),
        ("/jar/register", {"name": "K01", "parent": "K77"}, "K77"),
        ("/jars", {"jar": ""}, "no name"),
        ("/jars", {"jar": "k01"}, "almost as"),
        ("/jars", {"jar": "N1", "started": "2099-01-01"}, "ahead"),
        ("/jars", {"jar": "#N1"}, "cannot be written"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_written(
    served: Served, path: str, fields: dict[str, str], words: str
) -> None:
    answer = served.browser.post(path, fields)
    assert answer.status == 422 and words in answer.text
    assert (served.folder / "jars.csv").read_text() == REGISTER
    for name in ("outcomes.csv", "diary.csv", "seen.csv"):
        assert not (served.folder / name).exists()


def test_a_jar_with_photos_alone_has_no_outcome_but_may_have_events(served: Served) -> None:
    (served.folder / "X7_2026-03-09.jpg").write_bytes(photo("30 percent"))
    served.office.keeper.score_all(fleet=served.office.keeper.fleet, tell=print)
    assert "X7" in served.browser.get("/today").text
    answer = served.browser.post("/jar/outcome", {"name": "X7", "outcome": "clean"})
    assert answer.status == 422 and "not in the register" in answer.text
    assert served.browser.post("/jar/event", {"name": "X7", "what": "opened"}).status == 303
    assert "What the register says" not in served.browser.get(page_of("X7")).text


def test_what_to_think_about_is_told_once_as_the_command_tells_it(served: Served) -> None:
    outcome = {"name": "K01", "outcome": "contaminated", "date": "2026-03-08"}
    assert served.browser.post("/jar/outcome", outcome).status == 303
    assert "Written down." in served.browser.get(page_of("K01")).text
    new = {"jar": "N1", "species": "oister", "parent": "K01"}
    assert served.browser.post("/jars", new).status == 303
    told = served.browser.get(page_of("N1")).text
    assert "&#39;K01&#39; was recorded as contaminated on 2026-03-08." in told
    assert "&#39;oister&#39;" in told
    assert "Written down." not in served.browser.get(page_of("N1")).text
    sent = {"name": "K02", "species": "oister", "parent": "K01"}
    assert served.browser.post("/jar/register", sent).status == 303
    told = served.browser.get(page_of("K02")).text
    assert "recorded as contaminated" in told and "&#39;oister&#39;" in told


def test_a_jar_that_was_written_down_is_kept_without_a_photo(served: Served) -> None:
    served.send(photo("40 percent"), "jar=K01")
    wait_until_kept(served)
    assert not served.office.keeper._unkept
    assert served.browser.post("/jars", {"jar": "N1"}).status == 303
    wait_until_kept(served)
    assert not served.office.keeper._unkept


def test_a_list_that_is_old_says_so(served: Served) -> None:
    served.send(photo("40 percent"), "jar=K01")
    assert "days ago" not in served.browser.get("/today").text
    served.office.keeper.today = lambda: TODAY + timedelta(days=5)
    told = served.browser.get("/today").text
    assert "5 days ago" in told


def test_a_page_that_there_is_not_says_where_to_go(served: Served) -> None:
    answer = served.browser.get("/nowhere")
    assert answer.status == 404 and "first page" in answer.text


# --------------------------------------------------------------------------- with other runs
def test_what_another_run_kept_meanwhile_is_gone_on_from(served: Served) -> None:
    served.send(photo("40 percent"), "jar=K01")
    (served.folder / "K02_2026-03-09.jpg").write_bytes(photo("30 percent"))
    served.office.keeper.score_all(fleet=served.office.keeper.fleet, tell=print)
    served.settle()
    told = served.browser.get("/today").text
    assert 'href="/jar?name=K01"' in told and 'href="/jar?name=K02"' in told


def test_the_shelf_is_kept_for_other_commands(served: Served) -> None:
    from jarvision.run.results import last_result
    from jarvision.run.shelf import open_shelf

    served.send(photo("40 percent"), "jar=K01")
    wait_until_kept(served)
    kept = last_result(served.office.out, open_shelf(served.folder))
    assert kept is not None
    assert [story.verdict.jar for story in kept.stories] == ["K01"]


def test_a_folder_without_photos_can_be_served(served: Served) -> None:
    served.office.keeper.score_all(fleet=served.office.keeper.fleet, tell=print)
    assert served.browser.get("/today").status == 200


def test_every_side_that_a_photo_may_have_is_offered(served: Served) -> None:
    page = served.browser.get("/").text
    for view in get_args(View):
        assert f'<option value="{view}">' in page, view


def test_photographing_goes_on_until_every_jar_is_done(served: Served) -> None:
    for number, jar in enumerate(("K02", "K03", HOSTILE, "K01")):
        served.send(photo(f"{20 + number} percent"), f"jar={quote(jar)}")
    told = json.loads(served.answer(photo("23 percent")))["html"]
    assert "Nothing is left to photograph today" in told
    assert "Nothing is left to photograph today" in served.browser.get("/").text
