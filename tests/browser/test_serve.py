"""The server's pages in a real browser: a phone comes in, photographs, and loses its connection."""

from __future__ import annotations

import asyncio
import hashlib
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from fake_shelf import fake_reading, fake_refusal
from served import TODAY, an_office

from jarvision.app.serve.office import Office
from jarvision.app.serve.sessions import Doors
from jarvision.app.serve.site import build_site
from jarvision.records import Reading
from jarvision.register.photo_names import read_name
from jarvision.run.jobs import Job

pytestmark = pytest.mark.browser

uvicorn = pytest.importorskip("uvicorn")
JPEG = b"\xff\xd8\xff\xe0"
WIDTHS = (360, 1400)
HOSTILE = '"<img src=x onerror=alert(1)>"'
REGISTER = f"""jar,kind,species,substrate,started
K01,spawn,oyster,rye,2026-03-01
K02,spawn,oyster,rye,2026-03-01
K03,spawn,oyster,rye,2026-03-01
{HOSTILE},spawn,oyster,rye,2026-03-01
"""


def reader(job: Job) -> Reading:
    parts = read_name(job.name, job.told_jar)
    text = job.path.read_bytes().removeprefix(JPEG).decode()
    if not text.split()[0].isdigit():
        return fake_refusal(job.name, parts.jar, "blurred", parts.day or TODAY)
    found = fake_reading(parts.jar, parts.day or TODAY, float(text.split()[0]))
    return replace(found, photo=job.name)


def untagged(job: Job) -> Reading:
    taken = fake_reading("x", TODAY, 1).taken_at
    return Reading(job.name, "", "front", taken, "file", "ok")


@pytest.fixture
def office(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Office]:
    """Serve a shelf of text photos on a port of this machine."""
    monkeypatch.setattr("jarvision.app.serve.keeper.first_look", untagged)
    folder = tmp_path / "photos"
    folder.mkdir()
    (folder / "jars.csv").write_text(REGISTER)
    for day in range(2, 9):
        (folder / f"K03_2026-03-0{day}.jpg").write_bytes(JPEG + str(10 * day).encode())
    made = an_office(folder, tmp_path / "out", read=reader, today=TODAY)
    made.keeper.score_all(fleet=made.keeper.fleet, tell=print)
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        host = f"127.0.0.1:{listening.getsockname()[1]}"
        made.address, made.doors = f"http://{host}", Doors()
        config = uvicorn.Config(
            build_site(made, hosts=(host,)),
            log_config=None,
            access_log=False,
            lifespan="off",
            ws="none",
        )
        server = uvicorn.Server(config)
        thread = threading.Thread(target=asyncio.run, args=(server.serve([listening]),))
        thread.start()
        yield made
        server.should_exit = True
        thread.join()
    made.desk.close()


@contextmanager
def inside(
    browser: Any, office: Office, *, width: int = 360, theme: str = "light"
) -> Iterator[Any]:
    """A device that came in by a code's address; its ``trouble`` gathers what must not be."""
    context = browser.new_context(
        viewport={"width": width, "height": 800}, color_scheme=theme, bypass_csp=False
    )
    page = context.new_page()
    page.trouble = []
    page.on("console", lambda m: page.trouble.append(f"console: {m.text}"))
    page.on("pageerror", lambda e: page.trouble.append(f"error: {e}"))
    page.on("dialog", lambda d: page.trouble.append(f"dialog: {d.message}"))
    page.on("request", lambda r: _note(page, r, office))
    page.goto(f"{office.address}/enter#{office.doors.new_code()}")
    assert "#" not in page.url
    page.get_by_role("button", name="Open the shelf").click()
    page.wait_for_selector("#camera")
    page.wait_for_load_state("load")
    yield page
    context.close()


def _note(page: Any, request: Any, office: Office) -> None:
    if not request.url.startswith((office.address, "data:", "blob:")):
        page.trouble.append(f"request: {request.url}")


def sha_of(text: str) -> str:
    return hashlib.sha256(JPEG + text.encode()).hexdigest()


