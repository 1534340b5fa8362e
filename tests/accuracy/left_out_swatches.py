"""Colour of swatches left out of the fit: ``python -m tests.accuracy.left_out_swatches DIR``.

Leave-one-out over the card's swatches, photo by photo, with the package's own fit. Prints the
median CIEDE2000 over swatches of each photo, and over photos by the first letters of their names.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.settings.colour import ColourSettings
from jarvision.vision.card.find import find_card, read_swatches
from jarvision.vision.card.layout import load_layout
from jarvision.vision.colour.fit import fit_colour
from jarvision.vision.colour.light import paper_layout
from jarvision.vision.photo import read_photo

OPEN = ColourSettings(residual_max_de=float("inf"))


def left_out(path: Path) -> float:
    """Median CIEDE2000 of swatches, each left out in turn; NaN for a photo without a card."""
    layout = load_layout()
    photo = read_photo(path, name=path.name)
    try:
        card = find_card(photo.rgb, photo.focal_px, layout=layout)
        swatches = read_swatches(photo.samples, card, layout=layout)
        paper = read_swatches(photo.samples, card, layout=paper_layout(layout))
        errors = []
        for number in range(len(layout.swatches)):
            if swatches.spread[number] > OPEN.swatch_spread_max:
                continue
            spread = swatches.spread.copy()
            spread[number] = np.inf
            fit = fit_colour(replace(swatches, spread=spread), paper, layout=layout, settings=OPEN)
            errors.append(fit.de00[number])
    except PhotoRefusedError:
        return float("nan")
    return float(np.median(errors))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--step", type=int, default=1, help="every n-th photo")
    parser.add_argument("--letters", type=int, default=3, help="of the name that make a group")
    args = parser.parse_args()
    paths = sorted(args.folder.glob("*.jpg"))[:: args.step]
    groups: dict[str, list[float]] = defaultdict(list)
    with ProcessPoolExecutor(2) as pool:
        for path, error in zip(paths, pool.map(left_out, paths), strict=True):
            groups[path.name[: args.letters]].append(error)
    for name, errors in groups.items():
        print(f"{name}: median of medians {np.nanmedian(errors):.2f} over {len(errors)} photos")
    print(f"all: {np.nanmedian([e for errors in groups.values() for e in errors]):.2f}")


if __name__ == "__main__":
    main()
