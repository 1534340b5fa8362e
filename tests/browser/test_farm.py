"""The page of a shelf of many jars in a real browser: searched, filtered, jumped in, printed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fake_shelf import TODAY, fake_shelf, fake_story, with_pictures
from pypdf import PdfReader

from jarvision.records import DiaryLine, JarEntry, JarStory, VerdictWord
from jarvision.report import write_report
from jarvision.verdict.plan import make_plan

from .conftest import HOSTILE

pytestmark = pytest.mark.browser

WIDTHS = (360, 1400)
THEMES = ("light", "dark")
A4_PT = (595.3, 841.9)  # ISO 216: 210 x 297 mm
WAITING, LOOKED_AT = 150, 40
ENOKI = 30
JARS = 5 + WAITING + LOOKED_AT + len(HOSTILE)


def jar(name: str, verdict: VerdictWord, why: str, number: int, *, species: str) -> JarStory:
    story = fake_story(name, verdict, (why,), middle=3.5 + number % 40 / 10, species=species)
    entry = replace(story.history.entry, started=date(2026, 3, 1 + number % 2))
    place = DiaryLine(name, "moved", TODAY, text=f"rack {1 + number % 3}")
    return replace(story, history=replace(story.history, entry=entry, diary=(place,)))


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("farm")
    waiting = [
        jar(f"K{n:03d}", "wait", "growing", n, species="enoki" if n < ENOKI else "oyster")
        for n in range(WAITING)
    ]
    doubts = [
        jar(f"C{n:02d}", "check", "stands still", n, species="oyster") for n in range(LOOKED_AT)
    ]
    odd = [jar(name, "check", name, 1, species=name) for name in HOSTILE]
    shelf = with_pictures(fake_shelf(), out)
    shelf = replace(
        shelf,
        folder=HOSTILE[0],
        stories=(*shelf.stories, *waiting, *doubts, *odd),
        warnings=HOSTILE,
    )
    register = {"J01": JarEntry("J01", parent="J04"), "J04": JarEntry("J04")}
    write_report(shelf, out, plan=make_plan(shelf), register=register)
    return out


@contextmanager
def opened(
    browser: Any, path: Path, *, width: int = 360, theme: str = "light", script: bool = True
) -> Iterator[Any]:
    """Show a file; its ``trouble`` gathers what a page must not do."""
    context = browser.new_context(
        viewport={"width": width, "height": 800}, color_scheme=theme, java_script_enabled=script
    )
    page, trouble = context.new_page(), []
    page.on("console", lambda message: trouble.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: trouble.append(f"error: {error}"))
    page.on("dialog", lambda dialog: trouble.append(f"dialog: {dialog.message}"))
    page.on("request", lambda r: trouble.append(r.url) if not _own(r.url, path) else None)
    page.goto(path.as_uri())
    page.wait_for_load_state("networkidle")
    page.trouble = trouble
    yield page
    context.close()


def _own(url: str, path: Path) -> bool:
    """A picture inside the page, or a page of this report that was gone to."""
    home = path.parent.parent if path.parent.name == "jars" else path.parent
    return url.startswith("data:") or re.sub(r"[#?].*", "", url).startswith(home.as_uri())


def shown(page: Any) -> list[str]:
    """Names of the jars in sight, those below the edge of the screen too, a moment later."""
    page.wait_for_timeout(150)
    return page.evaluate(
        "[...document.querySelectorAll('#today .rows li')]"
        ".filter(e => e.checkVisibility()).map(e => e.querySelector('.id').textContent)"
    )


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing_and_nothing_leaves_the_screen(
    browser: Any, farm: Path, axe: str, width: int, theme: str
) -> None:
    for path in (farm / "report.html", farm / "jars" / "J04.html"):
        with opened(browser, path, width=width, theme=theme) as page:
            if path.name == "report.html":
                page.locator("#filter").click()
                page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            assert page.evaluate("[...document.images].every(i => i.naturalWidth > 0)")
            assert page.trouble == []
        context = browser.new_context(
            viewport={"width": width, "height": 800}, color_scheme=theme, bypass_csp=True
        )
        page = context.new_page()
        page.goto(path.as_uri())
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        page.evaluate("document.querySelectorAll('#filter').forEach(b => b.click())")
        page.evaluate(axe)
        found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        bad = [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found["violations"]]
        assert bad == [] and len(found["passes"]) > 15
        context.close()


def test_a_search_leaves_the_jars_that_fit_and_says_how_many(browser: Any, farm: Path) -> None:
    with opened(browser, farm / "report.html") as page:
        everything = shown(page)
        assert "K142" not in everything and "J04" in everything  # those that wait are in a fold
        page.locator("#words").fill("k14")
        assert shown(page) == [f"K14{n}" for n in range(10)]
        assert page.locator("#found").inner_text() == f"10 of {JARS} jars: “k14”"
        assert page.locator("#wait .many").inner_text() == f"10 of {WAITING + 2}"
        assert not page.locator("#check").is_visible()
        page.locator("#words").fill("ENOKI rack 2 growing")
        assert shown(page) == [f"K{n:03d}" for n in range(ENOKI) if n % 3 == 1]
        page.locator("#words").fill("nothing like it")
        assert shown(page) == [] and "None of" in page.locator("#found").inner_text()
        page.locator("#all").click()
        page.wait_for_function("document.getElementById('found').textContent === ''")
        assert shown(page) == everything and not page.locator("#all").is_visible()
        assert page.trouble == []


def test_names_that_attack_are_found_and_stay_names(browser: Any, farm: Path) -> None:
    with opened(browser, farm / "report.html") as page:
        for name in HOSTILE:
            page.locator("#words").fill(name)
            assert name in shown(page)
        page.locator("#filter").click()
        page.select_option("#by-species", HOSTILE[0])
        assert page.locator("script").count() == 1 and page.locator("img[src=x]").count() == 0
        assert page.trouble == []


def test_filters_narrow_one_another_down(browser: Any, farm: Path) -> None:
    with opened(browser, farm / "report.html", width=1400) as page:
        page.locator("#filter").click()
        page.select_option("#by-species", "enoki")
        assert len(shown(page)) == ENOKI
        page.select_option("#by-batch", "2026-03-02, spawn enoki rye grain")
        page.select_option("#by-place", "rack 3")
        odd = [n for n in range(ENOKI) if n % 2 == 1 and n % 3 == 2]
        assert shown(page) == [f"K{n:03d}" for n in odd]
        page.select_option("#by-verdict", "Check")
        assert shown(page) == []
        page.locator("#all").click()
        page.wait_for_function("!document.getElementById('by-place').value")
        page.select_option("#by-verdict", "Check")
        assert len(shown(page)) == LOOKED_AT + len(HOSTILE) + 1


def test_enter_goes_to_the_jar_that_is_named_and_back_finds_the_list_as_it_was(
    browser: Any, farm: Path
) -> None:
    with opened(browser, farm / "report.html") as page:
        page.locator("#words").fill("K1")
        page.keyboard.press("Enter")
        focused = "document.activeElement.querySelector('.id').textContent"
        assert page.evaluate(focused) == "K100"
        page.locator("#words").fill("k142")
        page.locator("#words").press("Enter")
        assert page.evaluate(focused) == "K142"
        page.keyboard.press("Enter")
        page.wait_for_url("**/jars/K142.html")
        assert page.locator("h1").inner_text() == "Jar K142"
        page.go_back()
        page.wait_for_function("document.getElementById('words').value === 'k142'")
        assert shown(page) == ["K142"]
        assert page.trouble == []


@pytest.mark.parametrize("script", [True, False])
def test_a_jar_leads_back_to_its_row_in_the_list(browser: Any, farm: Path, script: bool) -> None:
    for name in ("K142", "J04"):
        with opened(browser, farm / "jars" / f"{name}.html", script=script) as page:
            page.locator(".top nav a").first.click()
            page.wait_for_url("**/report.html#*")
            row = page.locator(f"#jar-{name}")
            box = row.bounding_box()
            assert box is not None and 0 <= box["y"] < 800, name


def test_without_a_script_the_list_its_folds_and_links_work(browser: Any, farm: Path) -> None:
    with opened(browser, farm / "report.html", script=False) as page:
        assert not page.locator("#find").is_visible()
        assert page.locator("#check .rows li").first.is_visible()
        page.locator(".tally a").last.click()
        page.locator("#wait summary").click()
        page.locator("#wait .stems a", has_text="K1").click()
        box = page.locator("#jar-K100").bounding_box()
        assert box is not None and 0 <= box["y"] < 800
        page.locator("#jar-K142 a").click()
        page.wait_for_url("**/jars/K142.html")
        assert page.trouble == []


def test_kin_lead_from_jar_to_jar(browser: Any, farm: Path) -> None:
    with opened(browser, farm / "jars" / "J01.html") as page:
        page.locator(".family a").click()
        page.wait_for_url("**/jars/J04.html")


def test_what_can_be_tapped_is_large_enough_for_a_thumb(browser: Any, farm: Path) -> None:
    # WCAG 2.2, success criterion 2.5.8: 24 px; links inside a sentence are exempt.
    with opened(browser, farm / "report.html") as page:
        page.locator("#filter").click()
        page.locator("#wait summary").click()
        what = (
            ".tally a, nav a, #check .rows a, .stems a, summary, #find input, #find select, #filter"
        )
        boxes = [e.bounding_box() for e in page.locator(what).all() if e.is_visible()]
    assert len(boxes) > 50
    assert all(box is not None and box["height"] >= 24 for box in boxes)


@pytest.mark.parametrize("script", [True, False])
def test_it_prints_on_a4_with_all_that_its_folds_hold(
    browser: Any, farm: Path, tmp_path: Path, script: bool
) -> None:
    with opened(browser, farm / "report.html", theme="dark", script=script) as page:
        page.pdf(path=tmp_path / "list.pdf", prefer_css_page_size=True)
    sheets = PdfReader(tmp_path / "list.pdf").pages
    for sheet in sheets:
        assert [float(v) for v in sheet.mediabox[2:]] == pytest.approx(A4_PT, abs=1.5)
    text = " ".join(" ".join(sheet.extract_text().split()) for sheet in sheets)
    for name in ("J04", "C39", "K000", "K142"):
        assert name in text
    assert "Filter" not in text and "Back to" not in text
    assert len(sheets) <= 12


def test_what_is_printed_is_what_was_filtered_and_says_so(
    browser: Any, farm: Path, tmp_path: Path
) -> None:
    with opened(browser, farm / "report.html") as page:
        page.locator("#words").fill("k14")
        page.pdf(path=tmp_path / "few.pdf", prefer_css_page_size=True)
        assert shown(page) == [f"K14{n}" for n in range(10)]
    text = " ".join(s.extract_text() for s in PdfReader(tmp_path / "few.pdf").pages)
    assert "K142" in text and "C39" not in text.split("The next days")[0]
    assert f"10 of {JARS} jars" in " ".join(text.split())


def test_the_file_of_a_jar_prints_on_one_sheet(browser: Any, farm: Path, tmp_path: Path) -> None:
    with opened(browser, farm / "jars" / "J04.html", theme="dark") as page:
        page.pdf(path=tmp_path / "jar.pdf", prefer_css_page_size=True)
    (sheet,) = PdfReader(tmp_path / "jar.pdf").pages
    text = " ".join(sheet.extract_text().split())
    assert "J04" in text and "Before you act" in text and "Back to" not in text
