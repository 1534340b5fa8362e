"""Put small faults into the code and count those that the tests notice.

``python -m tests.mutants`` tries a seeded sample of each room and says what survived; ``--page``
writes the score into docs/mutation.md. Nothing is written to the package: a mutant lives in the
memory of one process.
"""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path

# One thread: a child of a process with threads may hang, and a nightly run is no guest that pushes.
os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")

from . import page
from .making import ROOMS, ROOT, Mutant, draw
from .reach import reached
from .trying import Tried, attempts

HEAVY = ("cv2", "hypothesis", "matplotlib", "numpy", "pandas", "scipy.optimize", "scipy.stats",
         "skimage.data", "_pytest", "rich", "typer")  # fmt: skip


def preload() -> None:
    """Load what takes long and is never mutated, once for all children."""
    for name in HEAVY:
        __import__(name)
    import cv2

    cv2.setNumThreads(0)


def tried(
    rooms: Sequence[str], count: int, seed: int, work: Path, *, jobs: int = 1
) -> Iterator[Tried]:
    """Try a sample of each room, but for what an earlier run with this seed has tried."""
    chosen = [mutant for room in rooms for mutant in draw(room, count, seed)]
    done = [f for room in rooms for f in _kept(work, room, seed) if f.mutant in chosen]
    yield from done
    known = reached(rooms, work, jobs=jobs)
    left = [mutant for mutant in chosen if mutant not in {found.mutant for found in done}]
    for found in attempts(((m, known[m.room]) for m in left), work, jobs=jobs):
        with _file(work, found.mutant.room, seed).open("a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(found)) + "\n")
        yield found


def _file(work: Path, room: str, seed: int) -> Path:
    return work / f"{room}-{seed}.jsonl"


def _kept(work: Path, room: str, seed: int) -> list[Tried]:
    file = _file(work, room, seed)
    return [_read(line) for line in file.read_text("utf-8").splitlines()] if file.is_file() else []


def _read(line: str) -> Tried:
    found = json.loads(line)
    return Tried(**{**found, "mutant": Mutant(**found["mutant"])})


def main() -> None:
    """Draw, try, tell."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("--rooms", nargs="*", choices=tuple(ROOMS), default=tuple(ROOMS))
    parser.add_argument("--count", type=int, default=45, help="mutants a room")
    parser.add_argument("--seed", type=int, default=int(f"{date.today():%Y%m%d}"))
    parser.add_argument("--jobs", type=int, default=1, help="mutants tried at once")
    parser.add_argument("--work", type=Path, default=ROOT / "build" / "mutants")
    parser.add_argument("--page", action="store_true", help="write the score into docs/mutation.md")
    args = parser.parse_args()
    args.work.mkdir(parents=True, exist_ok=True)
    os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = str(args.work / "hypothesis")
    os.chdir(ROOT)
    preload()
    results = []
    for found in tried(args.rooms, args.count, args.seed, args.work, jobs=args.jobs):
        results.append(found)
        print(page.line(found), flush=True)
    print(page.score_table(results))
    if args.page:
        page.write(results, args.seed)


if __name__ == "__main__":
    main()
