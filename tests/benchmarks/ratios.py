"""Has reading become slower? ``make bench-alarm``, which continuous integration ends with.

Today's code and that of the newest commit in the history read the same photos in turns on one
core: a ratio, never seconds, so that a slow, busy or other machine does not matter.
``make bench-history`` measures a row in plain decodings of the same photo and adds to the history.
pytest runs this file when it is named, not with the tests.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median
from typing import Any

import pytest

from tests.benchmarks.before import ROOT, check_out, reader_of
from tests.benchmarks.history import ROOM, Kept, newest_commit
from tests.benchmarks.one_photo import one_row, plain_decoder, seconds, stay_on_one_core
from tests.benchmarks.photos import ONE_PHOTO, QUALITIES, by_quality, large_photos

ROUNDS = 5


@pytest.fixture(scope="module", autouse=True)
def _alone_on_one_core() -> Iterator[None]:
    """One core and one thread for all that follows."""
    with stay_on_one_core():
        yield


def test_a_row_takes_no_longer_than_it_did(tmp_path: Path) -> None:
    commit = newest_commit()
    if not check_out(commit, tmp_path / "before"):
        pytest.skip(f"this clone does not hold commit {commit}, the newest of the history")
    files = large_photos(tmp_path, ONE_PHOTO[::2])
    with reader_of(tmp_path / "before") as before, reader_of(ROOT) as now:
        before(files), now(files)  # libraries load, the networks are read
        ratios = [now(files) / before(files) for _ in range(ROUNDS)]
    least, most = min(ratios), max(ratios)
    print(f"{median(ratios):.2f} ({least:.2f} to {most:.2f}) times what commit {commit} took")
    assert median(ratios) <= ROOM


@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.parametrize("quality", QUALITIES)
def test_a_row_in_plain_decodings(benchmark: Any, quality: int, tmp_path: Path) -> None:
    files, plain = by_quality(tmp_path, ONE_PHOTO, quality)[quality], []
    seconds(one_row, files)  # libraries load, the networks are read
    with plain_decoder() as decode:
        benchmark.pedantic(
            seconds, (one_row, files), setup=lambda: plain.append(decode(files)), rounds=ROUNDS
        )
    kept = Kept.of(quality, plain, benchmark.stats.stats.data, photos=len(files))
    benchmark.extra_info.update(vars(kept), load=os.getloadavg()[0])
    print(f"quality {quality}: {kept.row:.2f} plain decodings ({kept.low:.2f} to {kept.high:.2f})")
    assert kept.low <= kept.row <= kept.high
