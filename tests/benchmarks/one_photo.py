"""One photo of 12 megapixels on one core, against its plain decoding at full size by OpenCV.

Processor time, not the clock: others may use the machine meanwhile. Decoding, row and row with
overlay take turns, so that whatever slows the machine slows all three.
"""

from __future__ import annotations

import functools
import importlib
import os
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

ROUNDS = 20
STAGE_ROUNDS = 8
STAGES = {
    "hash of the content": ("jarvision.run.stamps.content_of",),
    "decoding at half size, sRGB, EXIF": ("jarvision.vision.read.read_photo",),
    "squares: the card's marks, jar tags": (
        "jarvision.vision.read.find_squares",
        "jarvision.vision.which._jar_of",
    ),
    "card: corners, homography, pose": ("jarvision.vision.read.find_card_or_say_why",),
    "swatches and paper": ("jarvision.vision.read.read_swatches",),
    "can the photo be used": (
        "jarvision.vision.read.accept_card",
        "jarvision.vision.read.accept_filled",
        "jarvision.vision.read.accept_wall",
        "jarvision.vision.read.accept_upright",
        "jarvision.vision.read.accept_focus",
    ),
    "colour correction": ("jarvision.vision.read.fit_colour",),
    "jar: axis, edges, top": ("jarvision.vision.read.locate_jar",),
    "wall laid flat": ("jarvision.vision.read.unroll",),
    "tissue network": ("jarvision.vision.tissue.classify.run_network",),
    "the second network, if asked": ("jarvision.vision.tissue.classify.consult",),
    "both networks on the turned wall": ("jarvision.vision.tissue.classify.find_veil",),
    "rest of the tissue stage": ("jarvision.vision.read.classify",),
    "coverage, patches, pins": (
        "jarvision.vision.read.measure_coverage",
        "jarvision.vision.read.find_patches",
        "jarvision.vision.read.find_pins",
    ),
    "thumbnail, fill height, row": ("jarvision.vision.read._reading_of",),
}
"""What a photo goes through, in order, and the functions that do it."""

WITHIN = {
    "rest of the tissue stage": (
        "tissue network", "the second network, if asked", "both networks on the turned wall",
    )
}  # fmt: skip
"""Stages that hold others, which have lines of their own."""


@dataclass(frozen=True)
class OnePhoto:
    """Seconds of processor time a photo, and medians of ratios to the decoding.

    ``stages`` holds seconds a photo by name, without the overlay; ``photo_mb`` is the mean weight.
    """

    decode_s: float
    row_ratio: float
    overlay_ratio: float
    rounds: int
    stages: dict[str, float]
    photo_mb: float


def measure_one_photo(photos: Sequence[Path], out: Path) -> OnePhoto:
    """Measure; call it in a process of its own, which stays on one core."""
    _stay_on_one_core()
    import cv2
    import numpy as np

    from jarvision.run.jobs import Job, read_job, read_one

    def decode(path: Path) -> None:
        cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_COLOR)

    def row(path: Path) -> None:
        read_job(read_one, Job(path=path, root=path.parent, out=None))

    def drawn(path: Path) -> None:
        read_job(read_one, Job(path=path, root=path.parent, out=out))

    for path in photos:  # libraries load, the network is read
        drawn(path)
    rounds = [[_seconds(work, photos) for work in (decode, row, drawn)] for _ in range(ROUNDS)]
    laps = [_laps(row, photos) for _ in range(STAGE_ROUNDS)]
    stages = {name: median(lap[name] for lap in laps) / len(photos) for name in laps[0]}
    for outer, within in WITHIN.items():
        stages[outer] -= sum(stages[inner] for inner in within)
    return OnePhoto(
        decode_s=median(plain for plain, _, _ in rounds) / len(photos),
        row_ratio=median(whole / plain for plain, whole, _ in rounds),
        overlay_ratio=median((shown - whole) / plain for plain, whole, shown in rounds),
        rounds=ROUNDS,
        stages=stages,
        photo_mb=sum(path.stat().st_size for path in photos) / len(photos) / 1e6,
    )


def _laps(row: Callable[[Path], None], photos: Sequence[Path]) -> dict[str, float]:
    """Seconds that each stage takes over all photos."""
    with _watched() as spent:
        for path in photos:
            row(path)
    return dict(spent)


def _stay_on_one_core() -> None:
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    import cv2

    cv2.setNumThreads(1)


def _seconds(work: Callable[[Path], None], photos: Sequence[Path]) -> float:
    start = time.process_time()
    for path in photos:
        work(path)
    return time.process_time() - start


@contextmanager
def _watched() -> Iterator[dict[str, float]]:
    """Yield the seconds that each stage has taken; the functions are put back afterwards."""
    spent: dict[str, float] = defaultdict(float)
    before = []
    for stage, names in STAGES.items():
        for name in names:
            place, function = name.rsplit(".", 1)
            module = importlib.import_module(place)
            before.append((module, function, getattr(module, function)))
            setattr(module, function, _timed(before[-1][2], spent, stage))
    try:
        yield spent
    finally:
        for module, function, plain in before:
            setattr(module, function, plain)


def _timed(function: Callable[..., Any], spent: dict[str, float], stage: str) -> Callable[..., Any]:
    @functools.wraps(function)
    def timed(*args: Any, **options: Any) -> Any:
        start = time.process_time()
        try:
            return function(*args, **options)
        finally:
            spent[stage] += time.process_time() - start

    return timed
