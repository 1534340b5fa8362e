"""From edges to a jar, from votes to a lens and a foot: part by part, against closed forms."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import CardFit, JarFit, JarShape, Photo
from jarvision.settings.jar import JarSettings
from jarvision.vision.card.camera import camera_matrix
from jarvision.vision.card.layout import load_layout
from jarvision.vision.card.pose import card_to_photo, scale_at
from jarvision.vision.jar import focal
from jarvision.vision.jar.cylinder import _outline, _size, _upright, front_y, stand_jar, stand_on
from jarvision.vision.jar.edges import EdgeLine
from jarvision.vision.jar.focal import (
    NO_FOCAL,
    OTHER_FOCAL,
    OTHER_TABLE,
    Sight,
    _card_misfit,
    _check_cut,
    _spread,
    _Trial,
    settle,
)
from jarvision.vision.jar.foot import Foot, find_foot
from jarvision.vision.jar.glass import GlassCylinder, Viewpoint
from jarvision.vision.jar.unroll import _between, _centres

LAYOUT, SETTINGS = load_layout(), JarSettings()
EYE = np.array([95.0, 150.0, -440.0])
SHAPE = (2016, 1512)


def card_of(*, focal_px: float = 1500.0, eye: np.ndarray = EYE) -> CardFit:
    """The card seen squarely by an eye in its own frame."""
    camera = camera_matrix(SHAPE, focal_px)
    plane = camera @ np.column_stack([np.eye(3)[:, 0], np.eye(3)[:, 1], -eye])
    homography = plane / plane[2, 2]
    return CardFit(
        homography=homography, camera=camera, rotation=np.eye(3), translation=-eye,
        markers=(0, 1, 2, 3), reprojection_px=0.0,
        px_per_mm=scale_at(homography, LAYOUT.centre_mm),
        outline_px=card_to_photo(LAYOUT.corners_mm, homography),
    )  # fmt: skip


def edges_of(radius: float, axis_x: float = 95.0, axis_z: float = -70.0) -> tuple[EdgeLine, ...]:
    """The card-plane x of the two sight lines that touch an upright cylinder."""
    away = math.hypot(axis_x - EYE[0], axis_z - EYE[2])
    middle = math.atan2(axis_x - EYE[0], axis_z - EYE[2])
    half = math.asin(radius / away)
    return tuple(
        EdgeLine(EYE[0] - EYE[2] * math.tan(middle + side * half), 0.0, 237.5, 0.0)
        for side in (-1, 1)
    )


def stand(lines: tuple[EdgeLine, ...], shape: JarShape | None = None, **more: float) -> JarFit:
    return stand_jar(
        lines, card=card_of(), shape=shape or JarShape(), layout=LAYOUT, settings=SETTINGS,
        **{"page_end": 278.5, "top": 130.0, **more},
    )  # fmt: skip


# --------------------------------------------------------------------------- the cylinder
@pytest.mark.parametrize("radius", [32.0, 40.0, 58.0])
@pytest.mark.parametrize("axis_x", [80.0, 95.0, 115.0])
def test_a_jar_stands_where_its_edges_touch_the_sight_lines(radius: float, axis_x: float) -> None:
    found = stand(edges_of(radius, axis_x))
    np.testing.assert_allclose(found.card_to_jar, np.eye(3), atol=1e-9)
    assert found.radius_mm == pytest.approx(radius)
    assert (found.axis_x_mm, found.axis_z_mm) == pytest.approx((axis_x, -70.0))
    assert found.floor_y_mm == pytest.approx(278.5 - 6.0)
    assert found.glass_mm == 3.0
    away = math.hypot(axis_x - 95.0, 370.0)
    assert found.radius_sd_mm == pytest.approx(6.0 * radius / away)
    # the card's plane is 440 mm away, the jar's front less far
    front = 440.0 - 70.0 - radius
    assert found.top_y_mm == pytest.approx(150.0 + (130.0 - 150.0) * front / 440.0)
    assert found.groove_y_mm is None


def test_the_radius_is_as_unsure_as_both_edges_are() -> None:
    for sds in ((3.0, 4.0), (4.0, 3.0)):
        lines = [replace(e, sd_mm=sd) for e, sd in zip(edges_of(40.0), sds, strict=True)]
        found = stand(tuple(lines))
        assert found.radius_sd_mm == pytest.approx(math.hypot(6.0 * 40.0 / 370.0, 2.5))


@pytest.mark.parametrize(
    ("radius", "fits"), [(27.8, False), (28.2, True), (65.8, True), (66.2, False)]
)
def test_what_is_too_narrow_or_too_wide_is_no_jar(radius: float, fits: bool) -> None:
    if fits:
        assert stand(edges_of(radius)).radius_mm == pytest.approx(radius)
    else:
        with pytest.raises(PhotoRefusedError, match=f"{2 * radius:.0f} mm wide"):
            stand(edges_of(radius))


def test_what_the_grower_says_of_the_glass_is_used() -> None:
    shape = JarShape(diameter_mm=80.0, glass_mm=4.0, groove_mm=120.0)
    found = stand(edges_of(40.0), shape)
    assert (found.radius_mm, found.glass_mm) == (pytest.approx(40.0), 4.0)
    assert found.groove_y_mm == pytest.approx(278.5 - 120.0)


def test_the_usual_place_and_the_stated_diameter_are_weighed_by_their_variances() -> None:
    half, usual = math.asin(40.0 / 370.0), 370.0
    place_sd = 6.0 * 40.0 / 370.0
    plain = _size(usual, half, edge_sd=0.5, shape=JarShape(), settings=SETTINGS)
    assert (plain.reach_mm, plain.radius_mm) == pytest.approx((370.0, 40.0))
    assert plain.radius_sd_mm == pytest.approx(math.hypot(place_sd, 0.5))
    for sd, said_sd in ((None, 0.5), (3.0, 1.5)):
        shape = JarShape(diameter_mm=82.0, diameter_sd_mm=sd)
        found = _size(usual, half, edge_sd=0.2, shape=shape, settings=SETTINGS)
        weights = place_sd**-2, said_sd**-2
        radius = (40.0 * weights[0] + 41.0 * weights[1]) / sum(weights)
        assert found.radius_mm == pytest.approx(radius)
        assert found.reach_mm == pytest.approx(radius * 370.0 / 40.0)
        assert found.radius_sd_mm == pytest.approx(math.hypot(sum(weights) ** -0.5, 0.2))
        assert not found.conflict


@pytest.mark.parametrize("way", [-1, 1])
def test_a_diameter_of_three_uncertainties_off_is_told_and_not_used(way: int) -> None:
    half = math.asin(40.0 / 370.0)
    off = 3.0 * float(np.linalg.norm([6.0 * 40.0 / 370.0, 0.5, 0.5]))
    for factor, told in ((0.98, False), (1.02, True)):
        shape = JarShape(diameter_mm=80.0 + way * 2.0 * factor * off)
        found = _size(370.0, half, edge_sd=0.5, shape=shape, settings=SETTINGS)
        assert bool(found.conflict) is told
        assert (found.radius_mm == pytest.approx(40.0)) is told
    assert "about 80 mm wide" in found.conflict


def test_edges_that_lean_and_converge_tell_how_the_card_does() -> None:
    lines = EdgeLine(50.0, 0.02, 237.5, 0.1), EdgeLine(140.0, 0.012, 237.5, 0.1)
    turn = _upright(lines, card=card_of(), settings=SETTINGS)
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    lean = 0.008 / 90.0 * 370.0
    lean *= 0.03**2 / (0.03**2 + 0.015**2)
    axis = np.array([0.016, 1.0, lean])
    np.testing.assert_allclose(turn[1], axis / np.linalg.norm(axis), atol=1e-9)
    assert turn[0, 2] == pytest.approx(-turn[1, 0] * turn[1, 2] / math.hypot(1, 0), abs=1e-3)
    assert turn[0, 0] > 0.99 and turn[2, 2] > 0.99
    steep = EdgeLine(50.0, 0.5, 237.5, 0.1), EdgeLine(140.0, -0.5, 237.5, 0.1)
    clipped = _upright(steep, card=card_of(), settings=SETTINGS)
    assert clipped[1, 2] / clipped[1, 1] == pytest.approx(0.09 * 0.8)


GLASS = GlassCylinder(EYE, 95.0, -70.0, 40.0, 3.0)
VIEW = Viewpoint.of_card(card_of(), np.eye(3))


def test_a_viewpoint_projects_as_a_pinhole() -> None:
    np.testing.assert_allclose(VIEW.eye_mm, EYE)
    point = np.array([110.0, 170.0, -100.0])
    pixel = 1500.0 * (point[:2] - EYE[:2]) / (point[2] - EYE[2]) + [755.5, 1007.5]
    np.testing.assert_allclose(VIEW.project(point), pixel)
    quarter = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
    turned = Viewpoint.of_card(card_of(), quarter)
    np.testing.assert_allclose(turned.project(quarter @ point), pixel)
    np.testing.assert_allclose(turned.eye_mm, quarter @ EYE)


def test_the_outline_goes_along_both_rims_and_the_edges() -> None:
    outline = _outline(GLASS, viewpoint=VIEW, top_y=120.0, foot_y=280.0)
    assert outline.shape == (84, 2)
    rim = VIEW.project(GLASS.outer_points(np.deg2rad([-82.0, 0.0, 82.0]), np.full(3, 120.0)))
    np.testing.assert_allclose(outline[[0, 41]], rim[[0, 2]], atol=0.01)
    foot = VIEW.project(GLASS.outer_points(np.deg2rad([82.0, -82.0]), np.full(2, 280.0)))
    np.testing.assert_allclose(outline[[42, 83]], foot, atol=0.01)
    assert outline[:42, 1].mean() < outline[42:, 1].mean()


def test_a_jar_on_another_table_takes_floor_and_groove_along_and_keeps_its_top() -> None:
    jar = stand(edges_of(40.0), JarShape(groove_mm=120.0))
    lower = stand_on(jar, GLASS, viewpoint=VIEW, table_y=288.5, floor_mm=6.0)
    assert lower.floor_y_mm == pytest.approx(jar.floor_y_mm + 10.0)
    assert (lower.groove_y_mm or 0.0) - (jar.groove_y_mm or 0.0) == pytest.approx(10.0)
    assert lower.top_y_mm == jar.top_y_mm
    assert lower.outline_px[:, 1].max() > jar.outline_px[:, 1].max() + 20.0
    assert lower.outline_px[:, 1].min() == pytest.approx(jar.outline_px[:, 1].min(), abs=0.01)


def test_the_front_is_met_before_the_axis() -> None:
    found = front_y(GLASS, np.array([95.0, 260.0, 0.0]))
    assert found == pytest.approx(150.0 + 110.0 * 330.0 / 440.0)


@pytest.mark.parametrize(("shown_mm", "found"), [(-30.0, False), (8.0, False), (40.0, True)])
def test_a_foot_needs_a_stack_of_arcs_height_of_the_photo(shown_mm: float, found: bool) -> None:
    """Level rings on the glass, every 3 mm down to 25 mm below the start; a quiet table."""
    rows, cols = np.indices(SHAPE)
    depth = 370.0 - 40.0  # of the jar's front
    below = (rows - 1007.5) / 1500.0 * depth + EYE[1] - 250.0
    grey = np.where((below < 25.0) & (np.floor(below / 1.5) % 2 == 0), 40, 200)
    rgb = np.repeat(grey[..., None], 3, axis=2).astype(np.uint8)
    last = round((250.0 + shown_mm - EYE[1]) / depth * 1500.0 + 1007.5)
    cut = replace(PHOTO, rgb=np.ascontiguousarray(rgb[: max(last, 1)]))
    told = find_foot(cut, GLASS, VIEW, from_y_mm=250.0, settings=SETTINGS)
    assert (told is not None) is found
    if told is not None:
        assert told.table_y_mm == pytest.approx(275.0, abs=3.0)
    assert cols.shape == SHAPE


# --------------------------------------------------------------------------- the wall's grid
def test_cells_have_their_centres_between_the_ends() -> None:
    assert _centres(-60.0, 60.0, 4).tolist() == [-45.0, -15.0, 15.0, 45.0]
    weights = _between(3, 5)
    np.testing.assert_allclose(
        weights, [[1, 0, 0], [0.5, 0.5, 0], [0, 1, 0], [0, 0.5, 0.5], [0, 0, 1]]
    )


# --------------------------------------------------------------------------- the lens
PHOTO = Photo(
    path=Path("a.jpg"), name="a.jpg", rgb=np.zeros((*SHAPE, 3), np.uint8), scale=1.0,
    focal_px=1500.0, focal_known=True, taken_at=datetime(2026, 3, 1), time_source="exif",
)  # fmt: skip
JAR = stand(edges_of(40.0))


def sight(*, known: bool = True) -> Sight:
    photo = replace(PHOTO, focal_known=known)
    return Sight(photo, card_of(), (278.5, 269.7), lambda card, end: JAR, LAYOUT, SETTINGS)


def trial(misfit: float, focal_px: float = 1500.0, **more: object) -> _Trial:
    return _Trial(**{
        "card": card_of(focal_px=focal_px), "jar": JAR, "foot": Foot(280.0, 0.0),
        "page_off_mm": 0.0, "misfit": misfit, "page_px": 1500.0, "px_per_mm": 4.0, **more,
    })  # type: ignore[arg-type]  # fmt: skip


def test_a_cards_misfit_is_its_strain_and_how_far_from_arms_length_the_phone_is() -> None:
    straight = np.array([0.0, 0.0, 1.0])
    for away in (440.0, 300.0, 600.0):
        eye = np.array([*LAYOUT.centre_mm, 0.0]) - away * straight
        assert _card_misfit(card_of(eye=eye), sight()) == pytest.approx(
            (math.log(away / 440.0) / 0.2) ** 2, abs=1e-6
        )
    stretched = card_of(eye=np.array([*LAYOUT.centre_mm, -440.0]))
    wider = replace(stretched, homography=stretched.homography @ np.diag([1.005, 1.0, 1.0]))
    assert _card_misfit(wider, sight()) == pytest.approx(4.0, rel=0.02)  # twice 0.25 %


def test_a_spread_is_a_weighted_standard_deviation() -> None:
    values, weight = np.array([1.0, 2.0, 5.0]), np.array([0.5, 0.25, 0.25])
    mean = 2.25
    assert _spread(values, weight) == pytest.approx(
        math.sqrt(0.5 * 1.25**2 + 0.25 * 0.25**2 + 0.25 * 2.75**2)
    )
    assert weight @ values == mean


@pytest.mark.parametrize(("below_mm", "cut"), [(5.9, False), (6.1, True)])
def test_a_photo_is_cut_when_it_ends_above_the_floor(below_mm: float, cut: bool) -> None:
    asked = trial(0.0, page_px=2015.0 + 4.0 * below_mm)
    if cut:
        with pytest.raises(PhotoRefusedError, match="6 mm above the jar's foot"):
            _check_cut(asked, sight())
    else:
        _check_cut(asked, sight())


def test_a_trial_knows_where_the_page_has_the_foot(monkeypatch: pytest.MonkeyPatch) -> None:
    """The table of the page's likeliest end, where it meets the front of the glass."""
    monkeypatch.setattr(focal, "find_foot", lambda *_, **__: None)
    tried = focal._try(sight(), card_of())
    table_y = JAR.floor_y_mm + 6.0
    scale = 1500.0 / (JAR.axis_z_mm - JAR.radius_mm - EYE[2])
    assert tried.px_per_mm == pytest.approx(scale)
    assert tried.page_px == pytest.approx((table_y - EYE[1]) * scale + 1007.5)
    assert tried.misfit == pytest.approx(18.0 + _card_misfit(card_of(), sight()))
    assert (tried.foot, tried.page_off_mm) == (None, 0.0)


