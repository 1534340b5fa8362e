"""Render photos from above: ``python -m tests.scenes.tops.bulk OUT --first SEED --count N``.

Every photo is ``topSEED.jpg`` with ``.json``, ``.mask.png``, ``.below.png`` and ``.flat.png``; a
photo that is there is passed over, so a run that was stopped goes on where it was. With
``--jobs N`` so many processes share the seeds, each on a core of its own. Nothing is read outside
the repository and nothing written outside OUT. Seeds: training from 1,000,000, tuning from
2,000,000, judging from 9,000,000.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
import traceback
from datetime import datetime
from pathlib import Path

from tests.scenes.bulk import keep_to_one_core
from tests.scenes.render import DEFAULT_VARIANT

from .sampler import JUDGING_FROM, practice_top, random_top


def arguments() -> argparse.ArgumentParser:
    """The options."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--first", type=int, default=JUDGING_FROM, help="first seed")
    parser.add_argument("--count", type=int, default=12, help="so many seeds")
    parser.add_argument("--until", help="start no photo after this local time, e.g. 03:05")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--width", type=int, default=900, help="px; the height is 4/3 of it")
    parser.add_argument("--spp", type=int, default=12, help="paths a pixel at the mouth")
    parser.add_argument("--spp-around", type=int, default=4, help="paths a pixel elsewhere")
    parser.add_argument("--variant", default=DEFAULT_VARIANT, help="or cuda_ad_spectral")
    parser.add_argument("--practice", action="store_true", help="photos to learn from")
    parser.add_argument("--no-denoise", action="store_true", help="needs 256 paths or more")
    parser.add_argument("--shard", default="0/1", help="this process's share, e.g. 2/8")
    parser.add_argument("--pin", action="store_true", help="keep to one core, by the shard")
    return parser


def main() -> None:
    """Render here, or start the processes that do."""
    options = arguments().parse_args()
    if options.jobs > 1:
        _share_out(options.jobs)
        return
    _render(options)


def _share_out(jobs: int) -> None:
    """Start one process a shard with the same options and wait for all."""
    command = [sys.executable, "-m", "tests.scenes.tops.bulk", *sys.argv[1:]]
    command += ["--jobs", "1", "--pin"]
    runs = [subprocess.Popen([*command, "--shard", f"{part}/{jobs}"]) for part in range(jobs)]
    failed = [run.wait() for run in runs]
    sys.exit(max(failed))


def _render(options: argparse.Namespace) -> None:
    from .render import TopRenderer

    part, parts = (int(number) for number in options.shard.split("/"))
    if options.pin and not options.variant.startswith("cuda"):
        keep_to_one_core(part)
        os.environ.setdefault("OMP_NUM_THREADS", "1")
    renderer = TopRenderer(options.variant)
    draw = practice_top if options.practice else random_top
    for seed in range(options.first + part, options.first + options.count, parts):
        name = f"top{seed}"
        if (options.out / f"{name}.jpg").exists():
            continue
        if options.until and _past(options.until):
            break
        start = time.perf_counter()
        try:
            shot = renderer.photograph(
                draw(seed), width=options.width, height=options.width * 4 // 3,
                spp=options.spp, spp_around=options.spp_around, denoise=not options.no_denoise,
            )  # fmt: skip
            shot.save(options.out, name)
            told = " ".join(f"{step} {value:.1f}" for step, value in shot.seconds.items())
        except Exception:  # noqa: BLE001 - one bad photo may not end a long run
            told = traceback.format_exc()
        print(f"{name} {time.perf_counter() - start:.1f} s: {told}", flush=True)


def _past(until: str) -> bool:
    """Whether it is later than a time of this day, local time."""
    now = datetime.now()
    hour, minute = (int(number) for number in until.split(":"))
    return now >= now.replace(hour=hour, minute=minute, second=0)


if __name__ == "__main__":
    main()
