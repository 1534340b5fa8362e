"""``python -m tests.benchmarks.ratios``: has reading become slower? Continuous integration asks.

A photo to its row is measured in plain decodings of the same photo, in turns on one core, never in
seconds: a slow or busy machine slows both. It is held against the least that the history has for
the quality, which asv kept (``make bench-history``), commit by commit.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from tests.benchmarks.folders import alone
from tests.benchmarks.one_photo import Pairs, row_over_decode
from tests.benchmarks.photos import ONE_PHOTO, QUALITIES, by_quality

HISTORY: Final = Path(__file__).parent / "history" / "kept"
TRACKED: Final = "one_photo.Row.track_plain_decodings"
ROUNDS: Final = 5

ROOM: Final = 1.75
"""Times the least ever kept: a machine without the widest vector instructions takes a third more
(networks gain more by them than decoding does), and a busy one a sixth more."""


def ratios(place: Path, *, rounds: int = ROUNDS) -> dict[int, Pairs]:
    """Measure by quality, with photos made in a folder."""
    photos = by_quality(place, ONE_PHOTO, *QUALITIES)
    return {quality: alone(_measured, files, rounds) for quality, files in photos.items()}


def _measured(photos: list[Path], rounds: int) -> Pairs:
    return row_over_decode(photos, rounds=rounds)


def least_kept(history: Path = HISTORY) -> dict[int, float]:
    """The least ratio of all commits, by quality."""
    least: dict[int, float] = {}
    for path in sorted(history.glob("*/*.json")):
        for quality, ratio in _kept_in(json.loads(path.read_text("utf-8"))):
            least[quality] = min(ratio, least.get(quality, ratio))
    return least


def _kept_in(kept: Mapping[str, Any]) -> Iterator[tuple[int, float]]:
    """Quality and ratio of each result in a file of asv's."""
    if TRACKED not in kept.get("results", {}):
        return  # the file that names the machine
    found = dict(zip(kept["result_columns"], kept["results"][TRACKED], strict=False))
    for quality, ratio in zip(found["params"][0], found["result"], strict=True):
        if ratio is not None:
            yield int(quality), float(ratio)


def alarms(measured: Mapping[int, float], least: Mapping[int, float]) -> list[str]:
    """What has become slower than there is room for, a sentence each."""
    return [
        f"quality {quality}: a photo to its row takes {ratio:.2f} plain decodings, more than "
        f"{ROOM} times the {least[quality]:.2f} that were once enough"
        for quality, ratio in measured.items()
        if quality in least and ratio > ROOM * least[quality]
    ]


def main() -> int:
    """Measure, tell, and return 1 where reading has become slower."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=ROUNDS)
    given = parser.parse_args()
    least = least_kept()
    if not least:
        print("no history to hold it against: make bench-history", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory(prefix="jarvision-bench-") as place:
        measured = ratios(Path(place), rounds=given.rounds)
    for quality, pair in measured.items():
        print(
            f"quality {quality}: {pair.row:.2f} plain decodings ({pair.low:.2f} to {pair.high:.2f})"
            f", at best {least.get(quality, float('nan')):.2f}"
        )
    found = alarms({quality: pair.row for quality, pair in measured.items()}, least)
    for line in found:
        print(line, file=sys.stderr)
    return int(bool(found))


if __name__ == "__main__":
    sys.exit(main())
