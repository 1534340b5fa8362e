"""Photos come in whole or not at all, once however often they are sent, and never outside."""

from __future__ import annotations

import asyncio
import base64
import io
import json
import random
from collections.abc import AsyncIterator
from dataclasses import fields
from pathlib import Path
from urllib.parse import quote

import pytest
from PIL import Image
from served import Browser, a_browser, an_office

from jarvision.app.serve.limits import Bucket
from jarvision.base.errors import NotWritableError
from jarvision.records import ShelfResult
from jarvision.register.photo_names import read_name
from jarvision.run.one import ScoredOne

from .conftest import REGISTER, Served, everything_under, photo, sha_of, text_reader

GOOD = photo("40 percent")


def test_a_photo_finds_its_place_and_tells_the_verdict(served: Served) -> None:
    assert served.send(GOOD) == 202
    [name] = served.photos
    parts = read_name(name)
    assert (parts.jar, parts.view, parts.odd_view) == ("K01", "front", "")
    assert (served.folder / name).read_bytes() == GOOD
    told = json.loads(served.answer(GOOD))
    assert (told["state"], told["settled"]) == ("placed", True)
    for words in ("The photo is good", "40 %", "Wait", "Next: K02", "3 jars still to photograph"):
        assert words in told["html"], words
    assert list((served.office.out / "arrivals").iterdir()) == []


def test_a_bad_photo_says_what_to_do_and_asks_for_another(served: Served) -> None:
    served.send(photo("blurred"), "jar=K02")
    html = json.loads(served.answer(photo("blurred")))["html"]
    assert "Hold the phone" in html or "sharp" in html
    assert 'href="/?jar=K02">Take K02 again' in html


@pytest.mark.parametrize("times", [2, 5])
def test_a_photo_that_is_sent_again_is_there_once(served: Served, times: int) -> None:
    assert [served.send(GOOD) for _ in range(times)] == [202] + [200] * (times - 1)
    assert len(served.photos) == 1


def test_a_photo_that_is_there_already_is_not_put_beside_itself(
    served: Served, tmp_path: Path
) -> None:
    """It came by another way, or to a server that was started anew since."""
    served.send(GOOD)
    office = an_office(served.folder, served.office.out, read=text_reader)
    again = Served(a_browser(office), office)
    assert again.send(GOOD, "jar=K03") == 202
    assert again.photos == served.photos
    html = json.loads(again.answer(GOOD))["html"]
    assert "K01" in html and "This photo was there already" in html
    office.desk.close()


def test_twenty_photos_on_a_bad_connection_all_come_once(served: Served) -> None:
    """Cut off, repeated, out of order: what a phone does that loses its connection."""
    chance = random.Random(7)
    sent = [photo(f"{n} percent") for n in range(10, 30)]
    todo = list(sent)
    while todo:
        content = chance.choice(todo)
        fate = chance.random()
        if fate < 0.3:  # the body breaks off, its end never comes
            status = send_broken(served, content, chance.randrange(len(content)))
            assert status == 400
        elif fate < 0.5:  # the answer is lost on the way back
            served.send(content)
        elif served.send(content) in (200, 202):
            todo.remove(content)
        else:
            served.office.uploads = Bucket(60.0, 2.0)
    contents = sorted((served.folder / name).read_bytes() for name in served.photos)
    assert contents == sorted(sent)
    assert list((served.office.out / "arrivals").iterdir()) == []


def send_broken(served: Served, content: bytes, at: int) -> int:
    """Send a part of what was promised."""
    return served.browser.ask(
        "PUT",
        f"/photos/{sha_of(content)}?jar=K01",
        body=content[:at],
        headers={"x-csrf": served.browser.token, "content-length": str(len(content))},
    ).status


# --------------------------------------------------------------------------- which jar
def test_the_tag_tells_the_jar(served: Served) -> None:
    served.send(photo("50 tag 2"), "")
    assert [read_name(name).jar for name in served.photos] == ["K02"]


