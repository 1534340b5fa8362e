"""Fill ``sample_images/`` from rendered photos: ``python -m tests.scenes.shelf RENDERED TARGET``.

Copies the photos of the set ``samples``, adds two more spoiled files (a photo cut above the
card's lower marks, a file that broke off), and writes the register and the truth.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import shutil
from pathlib import Path

from PIL import Image

from .samples import JARS, SamplePhoto, photos

CUT_SOURCE, CUT_NAME = "SL05_2026-03-04", "SL05_2026-03-04-cut"
TORN_SOURCE, TORN_NAME = "SL06_2026-03-06", "SL06_2026-03-06-torn"
TORN_BYTES = 60_000

REGISTER_COLUMNS = (
    "jar", "kind", "species", "substrate", "started", "parent", "profile", "notes",
)  # fmt: skip
TRUTH_COLUMNS = (
    "photo", "jar", "coverage_percent", "soft_coverage_percent", "fill_height_mm",
    "bare_cm2", "offcolour_cm2", "stain_cm2", "wet_cm2", "must_be_refused",
)  # fmt: skip
OFF_COLOUR = ("green", "black", "pink", "yellow")


def write_register(path: Path) -> None:
    """The shelf's ``jars.csv``; the mother jar SL00 was used up before the first photo."""
    with path.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(REGISTER_COLUMNS)
        rows.writerow(("SL00", "spawn", "oyster", "rye", "2026-01-28", "", "", "used up"))
        for jar in JARS:
            rows.writerow(
                (jar.jar, jar.kind, jar.species, jar.substrate, jar.started.isoformat(),
                 jar.parent, "", jar.notes)
            )  # fmt: skip


def truth_row(photo: SamplePhoto, rendered: Path) -> tuple[object, ...]:
    """One line of ``truth.csv`` from the renderer's numbers."""
    numbers = json.loads((rendered / f"{photo.name}.json").read_text())

    def area(*kinds: str) -> str:
        return f"{sum(p['area_cm2'] for p in numbers['patches'] if p['kind'] in kinds):.2f}"

    spoiled = photo.name.count("-") > 2
    return (
        f"{photo.name}.jpg", photo.jar.jar, f"{numbers['coverage_percent']:.2f}",
        f"{numbers['soft_coverage_percent']:.2f}", f"{numbers['fill_height_mm']['front']:.1f}",
        area("bare"), area(*OFF_COLOUR), area("stain"), area("wet"), "yes" if spoiled else "no",
    )  # fmt: skip


def fill_shelf(rendered: Path, target: Path) -> None:
    """Write photos, register and truth into the target folder."""
    target.mkdir(parents=True, exist_ok=True)
    write_register(target / "jars.csv")
    rows = [truth_row(photo, rendered) for photo in photos()]
    for photo in photos():
        shutil.copyfile(rendered / f"{photo.name}.jpg", target / f"{photo.name}.jpg")
    cut = Image.open(rendered / f"{CUT_SOURCE}.jpg")
    exif = cut.getexif()
    buffer = io.BytesIO()
    cut.crop((0, 0, cut.width, round(cut.height * 0.62))).save(
        buffer, "JPEG", quality=84, exif=exif
    )
    (target / f"{CUT_NAME}.jpg").write_bytes(buffer.getvalue())
    torn = (rendered / f"{TORN_SOURCE}.jpg").read_bytes()[:TORN_BYTES]
    (target / f"{TORN_NAME}.jpg").write_bytes(torn)
    blanks = ("",) * 7
    rows += [(f"{name}.jpg", name[:4], *blanks, "yes") for name in (CUT_NAME, TORN_NAME)]
    with (target / "truth.csv").open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(TRUTH_COLUMNS)
        table.writerows(rows)


def main() -> None:
    """Fill a folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rendered", type=Path)
    parser.add_argument("target", type=Path)
    args = parser.parse_args()
    fill_shelf(args.rendered, args.target)


if __name__ == "__main__":
    main()
