"""The bench's own parts: its photos, its folders, its page. Nothing here is timed."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from tests.benchmarks.cluster import Clustered
from tests.benchmarks.farm import Farm, Look
from tests.benchmarks.farm_page import draw_memory
from tests.benchmarks.folders import Growth, Memory, Scaling
from tests.benchmarks.one_photo import STAGES, OnePhoto
from tests.benchmarks.page import Part, write_page
from tests.benchmarks.photos import SAMPLES, good_samples, large_photo, linked
from tests.benchmarks.same import TABLES, Same


@pytest.mark.slow
def test_a_large_photo_is_as_big_and_as_heavy_as_a_phones() -> None:
    if not SAMPLES.is_dir():
        pytest.skip("needs sample_images")
    data = large_photo("SL02_2026-03-06.jpg")
    with Image.open(io.BytesIO(data)) as image:
        assert image.size == (3024, 4032)
        assert image.getexif().get_ifd(0x8769)  # the sample's own day goes along
    assert 3e6 < len(data) < 5e6  # common practice, no source


def test_links_are_other_jars_on_the_same_days(tmp_path: Path) -> None:
    photos = [tmp_path / name for name in ("A1_2026-03-02.jpg", "A1_2026-03-03.jpg")]
    for photo in photos:
        photo.write_bytes(photo.name.encode())
    made = linked(tmp_path / "links", photos, 3)
    names = ["A1x0_2026-03-02.jpg", "A1x0_2026-03-03.jpg", "A1x1_2026-03-02.jpg"]
    assert [path.name for path in made] == names
    assert made[2].read_bytes() == b"A1_2026-03-02.jpg"


def test_the_good_samples_leave_the_spoiled_ones_out() -> None:
    if not SAMPLES.is_dir():
        pytest.skip("needs sample_images")
    assert len(good_samples()) == 64
    assert not [path for path in good_samples() if "-torn" in path.name or "-far" in path.name]


def test_every_stage_of_the_profile_is_a_function_of_today() -> None:
    from importlib import import_module

    for name in (name for names in STAGES.values() for name in names):
        module, function = name.rsplit(".", 1)
        assert callable(getattr(import_module(module), function))


def test_the_page_tells_tables_that_differ(tmp_path: Path) -> None:
    digests = {way: dict.fromkeys(TABLES, "aaa") for way in ("1 worker", "2 workers")}
    digests["2 workers"]["days.csv"] = "bbb"
    results: dict[str, Any] = {
        "one": OnePhoto(0.1, 1.9, 0.4, 20, {"decoding": 0.05}, 3.5),
        "scaling": Scaling(60, 4.0, 7.6),
        "memory": Memory(500, 280.0, 100.0, 279.0, 99.0),
        "growth": (Growth(100, 5.0, 30.0, 0.2, 200.0), Growth(1000, 5.0, 23.0, 0.2, 210.0)),
        "same": Same(digests, 8),
    }
    looks = (Look(1.0, 120.0, "readings"), Look(9.0, 250.0, "report"))
    farm = Farm(10_000, 500, 20, 2.0, 0.31, 0.4, 250.0, 180.0, looks, looks)
    results |= {"farm": [farm], "cluster": [Clustered(1000, 2, 3.1, 4.0, 9.0, 150.0, 130.0)]}
    draw_memory([farm], tmp_path / "memory.svg")
    assert "share of the run" in (tmp_path / "memory.svg").read_text("utf-8")
    write_page(tmp_path / "speed.md", {part: Part("here", r) for part, r in results.items()})
    lines = (tmp_path / "speed.md").read_text("utf-8").splitlines()
    assert "| `days.csv` | aaa | bbb | NO |" in lines
    assert "| `patches.csv` | aaa | aaa | yes |" in lines
    assert "| the photo to its row, overlay off | 1.90 decodes |" in lines
    assert "| decoding | 50.0 | 0.50 |" in lines
    assert any("4.0; 7.6: 1.90 times" in line for line in lines)
    assert "| 10,000 | 500 | 20 | 2.00 | 0.31 | 0.40 | 250 MB | 180 MB |" in lines
    assert "| 1,000 | 2 | 3.1 | 4.0 | 9.0 | 150 MB | 130 MB |" in lines
    assert any(line.startswith("| 1,000 | 5.0 | 23.0 | 0.20 |") for line in lines)
