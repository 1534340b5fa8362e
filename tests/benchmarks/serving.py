"""Seconds from the end of a photo's upload to its verdict, on a shelf of many jars.

``python -m tests.benchmarks.serving SCORED`` where SCORED is the output folder of a scoring of
``sample_images``. The shelf's jars are copies of the sample's: their readings are real ones under
other names, and each photo that is sent is read by the package's own reader, in a worker process.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import statistics
import tempfile
import time
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from PIL import Image

from jarvision.records import Reading
from jarvision.run.first_look import warm_up
from jarvision.run.jobs import Job
from jarvision.run.score import score_shelf
from jarvision.run.shelf import open_shelf
from jarvision.run.store import Store
from jarvision.run.workers import StandingWorker, local_fleet
from tests.support.served import a_browser, an_office

SAMPLES = Path("sample_images")
BATCH = 10
"""Jars of the shelf that were filled alike, and teach each other."""


def sample_readings(scored: Path) -> dict[str, list[Reading]]:
    """The usable readings of the sample's jars, by jar."""
    found: dict[str, list[Reading]] = {}
    with Store(scored, tell=print) as store:
        for name in sorted(store.index()):
            reading = store.reading(name)
            if reading is not None and reading.status == "ok":
                found.setdefault(reading.jar, []).append(reading)
    return {jar: readings for jar, readings in found.items() if len(readings) > 3}


def make_shelf(folder: Path, out: Path, sources: dict[str, list[Reading]], jars: int) -> None:
    """Copy the sample's jars until there are enough, and score them."""
    names, lines, kept = list(sources), ["jar,kind,species,substrate,started"], {}
    for number in range(jars):
        jar, source = f"C{number:04d}", sources[names[number % len(names)]]
        lines.append(f"{jar},spawn,oyster,rye {number // BATCH},2026-03-01")
        for turn, reading in enumerate(source):
            name = f"{jar}_{reading.taken_at:%Y-%m-%d}-{turn}0.jpg"
            (folder / name).write_text(name)
            kept[name] = replace(
                reading, photo=name, jar=jar, overlay="", wall_picture="", picture=name
            )
    (folder / "jars.csv").write_text("\n".join(lines) + "\n")

    def copied(job: Job) -> Reading:
        return kept[job.name]

    score_shelf(
        open_shelf(folder), out=out, read=copied, fleet=local_fleet(1), publish=lambda _: None
    )


def sent_photo(source: Reading, seed: int) -> bytes:
    """A photo of the sample with a little noise: another shot, as far as any digest can tell."""
    picture = Image.open(SAMPLES / source.photo)
    pixels = np.asarray(picture.convert("RGB"), np.int16)
    noise = np.random.default_rng(seed).integers(-1, 2, pixels.shape, np.int16)
    made = io.BytesIO()
    Image.fromarray(np.clip(pixels + noise, 0, 255).astype(np.uint8)).save(
        made, "JPEG", quality=93
    )
    return made.getvalue()


def main() -> None:
    """Measure, and tell."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("scored", type=Path)
    asked.add_argument("--jars", type=int, default=500)
    asked.add_argument("--photos", type=int, default=50)
    asked.add_argument("--place", type=Path, help="keep the shelf there, for another time")
    given = asked.parse_args()
    sources = sample_readings(given.scored)
    newest = max(r.taken_at.date() for readings in sources.values() for r in readings)
    with tempfile.TemporaryDirectory() as place:
        home = given.place or Path(place)
        folder, out = home / "photos", home / "out"
        begun = time.perf_counter()
        if not folder.is_dir():
            folder.mkdir(parents=True)
            make_shelf(folder, out, sources, given.jars)
        print(f"{given.jars} jars, {len(list(folder.glob('*.jpg')))} photos, "
              f"scored in {time.perf_counter() - begun:.0f} s")  # fmt: skip
        measure(folder, out, sources, newest + timedelta(days=1), given.photos, given.jars)


def measure(
    folder: Path, out: Path, sources: dict[str, list[Reading]], today: date, photos: int, jars: int
) -> None:
    """Send photos one after another, each to another jar, and wait for each verdict."""
    worker, names, took = StandingWorker(), list(sources), []
    worker.start(warm_up)
    office = an_office(folder, out, fleet=worker.fleet, today=today)
    office.keeper.read = None
    browser = a_browser(office)
    browser.get("/")
    for number in range(photos + 1):
        place = number * 7 % jars
        content = sent_photo(sources[names[place % len(names)]][-1], number)
        sha = hashlib.sha256(content).hexdigest()
        headers = {"x-csrf": browser.token, "content-length": str(len(content))}
        path = f"/photos/{sha}?jar=C{place:04d}"
        assert browser.ask("PUT", path, body=content, headers=headers).status == 202
        begun = time.perf_counter()
        while '"settled":false' in (answer := browser.get(f"/photos/{sha}")).text:
            time.sleep(0.02)
            browser.site.asked.most = 1e9
            browser.site.asked._left.clear()
        seconds = time.perf_counter() - begun
        assert "plate" in answer.text, answer.text
        if number:  # the first one starts the worker
            took.append(seconds)
        else:
            print(f"the first, with the worker's start: {seconds:.2f} s")
        while not office.desk.idle:
            time.sleep(0.02)
    print(f"{photos} photos: median {statistics.median(took):.2f} s, worst {max(took):.2f} s")
    office.desk.close()
    worker.close()


if __name__ == "__main__":
    main()
