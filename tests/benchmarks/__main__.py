"""``python -m tests.benchmarks`` (``make bench``): measure all, write ``docs/speed.md``."""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from pathlib import Path

from tests.benchmarks.folders import alone, measure_growth, measure_memory, measure_scaling
from tests.benchmarks.one_photo import measure_one_photo
from tests.benchmarks.page import Measured, write_page
from tests.benchmarks.photos import good_samples, large_photos
from tests.benchmarks.same import measure_same

ONE_PHOTO = (
    "SL01_2026-03-04.jpg", "SL02_2026-03-06.jpg", "SL03_2026-03-05.jpg",
    "SL05_2026-03-07.jpg", "SL06_2026-03-05.jpg", "SL08_2026-03-08.jpg",
)  # fmt: skip
"""Grain and straw, bare, half and fully covered, green mould, brown skin."""

PAGE = Path(__file__).parents[2] / "docs" / "speed.md"
SIZES = (100, 1_000, 10_000)
MANY, FEW = 500, 60


def main() -> None:
    """Measure, and write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--page", type=Path, default=PAGE)
    parser.add_argument("--short", action="store_true", help="small folders: a trial of the bench")
    given = parser.parse_args()
    sizes, many, few = ((20, 60), 30, 12) if given.short else (SIZES, MANY, FEW)
    with tempfile.TemporaryDirectory(prefix="jarvision-bench-") as place:
        root = Path(place)
        large = large_photos(root / "large", ONE_PHOTO)
        samples = [Path(shutil.copy(path, root)) for path in good_samples()]
        _say("one photo")
        one = alone(measure_one_photo, large, root / "drawn")
        _say("workers")
        scaling = measure_scaling(large, root / "pace", count=few)
        _say(f"memory over {many} photos")
        memory = measure_memory(large, root / "memory", count=many)
        growth = []
        for count in sizes:
            _say(f"a folder of {count} photos")
            growth.append(measure_growth(samples, root / f"grow-{count}", count=count))
        _say("the same tables")
        same = measure_same(root / "same")
        heavy = sum(path.stat().st_size for path in large) / len(large) / 1e6
    measured = Measured(one, scaling, memory, tuple(growth), same, heavy)
    write_page(given.page, measured)
    _say(f"written: {given.page}")


def _say(what: str) -> None:
    print(f"{time.strftime('%H:%M:%S')} {what}", flush=True)


if __name__ == "__main__":
    main()
