"""What the grower says of the glass: the file, the register's columns, and what they do."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pytest
from drawn_jars import LAYOUT, DrawnJar, draw

from jarvision.base.errors import RegisterError, UsageError
from jarvision.records import JarEntry, JarFit, JarShape
from jarvision.register.jar_shapes import load_jar_shapes, shapes_for_photo, shapes_of
from jarvision.register.jars import read_register
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.read import wall_of

LITRE = """
[litre]
diameter_mm = 98
height_mm = 180.0
groove_mm = 140
volume_ml = 1000
glass_mm = 3.5
"""


def load(tmp_path: Path, text: str) -> dict[str, JarShape]:
    (tmp_path / "jar_profiles.toml").write_text(text, encoding="utf-8")
    return load_jar_shapes(tmp_path)


def fit(jar: DrawnJar, shape: JarShape | None) -> JarFit:
    settings = PhotoSettings()
    return wall_of(draw(jar).photo, layout=LAYOUT, settings=settings, shape=shape).jar


# --------------------------------------------------------------------------- the file
def test_a_shape_is_read_with_its_values(tmp_path: Path) -> None:
    shape = load(tmp_path, LITRE)["litre"]
    assert shape == JarShape("litre", 98.0, 180.0, 140.0, 1000.0, 3.5)


def test_a_folder_without_the_file_has_no_shapes(tmp_path: Path) -> None:
    assert load_jar_shapes(tmp_path) == {}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[litre", "cannot be read"),
        ("diameter_mm = 98", "outside a table"),
        ("[litre]\nwidth = 98", "nothing is called 'width'"),
        ("[litre]\ndiameter_mm = '98'", "no number"),
        ("[litre]\ndiameter_mm = true", "no number"),
        ("[litre]\ndiameter_mm = 9.8", "must be 50 to 140"),
        ("[litre]\ndiameter_mm = nan", "must be 50 to 140"),
        (f"[litre]\ndiameter_mm = 1{'0' * 400}", "too large"),
        ("[litre]\nheight_mm = 150\ngroove_mm = 160", "not below"),
        ("[litre]\ndiameter_mm = 80\nheight_mm = 120\nvolume_ml = 1000", "at most 603 ml"),
    ],
)
def test_a_slip_is_told_with_the_shape_and_the_next_step(
    tmp_path: Path, text: str, words: str
) -> None:
    with pytest.raises(UsageError, match=r"jar_profiles\.toml") as caught:
        load(tmp_path, text)
    assert words in str(caught.value)
    assert caught.value.remedy


# --------------------------------------------------------------------------- the register
def test_the_columns_of_a_jar_go_before_its_named_shape(tmp_path: Path) -> None:
    path = tmp_path / "jars.csv"
    path.write_text("jar;profile;groove_mm\nA;litre;\nB;litre;131,5\nC;;120\nD;;\n")
    shapes, odd = shapes_of(read_register(path).values(), load(tmp_path, LITRE))
    assert shapes["A"].groove_mm == 140.0
    assert (shapes["B"].groove_mm, shapes["B"].diameter_mm) == (131.5, 98.0)
    assert shapes["C"] == JarShape(groove_mm=120.0)
    assert "D" not in shapes
    assert odd == ()


@pytest.mark.parametrize("cell", ["wide", "3", "1e9"])
def test_a_slip_in_the_register_is_told_with_its_line(tmp_path: Path, cell: str) -> None:
    path = tmp_path / "jars.csv"
    path.write_text(f"jar,diameter_mm\nA,80\nB,{cell}\n")
    with pytest.raises(RegisterError, match="line 3"):
        read_register(path)


def test_an_unknown_shape_is_told_and_costs_nothing(tmp_path: Path) -> None:
    entries = [JarEntry("A", profile="pint")]
    shapes, odd = shapes_of(entries, load(tmp_path, LITRE))
    assert shapes == {}
    assert "'pint'" in odd[0]
    assert shapes_of(entries, {}) == ({}, ())  # before there was a file, the column was free text


def test_sizes_that_contradict_each_other_together_are_told_and_not_used(tmp_path: Path) -> None:
    entry = JarEntry("A", profile="litre", shape=JarShape(groove_mm=200.0))
    shapes, odd = shapes_of([entry], load(tmp_path, LITRE))
    assert shapes == {}
    assert "not below" in odd[0]


def test_a_job_carries_the_shapes_of_the_jars_that_its_photo_can_be_of() -> None:
    shapes = {"K07": JarShape("a"), "7": JarShape("b"), "K08": JarShape("c")}
    assert set(shapes_for_photo("K07_2026-03-01.jpg", shapes)) == {"K07"}
    assert set(shapes_for_photo("K08/2026-03-01.jpg", shapes)) == {"K08"}
    assert set(shapes_for_photo("K09_2026-03-01.jpg", shapes)) == set()
    assert set(shapes_for_photo("2026-03-01.jpg", shapes)) == {"7"}  # a tag will tell
    assert pickle.loads(pickle.dumps(shapes)) == shapes


# --------------------------------------------------------------------------- the fit
@pytest.mark.parametrize("axis_z_mm", [-60.0, -70.0, -80.0])
def test_a_stated_diameter_finds_a_jar_that_stands_nearer_or_farther(axis_z_mm: float) -> None:
    jar = DrawnJar(axis_z_mm=axis_z_mm, lean_deg=0.0)
    plain, guided = fit(jar, None), fit(jar, JarShape(diameter_mm=80.0))
    assert guided.radius_sd_mm < 0.8 * plain.radius_sd_mm
    assert abs(guided.radius_mm - 40.0) < 2.0 * guided.radius_sd_mm
    assert abs(guided.radius_mm - 40.0) <= abs(plain.radius_mm - 40.0) + 0.1
    assert guided.shape_conflict == ""


def test_a_stated_diameter_is_a_prior_not_an_order() -> None:
    jar = fit(DrawnJar(), JarShape(diameter_mm=81.0))
    assert 39.8 < jar.radius_mm < 40.5


def test_a_diameter_that_the_photo_contradicts_is_told_and_not_used() -> None:
    plain, guided = fit(DrawnJar(), None), fit(DrawnJar(), JarShape(diameter_mm=98.0))
    assert guided.radius_mm == plain.radius_mm
    assert "98 mm" in guided.shape_conflict
    assert plain.shape_conflict == ""


def test_the_groove_is_measured_from_the_table() -> None:
    drawn = draw(DrawnJar())
    sight = wall_of(
        drawn.photo, layout=LAYOUT, settings=PhotoSettings(), shape=JarShape(groove_mm=110.0)
    )
    assert sight.jar.groove_y_mm == pytest.approx(drawn.table_y_mm - 110.0, abs=0.8)
    row = int(np.argmin(np.abs(sight.wall.heights_mm - sight.wall.groove_mm)))
    _, heights = drawn.places(sight.wall.pixels[row])
    assert np.median(heights) == pytest.approx(110.0 - 6.0, abs=1.0)