def shoot(page: Any, *texts: str, name: str = "IMG_0001.jpg", several: bool = False) -> None:
    files = [
        {"name": name, "mimeType": "image/jpeg", "buffer": JPEG + text.encode()} for text in texts
    ]
    page.set_input_files("#several" if several else "#shoot", files)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_every_page_fits_and_axe_finds_nothing(
    browser: Any, office: Office, axe: str, width: int, theme: str
) -> None:
    with inside(browser, office, width=width, theme=theme) as page:
        page.route(f"**/photos/{sha_of('91')}**", lambda route: route.fulfill(status=415))
        shoot(page, "90", "91", several=True)
        page.wait_for_selector(".answer[data-state=placed]")
        page.wait_for_selector("#aside >> text=Forget it")
        photo, away = f"photos/{sha_of('80')}/wrong", f"photos/{sha_of('70')}/wrong"
        page.goto(f"{office.address}/{away}")
        page.get_by_role("button", name="Take it away").click()
        page.goto(f"{office.address}/")
        page.wait_for_selector("#aside >> text=Forget it")
        paths = ("", "today", "jars", "jar?name=K03", photo, away, "device", "/enter")
        looked_at = 0
        for path in (*paths, "jar?name=nobody"):
            if path:
                page.goto(f"{office.address}/{path.lstrip('/')}")
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            page.evaluate(axe)
            found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
            bad = [f"{v['id']}: {v['nodes'][0]['html'][:150]}" for v in found["violations"]]
            assert bad == [], path
            looked_at += len(found["passes"])
        assert looked_at > 100
        assert [t for t in page.trouble if "422" not in t and "415" not in t] == []


@pytest.mark.parametrize("width", WIDTHS)
def test_a_walk_along_the_shelf(browser: Any, office: Office, width: int) -> None:
    with inside(browser, office, width=width) as page:
        assert page.locator("h1").inner_text() == "Photograph K01"
        shoot(page, "not sharp")
        answer = page.locator(".answer").first
        answer.get_by_role("link", name="Take K01 again").click()
        page.wait_for_url("**/?jar=K01")
        shoot(page, "41")
        page.wait_for_selector("text=The photo is good")
        page.get_by_role("link", name="Next: K02").click()
        page.wait_for_url("**/?jar=K02")
        assert page.locator("h1").inner_text() == "Photograph K02"
        shoot(page, "42")
        page.wait_for_selector("text=The photo is good")
        page.get_by_role("link", name="Its tag tells").click()
        page.wait_for_url("**/?by=tag")
        shoot(page, "77")
        page.wait_for_selector("text=Which jar is it?")
        page.locator(".answer .pick button", has_text="K03").click()
        page.wait_for_selector("text=The photo is good")
        page.get_by_role("link", name="Today", exact=True).click()
        assert page.locator(".rows .id").count() == 3
        assert page.trouble == []
    taken = sorted(read_name(p.name).jar for p in office.folder.glob("*_2026-03-10-*.jpg"))
    assert taken == ["K01", "K01", "K02", "K03"]


def test_twenty_photos_on_a_bad_connection_are_kept_and_come_once(
    browser: Any, office: Office
) -> None:
    """Cut off before, in and after the sending, and the page closed in between."""
    with inside(browser, office) as page:
        turn = 0

        def fails_often(route: Any) -> None:
            nonlocal turn
            turn += 1
            if route.request.method != "PUT" or turn % 3 == 0:
                route.continue_()
            elif turn % 3 == 1:
                route.abort("connectionreset")
            else:  # it came, and the answer is lost
                route.fetch()
                route.abort("connectionreset")

        page.route("**/photos/**", lambda route: route.abort("internetdisconnected"))
        shoot(page, *(f"{n} percent" for n in range(40, 60)), several=True)
        page.wait_for_selector("text=20 photos to send")
        assert list(office.folder.glob("*_2026-03-10-*.jpg")) == []
        page.unroute("**/photos/**")
        page.route("**/photos/**", fails_often)
        page.goto(f"{office.address}/today")
        page.goto(f"{office.address}/")  # the photos are still there
        for _ in range(400):
            if not page.locator("#queue p").count() and page.locator(".answer").count() >= 20:
                break
            page.evaluate("dispatchEvent(new Event('online'))")
            page.wait_for_timeout(50)
    contents = sorted(p.read_bytes() for p in office.folder.glob("*_2026-03-10-*.jpg"))
    assert contents == [JPEG + f"{n} percent".encode() for n in range(40, 60)]


