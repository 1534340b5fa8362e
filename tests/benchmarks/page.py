"""What was measured, as a page of the docs."""

from __future__ import annotations

import datetime
import os
import platform
import subprocess
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.benchmarks.farm_page import cluster_lines, farm_lines
from tests.benchmarks.folders import Growth, Memory, Scaling
from tests.benchmarks.one_photo import OnePhoto
from tests.benchmarks.opened import OPENED, SLOWED
from tests.benchmarks.same import TABLES, Same

PARTS = {
    "one": "one photo",
    "scaling": "photos a second",
    "memory": "memory",
    "growth": "larger folders",
    "same": "the same results",
}
"""Parts of the measurement, in the order of the page."""

PAGES = "pages"
"""The part that has a section of its own, with its circumstances: it needs a browser."""

_PAGES_HEADING = "## The page in a browser"

LARGE = {"farm": "a farm", "cluster": "a cluster"}
"""Parts that take hours: the page is written without those that were not measured."""


@dataclass(frozen=True)
class Part:
    """Result of a part, and when, where and on which commit it was measured."""

    where: str
    result: Any


def circumstances() -> str:
    """Day, commit, machine and its load, before anything is measured."""
    return f"{_today()}, commit {_commit()}, {_machine()}"


def write_page(path: Path, kept: Mapping[str, Part]) -> None:
    """Write the page, Markdown, from a result for each of :data:`PARTS`, perhaps :data:`PAGES`."""
    path.write_text("\n".join(_lines(kept)) + "\n", encoding="utf-8")
    if PAGES in kept:
        put_pages(path, kept[PAGES])


def put_pages(path: Path, pages: Part) -> None:
    """Put the section on the page in a browser into the page that there is, or change it there."""
    text = path.read_text(encoding="utf-8")
    before, _, rest = text.partition(f"{_PAGES_HEADING}\n")
    _, heading, behind = rest.partition("\n## ")
    if not rest:  # it goes before how it all was measured
        before, heading, behind = text.partition("## How it was measured")
        heading = f"\n{heading}"
    section = "\n".join(_pages(pages))
    path.write_text(f"{before}{section}\n{heading}{behind}", encoding="utf-8")


def _pages(pages: Part) -> Iterator[str]:
    yield from (
        _PAGES_HEADING,
        "",
        "Simulated jars of every age and fate with the pictures of the sample shelf; headless",
        f"Chromium, 360 px wide, processor slowed {SLOWED} times; medians of {OPENED} openings.",
        "Times run from the call of the page to the first paint and to the page being whole; those",
        "of a search from the letter to the painted answer, median (and longest) of 20.",
        "",
        "| jars | layout | page | beside | elements | nodes | painted | whole | search | length |",
        "|---|---|---|---|---|---|---|---|---|---|",
    )
    for o in pages.result:
        search = f"{o.search_ms:.0f} ms ({o.worst_search_ms:.0f})" if o.search_ms else "none"
        beside = f"{o.beside_bytes / 1e6:.0f} MB" if o.beside_bytes else "none"
        yield (
            f"| {o.jars} | {o.layout} | {o.page_bytes / 1e6:.1f} MB | {beside} | {o.elements:,} "
            f"| {o.nodes:,} | {o.paint_ms:.0f} ms | {o.whole_ms:.0f} ms | {search} "
            f"| {o.length_px:,} px |"
        )
    made = "by `python -m tests.benchmarks pages`"
    yield from ("", f"Measured {made}: {pages.where}.")


def _lines(kept: Mapping[str, Part]) -> Iterator[str]:
    yield from (
        "# Speed and size",
        "",
        "Written by `make bench` (`python -m tests.benchmarks`). Ratios carry over to other",
        "machines better than seconds: both sides of each were measured in the same run.",
        "",
        "| what | result |",
        "|---|---|",
    )
    yield from (f"| {what} | {result} |" for what, result in _results(kept))
    for section in (_profile(kept["one"].result), _growth(kept["growth"].result)):
        yield from ("", *section)
    if "farm" in kept:
        yield from ("", *farm_lines(kept["farm"].result))
    if "cluster" in kept:
        yield from ("", *cluster_lines(kept["cluster"].result))
    yield from ("", *_same(kept["same"].result), "", *_how(kept["one"].result), "")
    names = {**PARTS, **LARGE}.items()
    yield from (f"- {name}: {kept[part].where}." for part, name in names if part in kept)