def test_without_a_tag_the_jar_is_asked_for_and_can_be_typed_or_picked(served: Served) -> None:
    content = photo("50 no label")
    served.send(content, "")
    told = json.loads(served.answer(content))
    assert told["state"] == "asks" and "No tag was read" in told["html"]
    picks = [part.split('"')[0] for part in told["html"].split('name="jar" value="')[1:]]
    assert picks == ["K01", "K02", "K03", "&lt;b&gt;J&amp;1"]
    assert served.photos == []
    assert served.browser.post(f"/photos/{sha_of(content)}/jar", {"jar": "K99"}).status == 422
    done = served.browser.post(f"/photos/{sha_of(content)}/jar", {"jar": "K03"})
    assert done.headers["location"] == f"/?shown={sha_of(content)}"
    assert [read_name(name).jar for name in served.photos] == ["K03"]


def test_a_tag_that_says_another_jar_is_asked_about(served: Served) -> None:
    content = photo("50 tag 2")
    served.send(content, "jar=K01")
    html = json.loads(served.answer(content))["html"]
    assert "The tag says 2, you said K01" in html
    assert html.index('value="K02"') < html.index('value="K01"')
    served.browser.post(f"/photos/{sha_of(content)}/jar", {"jar": "K01"})
    assert [read_name(name).jar for name in served.photos] == ["K01"]


def test_a_photo_that_asks_is_shown_small_and_no_longer_once_it_has_its_place(
    served: Served,
) -> None:
    made = io.BytesIO()
    Image.new("RGB", (400, 300), "#5b4a8a").save(made, "JPEG", quality=20)
    content = made.getvalue()
    assert served.send(content, "") == 202
    html = json.loads(served.answer(content))["html"]
    shown = base64.b64decode(html.split('src="data:image/jpeg;base64,')[1].split('"')[0])
    with Image.open(io.BytesIO(shown)) as small:
        assert small.size == (360, 270)
    served.browser.post(f"/photos/{sha_of(content)}/jar", {"jar": "K01"})
    known = served.office.keeper.arrivals.get(sha_of(content))
    assert known is not None and known.small == b""


def test_a_photo_that_asks_can_be_thrown_away(served: Served) -> None:
    content = photo("50 no label")
    served.send(content, "")
    assert served.browser.post(f"/photos/{sha_of(content)}/drop").status == 303
    assert served.browser.get(f"/photos/{sha_of(content)}").status == 404
    assert list((served.office.out / "arrivals").iterdir()) == []


@pytest.mark.parametrize(
    "jar",
    ["../../../tmp/x", "/etc/passwd", "..", "a/b", "C:\\x", "K01_b", "con", "<script>",
     "\u202eé", "x" * 900, "2026-03-01", "IMG", "\x00", "%2e%2e%2f"],
)  # fmt: skip
def test_a_jar_with_an_odd_name_stays_in_the_folder(served: Served, jar: str) -> None:
    """Even when the register has it, which only the grower can write."""
    before = everything_under(served.folder.parent)
    safe = jar.replace("\x00", "")[:150] or "z"
    (served.folder / "jars.csv").write_text(REGISTER + f'"{safe}",spawn,oyster,rye,2026-03-01,\n')
    content = photo(f"44 of {jar}")
    served.send(content, f"jar={quote(jar)}")
    after = everything_under(served.folder.parent)
    new = set(after) - set(before)
    assert all(name.startswith(("photos/", "out/")) for name in new), new
    assert all(name.count("/") == 1 for name in new if name.startswith("photos/")), new


def test_a_jar_whose_name_no_file_can_bear_is_told_beside_the_photos(served: Served) -> None:
    served.send(photo("44 percent"), "jar=%3Cb%3EJ%261")
    [name] = served.photos
    assert name.startswith("IMG_")
    assert f"{name},<b>J&1" in (served.folder / "photo_jars.csv").read_text()
    html = json.loads(served.answer(photo("44 percent")))["html"]
    assert "&lt;b&gt;J&amp;1" in html and "<b>J" not in html


