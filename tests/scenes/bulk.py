"""Render a whole set of photos: ``python -m tests.scenes.bulk SET --out DIR [--shard 0/8]``.

Sets: ``tuning``, ``held-out`` and ``unseen`` (random jars and scenes, other seeds), ``training``,
``hard`` and ``half-grown`` (jars in which more goes wrong), ``pins`` (jars that fruit inside),
``other-look`` (contents that the others do not hold), ``loose-pages`` (pages that are trimmed or
hang above the table), ``samples`` (the shelf of ``sample_images/``), ``lights`` (one jar under
many lights and camera settings).
Several processes may share one set, each with its own shard, and each on its own ``--core``; what
is there already is skipped, and a photo that fails is told and passed over.
"""

from __future__ import annotations

import argparse
import json
import os
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from . import samples
from .contents import JarRecipe, WallPaint, paint
from .lights_trial import lights_trial
from .sampler import hard_spec, leaning_spec, loose_page_spec, random_spec, training_spec
from .spec import SceneSpec
from .suite import (
    HALF_GROWN_SEEDS,
    HARD_SEEDS,
    HELD_OUT_SEEDS,
    LOOSE_PAGE_SEEDS,
    OTHER_LOOK_SEEDS,
    PIN_SEEDS,
    TRAINING_SEEDS,
    TUNING_SEEDS,
    UNSEEN_SEEDS,
    JarOnADay,
    half_grown_jar,
    hard_jar,
    other_look_jar,
    pin_jar,
    random_jar,
    training_jar,
)

if TYPE_CHECKING:
    from .render import Renderer, Shot

FRONT_DEG = 80.0
"""Truth is kept this far to both sides of the camera's direction."""


SUITES: dict[str, tuple[range, Callable[[int], JarOnADay], Callable[[int], SceneSpec]]] = {
    "tuning": (TUNING_SEEDS, random_jar, random_spec),
    "held-out": (HELD_OUT_SEEDS, random_jar, random_spec),
    "training": (TRAINING_SEEDS, training_jar, training_spec),
    "hard": (HARD_SEEDS, hard_jar, hard_spec),
    "half-grown": (HALF_GROWN_SEEDS, half_grown_jar, hard_spec),
    "pins": (PIN_SEEDS, pin_jar, leaning_spec),
    "unseen": (UNSEEN_SEEDS, random_jar, leaning_spec),
    "loose-pages": (LOOSE_PAGE_SEEDS, random_jar, loose_page_spec),
    "other-look": (OTHER_LOOK_SEEDS, other_look_jar, leaning_spec),
}


@dataclass(frozen=True)
class Order:
    """One photo to render."""

    name: str
    recipe: JarRecipe
    day: float
    spec: SceneSpec
    labels: dict[str, Any]


def orders(which: str) -> Iterator[Order]:
    """The photos of a set, in order."""
    if which in SUITES:
        seeds, jar_of, spec_of = SUITES[which]
        for seed in seeds:
            jar = jar_of(seed)
            yield Order(f"S{seed}", jar.recipe, jar.day, spec_of(seed), {"fault": jar.fault})
    elif which == "samples":
        for photo in samples.photos():
            labels = {"shelf_jar": photo.jar.jar, "species": photo.jar.species}
            yield Order(photo.name, photo.jar.recipe, photo.day, photo.spec, labels)
    elif which == "lights":
        for name, recipe, day, spec in lights_trial():
            yield Order(name, recipe, day, spec, {})
    else:
        raise ValueError(f"no set is called {which!r}")


@dataclass(frozen=True)
class Effort:
    """How finely photos are rendered: width in px, paths a pixel at the jar and away from it."""

    width: int
    spp: int
    spp_around: int | None

    def photograph(self, renderer: Renderer, spec: SceneSpec, contents: WallPaint) -> Shot:
        """One photo, upright, four by three."""
        return renderer.photograph(
            spec, contents, width=self.width, height=self.width * 4 // 3, spp=self.spp,
            spp_around=self.spp_around,
        )  # fmt: skip


def keep_to_one_core(core: int) -> None:
    """Bind this process, and all threads that its libraries start, to one of its cores."""
    cores = sorted(os.sched_getaffinity(0))
    os.sched_setaffinity(0, {cores[core % len(cores)]})
    cv2.setNumThreads(1)


