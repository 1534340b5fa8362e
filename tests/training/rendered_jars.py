"""Photograph jars with random contents: ``python -m tests.training.rendered_jars OUT --count N``.

Photos and truth as :mod:`tests.scenes.bulk` writes them, ``holds`` (bits of the families of
contents) in the JSON. Several processes may share the work, each with its own ``--shard`` and
``--core``. What is there already is skipped; a jar that fails is told and passed over. Where a
data-centre graphics card is at hand, ``--variant cuda_ad_spectral`` takes 14 s for a photo 882
pixels wide, one core a process, in place of 33 (32 such cores, all busy).
"""

from __future__ import annotations

import argparse
import time
import traceback
from pathlib import Path
from typing import TYPE_CHECKING

from tests.scenes.bulk import Effort, add_effort, keep_to_one_core, write

from .random_jars import DrawnJar, name_of, random_jar
from .texture_layers import load_textures

if TYPE_CHECKING:
    from tests.scenes.render import Renderer

WIDTH, SPP = 1008, 8


def photograph(renderer: Renderer, jar: DrawnJar, out: Path, effort: Effort) -> str:
    """Render one jar; what it is, and what took how long."""
    shot = effort.photograph(renderer, jar.spec, jar.paint)
    shot.truth.numbers.update(jar.words)
    write(out, jar.name, jar.paint, shot)
    steps = " ".join(f"{step} {value:.1f}" for step, value in shot.seconds.items())
    words = " ".join(str(jar.words[name]) for name in ("substrate", "habit", "fault"))
    return f"{words}, {shot.truth.numbers['coverage_percent']:.0f} % covered: {steps}"


def main() -> None:
    """Parse the command line and render."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, required=True)
    add_effort(parser, width=WIDTH, spp=SPP)
    parser.add_argument("--judged", action="store_true", help="seeds that nothing is trained on")
    parser.add_argument("--textures", type=Path, help="photographed textures as a family more")
    args = parser.parse_args()
    if args.core is not None:
        keep_to_one_core(args.core)
    from tests.scenes.render import Renderer

    start = time.perf_counter()
    part, parts = (int(number) for number in args.shard.split("/"))
    textures = load_textures(args.textures) if args.textures else None
    effort = Effort(args.width, args.spp, args.spp_around)
    renderer = Renderer(args.variant)
    for number in range(args.first + part, args.first + args.count, parts):
        name = name_of(number, judged=args.judged)
        if (args.out / f"{name}.jpg").exists():
            continue
        if time.perf_counter() - start > args.limit:
            break
        try:
            jar = random_jar(number, judged=args.judged, textures=textures)
            told = photograph(renderer, jar, args.out, effort)
        except Exception:  # noqa: BLE001 - one bad jar may not end a long run
            told = traceback.format_exc()
        print(f"{name} {time.perf_counter() - start:.0f} s: {told}", flush=True)


if __name__ == "__main__":
    main()
