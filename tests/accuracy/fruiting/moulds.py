"""Moulds on simulated surfaces: how soon they end a jar, and how many good jars they end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from jarvision.records import Growth
from jarvision.verdict.decide import decide

from .jars import FruitingJar, date_of
from .seeing import history_of


def mould_rows(jars: Sequence[FruitingJar]) -> list[tuple[str, str]]:
    """Rows of the table: by the verdict of each day with a photo, up to that day alone."""
    bad = [jar for jar in jars if jar.mould_day is not None]
    good = [jar for jar in jars if jar.mould_day is None]
    ended = [(jar, day) for jar in bad if (day := _no_go_day(jar)) is not None]
    waits = [day - float(jar.mould_day or 0.0) for jar, day in ended]
    false = sum(_no_go_day(jar) is not None for jar in good)
    told = f"{len(ended)} of {len(bad)}"
    if waits:
        told += f", {np.median(waits):.1f} days after its first colour at the median"
    return [
        ("jars with mould on the surface: no-go", told),
        ("jars without: no-go", f"{false} of {len(good)}"),
    ]


def _no_go_day(jar: FruitingJar) -> int | None:
    """The first day on which the jar was no-go."""
    history = history_of(jar)
    for day in jar.photo_days:
        tops = tuple(top for top in history.tops if top.day <= date_of(day))
        verdict, _ = decide(
            replace(history, tops=tops), Growth("too-few-days"), jar.profile, today=date_of(day)
        )
        if verdict.verdict == "no-go":
            return day
    return None
