"""The report in a real browser: nothing leaves it, nothing breaks, everybody can read it."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from .conftest import HOSTILE

pytestmark = pytest.mark.browser

SECTIONS = ("today", "next", "shelf", "jars", "photos", "legend", "cautions")
WIDTHS = (360, 1400)
THEMES = ("light", "dark")
A4_PT = (595.3, 841.9)  # ISO 216: 210 x 297 mm


@contextmanager
def opened(browser: Any, report: Path, *, width: int = 360, theme: str = "light") -> Iterator[Any]:
    """Show the page; its ``trouble`` gathers what a page must not do."""
    context = browser.new_context(
        viewport={"width": width, "height": 800}, color_scheme=theme, bypass_csp=False
    )
    page = context.new_page()
    trouble: list[str] = []
    page.on("console", lambda message: trouble.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: trouble.append(f"error: {error}"))
    page.on("dialog", lambda dialog: trouble.append(f"dialog: {dialog.message}"))
    address = (report / "report.html").as_uri()

    def note(request: Any) -> None:
        if request.url != address and not request.url.startswith("data:"):
            trouble.append(f"request: {request.url}")

    page.on("request", note)
    page.goto(address)
    page.wait_for_load_state("networkidle")
    page.trouble = trouble
    yield page
    context.close()


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_the_page_is_whole_and_asks_for_nothing(
    browser: Any, report: Path, width: int, theme: str
) -> None:
    with opened(browser, report, width=width, theme=theme) as page:
        for name in SECTIONS:
            box = page.locator(f"#{name}").bounding_box()
            assert box is not None and box["height"] > 40, name
            assert box["x"] >= 0 and box["x"] + box["width"] <= width, name
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        broken = "[...document.images].filter(i => !i.naturalWidth).length"
        assert page.evaluate(broken) == 0
        assert page.trouble == []


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing_serious(
    browser: Any, report: Path, axe: str, width: int, theme: str
) -> None:
    with opened(browser, report, width=width, theme=theme) as page:
        page.evaluate(axe)
        found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    bad = [f"{v['id']} ({v['impact']}): {v['nodes'][0]['html'][:120]}" for v in found["violations"]]
    assert bad == []
    assert len(found["passes"]) > 20  # it has looked


@pytest.mark.parametrize("theme", THEMES)
def test_words_in_charts_have_the_contrast_of_wcag(browser: Any, report: Path, theme: str) -> None:
    # WCAG 2.1, success criterion 1.4.3: 4.5 to 1; relative luminance as defined there. axe-core
    # does not look into SVG.
    script = """() => {
      const rgb = c => c.match(/[\\d.]+/g).slice(0, 3).map(Number);
      const lin = v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
      const lum = c => { const [r, g, b] = rgb(c).map(lin);
        return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
      const under = getComputedStyle(document.querySelector('.jar')).backgroundColor;
      return [...document.querySelectorAll('.curve text')].map(t => {
        const [a, b] = [lum(getComputedStyle(t).fill), lum(under)].sort((x, y) => y - x);
        return [t.textContent, (a + 0.05) / (b + 0.05)]; });
    }"""
    with opened(browser, report, theme=theme) as page:
        ratios = page.evaluate(script)
    assert len(ratios) > 50
    assert [(text, ratio) for text, ratio in ratios if ratio < 4.5] == []


def test_names_that_attack_stay_names(browser: Any, report: Path) -> None:
    with opened(browser, report) as page:
        names = page.locator("#today .rows b").all_inner_texts()
        assert set(HOSTILE) <= set(names)
        assert page.locator("script").count() == 0
        assert page.locator("img[src=x]").count() == 0
        assert page.trouble == []
    with (report / "verdicts.csv").open(encoding="utf-8", newline="") as file:
        jars = [row["jar"] for row in csv.DictReader(file)]
    assert "'=1+1" in jars and "=1+1" not in jars


def test_the_keyboard_leads_from_the_list_to_a_jar_and_back(browser: Any, report: Path) -> None:
    with opened(browser, report) as page:
        row = page.locator("#today .rows a").first
        goal = row.get_attribute("href")
        for _ in range(30):
            page.keyboard.press("Tab")
            if row.evaluate("e => e === document.activeElement"):
                break
        assert row.evaluate("e => getComputedStyle(e).outlineStyle") == "solid"
        page.keyboard.press("Enter")
        page.wait_for_function("document.querySelector('.jar:target') !== null")
        top = page.locator(str(goal)).evaluate("e => e.getBoundingClientRect().top")
        assert -1 <= top < 200
        page.locator(f"{goal} .back a").press("Enter")
        page.wait_for_function("location.hash === '#today'")


def test_what_can_be_tapped_is_large_enough_for_a_thumb(browser: Any, report: Path) -> None:
    # WCAG 2.2, success criterion 2.5.8: 24 px; links inside a sentence are exempt.
    with opened(browser, report) as page:
        boxes = [
            link.bounding_box()
            for link in page.locator("nav a, .rows a, tbody th a, .back a").all()
        ]
    assert len(boxes) > 20
    assert all(box is not None and box["height"] >= 24 for box in boxes)


def test_no_letters_are_smaller_than_14_px(browser: Any, report: Path) -> None:
    # Words in a chart shrink and grow with it.
    script = """() => [...document.querySelectorAll('body *')].filter(e =>
        !e.closest('.unseen') && e.getClientRects().length &&
        [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())
      ).map(e => {
        const svg = e.closest('svg');
        const zoom = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
        return [e.textContent, parseFloat(getComputedStyle(e).fontSize) * zoom]; })"""
    for width in WIDTHS:
        with opened(browser, report, width=width) as page:
            sizes = page.evaluate(script)
        assert len(sizes) > 200
        assert [(text, size) for text, size in sizes if size < 14] == []


def test_the_newest_day_stands_first_on_a_phone_and_last_where_there_is_room(
    browser: Any, report: Path
) -> None:
    days = "e => [...e.children].map(c => [c.getBoundingClientRect().x, c.textContent])"
    for width, newest_at in ((360, 0), (1400, -1)):
        with opened(browser, report, width=width) as page:
            film = page.locator(".film").first
            shown = [text for _, text in sorted(film.evaluate(days))]
            assert "10 Mar" in shown[newest_at] and len(shown) == 8
            box = film.locator("li", has_text="10 Mar").bounding_box()
            assert box is not None and box["x"] >= 0 and box["x"] + box["width"] <= width


def test_nothing_is_printed_that_only_a_finger_can_use(
    browser: Any, report: Path, tmp_path: Path
) -> None:
    with opened(browser, report) as page:
        assert page.locator(".more").count() > 0
        page.pdf(path=tmp_path / "report.pdf", prefer_css_page_size=True)
    text = " ".join(p.extract_text() for p in PdfReader(tmp_path / "report.pdf").pages)
    assert "photo not used" in " ".join(text.split())
    for button in ("See it", "Back to today", "Next days"):
        assert button not in text, button


def test_a_reader_with_large_letters_loses_nothing(browser: Any, report: Path) -> None:
    # WCAG 2.1, 1.4.4 and 1.4.10: 200 % of the letters at the width of a phone, no side scrolling.
    with opened(browser, report) as page:
        page.add_style_tag(content="html { font-size: 200%; }")
        assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_it_prints_on_a4_and_no_jar_is_torn(browser: Any, report: Path, tmp_path: Path) -> None:
    with opened(browser, report, theme="dark") as page:
        page.pdf(path=tmp_path / "report.pdf", prefer_css_page_size=True)
        jars = page.locator(".jar h3").all_inner_texts()
    sheets = PdfReader(tmp_path / "report.pdf").pages
    for sheet in sheets:
        assert [float(v) for v in sheet.mediabox[2:]] == pytest.approx(A4_PT, abs=1.5)
    texts = [" ".join(sheet.extract_text().split()) for sheet in sheets]
    assert all(len(text) > 40 for text in texts)
    assert "What to do now" in texts[0]
    for jar in (name for name in jars if name.startswith("J")):
        (home,) = [text for text in texts if f"{jar} No-go:" in text or f"{jar} Check:" in text
                   or f"{jar} Go:" in text or f"{jar} Wait:" in text]  # fmt: skip
        assert "Percent covered, with 95 % intervals" in home