@pytest.mark.parametrize(
    ("off_mm", "bent_mm", "misfit", "told_off"),
    [
        (0.0, 0.0, 0.0, 0.0),
        (3.2, 0.0, 1.0, 3.2),
        (6.0, 0.7, (6.0 / 3.2) ** 2 + 4.0, 6.0),
        (20.0, 3.0, 9.0 + 9.0, 20.0),  # neither may say more
        (-10.0, 0.0, (1.2 / 3.2) ** 2 + 4.0, -1.2),  # Letter's end, 8.8 mm higher, fits better
        (-40.0, 0.0, 9.0 + ((31.2 - 9.7) / 3.2) ** 2, -31.2),  # the page would reach under it
    ],
)
def test_a_trials_misfit_is_how_far_foot_and_page_are_apart_and_how_the_foot_bends(
    monkeypatch: pytest.MonkeyPatch, off_mm: float, bent_mm: float, misfit: float, told_off: float
) -> None:
    table_y = JAR.floor_y_mm + 6.0
    foot = Foot(table_y + off_mm, bent_mm)
    monkeypatch.setattr(focal, "find_foot", lambda *_, **__: foot)
    letter = replace(JAR, floor_y_mm=JAR.floor_y_mm - 8.8)
    seen = replace(sight(), standing=lambda card, end: JAR if end == 278.5 else letter)
    tried = focal._try(seen, card_of())
    assert tried.page_off_mm == pytest.approx(told_off)
    assert tried.misfit == pytest.approx(misfit + _card_misfit(card_of(), sight()))


