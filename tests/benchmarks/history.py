"""Ratios kept commit by commit: ``python -m tests.benchmarks.history FILE`` adds what was measured.

``FILE`` is what ``pytest tests/benchmarks/ratios.py --benchmark-json FILE`` wrote.
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median, quantiles
from typing import Final

HISTORY: Final = Path(__file__).with_name("history.csv")
COLUMNS: Final = ("commit", "day", "quality", "row", "low", "high", "decode_ms", "load")

ROOM: Final = 1.25
"""Times what the newest commit of the history took that a row may take, side by side."""


@dataclass(frozen=True)
class Kept:
    """What a photo to its row takes, in plain decodings: median and quartiles of the rounds."""

    quality: int
    row: float
    low: float
    high: float
    decode_ms: float

    @classmethod
    def of(
        cls, quality: int, plain: Sequence[float], rows: Sequence[float], *, photos: int
    ) -> Kept:
        """From seconds of plain decodings and of rows, round by round, of so many photos."""
        ratios = [row / decoding for decoding, row in zip(plain, rows, strict=True)]
        low, row, high = quantiles(ratios, method="inclusive")
        return cls(quality, row, low, high, 1e3 * median(plain) / photos)


def kept_lines(history: Path = HISTORY) -> list[dict[str, str]]:
    """All lines of the history by the names of their columns, oldest first."""
    with history.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def newest_commit(history: Path = HISTORY) -> str:
    """The commit that was measured last."""
    return kept_lines(history)[-1]["commit"].removesuffix("-dirty")


def lines_of(measured: str, *, commit: str) -> list[tuple[str, ...]]:
    """Lines of the history, one for each quality, of what pytest-benchmark wrote."""
    told = json.loads(measured)
    day = told["datetime"][:10]
    return [
        (
            commit, day, str(info["quality"]),
            *(f"{info[name]:.2f}" for name in ("row", "low", "high")),
            f"{info['decode_ms']:.0f}", f"{info['load']:.1f}",
        )
        for info in (benchmark["extra_info"] for benchmark in told["benchmarks"])
    ]  # fmt: skip


def keep(lines: Sequence[tuple[str, ...]], history: Path = HISTORY) -> None:
    """Add lines to the history; what it has of the same commit gives way."""
    before: list[list[str]] = []
    if history.is_file():
        with history.open(encoding="utf-8", newline="") as file:
            before = list(csv.reader(file))[1:]
    commits = {line[0] for line in lines}
    with history.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows([*(line for line in before if line[0] not in commits), *lines])


def main() -> None:
    """Keep the file that is named, under the commit that is checked out."""
    command = ("git", "describe", "--always", "--dirty", "--exclude=*")
    commit = subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()
    keep(lines_of(Path(sys.argv[1]).read_text("utf-8"), commit=commit))


if __name__ == "__main__":
    main()
