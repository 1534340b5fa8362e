"""``python -m tests.benchmarks`` (``make bench``): measure all, write ``docs/speed.md``."""

from __future__ import annotations

import argparse
import pickle
import shutil
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.benchmarks.cluster import measure_cluster
from tests.benchmarks.farm import measure_farm
from tests.benchmarks.farm_page import PICTURE, draw_memory
from tests.benchmarks.folders import alone, measure_growth, measure_memory, measure_scaling
from tests.benchmarks.one_photo import measure_one_photo
from tests.benchmarks.opened import ONE_FILE, measure_pages
from tests.benchmarks.page import (
    LARGE,
    PAGES,
    PARTS,
    Part,
    circumstances,
    put_pages,
    write_page,
)
from tests.benchmarks.photos import ONE_PHOTO, QUALITIES, by_quality, good_samples, large_photos
from tests.benchmarks.same import measure_same

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "speed.md"
KEPT = ROOT / "build" / "bench"
SIZES = (100, 1_000, 10_000)
MANY, FEW = 500, 180
LAYOUTS = {8: (ONE_FILE,), **dict.fromkeys((20, 40, 80, 500), (ONE_FILE, 0))}
"""Numbers of jars, and the limits of ``one_file_jars`` with which their pages are written."""


def measure_part(part: str, root: Path, *, short: bool) -> Any:
    """Measure one part in a folder of its own."""
    sizes, many, few = ((20, 60), 30, 12) if short else (SIZES, MANY, FEW)
    if part == "growth":
        samples = [Path(shutil.copy(path, root)) for path in good_samples()]
        return tuple(measure_growth(samples, root / f"grow-{n}", count=n) for n in sizes)
    if part == "farm":
        days = (2, 4) if short else (2, 20, 200)
        return [
            measure_farm(root / f"farm-{d}", jars=20 if short else 500, days=d, told=20)
            for d in days
        ]
    if part == "cluster":
        sizes, workers = ((100,), (1, 2)) if short else ((1_000, 10_000, 100_000), (1, 2, 4))
        return measure_cluster(root, sizes=sizes, workers=workers)
    if part == "same":
        return measure_same(root)
    if part == PAGES:
        return measure_pages(root, {12: (ONE_FILE, 0)} if short else LAYOUTS)
    if part == "one":
        return alone(measure_one_photo, by_quality(root, ONE_PHOTO, *QUALITIES), root / "drawn")
    large = large_photos(root / "large", ONE_PHOTO)
    if part == "scaling":
        return measure_scaling(large, root, count=few)
    return measure_memory(large, root, count=many)


def main() -> None:
    """Measure some parts or all, keep what came out, write the page from all that is kept."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "parts", nargs="*", choices=[*PARTS, *LARGE, PAGES, []],
        help="default: all but farm, cluster and pages",
    )  # fmt: skip
    parser.add_argument("--page", type=Path, default=PAGE)
    parser.add_argument("--kept", type=Path, default=KEPT, help="results between the runs")
    parser.add_argument("--short", action="store_true", help="small folders: a trial of the bench")
    given = parser.parse_args()
    given.kept.mkdir(parents=True, exist_ok=True)
    for part in given.parts or PARTS:
        print(f"{time.strftime('%H:%M:%S')} {part}", flush=True)
        with tempfile.TemporaryDirectory(prefix="jarvision-bench-") as place:
            made = Part(circumstances(), measure_part(part, Path(place), short=given.short))
        (given.kept / part).write_bytes(pickle.dumps(made))
    kept = {
        part: pickle.loads((given.kept / part).read_bytes())
        for part in (*PARTS, *LARGE, PAGES)
        if (given.kept / part).is_file()
    }
    missing = [part for part in PARTS if part not in kept]
    if missing and PAGES in kept:
        put_pages(given.page, kept[PAGES])
    if missing:
        raise SystemExit(f"kept; the rest of the page still needs: {', '.join(missing)}")
    if "farm" in kept:
        draw_memory(kept["farm"].result, given.page.parent / "pictures" / PICTURE)
    write_page(given.page, kept)


if __name__ == "__main__":
    main()
