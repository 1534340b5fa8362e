"""What is veiled is not seen: fog low on the glass, labels and tape are no contents."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from walls import flat_wall

from jarvision.records import RawWall, TissueClass
from jarvision.settings.tissue import VeilSettings
from jarvision.vision.tissue import veil
from jarvision.vision.tissue.doubt import Chances
from jarvision.vision.tissue.inputs import network_inputs
from jarvision.vision.tissue.network import MULTIPLE
from tests.scenes.contents import JarRecipe, paint
from tests.training.painted_walls import shade

SETTINGS = VeilSettings()
HEADSPACE = 40  # rows of empty glass in the walls with made-up networks


@cache
def grown(day: float) -> tuple[RawWall, np.ndarray, np.ndarray]:
    """A painted jar of rye within 60 degrees, its true classes, and where contents stand."""
    jar = paint(JarRecipe(seed=41, substrate="rye", speed_mm_per_day=3.0), day=day)
    front = np.abs(jar.angles_deg) <= 60.0
    classes = jar.classes[:, front]
    wall = replace(
        flat_wall(classes, linear=shade(jar, np.random.default_rng([41, 1]))[:, front]),
        angles_deg=jar.angles_deg[front].astype(np.float64),
        heights_mm=jar.heights_mm.astype(np.float64),
        radius_mm=jar.radius_mm,
    )
    return wall, classes, classes != TissueClass.OUTSIDE


def found(wall: RawWall, classes: np.ndarray, filled: np.ndarray) -> np.ndarray:
    channels = network_inputs(wall, np.zeros(filled.shape, np.bool_), multiple=MULTIPLE)
    upright = np.zeros(filled.shape, np.float32)
    said = veil.look_head_down(channels, upright, filled)
    assert said is not None
    return veil.find_veil(wall, said, classes, filled, settings=SETTINGS).hidden


def lower_half(filled: np.ndarray) -> np.ndarray:
    """1 in the lower half of the contents, with a soft border 6 mm high."""
    rows = np.flatnonzero(filled.any(axis=1))
    middle = (rows[0] + rows[-1]) / 2
    ramp = 1.0 / (1.0 + np.exp(-(np.arange(len(filled)) - middle) / 6.0))
    return np.broadcast_to(ramp[:, None], filled.shape).astype(np.float32)


# --------------------------------------------------------------------------- the true networks
@pytest.mark.parametrize("day", [9.0, 14.0])
@pytest.mark.parametrize("share", [0.6, 0.85])
def test_fog_over_the_lower_half_is_not_seen(day: float, share: float) -> None:
    wall, classes, filled = grown(day)
    fog = share * lower_half(filled)[..., None]
    white = np.array([0.62, 0.63, 0.63], dtype=np.float32)
    foggy = replace(wall, linear=(wall.linear * (1.0 - fog) + white * fog).astype(np.float32))
    hidden = found(foggy, classes, filled)
    deep = filled & (lower_half(filled) > 0.9)
    clear = filled & (lower_half(filled) < 0.05)
    assert hidden[deep].mean() > 0.8
    assert hidden[clear].mean() < 0.05


@pytest.mark.parametrize("day", [0.0, 4.0, 9.0, 14.0, 22.0])
def test_clear_walls_stay_seen_bare_half_grown_and_grown(day: float) -> None:
    assert found(*grown(day)).mean() < 0.01


@pytest.mark.parametrize("rgb", [(0.36, 0.22, 0.11), (0.80, 0.80, 0.78)])
def test_a_label_without_print_is_not_seen(rgb: tuple[float, float, float]) -> None:
    wall, classes, filled = grown(9.0)
    rows = np.flatnonzero(filled.any(axis=1))
    low, high = (int(rows[0] + share * (rows[-1] - rows[0])) for share in (0.3, 0.7))
    middle, half = filled.shape[1] // 2, filled.shape[1] // 4
    label = np.s_[low:high, middle - half : middle + half]
    stuck = wall.linear.copy()
    grain = np.random.default_rng(5).normal(1.0, 0.02, stuck[label].shape[:2])
    stuck[label] = np.array(rgb) * grain[..., None]
    hidden = found(replace(wall, linear=stuck), classes, filled)
    assert hidden[label].mean() > 0.8
    beside = hidden.copy()
    beside[low - 15 : high + 15, middle - half - 15 : middle + half + 15] = False
    assert beside.mean() < 0.01


# --------------------------------------------------------------------------- networks made up
def told(monkeypatch: pytest.MonkeyPatch, **said: np.ndarray) -> np.ndarray:
    """What is hidden when the networks say so of the turned wall, by name chance ``(rows, cols)``.

    All of the wall but its headspace is filled; a third of it is green mould.
    """
    shape = said["specialist"].shape
    filled = np.ones(shape, np.bool_)
    filled[:HEADSPACE] = False
    classes = np.where(filled, TissueClass.MYCELIUM, TissueClass.OUTSIDE).astype(np.uint8)
    classes[HEADSPACE:, : shape[1] // 3] = TissueClass.GREEN

    def run(expert: str, channels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        hidden, covered = np.zeros((2, *channels.shape[1:]), np.float32)
        hidden[: shape[0], : shape[1]] = said[expert]
        return hidden, covered

    monkeypatch.setattr(veil, "hidden_and_covered", run)
    return found(flat_wall(classes), classes, filled)


def chances(rows: slice, chance: float) -> np.ndarray:
    said = np.zeros((160, 120), np.float32)
    said[rows] = chance
    return said


def test_what_is_found_on_the_turned_wall_is_told_of_the_right_places(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    top = slice(HEADSPACE, HEADSPACE + 40)  # of the turned contents: their foot
    hidden = told(monkeypatch, specialist=chances(top, 0.9), generalist=chances(top, 0.2))
    assert hidden[-38:, 60:].all()
    assert not hidden[: -40 - 12].any()


def test_fog_hides_no_mould_and_a_label_does(monkeypatch: pytest.MonkeyPatch) -> None:
    top = slice(HEADSPACE, HEADSPACE + 40)
    fog = told(monkeypatch, specialist=chances(top, 0.9), generalist=chances(top, 0.2))
    assert not fog[:, :28].any()
    label = told(monkeypatch, specialist=chances(top, 0.1), generalist=chances(top, 0.9))
    assert label[-38:, :28].all()


def test_one_network_alone_is_not_believed_where_the_other_is_sure_of_contents(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    top = slice(HEADSPACE, HEADSPACE + 40)
    assert not told(monkeypatch, specialist=chances(top, 0.9), generalist=chances(top, 0.001)).any()


def test_specks_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    speck = np.zeros((160, 120), np.float32)
    speck[60:80, 60:80] = 0.9  # 5 by 5 mm
    assert not told(monkeypatch, specialist=speck, generalist=speck).any()


@pytest.mark.parametrize(
    ("fog", "label", "hidden"),
    [
        (0.69, 0.02, False),
        (0.71, 0.02, True),
        (0.9, 0.0095, False),
        (0.9, 0.0105, True),
        (0.0, 0.49, False),
        (0.0, 0.51, True),
    ],
)
def test_a_veil_begins_at_its_chances(
    monkeypatch: pytest.MonkeyPatch, fog: float, label: float, hidden: bool
) -> None:
    top = slice(HEADSPACE, HEADSPACE + 40)
    found = told(monkeypatch, specialist=chances(top, fog), generalist=chances(top, label))
    assert found[-30:, 60:].all() == hidden
    assert found.any() == hidden


@pytest.mark.parametrize(("cells", "hidden"), [(38, False), (42, True)])
def test_a_veil_is_a_square_centimetre_and_hides_two_millimetres_around_it(
    monkeypatch: pytest.MonkeyPatch, cells: int, hidden: bool
) -> None:
    square = np.zeros((160, 120), np.float32)
    square[60 : 60 + cells, 60 : 60 + cells] = 0.9  # 40 cells of a quarter millimetre: 1 cm2
    found = told(monkeypatch, specialist=square, generalist=square)
    assert found.any() == hidden
    if hidden:
        assert np.flatnonzero(found.any(axis=0))[[0, -1]].tolist() == [60 - 8, 60 + cells - 1 + 8]


def test_a_veil_ends_where_it_is_thinner_than_two_millimetres(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for wide, hidden in ((8, False), (9, True)):
        band = np.zeros((160, 120), np.float32)
        band[80 : 80 + wide] = band[:, 60 : 60 + wide] = 0.9
        assert told(monkeypatch, specialist=band, generalist=band).any() == hidden


def test_a_wall_without_contents_is_not_looked_at() -> None:
    wall, _, filled = grown(9.0)
    nothing = np.zeros_like(filled)
    channels = network_inputs(wall, nothing, multiple=MULTIPLE)
    assert veil.look_head_down(channels, np.zeros(filled.shape, np.float32), nothing) is None


# --------------------------------------------------------------------------- less head down
def test_what_is_less_head_down_counts_where_nothing_else_speaks_for_it() -> None:
    covered = np.full((10, 10), 0.9, np.float32)
    label = np.full((10, 10), 0.9, np.float32)
    label[:5] = 0.3
    filled = np.ones((10, 10), np.bool_)
    filled[:, :2] = False
    said = Chances(covered, covered, covered, covered, label_cover=label)
    less = veil.less_head_down(covered, said, filled, filled)
    assert less == pytest.approx(100.0 * 0.6 / 2)
    told = filled.copy()
    told[:2] = False  # hidden, or doubted, already
    assert veil.less_head_down(covered, said, filled, told) == pytest.approx(100.0 * 0.6 * 0.3)
    more = replace(said, label_cover=np.ones((10, 10), np.float32))
    assert veil.less_head_down(covered, more, filled, filled) == 0.0


# --------------------------------------------------------------------------- hidden beside a veil
@pytest.mark.parametrize(("wide", "joined"), [(39, True), (40, False), (41, False)])
def test_hidden_places_beside_a_veil_are_veiled_where_the_veil_is_the_larger_part(
    wide: int, joined: bool
) -> None:
    classes = np.full((50, 120), TissueClass.BARE, np.uint8)
    filled = np.ones(classes.shape, np.bool_)
    veiled = np.zeros(classes.shape, np.bool_)
    veiled[:, :40] = True
    classes[:, 40 : 40 + wide] = classes[:, 100:] = TissueClass.UNJUDGED
    found = veil.with_hidden_beside(veiled, classes, filled)
    assert found[:, :40].all()
    assert found[:, 40 : 40 + wide].all() == joined
    assert found[:, 40 : 40 + wide].any() == joined
    assert not found[:, 40 + wide :].any()  # bare, or apart from it


def test_hidden_places_beside_a_veil_are_veiled_among_the_contents_alone() -> None:
    classes = np.full((50, 120), TissueClass.UNJUDGED, np.uint8)
    filled = np.zeros(classes.shape, np.bool_)
    filled[20:] = True
    veiled = filled.copy()
    veiled[:, 100:] = False
    assert np.array_equal(veil.with_hidden_beside(veiled, classes, filled), filled)
    assert not veil.with_hidden_beside(np.zeros_like(veiled), classes, filled).any()
