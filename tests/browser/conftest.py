"""A headless Chromium, the accessibility checker, and a report that is hard to show.

Skipped with the reason where something is missing; ``make test-browser`` installs what can be.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fake_shelf import TODAY, fake_refusal, fake_shelf, fake_story, with_pictures

from jarvision.records import JarEntry, JarHistory
from jarvision.report import write_report
from jarvision.verdict.plan import Plan, PlanItem

HOSTILE = ('<script>alert("x")</script>', "=1+1", '"><img src=x onerror=alert(1)>')
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Headless Chromium: the system's, else the one that playwright has installed."""
    api = pytest.importorskip("playwright.sync_api", reason="needs: pip install playwright")
    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    with api.sync_playwright() as player:
        try:
            chromium = player.chromium.launch(executable_path=found, args=["--no-sandbox"])
        except api.Error as error:
            pytest.skip(f"no Chromium: install it, or run playwright install chromium ({error})")
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """Source of axe-core, the checker of the Web Content Accessibility Guidelines."""
    if not AXE.is_file():
        pytest.skip("needs axe-core: npm install --no-package-lock --prefix tests/browser")
    return AXE.read_text("utf-8")


@pytest.fixture(scope="session")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a report with every verdict, names that attack, a jar without photos, and a plan."""
    out = tmp_path_factory.mktemp("report")
    shelf = with_pictures(fake_shelf(), out)
    odd = tuple(
        fake_story(name, "check", (f"{name} looks odd.",), species=name, refused=(refusal,))
        for name in HOSTILE
        for refusal in [fake_refusal(f"{name}.jpg", name, "blurred")]
    )
    empty = odd[0].history.refused
    unseen = fake_story("U1", "check", ("No photo of this jar could be used.",))
    unseen = replace(
        unseen,
        history=JarHistory(JarEntry("U1"), (), empty),
        verdict=replace(unseen.verdict, coverage=None),
    )
    refused = tuple(r for story in odd for r in story.history.refused)
    shelf = replace(
        shelf,
        folder=HOSTILE[0],
        stories=(*shelf.stories, *odd, unseen),
        readings=(*shelf.readings, *refused),
        warnings=HOSTILE,
    )
    items = (
        PlanItem(TODAY, "soak", HOSTILE, HOSTILE[2]),
        PlanItem(TODAY + timedelta(days=2), "use", ("J02",), "Look it over once more.", low=TODAY),
    )
    register = {"M": JarEntry("M"), "J01": JarEntry("J01", parent="M")}
    plan = Plan(TODAY, TODAY + timedelta(days=13), items, undated=("J05",))
    write_report(shelf, out, plan=plan, register=register)
    return out
