"""The pictures of the docs against the code that makes them: none may go stale."""

from __future__ import annotations

import fnmatch
import re
import runpy
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "docs" / "pictures"
TOOLS = runpy.run_path(str(ROOT / "docs" / "pictures.py"))
LARGEST_BYTES = 150 * 1024
AGAIN = "run: make docs"


def kept() -> list[Path]:
    return sorted(p for p in PICTURES.iterdir() if p.suffix in (".svg", ".jpg", ".png"))


def test_the_drawings_are_those_of_the_code() -> None:
    drawn = TOOLS["drawings"]()
    measured = {
        p.name for p in kept() if any(fnmatch.fnmatch(p.name, m) for m in TOOLS["MEASURED"])
    }
    assert {p.name for p in kept() if p.suffix == ".svg"} - measured == set(drawn)
    stale = [n for n, text in drawn.items() if (PICTURES / n).read_text("utf-8") != text]
    assert not stale, AGAIN


@pytest.mark.parametrize("name", TOOLS["drawings"]())
def test_every_drawing_is_svg_with_a_name_for_those_who_do_not_see_it(name: str) -> None:
    root = ET.fromstring((PICTURES / name).read_text("utf-8"))
    title = root.find("{http://www.w3.org/2000/svg}title")
    assert title is not None and title.text == root.get("aria-label")
    assert "http" not in (PICTURES / name).read_text("utf-8").split(">", 1)[1]


def test_the_overlay_shown_is_what_the_code_draws_today(tmp_path: Path) -> None:
    if not (ROOT / "sample_images" / TOOLS["OVERLAY_OF"]).is_file():
        pytest.skip("needs sample_images")
    made = TOOLS["overlay"](tmp_path)
    # Another processor moves an outline by a pixel; other labels or areas change far more.
    assert TOOLS["difference"](made, PICTURES / TOOLS["OVERLAY_NAME"]) < 1.5, AGAIN


def test_a_changed_overlay_would_be_noticed(tmp_path: Path) -> None:
    from PIL import Image, ImageDraw

    with Image.open(PICTURES / TOOLS["OVERLAY_NAME"]) as image:
        changed = image.convert("RGB")
    ImageDraw.Draw(changed).rectangle((20, 300, 200, 380), fill="white")  # one label more
    changed.save(tmp_path / "changed.png")
    assert TOOLS["difference"](tmp_path / "changed.png", PICTURES / TOOLS["OVERLAY_NAME"]) > 1.5


def test_the_pictures_of_the_report_show_the_page_of_today() -> None:
    taken = TOOLS["FINGERPRINT"].read_text("utf-8").strip()
    assert taken == TOOLS["fingerprint"](), f"{AGAIN}, where Chromium is"


def test_every_picture_is_small_and_has_its_maker_and_its_place() -> None:
    pages = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
    shown = set()
    for page in pages:
        names = re.findall(r"pictures/([\w.-]+)", page.read_text("utf-8"))
        shown |= set(names)
    made = {*TOOLS["drawings"](), TOOLS["OVERLAY_NAME"], *TOOLS["REPORT"]}
    for path in kept():
        measured = [m for m in TOOLS["MEASURED"] if fnmatch.fnmatch(path.name, m)]
        assert path.name in made or measured, f"{path.name}: nothing makes it"
        assert path.name in shown, f"{path.name}: no page shows it"
        assert path.stat().st_size <= LARGEST_BYTES, path.name
    assert all((ROOT / script).is_file() for script in TOOLS["MEASURED"].values())
