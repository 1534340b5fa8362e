"""Simulate, score and print the table: ``python -m tests.accuracy.histories``.

Seeds below 1000 were tuned on; the default ones were not. With ``--laws`` jars grow by other laws
(:mod:`.laws`), of which no limit was chosen on ``richards`` and ``layers``.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from functools import partial

from . import laws_table
from .laws import JUDGED_ON, TUNED_ON
from .plans import JARS_OF_A_BATCH, plan_batch
from .shelves import plan_shelf
from .table import rows
from .telling import Told, simulate, tell

HELD_OUT = 5000
LAWS = {"tuned": TUNED_ON, "judged": JUDGED_ON, "all": (*TUNED_ON, *JUDGED_ON)}


def tell_seed(seed: int, laws: Sequence[str] = (), *, registered: bool = True) -> list[Told]:
    """Simulate and score one batch."""
    import cv2

    cv2.setNumThreads(1)
    plans = plan_shelf(seed, laws) if laws else plan_batch(seed)
    return tell(simulate(plans, registered=registered))


def main() -> None:
    """Print the table of some batches."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=HELD_OUT, help="first seed")
    parser.add_argument("--batches", type=int, default=60, help=f"of {JARS_OF_A_BATCH} jars each")
    parser.add_argument("--jobs", type=int, default=1, help="worker processes")
    parser.add_argument("--laws", choices=LAWS, help="other ways to grow")
    parser.add_argument("--unregistered", action="store_true", help="without a register")
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.batches)
    registered = not args.unregistered
    one = partial(tell_seed, laws=LAWS.get(args.laws, ()), registered=registered)
    with ProcessPoolExecutor(args.jobs) as pool:
        told = [jar for batch in pool.map(one, seeds) for jar in batch]
    print(f"Simulated jars, seeds {seeds[0]} to {seeds[-1]}, {date.today()}\n")
    print("| what | result |\n|---|---|")
    table = laws_table.rows(told, registered=registered) if args.laws else rows(told)
    for what, result in table:
        print(f"| {what} | {result} |")


if __name__ == "__main__":
    main()
