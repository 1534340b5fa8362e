"""Train the surface network anew: ``python -m tests.training.remake_surfaces OUT``.

Surfaces are painted, tops are rendered, their photos become surfaces, and the network learns from
what is there, side by side until the time is up: the weights lie in ``OUT/surfaces.pt``.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from .side_by_side import Work, add_options, end_of, module, run

MANY = 100_000  # more than there is time for
EFFORT = ("--width", "1200", "--spp", "8", "--spp-around", "3")


@dataclass(frozen=True)
class Place:
    """Where it runs, from which seed, until when by the clock (s), and on how much.

    ``cores`` render, a quarter as many paint; ``card`` is the graphics card that learns, None
    where there is none.
    """

    out: Path
    first: int
    until: float
    cores: int
    card: int | None
    variant: str


def works(place: Place) -> Iterator[Work]:
    """The processes."""
    bank, photos = place.out / "bank", place.out / "photos"
    few = max(1, place.cores // 4)
    yield Work("painted", module(
        "tests.training.top_surfaces", bank, "--first", place.first, "--count", MANY, "--jobs", few,
    ))  # fmt: skip
    for shard in range(place.cores):
        tops = module(
            "tests.scenes.tops.bulk", photos, "--practice", "--first", place.first, "--count", MANY,
            *EFFORT, "--variant", place.variant, "--shard", f"{shard}/{place.cores}",
        )  # fmt: skip
        yield Work(f"photos_{shard}", ("nice", *tops), place.card)
    yield Work("surfaces", module(
        "tests.training.surface_photos", photos, bank, "--until", place.until, "--jobs", few,
    ))  # fmt: skip
    yield Work("learning", module(
        "tests.training.train_surfaces", bank, "--out", place.out / "surfaces.pt",
        "--until", place.until,
    ), place.card)  # fmt: skip


def main() -> None:
    """Parse the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    add_options(parser, first=1_200_000)  # tuning begins at 2,000,000
    parser.add_argument("--card", type=int, help="graphics card")
    args = parser.parse_args()
    until = end_of(args)
    place = Place(args.out, args.first, until, args.cores, args.card, args.variant)
    for folder in ("bank", "photos"):
        (place.out / folder).mkdir(parents=True, exist_ok=True)
    raise SystemExit(run(works(place), until=until, logs=place.out / "logs"))


if __name__ == "__main__":
    main()
