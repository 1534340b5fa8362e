"""What came in is not lost: not when the server ends, nor when the register or a photo is wrong."""

from __future__ import annotations

import asyncio
import json

import pytest
from filelock import FileLock
from served import a_browser, an_office

from jarvision.app.serve.start import take_up
from jarvision.register.photo_names import read_name
from jarvision.run.lock import LOCK_NAME

from .conftest import REGISTER, Served, photo, sha_of, text_reader

GOOD = photo("40 percent")


def test_what_waited_when_the_server_ended_is_taken_up(served: Served) -> None:
    content = photo("50 no label")
    served.send(content, "taken=1773100000&view=c")
    office = an_office(served.folder, served.office.out, read=text_reader)
    (served.office.out / "arrivals" / ".jarvision-1-1.part").write_bytes(b"half")
    (served.office.out / "arrivals" / f"{'0' * 64}.json").write_bytes(b"{}")
    (served.office.out / "arrivals" / "notes.txt").write_text("of somebody else")
    take_up(office)
    again = Served(a_browser(office), office)
    again.settle()
    assert json.loads(again.answer(content))["state"] == "asks"
    again.browser.post(f"/photos/{sha_of(content)}/jar", {"jar": "K01"})
    assert [read_name(name).view for name in again.photos] == ["c"]
    left = [path.name for path in (served.office.out / "arrivals").iterdir()]
    assert left == ["notes.txt"]
    office.desk.close()


@pytest.mark.parametrize("note", [b"", b"[]", b'{"jar": 7, "view": "x", "hint_s": "y"}', b"\xff"])
def test_a_damaged_note_does_not_cost_the_photo(served: Served, note: bytes) -> None:
    place = served.office.out / "arrivals"
    place.mkdir(parents=True)
    content = photo("50 no label")
    (place / f"{sha_of(content)}.jpg").write_bytes(content)
    (place / f"{sha_of(content)}.json").write_bytes(note)
    take_up(served.office)
    served.settle()
    assert json.loads(served.answer(content))["state"] == "asks"


def test_a_register_that_is_wrong_keeps_the_photo_until_it_is_put_right(served: Served) -> None:
    register = served.folder / "jars.csv"
    register.write_text("jar,kind\nK01,teapot\n")
    assert served.send(GOOD) == 202
    told = json.loads(served.answer(GOOD))
    assert told["state"] == "came" and "jars.csv" in told["html"] and "Try again" in told["html"]
    register.write_text(REGISTER)
    assert served.browser.post(f"/photos/{sha_of(GOOD)}/again").status == 303
    served.settle()
    assert json.loads(served.answer(GOOD))["state"] == "placed"
    assert len(served.photos) == 1


def test_a_photo_that_breaks_its_reader_is_a_photo_that_cannot_be_used(served: Served) -> None:
    content = photo("40 crash")
    served.send(content)
    assert json.loads(served.answer(content))["state"] == "placed"
    assert "RuntimeError: odd photo" in served.answer(content)


def test_another_run_is_waited_for_and_told(served: Served) -> None:
    served.send(photo("10 percent"))
    lock = FileLock(served.office.out / LOCK_NAME)
    with lock:
        headers = {"x-csrf": served.browser.token, "content-length": str(len(GOOD))}
        path = f"/photos/{sha_of(GOOD)}?jar=K02"
        assert served.browser.ask("PUT", path, body=GOOD, headers=headers).status == 202
        for _ in range(100):
            if served.office.desk.waiting_for:
                break
            asyncio.run(asyncio.sleep(0.02))
        page = served.browser.get("/").text
        assert "Another run is writing" in page
        assert not json.loads(served.answer(GOOD))["settled"]
    served.settle()
    assert json.loads(served.answer(GOOD))["state"] == "placed"
    assert "Another run" not in served.browser.get("/").text


def test_what_a_killed_move_left_is_swept_at_the_next_start_and_told(served: Served) -> None:
    served.send(GOOD)
    part = served.folder / f".{served.photos[0]}.part"
    part.write_bytes(b"half")
    told: list[str] = []
    served.office.keeper.sweep(told.append)
    assert part.exists() and told == []  # it may be at work just now
    with pytest.MonkeyPatch.context() as later:
        later.setattr("jarvision.run.moves.OLD_S", -60.0)
        served.office.keeper.sweep(told.append)
    assert not part.exists() and part.name in told[0]
    assert (served.folder / served.photos[0]).read_bytes() == GOOD