def render(
    which: str, out: Path, *, shard: tuple[int, int], variant: str, effort: Effort,
    limit_s: float, count: int, first: int = 0,
) -> None:  # fmt: skip
    """Render a shard of a set until it is done or the time is up."""
    from .render import Renderer

    start = time.perf_counter()
    renderer = Renderer(variant)
    for number, order in enumerate(orders(which)):
        name = order.name
        mine = first <= number < first + count and number % shard[1] == shard[0]
        if not mine or (out / f"{name}.jpg").exists():
            continue
        if time.perf_counter() - start > limit_s:
            break
        try:
            told = _render_one(renderer, order, out, effort)
        except Exception:  # noqa: BLE001 - one bad photo may not end a long run
            told = traceback.format_exc()
        print(f"{name} {time.perf_counter() - start:.0f} s: {told}", flush=True)


def _render_one(renderer: Renderer, order: Order, out: Path, effort: Effort) -> str:
    contents = paint(order.recipe, day=order.day)
    shot = effort.photograph(renderer, order.spec, contents)
    shot.truth.numbers.update(order.labels, day=order.day, **_jar_words(order.recipe))
    write(out, order.name, contents, shot)
    return " ".join(f"{step} {value:.1f}" for step, value in shot.seconds.items())


def write(out: Path, name: str, contents: WallPaint, shot: Shot) -> None:
    """Write truth and photo; the photo comes last and at once, so that who finds it finds both."""
    out.mkdir(parents=True, exist_ok=True)
    save_truth(out / name, contents, shot.truth)
    unfinished = out / f"{name}.part"
    unfinished.write_bytes(shot.jpeg)
    unfinished.rename(out / f"{name}.jpg")


def _jar_words(recipe: JarRecipe) -> dict[str, Any]:
    return {"substrate": recipe.substrate, "habit": recipe.habit, "tint": recipe.tint}


def save_truth(stem: Path, contents: WallPaint, truth: Any) -> None:
    """Write ``STEM.json`` (numbers) and ``STEM.npz``.

    The arrays are the wall's classes and opacity (0 to 255) at full resolution, with its angles
    and heights, ``seen``: the classes in the photo at a quarter of its resolution, and as packed
    bits ``pins`` (caps at the glass, on the wall) and ``pins_seen`` (with those above, in the
    photo).
    """
    front = np.abs(contents.angles_deg) <= FRONT_DEG
    stem.with_name(f"{stem.name}.json").write_text(json.dumps(truth.numbers, indent=1))
    np.savez_compressed(
        stem.with_name(f"{stem.name}.npz"),
        classes=contents.classes[:, front],
        opacity=np.rint(255.0 * contents.opacity[:, front]).astype(np.uint8),
        angles_deg=contents.angles_deg[front].astype(np.float32),
        heights_mm=contents.heights_mm.astype(np.float32),
        seen=truth.maps.classes,
        pins=np.packbits(contents.pins[:, front]),
        pins_seen=np.packbits(truth.maps.pins),
    )


def add_effort(parser: argparse.ArgumentParser, *, width: int, spp: int) -> None:
    """The options that all commands that render have in common."""
    parser.add_argument("--shard", default="0/1", help="this process's share, e.g. 2/8")
    parser.add_argument("--core", type=int, help="keep to this core")
    parser.add_argument("--variant", default="llvm_ad_spectral")
    parser.add_argument("--width", type=int, default=width, help="photo width, px")
    parser.add_argument("--spp", type=int, default=spp, help="paths per pixel")
    parser.add_argument("--spp-around", type=int, help="paths per pixel away from the jar")
    parser.add_argument("--limit", type=float, default=1e9, help="stop after so many seconds")
    parser.add_argument("--first", type=int, default=0, help="pass over so many of the set")


def main() -> None:
    """Parse the command line and render."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("set", choices=(*SUITES, "samples", "lights"))
    parser.add_argument("--out", type=Path, required=True)
    add_effort(parser, width=1512, spp=64)
    parser.add_argument("--count", type=int, default=10**9, help="only so many photos")
    args = parser.parse_args()
    if args.core is not None:
        keep_to_one_core(args.core)
    part, parts = (int(number) for number in args.shard.split("/"))
    render(
        args.set, args.out, shard=(part, parts), variant=args.variant,
        effort=Effort(args.width, args.spp, args.spp_around), limit_s=args.limit, count=args.count,
        first=args.first,
    )  # fmt: skip


if __name__ == "__main__":
    main()
