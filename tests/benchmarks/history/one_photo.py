"""A photo to its row, in plain decodings of the same photo: a ratio, so that machines compare."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[3]))  # asv knows this folder alone

from tests.benchmarks.photos import QUALITIES
from tests.benchmarks.ratios import ratios


class Row:
    """By the quality of the JPEG."""

    params = QUALITIES
    param_names = ("quality",)
    timeout = 600.0

    def setup_cache(self) -> dict[int, float]:
        """Measure all qualities once."""
        with tempfile.TemporaryDirectory(prefix="jarvision-bench-") as place:
            return {quality: pair.row for quality, pair in ratios(Path(place)).items()}

    def track_plain_decodings(self, measured: dict[int, float], quality: int) -> float:
        """Give the median of the rounds."""
        return measured[quality]

    track_plain_decodings.unit = "plain decodings"  # type: ignore[attr-defined]
