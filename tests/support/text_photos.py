"""Photos that are a line of text: tests of what is read when bring a reader of their own."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from fake_shelf import fake_reading

from jarvision.records import BareLook, Reading
from jarvision.register.photo_names import read_name
from jarvision.run.jobs import Job

LONG_AGO_NS = 1_700_000_000_000_000_000
LOOK = BareLook(((0.1, 0.2, 0.3),), 0.5, 40.0)
FIRST, SECOND, THIRD = (date(2026, 3, day) for day in (1, 2, 3))


def read_text(job: Job, percent: float) -> tuple[Reading, str]:
    """A usable reading, held against the look that the job brings for its jar; and the text.

    A text ``tag N`` is a tag on the jar, and gives its name.
    """
    parts, text = read_name(job.name), job.path.read_text()
    jar = text.removeprefix("tag ") if text.startswith("tag") else parts.jar
    reading = replace(fake_reading(jar, parts.day or FIRST, percent), photo=job.name)
    held = job.references.get(jar)
    if held is not None:
        reading = replace(reading, reference_jar=held.jar, reference_day=held.day)
    return reading, text


@dataclass
class TextShelf:
    """A folder of such photos, all older than any run; ``talk`` is what the last run said."""

    folder: Path
    out: Path
    talk: str = ""

    def put(self, name: str, text: str = "10") -> None:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        os.utime(path, ns=(LONG_AGO_NS, LONG_AGO_NS))