def _results(kept: Mapping[str, Part]) -> Iterator[tuple[str, str]]:
    one: OnePhoto = kept["one"].result
    memory: Memory = kept["memory"].result
    pace: Scaling = kept["scaling"].result
    for quality, pair in one.pairs.items():
        yield (
            f"a 12-megapixel JPEG of quality {quality} to its row, one core, overlay off",
            f"{pair.row:.2f} plain decodes ({pair.low:.2f} to {pair.high:.2f}) "
            f"of {pair.decode_ms:.0f} ms",
        )
    yield "what the overlay and the wall picture add", f"{one.overlay_ratio:.2f} decodes"
    yield (
        f"photos a second, 1 worker; 2 workers ({pace.photos} photos of 12 megapixels)",
        f"{pace.one:.1f}; {pace.two:.1f}: {pace.two / pace.one:.2f} times",
    )
    yield (
        f"memory of a worker over {memory.photos} such photos, overlays on",
        f"{memory.worker_mb:.0f} MB ({memory.worker_early_mb:.0f} MB in the first fifth)",
    )
    yield (
        "memory of the parent meanwhile",
        f"{memory.parent_mb:.0f} MB ({memory.parent_early_mb:.0f} MB in the first fifth)",
    )
    known: Growth = kept["growth"].result[-1]
    yield (
        f"a photo that is known already, in a folder of {known.photos:,}",
        f"{known.again_ms:.2f} ms",
    )


def _profile(one: OnePhoto) -> Iterator[str]:
    yield from (
        "## Where the time goes",
        "",
        "One 12-megapixel photo of the heaviest kind on one core, without overlay:",
        "",
        "| stage | ms | decodes |",
        "|---|---|---|",
    )
    for stage, seconds in one.stages.items():
        yield f"| {stage} | {1e3 * seconds:.1f} | {seconds / one.decode_s:.2f} |"


def _growth(growth: tuple[Growth, ...]) -> Iterator[str]:
    first = growth[0]
    yield from (
        "## Larger folders",
        "",
        "Milliseconds a photo, beside reading it: kept in the store with its pictures; all stories",
        "and the report; run again, when every photo is known. The last column: the whole of it",
        f"against a folder of {first.photos}.",
        "",
        "| photos | kept | stories, report | run again | parent's memory | times |",
        "|---|---|---|---|---|---|",
    )
    base = first.keep_ms + first.report_ms + first.again_ms
    for g in growth:
        times = (g.keep_ms + g.report_ms + g.again_ms) / base
        yield (
            f"| {g.photos:,} | {g.keep_ms:.1f} | {g.report_ms:.1f} | {g.again_ms:.2f} "
            f"| {g.parent_mb:.0f} MB | {times:.2f} |"
        )


def _same(same: Same) -> Iterator[str]:
    yield from (
        "## The same results, however they were made",
        "",
        "The sample shelf; the first digits of each table's SHA-256. The last run was killed",
        f"(SIGKILL) {same.kills} times at random moments, then run to its end.",
        "",
        f"| table | {' | '.join(same.digests)} | the same |",
        f"|---|{'---|' * len(same.digests)}---|",
    )
    for table in TABLES:
        found = " | ".join(digests[table] for digests in same.digests.values())
        yield f"| `{table}` | {found} | {'yes' if same.equal(table) else 'NO'} |"


def _how(one: OnePhoto) -> Iterator[str]:
    yield from (
        "## How it was measured",
        "",
        "- The large photos are samples enlarged to 3024 x 4032 pixels, with the noise and the",
        "  sharpening of the simulated phone put in again at full size. Saved at quality 96 they",
        f"  weigh {one.photo_mb:.1f} MB, as a phone's do; lighter files decode faster.",
        f"- One photo: processor time, median and quartiles of {one.rounds} rounds over six.",
        "  Row and plain decoding take turns on one core, each in a process of its own.",
        "- Photos a second go by the clock, one OpenCV thread a worker, the best of three turns.",
        "  Whatever else runs takes its share: the load below is near 0 on a quiet machine.",
        "- Larger folders hold links to samples under other names. Reading one photo costs the",
        "  same in every folder, so each sample was read once, its reading given for every link.",
    )


def _today() -> str:
    today = datetime.datetime.now().date()
    return f"{today.day} {today:%B %Y}"


def _commit() -> str:
    command = ["git", "describe", "--always", "--dirty"]
    try:
        return subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()
    except (OSError, subprocess.CalledProcessError):
        return "unknown"


def _machine() -> str:
    model = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.is_file():
        named = [line for line in info.read_text().splitlines() if line.startswith("model name")]
        model = named[0].split(":", 1)[1].strip() if named else model
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    return f"{model}, {os.cpu_count()} cores{load}, Python {platform.python_version()}"