class Lenses:
    """Stands for all trials: what the file's lens gives, and what the others do."""

    def __init__(
        self, monkeypatch: pytest.MonkeyPatch, said: _Trial | None, others: Sequence[_Trial]
    ) -> None:
        self.tried: list[float] = []
        self.said = said
        monkeypatch.setattr(focal, "_try", self.attempt)
        monkeypatch.setattr(focal, "_trials", lambda sight: list(others))

    def attempt(self, sight: Sight, card: CardFit, *, sure: bool = False) -> _Trial:
        if sure:
            if self.said is None:
                raise PhotoRefusedError("no_jar", "too wide")
            return self.said
        self.tried.append(float(card.camera[0, 0]))
        return trial(0.0, float(card.camera[0, 0]))


@pytest.mark.parametrize(
    ("said", "other", "note"),
    [
        (11.9, 0.0, ()),
        (12.1, 0.0, (OTHER_FOCAL,)),
        (20.0, 7.9, (OTHER_FOCAL,)),
        (20.0, 8.1, ()),
        (None, 11.9, (OTHER_FOCAL,)),
    ],
)
def test_a_stated_lens_is_dropped_where_another_fits_better_by_twelve(
    monkeypatch: pytest.MonkeyPatch, said: float | None, other: float, note: tuple[str, ...]
) -> None:
    Lenses(monkeypatch, None if said is None else trial(said), [trial(other, 1800.0)])
    card, jar = settle(sight())
    assert jar.notes == note
    assert card.camera[0, 0] == pytest.approx(1800.0 if note else 1500.0)


