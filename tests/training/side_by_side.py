"""Processes that make training data and learn from it, side by side until the time is up."""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

LAST_SAVE_S = 30.0


@dataclass(frozen=True)
class Work:
    """One process: its name, what it runs, the graphics card that it sees (None: all)."""

    name: str
    command: tuple[str, ...]
    card: int | None = None


def module(name: str, *options: object) -> tuple[str, ...]:
    """The command that runs a module of this project with this Python."""
    return (sys.executable, "-m", name, *(str(option) for option in options))


def start(work: Work, logs: Path) -> subprocess.Popen[bytes]:
    """Start one, in a group of its own."""
    surroundings = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    if work.card is not None:
        surroundings["CUDA_VISIBLE_DEVICES"] = str(work.card)
    with (logs / f"{work.name}.log").open("ab") as log:
        return subprocess.Popen(
            work.command, stdout=log, stderr=log, env=surroundings, start_new_session=True
        )


def run(works: Iterable[Work], *, until: float, logs: Path) -> int:
    """Run them until the clock says so, then end them; how many ended badly before that."""
    logs.mkdir(parents=True, exist_ok=True)
    running = {work.name: start(work, logs) for work in works}
    bad = set[str]()
    while time.time() < until + LAST_SAVE_S:
        for name, process in running.items():
            if process.poll() and name not in bad:
                bad.add(name)
                print(f"{name} ended with {process.returncode}: see its log", flush=True)
        if all(process.poll() is not None for process in running.values()):
            break
        time.sleep(1.0)
    for process in running.values():
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGTERM)
    return len(bad)


def add_options(parser: argparse.ArgumentParser, *, first: int) -> None:
    """What all such runs are told: the first seed, how long, on how many cores, which renderer."""
    parser.add_argument("out", type=Path)
    parser.add_argument("--first", type=int, default=first, help="first seed of what is drawn")
    parser.add_argument("--minutes", type=float, default=27.0)
    parser.add_argument("--until", type=float, help="the clock's time in seconds, in place of that")
    parser.add_argument("--cores", type=int, default=os.cpu_count())
    parser.add_argument("--variant", default="llvm_ad_spectral", help="of the renderer")


def end_of(args: argparse.Namespace) -> float:
    """When a run ends that starts now, the clock's time in seconds."""
    return float(args.until or time.time() + 60.0 * args.minutes)
