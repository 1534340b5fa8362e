"""One photo of 12 megapixels on one core, against its plain decoding at full size by OpenCV.

Processor time, not the clock: others may use the machine meanwhile. Decoding, row and row with
overlay take turns, so that whatever slows the machine slows all three. The decoding has a process
of its own: here it would find the memory of a photo that was just read, and be done in two thirds
of the time that it takes by itself.
"""

from __future__ import annotations

import functools
import importlib
import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from statistics import median
from typing import Any

from tests.benchmarks.history import Kept

ROUNDS = 20
STAGE_ROUNDS = 8
STAGES = {
    "hash of the content": ("jarvision.run.jobs.content_of",),
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
        "jarvision.vision.read.accept_light",
        "jarvision.vision.read.accept_focus",
    ),
    "colour correction": ("jarvision.vision.read.fit_colour",),
    "jar: axis, edges, top": ("jarvision.vision.read.locate_jar",),
    "wall laid flat": ("jarvision.vision.read.unroll",),
    "networks: the specialist": ("jarvision.vision.tissue.classify.run_network",),
    "networks: the two others, where contents are strange": (
        "jarvision.vision.tissue.experts.run_network",
    ),
    "networks: two of them on the wall head down": (
        "jarvision.vision.tissue.veil.hidden_and_covered",
    ),
    "what the networks say, mixed": ("jarvision.vision.tissue.classify.consult",),
    "fog and labels": (
        "jarvision.vision.tissue.classify.look_head_down",
        "jarvision.vision.tissue.classify.find_veil",
        "jarvision.vision.tissue.classify.find_labels",
    ),
    "rest of the tissue stage": (
        "jarvision.vision.read.classify",
        "jarvision.vision.read.weigh_evidence",
    ),
    "coverage, patches, pins": (
        "jarvision.vision.read.measure_coverage",
        "jarvision.vision.read.find_patches",
        "jarvision.vision.read.find_pins",
    ),
    "thumbnail, fill height, row": ("jarvision.vision.read._reading_of",),
}
"""What a photo goes through, in order, and the functions that do it, each without the others."""


@dataclass(frozen=True)
class OnePhoto:
    """What a photo takes, by the quality of its JPEG, and where its time goes.

    ``stages`` holds seconds a photo by name, at the last quality and without the overlay, as what
    the overlay adds in decodings is; ``photo_mb`` is the mean weight there.
    """

    pairs: dict[int, Kept]
    overlay_ratio: float
    rounds: int
    stages: dict[str, float]
    photo_mb: float

    @property
    def decode_s(self) -> float:
        """Of the last quality."""
        return list(self.pairs.values())[-1].decode_ms / 1e3


def measure_one_photo(photos: Mapping[int, Sequence[Path]], out: Path) -> OnePhoto:
    """Measure photos by quality, in a process that has little else to do."""
    last = list(photos.values())[-1]
    drawn = partial(seconds, partial(one_row, out=out), last)
    with stay_on_one_core(), plain_decoder() as decode:
        drawn()  # libraries load, the networks are read
        pairs = {quality: _paired(quality, files, decode) for quality, files in photos.items()}
        overlays = [(drawn() - seconds(one_row, last)) / decode(last) for _ in range(STAGE_ROUNDS)]
        laps = [_laps(last) for _ in range(STAGE_ROUNDS)]
    return OnePhoto(
        pairs=pairs,
        overlay_ratio=median(overlays),
        rounds=ROUNDS,
        stages={name: median(lap[name] for lap in laps) / len(last) for name in STAGES},
        photo_mb=sum(path.stat().st_size for path in last) / len(last) / 1e6,
    )


def _paired(
    quality: int, photos: Sequence[Path], decode: Callable[[Sequence[Path]], float]
) -> Kept:
    found = [(decode(photos), seconds(one_row, photos)) for _ in range(ROUNDS)]
    plain, rows = zip(*found, strict=True)
    return Kept.of(quality, plain, rows, photos=len(photos))


def one_row(path: Path, *, out: Path | None = None) -> None:
    """What a worker does for a photo, as a run does without and with pictures."""
    from jarvision.run.jobs import Job, read_job, read_one

    read_job(read_one, Job(path=path, root=path.parent, out=out))


@contextmanager
def plain_decoder() -> Iterator[Callable[[Sequence[Path]], float]]:
    """Yield what tells the seconds of plain decodings, made in a process on the same core."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:

        def decode(photos: Sequence[Path]) -> float:
            return pool.submit(_decoding_s, photos).result()

        yield decode


def _decoding_s(photos: Sequence[Path]) -> float:
    import cv2
    import numpy as np

    cv2.setNumThreads(1)
    return seconds(
        lambda path: cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_COLOR),
        photos,
    )


def _laps(photos: Sequence[Path]) -> dict[str, float]:
    """Seconds that each stage takes over all photos."""
    with _watched() as spent:
        seconds(one_row, photos)
    return spent


@contextmanager
def stay_on_one_core() -> Iterator[None]:
    """One core and one thread of OpenCV, until what is inside has ended."""
    import cv2

    threads, cores = cv2.getNumThreads(), None
    cv2.setNumThreads(1)
    if hasattr(os, "sched_setaffinity"):
        cores = os.sched_getaffinity(0)
        os.sched_setaffinity(0, {min(cores)})
    try:
        yield
    finally:
        cv2.setNumThreads(threads)
        if cores is not None:
            os.sched_setaffinity(0, cores)


def seconds(work: Callable[[Path], object], photos: Sequence[Path]) -> float:
    """Seconds of processor time for all photos."""
    start = time.process_time()
    for path in photos:
        work(path)
    return time.process_time() - start


@contextmanager
def _watched() -> Iterator[dict[str, float]]:
    """Yield the seconds that each stage has taken; the functions are put back afterwards."""
    spent = dict.fromkeys(STAGES, 0.0)
    running: list[float] = []  # what the stages inside of each running one have taken so far
    before = []
    for stage, names in STAGES.items():
        for name in names:
            place, function = name.rsplit(".", 1)
            module = importlib.import_module(place)
            before.append((module, function, getattr(module, function)))
            setattr(module, function, _timed(before[-1][2], spent, stage, running))
    try:
        yield spent
    finally:
        for module, function, plain in before:
            setattr(module, function, plain)


def _timed(
    function: Callable[..., Any], spent: dict[str, float], stage: str, running: list[float]
) -> Callable[..., Any]:
    @functools.wraps(function)
    def timed(*args: Any, **options: Any) -> Any:
        running.append(0.0)
        start = time.process_time()
        try:
            return function(*args, **options)
        finally:
            took = time.process_time() - start
            spent[stage] += took - running.pop()
            if running:
                running[-1] += took

    return timed
