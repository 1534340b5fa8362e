"""Figures on another renderer's photos: ``python -m tests.accuracy.foreign --photos DIR``.

DIR is a set as :mod:`tests.accuracy.foreign_truth` describes it (or name it in the environment as
``JARVISION_FOREIGN_PHOTOS``). Such a set is for measuring only: nothing is trained, tuned, chosen
or stopped on it, and the project carries none of its photos. Prints, for each group, the tables in
Markdown: coverage, the same by scenario, family and band of coverage, places, areas, refusals.
"""

from __future__ import annotations

import argparse
import itertools
import os
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from jarvision.records import ShelfResult

from .figures import Answer, Errors, markdown
from .foreign_reading import MOULDS, READ_AS, TRUE_KINDS, Places, Seen, read_group
from .foreign_truth import GROUPS, groups_of, read_set

VARIABLE = "JARVISION_FOREIGN_PHOTOS"
BANDS = (0.0, 5.0, 25.0, 50.0, 75.0, 95.0, 100.1)
SILENT_POINTS = 5.0
LARGE = ("1 to 4", "over 4")  # sizes of patches from 1 cm2 on
OFF_COLOUR = "off-colour"
HEAD = ("", "read", "mean", "95th", "worst", "bias", "concordance", "interval holds", "width")


def error_row(name: str, answers: Sequence[Answer]) -> tuple[str, ...]:
    """One line of the table of coverage; dashes where nothing was read."""
    read = [a for a in answers if a.coverage is not None]
    count = f"{len(read)} of {len(answers)}"
    if not read:
        return (name, count, *["–"] * 7)
    e = Errors.of(read)
    agreement = f"{e.concordance:.3f}" if len(read) > 2 else "–"
    sizes = (f"{e.mean:.1f}", f"{e.p95:.1f}", f"{e.worst:.1f}", f"{e.bias:+.1f}")
    return (name, count, *sizes, agreement, f"{e.held_percent:.0f} %", f"{e.width:.1f}")


def coverage_rows(seen: Sequence[Seen]) -> list[tuple[str, ...]]:
    """All photos, days read together, then by scenario, family and band of coverage."""
    rows = [error_row("**all**", [s.answer for s in seen])]
    if len({s.photo.jar for s in seen}) < len(seen):
        rows.append(error_row("days read together", [s.together for s in seen]))
        rows.append(error_row("... by the days before", [s.today for s in seen]))
    for key in ("scenario", "family"):
        names = sorted({getattr(s.photo, key) for s in seen} - {""})
        rows += [
            error_row(name, [s.answer for s in seen if getattr(s.photo, key) == name])
            for name in names
        ]
    for low, high in itertools.pairwise(BANDS):
        band = [s.answer for s in seen if low <= s.photo.true_percent < high]
        if band:
            rows.append(error_row(f"{low:.0f} to {min(high, 100):.0f} % covered", band))
    return rows


def silent(answers: Iterable[Answer]) -> list[str]:
    """Names of photos more than 5 points off whose interval does not hold the truth."""
    return [
        f"{a.name} ({a.true_percent:.0f} read as {a.coverage.percent:.0f}, "
        f"{a.coverage.low:.0f} to {a.coverage.high:.0f})"
        for a in answers
        if a.coverage is not None
        and abs(a.error) > SILENT_POINTS
        and not a.coverage.low <= a.true_percent <= a.coverage.high
    ]


def place_rows(places: Sequence[Places]) -> list[tuple[str, ...]]:
    """Share of each true kind's area by what it was read as, percent."""
    total = np.sum([p.table for p in places], axis=0)
    return [
        (
            f"{kind.name.lower()} ({100.0 * row.sum() / total.sum():.1f} %)",
            *(f"{100.0 * part / row.sum():.1f}" for part in row),
        )
        for kind, row in zip(TRUE_KINDS, total, strict=True)
        if row.sum() > 0
    ]