def test_what_no_lens_makes_a_jar_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    for others in ([], [trial(12.1)]):
        Lenses(monkeypatch, None, others)
        with pytest.raises(PhotoRefusedError, match="too wide"):
            settle(sight())


def test_an_unknown_lens_is_the_mean_of_those_that_fit_by_their_likelihood(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    jars = [replace(JAR, radius_mm=radius) for radius in (38.0, 40.0, 44.0)]
    trials = [
        trial(misfit, focal_px, jar=jar)
        for misfit, focal_px, jar in zip(
            (3.0, 1.0, 5.0), (1200.0, 1500.0, 2000.0), jars, strict=True
        )
    ]
    lenses = Lenses(monkeypatch, None, trials)
    _, jar = settle(sight(known=False))
    weight = np.exp([-1.0, 0.0, -2.0])
    weight /= weight.sum()
    assert lenses.tried == [pytest.approx(math.exp(weight @ np.log([1200.0, 1500.0, 2000.0])))]
    spread = _spread(np.array([38.0, 40.0, 44.0]), weight)
    assert jar.radius_sd_mm == pytest.approx(math.hypot(JAR.radius_sd_mm, spread))
    assert jar.notes == (NO_FOCAL,)
    assert jar.floor_y_mm == pytest.approx(280.0 - 6.0)


@pytest.mark.parametrize(("off_mm", "notes"), [(6.3, ()), (-6.3, ()), (6.5, (OTHER_TABLE,))])
def test_a_foot_two_uncertainties_off_the_page_is_on_another_table(
    monkeypatch: pytest.MonkeyPatch, off_mm: float, notes: tuple[str, ...]
) -> None:
    Lenses(monkeypatch, trial(1.0, page_off_mm=off_mm), [])
    _, jar = settle(sight())
    assert jar.notes == notes
    assert jar.floor_y_mm == pytest.approx(274.0 if notes else JAR.floor_y_mm)


def test_without_a_foot_the_floor_is_as_unsure_as_the_page(monkeypatch: pytest.MonkeyPatch) -> None:
    Lenses(monkeypatch, trial(1.0, foot=None), [])
    assert settle(sight())[1].foot_sd_mm == 3.2
    Lenses(monkeypatch, trial(1.0, foot=None, page_px=2100.0), [])
    with pytest.raises(PhotoRefusedError, match="above the jar's foot"):
        settle(sight())
