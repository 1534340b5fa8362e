"""Has reading become slower? ``make bench-alarm``, which continuous integration ends with.

A photo to its row is measured in plain decodings of the same photo, in turns on one core, never in
seconds: a slow or busy machine slows both. It is held against the least in the history, which
``make bench-history`` goes on with. pytest runs this file when it is named, not with the tests.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.benchmarks.history import ROOM, Kept, least_kept
from tests.benchmarks.one_photo import one_row, plain_decoder, seconds, stay_on_one_core
from tests.benchmarks.photos import ONE_PHOTO, QUALITIES, by_quality

ROUNDS = 5


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> dict[int, list[Path]]:
    """Photos by the quality of their JPEGs."""
    return by_quality(tmp_path_factory.mktemp("photos"), ONE_PHOTO, *QUALITIES)


@pytest.fixture(scope="module", autouse=True)
def _alone_on_one_core() -> Iterator[None]:
    """One core and one thread for all that follows."""
    with stay_on_one_core():
        yield


@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.parametrize("quality", QUALITIES)
def test_a_row_takes_no_more_plain_decodings_than_it_did(
    benchmark: Any, photos: dict[int, list[Path]], quality: int
) -> None:
    files, plain = photos[quality], []
    seconds(one_row, files)  # libraries load, the networks are read
    with plain_decoder() as decode:
        benchmark.pedantic(
            seconds, (one_row, files), setup=lambda: plain.append(decode(files)), rounds=ROUNDS
        )
    kept = Kept.of(quality, plain, benchmark.stats.stats.data, photos=len(files))
    benchmark.extra_info.update(vars(kept), load=os.getloadavg()[0])
    print(f"quality {quality}: {kept.row:.2f} plain decodings ({kept.low:.2f} to {kept.high:.2f})")
    least = least_kept()
    assert quality in least, "no history to hold it against: make bench-history"
    assert kept.row <= ROOM * least[quality]