@pytest.mark.parametrize("status", [400, 405, 413, 415, 422, 500])
def test_a_photo_that_is_never_taken_does_not_stop_the_others(
    browser: Any, office: Office, status: int
) -> None:
    """It is set aside with its reason, over a reload too, until it is tried again or forgotten."""
    odd, asked = sha_of("41"), 0

    def never(route: Any) -> None:
        nonlocal asked
        asked += 1
        route.fulfill(status=status)

    with inside(browser, office) as page:
        page.route(f"**/photos/{odd}**", never)
        shoot(page, "41", "42", "43", several=True)
        page.wait_for_selector("#aside >> text=was not taken", timeout=20_000)
        page.wait_for_selector("#queue:empty", state="attached")
        page.wait_for_selector(".answer >> nth=1")
        assert came(office) == ["42", "43"] and asked <= 3
        page.reload()
        page.wait_for_selector("#aside >> text=of K01 was not taken")
        page.wait_for_timeout(300)
        assert asked <= 3  # nobody asks for it by itself
        page.unroute(f"**/photos/{odd}**")
        page.get_by_role("button", name="Try again").click()
        page.wait_for_selector(".answer[data-state=placed]")
        page.wait_for_selector("#aside:empty", state="attached")
    assert came(office) == ["41", "42", "43"]


def test_a_photo_is_forgotten_only_when_that_is_said_twice(browser: Any, office: Office) -> None:
    with inside(browser, office) as page:
        page.route("**/photos/**", lambda route: route.fulfill(status=415))
        shoot(page, "41")
        page.get_by_role("button", name="Forget it").click()
        page.reload()
        page.get_by_role("button", name="Forget it").click()
        page.get_by_role("button", name="nowhere else").click()
        page.wait_for_selector("#aside:empty", state="attached")
        page.unroute("**/photos/**")
        page.reload()
        page.wait_for_load_state("networkidle")
        assert not page.locator("#aside div, #queue p").count()
    assert came(office) == []


def test_a_photo_that_fails_on_the_way_lets_the_others_go_first(
    browser: Any, office: Office
) -> None:
    with inside(browser, office) as page:
        way = f"**/photos/{sha_of('41')}**"
        page.route(way, lambda route: route.abort("connectionreset"))
        shoot(page, "41", "42", "43", several=True)
        page.wait_for_selector(".answer >> nth=1", timeout=20_000)
        assert came(office) == ["42", "43"]
        assert page.locator("#queue", has_text="1 photo to send").count()
        page.unroute(way)
        page.evaluate("dispatchEvent(new Event('online'))")
        page.wait_for_selector(".answer >> nth=2")
    assert came(office) == ["41", "42", "43"]


def came(office: Office) -> list[str]:
    """What the photos of today say that the server has."""
    found = office.folder.glob("*_2026-03-10-*.jpg")
    return sorted(path.read_bytes().removeprefix(JPEG).decode() for path in found)


def test_a_photo_of_the_wrong_jar_is_put_right_from_the_page(browser: Any, office: Office) -> None:
    with inside(browser, office) as page:
        shoot(page, "41")
        page.wait_for_selector("text=The photo is good")
        page.get_by_role("link", name="Wrong jar?").click()
        page.get_by_role("button", name="K02", exact=True).click()
        page.wait_for_selector("text=The photo is now of K02, no longer of K01")
        page.wait_for_selector(".answer h2 >> text=K02")
        page.get_by_role("link", name="Wrong jar?").click()
        page.get_by_role("button", name="Back to K01").click()
        page.wait_for_selector("text=now of K01, no longer of K02")
        page.get_by_role("link", name="Wrong jar?").click()
        page.get_by_role("button", name="Take it away").click()
        page.wait_for_selector("text=nothing is deleted")
        assert came(office) == []
        page.get_by_role("link", name="Jars", exact=True).click()
        page.get_by_role("link", name="Put it back?").click()
        page.get_by_role("button", name="Put it back to K01").click()
        page.wait_for_selector("text=The photo is back in its place")
        page.goto(f"{office.address}/jar?name=K03")
        page.get_by_role("link", name="Wrong jar?").first.click()
        page.locator("#jar").fill("k09")
        page.get_by_role("button", name="This jar").click()
        page.wait_for_selector("text=No jar is called 'k09'")
        assert [t for t in page.trouble if "422" not in t] == []
    assert came(office) == ["41"]


