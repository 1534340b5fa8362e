"""Render many photos: ``python -m tests.scenes.bulk --seeds 1000:1100 --out DIR --variant ...``.

Painting and developing take as long as tracing: worker processes paint ahead while one process
traces. A shard of the result is a tar file, so that a few files hold hundreds of photos.
"""

from __future__ import annotations

import argparse
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from .contents import WallPaint, paint
from .sampler import random_spec
from .spec import SceneSpec
from .suite import JarOnADay, random_jar

FRONT_DEG = 80.0


def painted(seed: int) -> tuple[SceneSpec, JarOnADay, WallPaint]:
    """Scene, jar and contents of one random photo."""
    jar = random_jar(seed)
    return random_spec(seed), jar, paint(jar.recipe, day=jar.day)


def render_all(
    seeds: list[int], out: Path, *, variant: str, width: int, spp: int, workers: int, limit_s: float
) -> None:
    """Render the seeds in order until the time is up; what is there already is skipped."""
    from .render import Renderer

    start = time.perf_counter()
    todo = [seed for seed in seeds if not (out / f"S{seed}.jpg").exists()]
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        queue = {seed: pool.submit(painted, seed) for seed in todo}
        renderer = Renderer(variant)
        for seed in todo:
            if time.perf_counter() - start > limit_s:
                pool.shutdown(wait=False, cancel_futures=True)
                break
            spec, jar, contents = queue.pop(seed).result()
            shot = renderer.photograph(
                spec, contents, width=width, height=width * 4 // 3, spp=spp
            )
            shot.truth.numbers.update(_labels(seed, jar))
            shot.save(out, f"S{seed}")
            save_wall(contents, out / f"S{seed}-wall.npz")
            steps = " ".join(f"{name} {value:.1f}" for name, value in shot.seconds.items())
            print(f"S{seed} {jar.fault} {time.perf_counter() - start:.0f} s: {steps}", flush=True)


def save_wall(contents: WallPaint, path: Path) -> None:
    """Keep the truth of the wall at full resolution, where a photo from the front can see it."""
    front = np.abs(contents.angles_deg) <= FRONT_DEG
    np.savez_compressed(
        path,
        classes=contents.classes[:, front],
        opacity=np.rint(255.0 * contents.opacity[:, front]).astype(np.uint8),
        angles_deg=contents.angles_deg[front],
        heights_mm=contents.heights_mm,
    )


def _labels(seed: int, jar: JarOnADay) -> dict[str, Any]:
    recipe = jar.recipe
    return {
        "seed": seed,
        "fault": jar.fault,
        "day": jar.day,
        "substrate": recipe.substrate,
        "habit": recipe.habit,
        "tint": recipe.tint,
    }


def main() -> None:
    """Parse the command line and render."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", required=True, help="FIRST:END, END not included")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--variant", default="llvm_ad_spectral")
    parser.add_argument("--width", type=int, default=1512)
    parser.add_argument("--spp", type=int, default=128)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--limit", type=float, default=1e9, help="stop after this many seconds")
    args = parser.parse_args()
    first, end = (int(part) for part in args.seeds.split(":"))
    render_all(
        list(range(first, end)), args.out, variant=args.variant, width=args.width, spp=args.spp,
        workers=args.workers, limit_s=args.limit,
    )  # fmt: skip


if __name__ == "__main__":
    main()
