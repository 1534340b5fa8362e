"""What a badly printed card costs: ``python -m tests.accuracy.bad_print DIR [--step 8]``.

Photos of a well printed card are scored twice: with the card's true values, and with values that
are off as a home printer's are (the made-up inks of ``tests/support/printed_cards.py``). That is
the error of scoring a bad print with nominal values, seen from the other side.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from jarvision.base.colourspace import delta_e_2000, linear_to_lab
from jarvision.base.errors import PhotoRefusedError
from jarvision.vision.calibration.values import nominal_values
from jarvision.vision.card.layout import load_layout
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look
from tests.support.printed_cards import print_card

from .truth import PhotoTruth


def compare(path: Path, *, printer: int) -> tuple[float, float, float, float] | None:
    """Print error (CIEDE2000), coverage errors with true and with wrong values, and their shift."""
    layout = load_layout()
    good = nominal_values(layout)
    printed = print_card(layout, printer)
    ratio = good.linear / np.maximum(printed.swatches / printed.paper, 1e-3)
    wrong = replace(good, linear=np.clip(good.linear * ratio, 1e-3, 1.0))
    off = float(np.median(delta_e_2000(linear_to_lab(wrong.linear), linear_to_lab(good.linear))))
    photo = read_photo(path, name=path.name)
    truth = PhotoTruth.read(path.with_suffix("")).coverage_percent
    try:
        right, bad = (look(photo, values=values).coverage.percent for values in (good, wrong))
    except PhotoRefusedError:
        return None
    return off, abs(right - truth), abs(bad - truth), abs(bad - right)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--step", type=int, default=8, help="every n-th photo")
    parser.add_argument("--printers", type=int, default=3)
    args = parser.parse_args()
    paths = sorted(args.folder.glob("*.jpg"))[:: args.step]
    with ProcessPoolExecutor(2) as pool:
        for printer in range(args.printers):
            rows = [row for row in pool.map(partial(compare, printer=printer), paths) if row]
            off, right, bad, shift = np.array(rows).mean(axis=0)
            print(
                f"printer {printer}: off by {off:.1f} CIEDE2000; {len(rows)} of {len(paths)} "
                f"read; mean error {right:.2f} with true values, {bad:.2f} with wrong ones "
                f"({bad - right:+.2f}); shift {shift:.2f} points"
            )


if __name__ == "__main__":
    main()
