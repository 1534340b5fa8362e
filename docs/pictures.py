"""Make the pictures of the docs anew from the code: ``python docs/pictures.py``.

Drawings and the overlay are made everywhere; the two pictures of the report need Chromium and
playwright, and are left as they are without. A test compares what stands in ``docs/pictures``
with the code. The pictures of measurements come from ``tests/accuracy`` and are named in
:data:`MEASURED`.
"""

from __future__ import annotations

import hashlib
import io
import re
import shutil
import sys
import tempfile
from contextlib import redirect_stdout
from pathlib import Path
from typing import Any, Final
from unittest.mock import patch

import numpy as np
from PIL import Image

DOCS: Final = Path(__file__).parent
ROOT: Final = DOCS.parent
PICTURES: Final = DOCS / "pictures"
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support"), str(DOCS)]

from drawings import drawings  # noqa: E402 - beside this file
from fake_shelf import fake_shelf  # noqa: E402 - the made-up shelf of the tests

MEASURED: Final = {
    "farm-memory.svg": "tests/benchmarks/__main__.py",
    "quality-*.png": "tests/accuracy/quality_plots.py",
    "worst-edits.jpg": "tests/accuracy/edits/__main__.py",
    "worst-unseen.jpg": "tests/accuracy/benchmark.py",
}
OVERLAY_OF: Final = "SL03_2026-03-09.jpg"
OVERLAY_NAME: Final = "overlay.jpg"
REPORT: Final = {"report-phone.jpg": (360, 960, 1.5), "report-wide.jpg": (1180, 1130, 1.0)}
"""Width and height of the window in px, and device pixels for each."""

FINGERPRINT: Final = PICTURES / "report.sha256"
JPEG_QUALITY: Final = 72


def overlay(folder: Path) -> Path:
    """Read one sample photo and return its overlay, drawn into ``folder``."""
    from jarvision.vision.read import read_jar_photo

    samples = ROOT / "sample_images"
    reading = read_jar_photo(samples / OVERLAY_OF, root=samples, out=folder)
    return folder / reading.overlay


def difference(made: Path, kept: Path) -> float:
    """Mean absolute difference of two pictures, of 255; 255 when their sizes differ."""
    pictures = []
    for path in (made, kept):
        with Image.open(path) as image:
            pictures.append(np.asarray(image.convert("RGB"), dtype=np.float32))
    first, second = pictures
    return float(np.abs(first - second).mean()) if first.shape == second.shape else 255.0


def fingerprint() -> str:
    """Digest of the page for a made-up shelf: it changes when the report looks different.

    The version is left out, and so are the lines of the charts, which differ between releases of
    matplotlib.
    """
    from jarvision.base.version import __version__
    from jarvision.report.page import render_page

    page = render_page(fake_shelf(), ROOT / "no-pictures")
    page = re.sub(r'(<svg class="curve"[^>]*>).*?</svg>', r"\1</svg>", page, flags=re.DOTALL)
    return hashlib.sha256(page.replace(__version__, "").encode()).hexdigest()


def make_report_pictures() -> bool:
    """Score the sample photos and photograph the page; False without a browser."""
    try:
        from playwright.sync_api import Error, sync_playwright
    except ImportError:
        return False
    from jarvision.app.cli.main import app

    found = next((p for n in ("chromium", "google-chrome") if (p := shutil.which(n))), None)
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as player:
        try:
            browser = player.chromium.launch(executable_path=found, args=["--no-sandbox"])
        except Error:
            return False
        samples = str(ROOT / "sample_images")
        # without a clock the page does not say how old its photos are, which changes daily
        with redirect_stdout(io.StringIO()), patch("jarvision.run.score.clock_day", lambda: None):
            app(["score", samples, "--out", scratch, "--quiet"], standalone_mode=False)
        for name, window in REPORT.items():
            _photograph(browser, Path(scratch) / "report.html", name, window)
        browser.close()
    FINGERPRINT.write_text(fingerprint() + "\n")
    return True


def _photograph(browser: Any, page: Path, name: str, window: tuple[int, int, float]) -> None:
    width, height, fine = window
    tab = browser.new_page(
        viewport={"width": width, "height": height}, device_scale_factor=fine, color_scheme="light"
    )
    tab.goto(page.as_uri())
    with Image.open(io.BytesIO(tab.screenshot())) as shot:
        shot.convert("RGB").save(PICTURES / name, quality=JPEG_QUALITY, optimize=True)
    tab.close()


def main() -> None:
    """Make all that can be made here."""
    for name, text in drawings().items():
        (PICTURES / name).write_text(text, "utf-8")
    with tempfile.TemporaryDirectory() as scratch:
        shutil.copyfile(overlay(Path(scratch)), PICTURES / OVERLAY_NAME)
    if not make_report_pictures():
        print(
            "The pictures of the report were left as they are: they need Chromium and playwright."
        )


if __name__ == "__main__":
    main()
