"""Simulate, follow and print the table: ``python -m tests.accuracy.fruiting``.

Seeds below 1000 were tuned on, with two laws of growth; the default ones were not, and have three
laws more.
"""

from __future__ import annotations

import argparse
from datetime import date

from .jars import plan_jar
from .laws import JUDGED_ON, TUNED_ON
from .moulds import mould_rows
from .table import confusions, rows, tell_jar

HELD_OUT = 5000


def main() -> None:
    """Print the table of some jars."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=HELD_OUT, help="first seed")
    parser.add_argument("--jars", type=int, default=40)
    parser.add_argument("--mistakes", action="store_true", help="list the commonest mistakes")
    args = parser.parse_args()
    laws = JUDGED_ON if args.first >= HELD_OUT else TUNED_ON
    seeds = range(args.first, args.first + args.jars)
    jars = [plan_jar(seed, laws) for seed in seeds]
    told = [tell_jar(jar) for jar in jars]
    days, cuts = [d for days, _ in told for d in days], [c for _, cuts in told for c in cuts]
    print(f"Simulated fruiting jars, seeds {seeds[0]} to {seeds[-1]}, {date.today()}\n")
    print("| what | result |\n|---|---|")
    for what, result in (*rows(days, cuts), *mould_rows(jars)):
        print(f"| {what} | {result} |")
    if args.mistakes:
        for mistake, count in confusions(days):
            print(count, mistake)


if __name__ == "__main__":
    main()
