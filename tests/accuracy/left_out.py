"""Contents that no network saw: ``python -m tests.accuracy.left_out PHOTOS --nets DIR``.

PHOTOS are jars that nothing is trained on (``tests.training.rendered_jars --judged``). DIR holds
``without_0.onnx`` and so on, each by ``tests.training.export_contents`` from a net that never saw
one family. Every jar is read by the networks of the package, and once more with that net in the
place of generalist and naturalist. The specialist, which learned from a few contents of three
families, goes on having its say where contents look like those.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, partial
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from jarvision.vision.session import network_of
from jarvision.vision.tissue import network
from tests.training.contents_layers import FAMILIES

from .evaluate import answer
from .figures import Answer, Errors, markdown

if TYPE_CHECKING:
    from onnxruntime import InferenceSession

MIXED = len(FAMILIES) - 1
HEAD = ("family", "read", "mean", "median", "95th", "interval holds", "width", "where told: mean")


@dataclass(frozen=True)
class Judged:
    """A jar's photo: its family, whether drawn as jars are, and what was said of it.

    ``never_seen`` is None where no nets without a family were named.
    """

    family: int
    as_jars_are: bool
    seen: Answer
    never_seen: Answer | None


def family_of(photo: Path) -> int:
    """The family of a drawn jar's contents; those that are textures count as mixtures."""
    substrate = json.loads(photo.with_suffix(".json").read_text())["substrate"]
    return FAMILIES.index(substrate) if substrate in FAMILIES else MIXED


@cache
def open_file(path: Path) -> InferenceSession:
    """A network of a file, once."""
    return network_of(path.read_bytes())


@contextmanager
def in_place_of_others(path: Path) -> Iterator[None]:
    """While this lasts a file's network speaks for all experts but the specialist."""
    shipped = network._net

    def net_of(expert: network.Expert) -> InferenceSession:
        return shipped(expert) if expert == "specialist" else open_file(path)

    network._net = net_of
    try:
        yield
    finally:
        network._net = shipped


def judge(photo: Path, *, nets: Path | None) -> Judged:
    """Read one photo both ways."""
    family = family_of(photo)
    plain = json.loads(photo.with_suffix(".json").read_text())["habit"] == "plain"
    never_seen = None
    if nets is not None:
        with in_place_of_others(nets / f"without_{family}.onnx"):
            never_seen = answer(photo, tiles=False)
    return Judged(family, plain, answer(photo, tiles=False), never_seen)


def row(name: str, answers: Sequence[Answer]) -> tuple[str, ...]:
    """One line of the table, errors in points."""
    read = [a for a in answers if a.coverage is not None]
    count = f"{len(read)} of {len(answers)}"
    if not read:
        return (name, count, *["–"] * (len(HEAD) - 2))
    e = Errors.of(read)
    told = [a for a in read if a.coverage and a.coverage.is_told]
    mean_told = f"{Errors.of(told).mean:.1f} on {len(told)}" if told else "–"
    return (
        name, count, f"{e.mean:.1f}", f"{np.median([abs(a.error) for a in read]):.1f}",
        f"{e.p95:.1f}", f"{e.held_percent:.0f} %", f"{e.width:.1f}", mean_told,
    )  # fmt: skip


def table(judged: Sequence[Judged], *, never_seen: bool) -> str:
    """Family by family, jars as they are first, then odd ones."""
    rows = []
    for as_jars_are, words in ((True, "as jars are"), (False, "odd")):
        mine = [one for one in judged if one.as_jars_are is as_jars_are]
        for family in (None, *range(len(FAMILIES))):
            some = [one for one in mine if family in (None, one.family)]
            said = [one.never_seen if never_seen else one.seen for one in some]
            name = "**all**" if family is None else FAMILIES[family]
            rows.append(row(f"{name}, {words}", [a for a in said if a is not None]))
    return markdown(HEAD, rows)


def main() -> None:
    """Read a folder, print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photos", type=Path)
    parser.add_argument("--nets", type=Path, help="without it: the package's networks alone")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    with ProcessPoolExecutor(args.jobs, mp_context=get_context("spawn")) as pool:
        judged = list(pool.map(partial(judge, nets=args.nets), sorted(args.photos.glob("R*.jpg"))))
    if args.nets:
        print("Family never seen:\n\n" + table(judged, never_seen=True), end="\n\n")
    print("Families seen in training, jars never:\n\n" + table(judged, never_seen=False))
    worst = sorted(
        (one for one in judged if one.seen.coverage), key=lambda one: -abs(one.seen.error)
    )
    for one in worst[:12]:
        print(f"{one.seen.name}: {one.seen.true_percent:.0f} read {one.seen.error:+.0f}")


if __name__ == "__main__":
    main()