def test_a_photo_that_cannot_be_moved_keeps_its_jar(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nor is it ever in the folder before its jar is told there."""

    def stands_still(source: Path, goal: Path) -> None:
        assert f"{goal.name},<b>J&1" in (served.folder / "photo_jars.csv").read_text()
        raise NotWritableError("The folder is full", "Free some space.")

    with monkeypatch.context() as broken:
        broken.setattr("jarvision.app.serve.keeper.move_whole", stands_still)
        served.send(photo("44 percent"), "jar=%3Cb%3EJ%261")
    told = json.loads(served.answer(photo("44 percent")))
    assert told["state"] == "came" and "The folder is full" in told["html"]
    served.browser.post(f"/photos/{sha_of(photo('44 percent'))}/again")
    served.settle()
    assert json.loads(served.answer(photo("44 percent")))["state"] == "placed"
    assert [r.jar for r in served.office.keeper.by_photos.readings] == ["<b>J&1"]  # type: ignore[union-attr]


def test_what_is_remembered_of_a_photo_holds_no_shelf(served: Served) -> None:
    """Thousands of photos are remembered, each would keep the whole shelf of its time."""
    served.send(GOOD)
    known = served.office.keeper.arrivals.get(sha_of(GOOD))
    assert known is not None and known.reading is not None and known.story is not None
    held = [getattr(known, field.name) for field in fields(known)]
    assert not any(isinstance(value, ScoredOne | ShelfResult) for value in held)


@pytest.mark.parametrize(
    ("asked", "view"),
    [("jar=K01&view=b", "b"), ("jar=K01&view=top", "top"), ("jar=K01&view=../", "front")],
)
def test_the_side_is_in_the_name(served: Served, asked: str, view: str) -> None:
    served.send(GOOD, asked)
    assert read_name(served.photos[0]).view == view


@pytest.mark.parametrize("taken", ["nan", "inf", "-1", "1e300", "x", "", "0", "99999999999"])
def test_a_time_that_makes_no_sense_is_passed_over(served: Served, taken: str) -> None:
    assert served.send(GOOD, f"jar=K01&taken={taken}") == 202
    assert read_name(served.photos[0]).day is not None


# --------------------------------------------------------------------------- what is refused
@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"content-length": None}, 411),
        ({"content-length": "x"}, 411),
        ({"content-length": "-5"}, 411),
        ({"content-length": "0"}, 413),
        ({"content-length": "5001"}, 413),
        ({"x-csrf": None}, 403),
        ({"x-csrf": "wrong"}, 403),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": None}, 403),
        ({"host": "evil.example"}, 421),
    ],
)
def test_what_is_not_as_it_must_be_is_refused(
    served: Served, headers: dict[str, str | None], status: int
) -> None:
    assert served.send(GOOD, **headers) == status
    assert served.photos == []


def test_a_body_that_is_longer_than_it_said_is_cut_off(served: Served) -> None:
    content = photo("5" * 9000)
    assert served.send(content, **{"content-length": "100"}) == 413
    assert list((served.office.out / "arrivals").iterdir()) == []


def test_another_content_than_was_said_is_refused(served: Served) -> None:
    answer = served.browser.ask(
        "PUT",
        f"/photos/{'0' * 64}?jar=K01",
        body=GOOD,
        headers={"x-csrf": served.browser.token, "content-length": str(len(GOOD))},
    )
    assert answer.status == 400 and served.photos == []


@pytest.mark.parametrize("sha", ["0" * 63, "0" * 65, "G" * 64, "A" * 64, "..", "%2e%2e"])
def test_what_is_no_digest_names_no_photo(served: Served, sha: str) -> None:
    headers = {"x-csrf": served.browser.token, "content-length": "5"}
    assert served.browser.ask("PUT", f"/photos/{sha}", body=GOOD, headers=headers).status == 404


@pytest.mark.parametrize(
    "content", [b"MZ\x90\x00", b"<html>", b"#!/bin/sh\n", b"\x00" * 64, b"GIF89a"]
)
def test_what_does_not_begin_as_a_picture_is_refused(served: Served, content: bytes) -> None:
    assert served.send(content) == 415
    assert served.photos == [] and list((served.office.out / "arrivals").iterdir()) == []


def test_a_picture_that_cannot_be_opened_is_told_and_not_kept(served: Served) -> None:
    content = photo("torn")
    assert served.send(content) == 202
    assert "Not a photo that can be opened" in served.answer(content)
    assert served.photos == [] and list((served.office.out / "arrivals").iterdir()) == []


def test_a_phone_that_sends_nothing_is_given_up(served: Served) -> None:
    async def stalls() -> AsyncIterator[bytes]:
        yield GOOD[:5]
        await asyncio.sleep(30)
        yield GOOD[5:]

    async def drips() -> AsyncIterator[bytes]:
        for byte in GOOD:
            yield bytes([byte])
            await asyncio.sleep(0.15)

    headers = {"x-csrf": served.browser.token, "content-length": str(len(GOOD))}
    for body in (stalls(), drips()):
        path = f"/photos/{sha_of(GOOD)}?jar=K01"
        assert served.browser.ask("PUT", path, body=body, headers=headers).status == 408
    assert list((served.office.out / "arrivals").iterdir()) == []
    assert served.office.coming == 0


def test_no_more_come_at_once_than_allowed(served: Served) -> None:
    async def slow(content: bytes) -> AsyncIterator[bytes]:
        yield content[:4]
        await asyncio.sleep(0.1)
        yield content[4:]

    async def all_at_once() -> list[int]:
        photos = [photo(f"{n} percent") for n in range(10, 18)]
        asked = (
            served.browser.asked(
                "PUT",
                f"/photos/{sha_of(content)}?jar=K01",
                body=slow(content),
                headers={"x-csrf": served.browser.token, "content-length": str(len(content))},
            )
            for content in photos
        )
        return [answer.status for answer in await asyncio.gather(*asked)]

    statuses = asyncio.run(all_at_once())
    assert sorted(statuses) == [202] * 4 + [503] * 4
    served.settle()
    assert len(served.photos) == 4


def test_one_photo_sent_many_times_at_once_is_there_once(served: Served) -> None:
    async def four_times() -> list[int]:
        headers = {"x-csrf": served.browser.token, "content-length": str(len(GOOD))}
        path = f"/photos/{sha_of(GOOD)}?jar=K01"
        asked = (served.browser.asked("PUT", path, body=GOOD, headers=headers) for _ in range(4))
        return [answer.status for answer in await asyncio.gather(*asked)]

    assert set(asyncio.run(four_times())) <= {200, 202}
    served.settle()
    assert len(served.photos) == 1
    assert list((served.office.out / "arrivals").iterdir()) == []


def test_no_more_wait_than_allowed(served: Served) -> None:
    statuses = [served.send(photo(f"{n} unnamed"), "") for n in range(10, 18)]
    assert statuses == [202] * 5 + [503] * 3


def test_photos_cannot_be_poured_in(served: Served) -> None:
    served.office.uploads = Bucket(3.0, 0.001)
    statuses = [served.send(photo(f"{n} percent")) for n in range(10, 15)]
    assert statuses == [202, 202, 202, 429, 429]


def test_a_stranger_cannot_send(served: Served) -> None:
    outside = Browser(served.browser.site)
    answer = outside.ask("PUT", f"/photos/{sha_of(GOOD)}", body=GOOD, headers={"x-csrf": "x"})
    assert answer.status == 401
