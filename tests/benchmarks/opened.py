"""The page in headless Chromium whose processor is slowed four times, as a cheap phone's is.

Needs the ``browser`` extra and Chromium. Nothing here is a test: seconds differ by machine, so each
way to lay a page out is opened in the same run.
"""

from __future__ import annotations

import shutil
import statistics
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from tests.benchmarks.drawn_farm import simulate_farm, with_sample_pictures

SLOWED: Final = 4
"""Times by which the processor is slowed (CDP, ``Emulation.setCPUThrottlingRate``)."""

OPENED: Final = 5
"""Each page is opened so many times; the medians are told."""

PHONE: Final = {"width": 360, "height": 780}
ONE_FILE: Final = 10_000
"""No shelf is so large: all of it on one page."""

ASKED: Final = (
    "k", "k1", "k14", "k142", "K0", "enoki", "oyster", "rack 3", "green", "wet", "growing", "G05",
    "ready about", "check", "stands still", "kin", "covered", "rested enoki", "no-go", "zzz",
)  # fmt: skip
"""What is searched for, one after the other; every one leaves other jars."""

_FIRST_PAINT = "performance.getEntriesByName('first-contentful-paint').map(e => e.startTime)[0]"
_WHOLE = "performance.getEntriesByType('navigation')[0].loadEventEnd"
_NODES = """() => {
  const walk = document.createTreeWalker(document, NodeFilter.SHOW_ALL);
  let nodes = 1;
  while (walk.nextNode()) nodes += 1;
  return [document.getElementsByTagName('*').length, nodes];
}"""
_SEARCH = """async asked => {
  const field = document.getElementById('words'), took = [];
  if (!field) return took;
  field.focus();
  for (const words of asked) {
    await new Promise(requestAnimationFrame);
    const start = performance.now();
    field.value = words;
    field.dispatchEvent(new Event('input', { bubbles: true }));
    // the frame that shows the answer is laid out and painted before a message comes through
    await new Promise(done => requestAnimationFrame(() => {
      const { port1, port2 } = new MessageChannel();
      port1.onmessage = done;
      port2.postMessage(0);
    }));
    took.push(performance.now() - start);
  }
  return took;
}"""


@dataclass(frozen=True)
class Opened:
    """A page as it was opened: bytes, elements and all nodes of the document, times in ms.

    ``beside_bytes`` are those of the files of jars; ``paint_ms`` is the first contentful paint,
    ``whole_ms`` the end of loading; ``search_ms`` is the median answer, None for a page without
    search; ``length_px`` is the length at 360 px.
    """

    jars: int
    layout: str
    page_bytes: int
    beside_bytes: int
    elements: int
    nodes: int
    paint_ms: float
    whole_ms: float
    search_ms: float | None
    worst_search_ms: float | None
    length_px: int


def measure_pages(root: Path, sizes: Mapping[int, tuple[int, ...]]) -> tuple[Opened, ...]:
    """Write the page of each number of jars with each limit of ``one_file_jars``, and open it."""
    from jarvision import score_folder
    from jarvision.report import write_report
    from tests.benchmarks.photos import SAMPLES

    scored = root / "scored"
    samples = score_folder(SAMPLES, scored).readings
    opened = []
    for jars, limits in sizes.items():
        farm = simulate_farm(jars)
        for limit in limits:
            out = root / f"{jars}-{limit}"
            result = with_sample_pictures(farm.result, samples, scored=scored, out=out)
            write_report(result, out, plan=farm.plan, register=farm.register, one_file_jars=limit)
            layout = "one file" if jars <= limit else "files beside"
            opened.append(measure_page(out, jars=jars, layout=layout))
    return tuple(opened)


def measure_page(out: Path, *, jars: int, layout: str) -> Opened:
    """Open a report on a slow phone."""
    page = out / "report.html"
    looks = list(_looks(page))
    took = [look["search"] for look in looks if look["search"]]
    searches = [statistics.median(times) for times in took]
    return Opened(
        jars=jars,
        layout=layout,
        page_bytes=page.stat().st_size,
        beside_bytes=sum(path.stat().st_size for path in (out / "jars").glob("*.html")),
        elements=looks[0]["nodes"][0],
        nodes=looks[0]["nodes"][1],
        paint_ms=statistics.median(look["paint"] for look in looks),
        whole_ms=statistics.median(look["whole"] for look in looks),
        search_ms=statistics.median(searches) if searches else None,
        worst_search_ms=max(map(max, took)) if took else None,
        length_px=looks[0]["length"],
    )


def _looks(page: Path) -> Iterator[dict[str, Any]]:
    from playwright.sync_api import sync_playwright

    found = next((path for name in ("chromium", "chrome") if (path := shutil.which(name))), None)
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=found, args=["--no-sandbox"])
        for _ in range(OPENED):
            context = browser.new_context(viewport=PHONE)
            tab = context.new_page()
            slow = context.new_cdp_session(tab)
            slow.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
            tab.goto(page.as_uri(), timeout=180_000)
            tab.wait_for_function(f"{_FIRST_PAINT} > 0", timeout=180_000)
            yield {
                "paint": tab.evaluate(_FIRST_PAINT),
                "whole": tab.evaluate(_WHOLE),
                "nodes": tab.evaluate(_NODES),
                "length": tab.evaluate("document.documentElement.scrollHeight"),
                "search": tab.evaluate(_SEARCH, list(ASKED)),
            }
            context.close()
        browser.close()
