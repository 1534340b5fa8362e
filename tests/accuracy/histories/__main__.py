"""Simulate, score and print the table: ``python -m tests.accuracy.histories``.

Seeds below 1000 were tuned on; the default ones were not.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from datetime import date

from .plans import JARS_OF_A_BATCH, plan_batch
from .table import rows
from .telling import Told, simulate, tell

HELD_OUT = 5000


def tell_seed(seed: int) -> list[Told]:
    """Simulate and score one batch."""
    import cv2

    cv2.setNumThreads(1)
    return tell(simulate(plan_batch(seed)))


def main() -> None:
    """Print the table of some batches."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=HELD_OUT, help="first seed")
    parser.add_argument("--batches", type=int, default=60, help=f"of {JARS_OF_A_BATCH} jars each")
    parser.add_argument("--jobs", type=int, default=1, help="worker processes")
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.batches)
    with ProcessPoolExecutor(args.jobs) as pool:
        told = [jar for batch in pool.map(tell_seed, seeds) for jar in batch]
    print(f"Simulated jars, seeds {seeds[0]} to {seeds[-1]}, {date.today()}\n")
    print("| what | result |\n|---|---|")
    for what, result in rows(told):
        print(f"| {what} | {result} |")


if __name__ == "__main__":
    main()
