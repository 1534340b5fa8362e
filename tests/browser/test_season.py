"""The page at the end of a season, and that of a large shelf, in a real browser."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fake_shelf import TODAY, fake_shelf, fake_story, with_pictures

from jarvision.records import JarEntry, JarStory, ShelfResult, VerdictWord
from jarvision.register.jars import Register
from jarvision.register.outcomes import JarOutcome, OutcomeWord
from jarvision.report import write_report
from jarvision.verdict.lives import with_lives
from jarvision.verdict.plan import make_plan

pytestmark = pytest.mark.browser

WIDTHS = (360, 1400)
THEMES = ("light", "dark")
ENDED: Sequence[OutcomeWord] = (
    "clean", "contaminated", "harvested", "discarded", "clean", "harvested", "contaminated",
)  # fmt: skip
MANY = 170


def jars(stem: str, number: int, verdict: VerdictWord) -> list[JarStory]:
    return [
        fake_story(f"{stem}{n:02d}", verdict, (f"{verdict} as it is",), middle=3.5 + 0.1 * n)
        for n in range(1, number + 1)
    ]


def written(shelf: ShelfResult, out: Path, outcomes: dict[str, JarOutcome]) -> Path:
    lines = {s.verdict.jar: JarEntry(s.verdict.jar, species="oyster") for s in shelf.stories}
    told = with_lives(shelf, Register(lines), outcomes)
    write_report(told, out, plan=make_plan(told), register=lines, one_file_jars=2 * MANY)
    return out / "report.html"


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A season of twelve jars, seven of which are finished; and a shelf of very many."""
    season, many = tmp_path_factory.mktemp("season"), tmp_path_factory.mktemp("many")
    stories = (*fake_shelf().stories, *jars("F", 7, "go"))
    readings = [r for s in stories for d in s.history.days for r in d.readings]
    twelve = replace(fake_shelf(), stories=stories, readings=tuple(readings))
    outcomes = {
        f"F{n:02d}": JarOutcome(
            f"F{n:02d}", word, TODAY - timedelta(days=n), ((TODAY, 84.0),), 100.0, "go", TODAY
        )
        for n, word in enumerate(ENDED, 1)
    }
    waiting = replace(fake_shelf(), stories=(*fake_shelf().stories, *jars("W", MANY, "wait")))
    return {
        "season": written(with_pictures(twelve, season), season, outcomes),
        "many": written(waiting, many, {}),
    }


def opened(browser: Any, page: Path, *, width: int, theme: str = "light") -> Any:
    context = browser.new_context(
        viewport={"width": width, "height": 800}, color_scheme=theme, bypass_csp=True
    )
    shown = context.new_page()
    shown.goto(page.as_uri())
    return shown


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("which", ["season", "many"])
def test_axe_finds_nothing_and_nothing_leaves_the_screen(
    browser: Any, pages: dict[str, Path], axe: str, which: str, width: int, theme: str
) -> None:
    page = opened(browser, pages[which], width=width, theme=theme)
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found["violations"]] == []
    assert len(found["passes"]) > 20  # it has looked
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.context.close()


def test_finished_jars_stand_in_a_part_of_their_own(browser: Any, pages: dict[str, Path]) -> None:
    page = opened(browser, pages["season"], width=360)
    done = [f"F{n:02d}" for n in range(1, len(ENDED) + 1)]
    assert all(jar in page.locator("#finished").inner_text() for jar in done)
    for part in (".tally", "#today", "#shelf", "#jars"):
        shown = page.locator(part).inner_text()
        assert not any(jar in shown for jar in done), part
    assert page.locator("article.jar").count() == 5
    page.context.close()


def test_a_jar_of_very_many_is_found_by_its_name(browser: Any, pages: dict[str, Path]) -> None:
    page = opened(browser, pages["many"], width=360)
    index = page.locator(".index details").last  # W100 and on
    assert not index.locator("a").first.is_visible()
    index.locator("summary").click()
    link = index.get_by_text("W142", exact=True)
    box = link.bounding_box()
    assert box is not None and box["height"] >= 24
    link.click()
    assert page.locator("article.jar:target h3").inner_text() == "W142"
    assert page.evaluate("document.getElementsByTagName('*').length") < 25_000
    page.context.close()
