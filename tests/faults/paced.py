"""A reader for runs that are cut off: slow enough to be hit, quick enough for many runs."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from datetime import date
from pathlib import Path

from fake_shelf import fake_reading

from jarvision.base.files import write_whole
from jarvision.records import Reading
from jarvision.register.photo_names import picture_name, read_name
from jarvision.run.jobs import Job

ASKED, PACE_S = "JARVISION_TEST_ASKED", "JARVISION_TEST_PACE_S"
GATE, UNGATED = "JARVISION_TEST_GATE", 4
"""All but the first four photos wait until the file of this name is there."""
LONG_AGO_S = 1_700_000_000
PATIENCE_S = 120.0


def paced(job: Job) -> Reading:
    """Read the coverage from the file; note the photo in a log, wait, write a picture."""
    log = os.environ.get(ASKED)
    if log:
        with open(log, "a", encoding="utf-8") as file:  # noqa: PTH123 - one write: whole lines
            file.write(f"{job.name}\n")
        _wait_at_gate(Path(log).read_text("utf-8").splitlines().index(job.name))
    time.sleep(float(os.environ.get(PACE_S, "0.02")))
    parts = read_name(job.name)
    percent = float(job.path.read_text())
    assert job.out is not None
    overlay = f"overlays/{picture_name(job.name)}"
    write_whole(job.out / overlay, f"{parts.jar} {percent}\n".encode() * 200)
    reading = fake_reading(parts.jar, parts.day or date(2026, 3, 1), percent)
    return replace(reading, photo=job.name, overlay=overlay)


def _wait_at_gate(number: int) -> None:
    """Hold a photo back, so that no run is over before its test has looked: machines are busy."""
    gate, end = os.environ.get(GATE), time.monotonic() + PATIENCE_S
    while gate and number >= UNGATED and not Path(gate).exists() and time.monotonic() < end:
        time.sleep(0.02)


def fill(folder: Path, jars: int, days: int) -> list[str]:
    """Fill a folder with made-up photos; their names, sorted."""
    folder.mkdir(parents=True, exist_ok=True)
    names = [f"J{j:02d}_2026-03-{d:02d}.jpg" for j in range(jars) for d in range(1, days + 1)]
    for number, name in enumerate(names):
        (folder / name).write_text(f"{number % 100}")
        os.utime(folder / name, (LONG_AGO_S, LONG_AGO_S))
    return names


def files_of(out: Path) -> dict[str, bytes]:
    """Every file of an output folder but the store and its lock, and what is in it."""
    found = (path for path in out.rglob("*") if path.is_file())
    names = {path.relative_to(out).as_posix(): path.read_bytes() for path in found}
    return {name: text for name, text in names.items() if not name.startswith(("jarvision", "run"))}
