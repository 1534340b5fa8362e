"""Counting in a real browser: by key and finger, undone, left and gone on with, off line."""

from __future__ import annotations

import asyncio
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from scoring import score_folder
from served import an_office

from jarvision.app.serve.office import Office
from jarvision.app.serve.sessions import Doors
from jarvision.app.serve.site import build_site
from jarvision.register.counts import CountedPoint, read_counts

pytestmark = pytest.mark.browser

uvicorn = pytest.importorskip("uvicorn")
SAMPLE = Path(__file__).parents[2] / "sample_images" / "SL04_2026-03-02.jpg"
WIDTHS = (360, 1400)


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Office]:
    """Serve a shelf of one sample photo on a port of this machine."""
    folder = tmp_path / "photos"
    folder.mkdir()
    shutil.copy2(SAMPLE, folder)
    score_folder(folder, out=tmp_path / "out", publish=lambda _: None)
    made = an_office(folder, tmp_path / "out")
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        host = f"127.0.0.1:{listening.getsockname()[1]}"
        made.address, made.doors = f"http://{host}", Doors()
        config = uvicorn.Config(
            build_site(made, hosts=(host,)), log_config=None, lifespan="off", ws="none"
        )
        server = uvicorn.Server(config)
        thread = threading.Thread(target=asyncio.run, args=(server.serve([listening]),))
        thread.start()
        yield made
        server.should_exit = True
        thread.join()
    made.desk.close()


@contextmanager
def counting(browser: Any, office: Office, *, width: int = 360) -> Iterator[Any]:
    """A device on the page of the first wall; its ``trouble`` gathers what must not be."""
    context = browser.new_context(viewport={"width": width, "height": 800})
    page = context.new_page()
    page.trouble = []
    page.on("pageerror", lambda error: page.trouble.append(str(error)))
    page.goto(f"{office.address}/enter#{office.doors.new_code()}")
    page.get_by_role("button", name="Open the shelf").click()
    page.wait_for_load_state()
    page.goto(f"{office.address}/count")
    page.fill("#who", "ann")
    page.get_by_role("button", name="Next wall").click()
    page.wait_for_selector("#state >> text=Point 1 of")  # the script is there to take keys
    yield page
    context.close()


def points(office: Office) -> tuple[CountedPoint, ...]:
    return read_counts(office.folder / "counts.csv")


def wait_for(office: Office, many: int) -> tuple[CountedPoint, ...]:
    """The points once so many are saved."""
    for _ in range(300):
        if len(found := points(office)) == many:
            return found
        time.sleep(0.1)
    raise AssertionError(f"{len(points(office))} points are saved, not {many}")


@pytest.mark.parametrize("width", WIDTHS)
def test_both_pages_fit_and_axe_finds_nothing(
    browser: Any, office: Office, axe: str, width: int
) -> None:
    with counting(browser, office, width=width) as page:
        for path in ("", "/count"):
            if path:
                page.goto(f"{office.address}{path}")
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            page.evaluate(axe)
            found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
            assert [f"{v['id']}: {v['nodes'][0]['html'][:150]}" for v in found["violations"]] == []
        assert page.trouble == []


def test_the_point_lies_under_the_cross_near_and_wide(browser: Any, office: Office) -> None:
    middle = """() => {
        const view = document.querySelector("#view").getBoundingClientRect();
        const wall = document.querySelector("#wall").getBoundingClientRect();
        const box = document.querySelector("#counting").dataset;
        const scale = wall.width / Number(box.width);
        return [view.left + view.width / 2 - wall.left, view.top + view.height / 2 - wall.top]
            .map((at) => at / scale);
    }"""
    with counting(browser, office) as page:
        told = page.evaluate("JSON.parse(document.querySelector('#counting').dataset.points)")
        assert page.evaluate(middle) == pytest.approx(told[0][:2], abs=3)
        page.keyboard.press("w")
        assert page.evaluate(middle) == pytest.approx(told[0][:2], abs=8)
        page.keyboard.press("2")
        assert page.evaluate(middle) == pytest.approx(told[1][:2], abs=8)


def test_a_wall_is_counted_with_keys_undone_left_and_finished(browser: Any, office: Office) -> None:
    with counting(browser, office) as page:
        for key in "1234":
            page.keyboard.press(key)
        found = wait_for(office, 4)
        assert [p.answer for p in found] == ["white", "bare", "off-colour", "cannot tell"]
        page.keyboard.press("U")  # caps lock may be on
        wait_for(office, 3)
        page.wait_for_selector("#state >> text=Point 4 of")  # no script of a text: the policy
        page.locator("[data-answer=white]").click()
        assert wait_for(office, 4)[-1].place == found[3].place  # it came again, at once
        page.reload()
        whole = found[0].points
        assert page.locator("#state").inner_text() == f"Point 5 of {whole}"
        begun = time.monotonic()
        for _ in range(4, whole):
            page.keyboard.press("1")
        wait_for(office, whole)
        a_minute = 60 * (whole - 4) / (time.monotonic() - begun)
        assert page.locator("#finished").is_visible()
        assert a_minute > 60  # the page is never what a person waits for
        assert page.trouble == []


def test_on_a_dead_network_nothing_is_lost_and_nothing_passed_over(
    browser: Any, office: Office
) -> None:
    with counting(browser, office) as page:
        page.keyboard.press("1")
        wait_for(office, 1)
        page.context.set_offline(True)
        page.keyboard.press("2")
        page.wait_for_selector("#state.wrong")
        page.keyboard.press("3")  # waits for the one before it
        assert len(points(office)) == 1
        page.context.set_offline(False)
        assert [p.answer for p in wait_for(office, 2)] == ["white", "bare"]
        page.wait_for_selector("#state:not(.wrong)")
        assert page.locator("#state").inner_text().startswith("Point 3 of")
