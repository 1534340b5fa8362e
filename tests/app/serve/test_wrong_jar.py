"""A photo of the wrong jar is moved, taken away and put back; nothing is deleted."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from fake_shelf import fake_refusal
from scoring import score_folder
from served import TODAY, Browser, a_browser, an_office

from jarvision.records import Reading
from jarvision.register.photo_names import read_name
from jarvision.run.aside import ASIDE_FOLDER, photos_aside
from jarvision.run.jobs import Job
from jarvision.run.photo_files import find_photos
from jarvision.run.sources import NearFolder

from .conftest import REGISTER, Served, everything_under, photo, sha_of, text_reader

FORTY, SIXTY = photo("40 percent"), photo("60 percent")
HOSTILE = "<b>J&1"


def post(served: Served, content: bytes, what: str, **fields: str) -> int:
    status = served.browser.post(f"/photos/{sha_of(content)}/{what}", fields).status
    served.settle()
    return status


def page(served: Served, content: bytes) -> str:
    found = served.browser.get(f"/photos/{sha_of(content)}/wrong")
    assert found.status == 200, found
    return found.text


def jars_told(served: Served) -> dict[str, list[str]]:
    """By jar, the photos behind its story, and the readings of the shelf, which must agree."""
    shelf = served.office.keeper.by_photos
    assert shelf is not None
    told = {
        story.verdict.jar: sorted(r.photo for day in story.history.days for r in day.readings)
        for story in shelf.stories
    }
    read: dict[str, list[str]] = {}
    for reading in shelf.readings:
        read.setdefault(reading.jar, []).append(reading.photo)
    assert {jar: sorted(names) for jar, names in read.items()} == told
    assert sorted(name for names in told.values() for name in names) == served.photos
    return told


def contents(served: Served) -> list[bytes]:
    """What all photos hold, wherever they lie."""
    return sorted(p.read_bytes() for p in served.folder.rglob("*.jpg"))


def as_scored_anew(served: Served, tmp_path: Path) -> dict[str, float]:
    """Coverage of each jar as a scoring of the whole folder from nothing has it."""
    found = score_folder(served.folder, out=tmp_path / "anew", read=text_reader)
    return {s.verdict.jar: s.verdict.coverage.percent for s in found.stories if s.verdict.coverage}


def as_served(served: Served) -> dict[str, float]:
    shelf = served.office.keeper.by_photos
    assert shelf is not None
    return {s.verdict.jar: s.verdict.coverage.percent for s in shelf.stories if s.verdict.coverage}


def test_a_photo_is_moved_to_another_jar_and_back(served: Served, tmp_path: Path) -> None:
    served.send(FORTY, "jar=K01")
    served.send(SIXTY, "jar=K02")
    before = served.photos
    assert post(served, FORTY, "move", jar="K02") == 303
    assert {jar: len(names) for jar, names in jars_told(served).items()} == {"K02": 2}
    assert [read_name(name).jar for name in served.photos] == ["K02", "K02"]
    assert as_served(served) == as_scored_anew(served, tmp_path)
    told = json.loads(served.answer(FORTY))
    assert told["state"] == "placed" and "K02" in told["html"]
    assert 'value="K01">Back to K01' in page(served, FORTY)
    assert post(served, FORTY, "move", jar="K01") == 303
    assert served.photos == before
    assert {jar: len(names) for jar, names in jars_told(served).items()} == {"K01": 1, "K02": 1}
    assert contents(served) == sorted([FORTY, SIXTY])


def test_a_photo_that_the_grower_named_keeps_its_name(served: Served, tmp_path: Path) -> None:
    own = served.folder / "K01" / "IMG_0007_2026-03-09.jpg"
    own.parent.mkdir()
    own.write_bytes(FORTY)
    served.office.keeper.score_all(fleet=served.office.keeper.fleet, tell=print)
    served.browser.get("/today")
    assert post(served, FORTY, "move", jar="K03") == 303
    assert own.read_bytes() == FORTY
    assert "K01/IMG_0007_2026-03-09.jpg,K03" in (served.folder / "photo_jars.csv").read_text()
    assert list(as_served(served)) == ["K03"]
    assert as_served(served) == as_scored_anew(served, tmp_path)
    assert post(served, FORTY, "move", jar="K01") == 303
    assert list(as_served(served)) == ["K01"]
    assert as_served(served) == as_scored_anew(served, tmp_path / "again")


def test_a_jar_whose_name_no_file_can_bear_takes_a_photo_and_gives_it_back(
    served: Served, tmp_path: Path
) -> None:
    served.send(FORTY, "jar=K01")
    before = served.photos
    assert post(served, FORTY, "move", jar=HOSTILE) == 303
    assert served.photos[0].startswith("IMG_")
    assert as_served(served) == as_scored_anew(served, tmp_path) == {HOSTILE: 40.0}
    assert "<b>J" not in page(served, FORTY)
    assert post(served, FORTY, "move", jar="K01") == 303
    assert served.photos == before
    assert as_served(served) == as_scored_anew(served, tmp_path / "again") == {"K01": 40.0}


def test_a_photo_is_taken_away_and_put_back(served: Served, tmp_path: Path) -> None:
    served.send(FORTY, "jar=K01")
    served.send(SIXTY, "jar=K01")
    before = served.photos
    assert post(served, SIXTY, "away") == 303
    assert len(jars_told(served)["K01"]) == 1
    assert as_served(served) == as_scored_anew(served, tmp_path) == {"K01": 40.0}
    assert contents(served) == sorted([FORTY, SIXTY])
    assert all(ASIDE_FOLDER not in str(p) for p in find_photos(served.folder))
    shown = page(served, SIXTY)
    assert f"photos/{ASIDE_FOLDER}/" in shown and "Put it back to K01" in shown
    assert f"/photos/{sha_of(SIXTY)}/wrong" in served.browser.get("/jar?name=K01").text
    assert f"/photos/{sha_of(SIXTY)}/wrong" in served.browser.get("/jars").text
    assert post(served, SIXTY, "back") == 303
    assert served.photos == before and photos_aside(served.folder) == ()
    assert len(jars_told(served)["K01"]) == 2
    assert as_served(served) == as_scored_anew(served, tmp_path / "again")


def test_the_only_photo_of_a_jar_can_be_taken_away(served: Served) -> None:
    served.send(FORTY, "jar=K01")
    assert post(served, FORTY, "away") == 303
    assert as_served(served) == {}
    assert "<h1>Photograph K01</h1>" in served.browser.get("/").text  # it wants one again
    assert post(served, FORTY, "move", jar="K03") == 303  # back, and right at once
    assert list(as_served(served)) == ["K03"]


def test_a_photo_that_was_taken_away_does_not_come_back_by_being_sent_again(
    served: Served,
) -> None:
    served.send(FORTY, "jar=K01")
    post(served, FORTY, "away")
    assert served.send(FORTY, "jar=K01") == 202
    told = json.loads(served.answer(FORTY))
    assert told["state"] == "aside" and f"/photos/{sha_of(FORTY)}/wrong" in told["html"]
    assert served.photos == [] and contents(served) == [FORTY]
    assert list((served.office.out / "arrivals").iterdir()) == []


def test_two_photos_of_one_name_are_both_kept(served: Served) -> None:
    for folder, content in (("K01", FORTY), ("K02", SIXTY)):
        (served.folder / folder).mkdir()
        (served.folder / folder / "2026-03-09.jpg").write_bytes(content)
    served.office.keeper.score_all(fleet=served.office.keeper.fleet, tell=print)
    served.browser.get("/today")
    assert post(served, FORTY, "away") == post(served, SIXTY, "away") == 303
    assert contents(served) == sorted([FORTY, SIXTY])
    (served.folder / "K02").rmdir()  # a sync may clear empty folders away
    assert post(served, SIXTY, "back") == 303
    assert (served.folder / "K02" / "2026-03-09.jpg").read_bytes() == SIXTY


def test_what_would_be_written_over_is_refused(served: Served) -> None:
    served.send(FORTY, "jar=K01")
    name = served.photos[0]
    post(served, FORTY, "away")
    (served.folder / name).write_bytes(SIXTY)
    assert post(served, FORTY, "back") == 422
    assert contents(served) == sorted([FORTY, SIXTY])


@pytest.mark.parametrize("what", ["move", "away", "back"])
@pytest.mark.parametrize("sha", ["0" * 64, "..", "%2e%2e%2fjars.csv", "A" * 64, "K01.jpg"])
def test_what_is_no_photo_of_the_shelf_is_not_touched(served: Served, what: str, sha: str) -> None:
    served.send(FORTY, "jar=K01")
    before = everything_under(served.folder)
    answer = served.browser.post(f"/photos/{sha}/{what}", {"jar": "K02"})
    assert answer.status in (404, 422)
    assert everything_under(served.folder) == before


def test_a_change_needs_the_token_and_a_session(served: Served) -> None:
    served.send(FORTY, "jar=K01")
    before = everything_under(served.folder)
    for what in ("move", "away", "back"):
        path = f"/photos/{sha_of(FORTY)}/{what}"
        assert served.browser.post(path, {"jar": "K02", "csrf": "x"}).status == 403
        assert Browser(served.browser.site).post(path, {"jar": "K02"}).status == 401
        forged: dict[str, str | None] = {"origin": "http://evil.example"}
        assert served.browser.post(path, {"jar": "K02"}, headers=forged).status == 403
    assert everything_under(served.folder) == before


@pytest.mark.parametrize("jar", ["nobody", "", "../K02", "<script>", "K01"])
def test_a_jar_that_is_none_or_the_same_is_refused(served: Served, jar: str) -> None:
    served.send(FORTY, "jar=K01")
    before = served.photos
    assert post(served, FORTY, "move", jar=jar) == 422
    assert served.photos == before and list(as_served(served)) == ["K01"]


@pytest.mark.parametrize("edited", ["../../x.jpg", "/etc/passwd", "a\\b.jpg", "jars.csv"])
def test_a_list_that_leads_elsewhere_moves_nothing(served: Served, edited: str) -> None:
    served.send(FORTY, "jar=K01")
    post(served, FORTY, "away")
    listed = served.folder / ASIDE_FOLDER / "set_aside.csv"
    name = listed.read_text().splitlines()[1].split(",")[1]
    listed.write_text(listed.read_text().replace(f",{name},", f",{edited},"))
    before = everything_under(served.folder.parent)
    assert post(served, FORTY, "back") == 422
    assert set(everything_under(served.folder.parent)) == set(before)


def test_a_photo_that_was_changed_meanwhile_is_left_alone(served: Served) -> None:
    served.send(FORTY, "jar=K01")
    (served.folder / served.photos[0]).write_bytes(SIXTY)
    assert post(served, FORTY, "away") == post(served, FORTY, "move", jar="K02") == 422
    assert contents(served) == [SIXTY]


def test_a_server_that_is_started_anew_knows_what_was_taken_away(served: Served) -> None:
    served.send(FORTY, "jar=K01")
    served.send(SIXTY, "jar=K02")
    post(served, FORTY, "away")
    office = an_office(served.folder, served.office.out, read=text_reader)
    office.keeper.score_all(fleet=office.keeper.fleet, tell=print)
    again = Served(a_browser(office), office)
    assert post(again, FORTY, "back") == 303
    assert sorted(as_served(again)) == ["K01", "K02"]
    office.desk.close()


def test_another_run_that_listed_the_photo_before_does_not_bring_it_back(served: Served) -> None:
    """A scoring lists the folder, waits for its turn, and finds the photo gone."""
    served.send(FORTY, "jar=K01")
    served.send(SIXTY, "jar=K02")
    late = ListedBefore(served.folder)
    post(served, FORTY, "away")
    score_folder(served.folder, out=served.office.out, source=late, read=text_reader,
                 publish=lambda _: None)  # fmt: skip
    served.browser.get("/today")
    assert list(as_served(served)) == ["K02"]


class ListedBefore(NearFolder):
    """The folder as it was listed before a photo went."""

    def __init__(self, root: Path) -> None:
        super().__init__(root)
        self.listed = find_photos(root)

    def photos(self, *, out: Path, warn: Callable[[str], None]) -> list[Path]:
        return self.listed


def test_a_tag_that_says_otherwise_is_told_when_a_photo_is_moved(served: Served) -> None:
    """The photo then counts for neither jar, and can be moved back."""

    def by_tag(job: Job) -> Reading:
        found = text_reader(job)
        if found.jar == "K01":
            return found
        return fake_refusal(job.name, found.jar, "jar_mismatch", TODAY)

    served.office.keeper.read = by_tag
    content = photo("50 tag 1")
    served.send(content, "jar=K01")
    post(served, content, "move", jar="K02")
    assert "The tag in the photo says another jar" in served.browser.get("/").text
    assert as_served(served) == {}
    post(served, content, "move", jar="K01")
    assert "The photo is now of K01" in served.browser.get("/").text
    assert as_served(served) == {"K01": 50.0}


def test_the_register_is_never_touched(served: Served) -> None:
    served.send(FORTY, "jar=K01")
    for what, jar in (("move", "K02"), ("away", ""), ("back", "")):
        post(served, FORTY, what, jar=jar)
    assert (served.folder / "jars.csv").read_text() == REGISTER