def wrong_percent(places: Sequence[Places]) -> float:
    """Share of all area whose kind was read wrongly, moulds as one kind."""
    total = np.sum([p.table for p in places], axis=0)
    columns = [kinds for _, kinds in READ_AS]
    right = sum(
        total[row, column]
        for row, kind in enumerate(TRUE_KINDS)
        for column, kinds in enumerate(columns)
        if kind in kinds
    )
    return float(100.0 * (1.0 - right / total.sum()))


def _large(counts: Counter[str], kind: str, what: str) -> int:
    return sum(counts[f"{kind}|{size}|{what}"] for size in LARGE)


def area_rows(places: Sequence[Places]) -> list[tuple[str, str]]:
    """Areas of 1 cm2 or more: alarms on clean photos, and mould that was found."""
    clean = [p for p in places if p.clean]
    pure = [p for p in places if p.true_cm2(*set(MOULDS) & set(TRUE_KINDS)) == 0.0]
    rows = []
    for kind in ("stain", "wet"):
        false = sum(_large(p.counts, kind, "said") > 0 for p in clean)
        rows.append((f"clean photos with a false {kind} area", f"{false} of {len(clean)}"))
    for kind in ("green", "black", "pink", OFF_COLOUR):
        true, found = (sum(_large(p.counts, kind, w) for p in places) for w in ("true", "found"))
        rows.append((f"areas of {kind} found as such", f"{found} of {true}"))
    false = sum(_large(p.counts, OFF_COLOUR, "said") > 0 for p in pure)
    rows.append(("photos without mould with a false area of it", f"{false} of {len(pure)}"))
    return rows


def verdict_rows(seen: Sequence[Seen], shelf: ShelfResult) -> list[tuple[str, ...]]:
    """Scenario, last true coverage and state, and the verdict of each jar."""
    last = {s.photo.jar: s.photo for s in seen}
    rows: list[tuple[str, ...]] = []
    for story in sorted(shelf.stories, key=lambda story: story.verdict.jar):
        photo = last.get(story.verdict.jar)
        if photo is not None:
            true = (photo.scenario, f"{photo.true_percent:.0f}", photo.state)
            rows.append((photo.jar, *true, story.verdict.verdict))
    return rows


def report(group: str, seen: Sequence[Seen], shelf: ShelfResult) -> str:
    """All tables of one group, in Markdown."""
    answers = [s.answer for s in seen]
    places = [s.places for s in seen if s.places is not None]
    missed = silent(answers)
    head = ("truth \\ read", *(name for name, _ in READ_AS), "other")
    parts = [
        f"## {group}: {len({s.photo.jar for s in seen})} jars, {len(seen)} photos",
        markdown(HEAD, coverage_rows(seen)),
        f"Silent errors (over {SILENT_POINTS:.0f} points, truth outside the interval): "
        f"{len(missed)} of {sum(a.coverage is not None for a in answers)}. {'; '.join(missed)}",
        f"Places read wrongly: {wrong_percent(places):.1f} %.",
        markdown(head, place_rows(places)),
        markdown(("areas of 1 cm2 or more", "photos or areas"), area_rows(places)),
    ]
    if group != "single":
        parts.append(markdown(("jar", "scenario", "last coverage", "truly", "verdict"),
                              verdict_rows(seen, shelf)))  # fmt: skip
    refusals = [f"- {a.name} ({a.fault}): {a.reason}" for a in answers if a.reason]
    return "\n\n".join(parts + (["Refused:\n\n" + "\n".join(refusals)] if refusals else []))


def main() -> None:
    """Measure a set."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, default=os.environ.get(VARIABLE), help="the set")
    parser.add_argument("--group", choices=GROUPS, help="one of them only")
    parser.add_argument("--out", type=Path, help="file for the tables, Markdown")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    if args.photos is None:
        parser.error(f"name the set's folder: --photos, or {VARIABLE} in the environment")
    parts = []
    for group in groups_of(Path(args.photos)) if args.group is None else (args.group,):
        seen, shelf = read_group(read_set(Path(args.photos), group), jobs=args.jobs)
        parts.append(report(group, seen, shelf))
        print(parts[-1], end="\n\n")
    if args.out:
        args.out.write_text("\n\n".join(parts) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
