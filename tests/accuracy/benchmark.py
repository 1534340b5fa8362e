"""Measure accuracy and write ``docs/accuracy.md``: ``make accuracy``.

``python -m tests.accuracy.benchmark [--photos DIR] [--walls DIR]``. DIR holds a folder of rendered
photos for each suite; what is missing is rendered first (``tests.scenes.bulk``: a minute a photo
on two cores, so four hours for all; a graphics card makes it minutes). With training walls
(:mod:`tests.training.wall_data`) the ways to tell growth from contents are compared anew, else that
table is left as it is.
"""

from __future__ import annotations

import argparse
import re
import subprocess
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np

from . import real_textures
from .evaluate import contact_sheet, evaluate
from .figures import Answer, by_kind, markdown, patch_rows, refused, summary

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "accuracy.md"
SHEET = ROOT / "docs" / "pictures" / "worst-unseen.jpg"
SUITES = {"unseen": 212, "other-look": 40, "pins": 60}
"""How many photos of each suite are measured."""

COMPARED = ("unseen", "other-look")
"""Where the ways to tell growth from contents are compared."""

WIDTH_PX, PATHS = 1134, 48
WORST = 12
SHEET_PX, SHEET_QUALITY = 1100, 70


def render_missing(suite: str, folder: Path, *, count: int) -> None:
    """Render the photos of a suite that are not there yet."""
    if len(list(folder.glob("*.jpg"))) >= count:
        return
    from tests.scenes.bulk import Effort, render
    from tests.scenes.render import DEFAULT_VARIANT

    print(f"rendering {suite}: a minute a photo", flush=True)
    render(
        suite, folder, shard=(0, 1), variant=DEFAULT_VARIANT, effort=Effort(WIDTH_PX, PATHS, None),
        limit_s=1e9, count=count,
    )  # fmt: skip


def section(page: str, name: str, content: str, *, command: str = "make accuracy") -> str:
    """The page with one measured part made new."""
    begin, end = f"<!-- {name}: made by {command} -->", f"<!-- end of {name} -->"
    place = re.compile(f"{re.escape(begin)}.*?{re.escape(end)}", re.DOTALL)
    if len(place.findall(page)) != 1:
        raise ValueError(f"the page must hold one place for '{name}'")
    return place.sub(lambda _: f"{begin}\n\n{content}\n\n{end}", page)


def figures_table(answers: dict[str, list[Answer]]) -> str:
    """The main figures, a column a suite."""
    columns = {suite: summary(found) for suite, found in answers.items()}
    lines = zip(*columns.values(), strict=True)
    rows = [(cells[0][0], *(much for _, much in cells)) for cells in lines]
    return markdown(("what", *columns), rows)


def patches_table(answers: dict[str, list[Answer]]) -> str:
    """Found and false areas of all suites together."""
    everything = [a for found in answers.values() for a in found]
    return markdown(("kind", "size", "found", "false among reported"), patch_rows(everything))


def kinds_table(answers: Sequence[Answer]) -> str:
    """Errors by what is in the jar."""
    rows = [
        (kind, f"{e.count}", f"{e.mean:.1f}", f"{e.bias:+.1f}", f"{e.p95:.1f}")
        for kind, e in by_kind(answers)
    ]
    return markdown(("kind", "photos", "mean error", "bias", "95th"), rows)


def textures_table() -> str:
    """Contents and growth of real textures, the mean error of both ways."""
    found: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for c in real_textures.collages():
        errors = (
            abs(way(c) - c.true_percent)
            for way in (real_textures.by_network, real_textures.by_otsu)
        )
        found.setdefault((c.contents, c.growth), []).append(tuple(errors))  # type: ignore[arg-type]
    rows = [
        (*pair, *(f"{v:.1f}" for v in np.mean(errors, axis=0))) for pair, errors in found.items()
    ]
    return markdown(("contents", "growth", "network, mean error", "Otsu, mean error"), rows)


def write_sheet(answers: Sequence[Answer], path: Path) -> None:
    """The worst photos beside truth and answer, small enough for a page."""
    sheet = cv2.cvtColor(contact_sheet(answers, count=WORST), cv2.COLOR_RGB2BGR)
    size = (SHEET_PX, round(sheet.shape[0] * SHEET_PX / sheet.shape[1]))
    small = cv2.resize(sheet, size, interpolation=cv2.INTER_AREA)
    cv2.imwrite(str(path), small, [cv2.IMWRITE_JPEG_QUALITY, SHEET_QUALITY])


def commit() -> str:
    """Short name of the commit that is measured, with a mark when files differ from it."""
    words = ["git", "-C", str(ROOT), "describe", "--always", "--dirty", "--exclude", "*"]
    return subprocess.run(words, capture_output=True, text=True, check=True).stdout.strip()


def main() -> None:
    """Render, measure, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, default=ROOT / "build" / "accuracy")
    parser.add_argument("--walls", type=Path, help="training walls, to compare the ways anew")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    answers: dict[str, list[Answer]] = {}
    for suite, count in SUITES.items():
        render_missing(suite, args.photos / suite, count=count)
        answers[suite] = evaluate(args.photos / suite, tiles=suite == "unseen", jobs=args.jobs)
    stamp = f"Measured on {datetime.now(UTC).date():%d %B %Y} at commit {commit()}."
    parts = {
        "figures": f"{stamp}\n\n{figures_table(answers)}",
        "patches": patches_table(answers),
        "kinds": kinds_table([a for found in answers.values() for a in found]),
        "refused": "\n".join(f"- {line}" for a in answers.values() for line in refused(a)),
        "textures": textures_table(),
    }
    if args.walls:
        from . import approaches  # scikit-learn is needed for this alone

        folders = [args.photos / suite for suite in COMPARED]
        parts["ways"] = approaches.compare(args.walls, folders, jobs=args.jobs)
    page = PAGE.read_text("utf-8")
    for name, content in parts.items():
        page = section(page, name, content)
        print(content, end="\n\n", flush=True)
    PAGE.write_text(page, "utf-8")
    write_sheet(answers["unseen"], SHEET)


if __name__ == "__main__":
    main()
