"""A rendered photo from above, read from file to record: what it shows is known exactly.

It is one of those on which limits were set (seed 2000008 of ``tests/scenes/tops``), so it proves
that the parts fit together, not how well strange photos are read.
"""

from pathlib import Path

import numpy as np
import pytest

from jarvision.records import Reading
from jarvision.run.packing import pack_record, unpack_record
from jarvision.vision.photo import read_photo
from jarvision.vision.read import read_jar_photo
from jarvision.vision.surface.look import TopAnalysis, look_down

PHOTO = Path(__file__).with_name("rendered_top.jpg")
COVERED_PERCENT = 92.7
CAPS_MM = (17.4, 14.8)  # the two largest of five that show


@pytest.fixture(scope="module")
def seen() -> TopAnalysis:
    return look_down(read_photo(PHOTO, name=PHOTO.name))


def test_coverage_caps_and_moisture_are_those_of_the_scene(seen):
    top = seen.top
    assert top.coverage.low <= COVERED_PERCENT <= top.coverage.high
    assert top.coverage.high - top.coverage.low < 15
    assert top.largest_cap_mm.low <= CAPS_MM[0] <= top.largest_cap_mm.high
    second = [body for body in top.fruit if body.kind == "cap"][1].diameter_mm
    assert second.value == pytest.approx(CAPS_MM[1], abs=1.0)
    assert top.droplets.moisture == "dry"
    assert top.droplets.chance > 0.5


def test_what_is_none_says_why(seen):
    top = seen.top
    assert top.flat_chance is None and "flat_chance" in top.untold
    assert all(getattr(top, name) is None and why for name, why in top.untold.items())


def test_every_body_lies_in_the_mouth_and_is_drawn_there(seen):
    for body, drawn in zip(seen.top.fruit, seen.bodies, strict=True):
        assert np.hypot(body.x_mm, body.y_mm) < seen.mouth.radius_mm + 2.0
        assert 0.0 <= body.chance <= 1.0
        rows, cols = seen.photo.rgb.shape[:2]
        middle = drawn.outline_px.mean(axis=0)
        assert (middle > 0).all() and (middle < (cols, rows)).all()


def test_the_reading_is_kept_whole_and_its_picture_drawn(tmp_path):
    named = tmp_path / "K08_2026-03-18_top.jpg"
    named.write_bytes(PHOTO.read_bytes())
    reading = read_jar_photo(named, root=tmp_path, out=tmp_path / "out")
    assert reading.status == "ok" and reading.top is not None
    assert unpack_record(Reading, pack_record(reading)) == reading
    assert (tmp_path / "out" / reading.overlay).stat().st_size > 20_000
