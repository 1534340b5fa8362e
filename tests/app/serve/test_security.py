"""Nobody gets in without a code, and no other site's page can act for who is in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from served import HOST, Browser, a_browser, an_office, routes_of

from jarvision.app.serve.limits import Bucket, ServeLimits
from jarvision.app.serve.security import OPEN_PATHS, cookie_of
from jarvision.app.serve.sessions import Doors
from jarvision.app.serve.site import build_site


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Browser]:
    folder = tmp_path / "photos"
    folder.mkdir()
    office = an_office(folder, tmp_path / "out")
    yield a_browser(office)
    office.desk.close()


def stranger(browser: Browser, **given: str) -> Browser:
    return Browser(browser.site, **given)


def test_a_stranger_sees_the_door_and_nothing_else(browser: Browser) -> None:
    outside = stranger(browser)
    answer = outside.get("/device")
    assert (answer.status, answer.headers["location"]) == (303, "/enter")
    assert outside.get("/device", headers={"accept": "*/*"}).status == 401
    door = outside.get("/enter")
    assert door.status == 200 and "photos" not in door.text
    for route in routes_of(browser.site):
        if route.path not in OPEN_PATHS:
            path = route.path.replace("{sha}", "0" * 64)
            for method in route.methods or ():
                assert outside.ask(method, path).status in (303, 401), (method, path)


def test_who_is_refused_is_told_the_way_out(browser: Browser) -> None:
    outside = stranger(browser)
    assert "open /enter" in outside.post("/jars", {"jar": "N1"}).text  # after a night, say
    assert "terminal" in outside.get("/enter", headers={"host": "shelf.local:8765"}).text
    assert "Open the page anew" in browser.post("/jars", {"csrf": "x", "jar": "N1"}).text


def test_a_code_opens_once(browser: Browser) -> None:
    code = browser.site.doors.new_code()
    one, two = stranger(browser), stranger(browser)
    answer = one.post("/enter", {"code": f" {code.lower()} "})
    assert answer.status == 303
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(
        answer.headers["set-cookie"].split("; ")
    )
    assert two.post("/enter", {"code": code}).status == 403
    assert two.get("/device").status == 303
    assert one.get("/device").status == 200


def test_a_code_and_a_session_grow_old() -> None:
    now = [0.0]
    doors = Doors(ServeLimits(), clock=lambda: now[0])
    code, other = doors.new_code(), doors.new_code()
    now[0] = ServeLimits().code_s + 1
    assert doors.enter(code) is None
    now[0] = ServeLimits().code_s - 1
    secret = doors.enter(other)
    assert secret is not None and doors.session(secret) is not None
    now[0] += ServeLimits().session_s + 1
    assert doors.session(secret) is None


def test_no_more_devices_than_allowed_and_the_longest_unseen_makes_room() -> None:
    now = [0.0]
    doors = Doors(ServeLimits(sessions=2), clock=lambda: now[0])
    secrets = []
    for turn in range(3):
        now[0] = float(turn)
        secrets.append(doors.enter(doors.new_code()) or "")
    assert [doors.session(s) is not None for s in secrets] == [False, True, True]


def test_codes_cannot_be_tried_out(browser: Browser) -> None:
    outside = stranger(browser, client="192.0.2.66")
    seen = [outside.post("/enter", {"code": f"WRONG{n}"}).status for n in range(15)]
    assert seen[:10] == [403] * 10
    assert set(seen[10:]) == {429}


@pytest.mark.parametrize(
    "host", ["evil.example:8765", "127.0.0.1", "127.0.0.1:80", "[::1]:8765", "", None]
)
def test_a_name_that_is_pointed_here_is_no_host(browser: Browser, host: str | None) -> None:
    assert browser.get("/device", headers={"host": host}).status == 421
    assert browser.post("/leave", headers={"host": host}).status == 421


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": None},
        {"origin": f"https://{HOST}"},
        {"origin": "http://localhost:8765"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_change_from_elsewhere_is_refused(
    browser: Browser, headers: dict[str, str | None]
) -> None:
    assert browser.post("/leave", headers=headers).status == 403
    assert browser.get("/device").status == 200  # still in


@pytest.mark.parametrize("token", ["", "x", "é" * 43])
def test_a_change_without_the_token_is_refused(browser: Browser, token: str) -> None:
    assert browser.post("/leave", {"csrf": token}).status == 403
    assert browser.ask("POST", "/leave").status == 403
    assert browser.get("/device").status == 200


def test_the_token_of_another_device_is_no_token(browser: Browser) -> None:
    other = stranger(browser)
    other.come_in()
    assert other.token != browser.token
    assert browser.post("/leave", {"csrf": other.token}).status == 403


def test_every_route_that_changes_asks_for_the_token(browser: Browser) -> None:
    for route in routes_of(browser.site):
        for method in set(route.methods or ()) - {"GET", "HEAD"}:
            if route.path != "/enter":
                path = route.path.replace("{sha}", "0" * 64)
                assert browser.ask(method, path).status == 403, (method, path)


def test_who_leaves_is_out(browser: Browser) -> None:
    before = browser.cookie
    assert browser.post("/leave").headers["location"] == "/enter"
    assert stranger(browser, cookie=before).get("/device").status == 303


def test_every_answer_bears_the_policies(browser: Browser) -> None:
    for path in ("/enter", "/device", "/serve.js", "/page.css", "/nowhere"):
        answer = browser.get(path)
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'") and "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    "path",
    ["/../../etc/passwd", "/assets/../site.py", "/%2e%2e/site.py", "/serve.css/..", "/page.css%00",
     "/templates/enter.html.j2", "//etc/passwd", "/serve.py"],
)  # fmt: skip
def test_no_path_leads_to_a_file(browser: Browser, path: str) -> None:
    assert browser.get(path).status == 404


def test_a_form_that_never_ends_is_refused(browser: Browser) -> None:
    body = (b"x=" + b"y" * 4000 for _ in range(100))
    assert browser.ask("POST", "/leave", body=body).status == 413
    many = "&".join(f"a{n}=1" for n in range(100)).encode()
    assert browser.ask("POST", "/leave", body=many).status == 413


def test_a_flood_is_slowed(browser: Browser) -> None:
    statuses = {browser.get("/nowhere", headers={"accept": "*/*"}).status for _ in range(400)}
    assert statuses == {404, 429}


def test_a_bucket_fills_again_and_forgets_the_oldest() -> None:
    now = [0.0]
    bucket = Bucket(2.0, 1.0, clock=lambda: now[0], keys=2)
    assert [bucket.take("a") for _ in range(3)] == [True, True, False]
    now[0] = 1.0
    assert [bucket.take("a") for _ in range(2)] == [True, False]
    assert [bucket.take(key) for key in "bcbc"] == [True] * 4
    assert bucket.take("a")  # forgotten: begins anew


@pytest.mark.parametrize("header", ["", "other=1", "jarvision=", 'jarvision="', "\x00=;;="])
def test_an_odd_cookie_is_none(header: str) -> None:
    assert cookie_of(header) == ""


def test_an_error_that_nobody_foresaw_is_told_without_its_words(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("secret-words")

    monkeypatch.setattr("jarvision.app.serve.door.qr_svg", fails)
    office = an_office(tmp_path, tmp_path / "out")
    browser = Browser(build_site(office, hosts=(HOST,)))
    browser.post("/enter", {"code": office.doors.new_code()})
    answer = browser.get("/device?code=secret-code")
    assert answer.status == 500 and "secret" not in answer.text
    told = caplog.text
    assert "GET /device: RuntimeError" in told
    assert not re.search("secret|Traceback", told)
    office.desk.close()