def test_many_photos_to_be_read_are_asked_for_one_after_another(
    browser: Any, office: Office
) -> None:
    """Else a phone that waits for twenty photos is taken for a flood, and its pages are refused."""
    free = threading.Event()
    seen: list[str] = []
    with inside(browser, office) as page:
        office.desk.put(lambda: free.wait(20))  # as long as a large shelf is being kept
        page.on("request", lambda r: seen.append(r.method))
        shoot(page, *(f"{n} percent" for n in range(20, 40)), several=True)
        page.wait_for_selector("#queue:empty", state="attached")
        seen.clear()
        page.wait_for_timeout(3000)
        asked = seen.count("GET")
        free.set()
        page.wait_for_selector(".answer >> nth=19", timeout=60_000)
    assert 3 <= asked <= 15


@pytest.mark.parametrize(
    ("status", "words"),
    [(507, "The server's disk is full"), (503, "much to do"), (500, "could not take it (500)")],
)
def test_why_a_photo_waits_is_told(browser: Any, office: Office, status: int, words: str) -> None:
    with inside(browser, office) as page:
        page.route("**/photos/**", lambda route: route.fulfill(status=status))
        shoot(page, "41")
        page.wait_for_selector(f"#queue >> text={words}")
        page.unroute("**/photos/**")
        page.evaluate("dispatchEvent(new Event('online'))")
        page.wait_for_selector(".answer[data-state=placed]")


def test_a_new_code_fills_in_where_the_door_is_open_already(browser: Any, office: Office) -> None:
    page = browser.new_context().new_page()
    page.goto(f"{office.address}/enter#OUTOFDATE")
    page.get_by_role("button", name="Open the shelf").click()
    page.wait_for_selector("text=This code opens nothing")
    page.goto(f"{office.address}/enter#{office.doors.new_code()}")
    page.get_by_role("button", name="Open the shelf").click()
    page.wait_for_selector("#camera")
    page.context.close()


def test_digests_are_those_of_every_other_program(browser: Any, office: Office) -> None:
    with inside(browser, office) as page:
        for size in (0, 1, 55, 56, 63, 64, 65, 1000, 1_000_003):
            made = page.evaluate(
                "n => sha256(Uint8Array.from({length: n}, (_, i) => (i * 7) % 256).buffer)", size
            )
            content = bytes(i * 7 % 256 for i in range(size))
            assert made == hashlib.sha256(content).hexdigest(), size


def test_forms_can_be_filled_in_by_hand(browser: Any, office: Office) -> None:
    with inside(browser, office) as page:
        page.goto(f"{office.address}/jar?name=K03")
        page.locator("#outcome").select_option("contaminated")
        page.locator("#note").fill("green, <b>at the lid</b>")
        page.locator("form[action='/jar/outcome'] button").first.click()
        page.wait_for_selector("text=Its story is over")
        page.get_by_role("link", name="Jars", exact=True).click()
        page.locator("#jar").fill("N1")
        page.get_by_role("button", name="Write it into the register").click()
        page.wait_for_selector("text=Jar N1")
        page.locator("#substrate").fill("millet")
        page.get_by_role("button", name="Put it right").click()
        page.wait_for_selector("text=Written down.")
        assert page.locator("#substrate").input_value() == "millet"
        assert page.trouble == []
    assert "N1,spawn,,millet" in (office.folder / "jars.csv").read_text()
    assert "at the lid" in (office.folder / "outcomes.csv").read_text()


def test_what_can_be_tapped_is_large_enough_for_a_thumb(browser: Any, office: Office) -> None:
    # WCAG 2.2, success criterion 2.5.8: 24 px.
    with inside(browser, office) as page:
        for path in ("", "jars", "jar?name=K03", "device"):
            page.goto(f"{office.address}/{path}")
            places = page.locator("nav a, button, label.button, a.button, input:visible, select")
            boxes = [box for place in places.all() if (box := place.bounding_box())]
            assert len(boxes) > 4
            assert [box for box in boxes if box["height"] < 24 and box["width"] > 1] == []
