"""The bench's own parts: its photos, its folders, its page. Nothing here is timed."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from tests.benchmarks.cluster import Clustered
from tests.benchmarks.drawn_farm import simulate_farm, with_sample_pictures
from tests.benchmarks.farm import Farm, Look
from tests.benchmarks.farm_page import draw_memory
from tests.benchmarks.folders import Growth, Memory, Scaling
from tests.benchmarks.history import Kept, keep, kept_lines, lines_of, newest_commit
from tests.benchmarks.one_photo import STAGES, OnePhoto
from tests.benchmarks.opened import Opened
from tests.benchmarks.page import Part, put_pages, write_page
from tests.benchmarks.photos import (
    PHONE_QUALITY,
    QUALITIES,
    SAMPLES,
    good_samples,
    large_photo,
    linked,
)
from tests.benchmarks.same import TABLES, Same


@pytest.mark.slow
def test_a_large_photo_is_as_big_and_as_heavy_as_a_phones() -> None:
    if not SAMPLES.is_dir():
        pytest.skip("needs sample_images")
    light, data = large_photo("SL02_2026-03-06.jpg", 80, PHONE_QUALITY)
    assert len(light) < len(data) / 2
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
        "one": OnePhoto({96: Kept(96, 1.9, 1.8, 2.0, 100.0)}, 0.4, 20, {"decoding": 0.05}, 3.5),
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
    assert any(
        "quality 96" in line and "1.90 plain decodes (1.80 to 2.00)" in line for line in lines
    )
    assert "| decoding | 50.0 | 0.50 |" in lines
    assert any("4.0; 7.6: 1.90 times" in line for line in lines)
    assert "| 10,000 | 500 | 20 | 2.00 | 0.31 | 0.40 | 250 MB | 180 MB |" in lines
    assert "| 1,000 | 2 | 3.1 | 4.0 | 9.0 | 150 MB | 130 MB |" in lines
    assert any(line.startswith("| 1,000 | 5.0 | 23.0 | 0.20 |") for line in lines)


def measured(row: float) -> str:
    info = {"quality": 92, "row": row, "low": row - 0.1, "high": row + 0.1}
    told = {"extra_info": {**info, "decode_ms": 47.0, "load": 0.6}}
    return json.dumps({"datetime": "2026-11-29T02:20:00+00:00", "benchmarks": [told]})


def test_ratios_are_medians_of_pairs_of_the_same_round() -> None:
    kept = Kept.of(92, plain=[1.0, 2.0, 4.0], rows=[3.0, 6.4, 12.4], photos=10)
    assert (kept.row, kept.decode_ms) == pytest.approx((3.1, 200.0))
    assert kept.low < kept.row < kept.high


def test_the_history_keeps_a_line_for_each_commit_and_tells_the_newest(tmp_path: Path) -> None:
    history = tmp_path / "history.csv"
    for commit, row in (("aaa", 3.6), ("bbb", 2.9), ("ccc", 3.1), ("bbb", 3.0)):
        keep(lines_of(measured(row), commit=commit), history)
    lines = history.read_text("utf-8").splitlines()
    assert lines[0] == "commit,day,quality,row,low,high,decode_ms,load"
    assert lines[3] == "bbb,2026-11-29,92,3.00,2.90,3.10,47,0.6"
    assert [line[:3] for line in lines[1:]] == ["aaa", "ccc", "bbb"]
    assert newest_commit(history) == "bbb"


def test_the_history_of_the_project_has_every_quality() -> None:
    newest = [line for line in kept_lines() if line["commit"] == newest_commit()]
    assert [int(line["quality"]) for line in newest] == list(QUALITIES)


def test_the_section_on_the_page_in_a_browser_is_put_in_and_changed_in_its_place(
    tmp_path: Path,
) -> None:
    page = tmp_path / "speed.md"
    rest = "# Speed\n\n## Larger folders\n\nby hand\n\n## How it was measured\n\n- so\n"
    page.write_text(rest)
    one = Opened(
        500, "files beside", 1_090_000, 117_000_000, 4368, 8282, 444.0, 612.0, 61.5, 98.0, 18_933
    )
    for jars in (8, 500):
        put_pages(page, Part("here", (replace(one, jars=jars),)))
        text = page.read_text("utf-8")
        row = "| files beside | 1.1 MB | 117 MB | 4,368 | 8,282 | 444 ms | 612 ms | 62 ms (98) "
        row += "| 18,933 px |"
        assert text.count("\n## ") == 3 and text.count(row) == 1 and f"\n| {jars} {row}" in text
        start, end = text.index("## The page in a browser"), text.index("## How it was measured")
        assert text[:start] + text[end:] == rest
    bare = replace(one, search_ms=None, worst_search_ms=None, beside_bytes=0)
    put_pages(page, Part("here", (bare,)))
    assert "| none | 4,368 | 8,282 | 444 ms | 612 ms | none |" in page.read_text("utf-8")


def test_a_farm_has_every_verdict_and_the_pictures_of_samples(tmp_path: Path) -> None:
    from fake_shelf import fake_shelf, with_pictures

    samples = with_pictures(fake_shelf(), tmp_path / "scored").readings
    farm = simulate_farm(12)
    result = with_sample_pictures(
        farm.result, samples, scored=tmp_path / "scored", out=tmp_path / "out"
    )
    assert len(result.stories) == len({s.verdict.jar for s in result.stories}) == 12
    assert len({s.history.entry.started for s in result.stories}) == 2
    shown = [r for s in result.stories for d in s.history.days for r in d.readings]
    assert shown and all((tmp_path / "out" / r.wall_picture).is_file() for r in shown)
    assert max(r.taken_at.date() for r in result.readings) <= result.scored_on
