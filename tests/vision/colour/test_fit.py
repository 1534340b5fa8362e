"""The colour fit on made-up readings of the card: camera, lamp and light over it are known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from jarvision.base.colourspace import delta_e_2000, linear_to_lab, srgb_decode, srgb_encode
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import ColourFit, SwatchReadings
from jarvision.settings.colour import ColourSettings
from jarvision.vision.calibration.values import CardValues
from jarvision.vision.card.layout import CardLayout, load_layout
from jarvision.vision.colour.apply import correct
from jarvision.vision.colour.fit import colour_stretch, fit_colour
from jarvision.vision.colour.light import field_terms, paper_layout, unbend, unbend_slopes
from jarvision.vision.colour.robust import minimise

LAYOUT = load_layout()
SPOTS = paper_layout(LAYOUT)
COUNT = len(LAYOUT.swatches)
SETTINGS = ColourSettings()
PAPER = np.array([0.86, 0.87, 0.90])
EVEN = np.zeros(5)
# Linear sRGB to what the camera sees: channels that mix, under a warm lamp.
MIXING = np.array([[0.78, 0.17, 0.05], [0.12, 0.80, 0.08], [0.03, 0.22, 0.75]])
CAMERA = np.diag([0.75, 0.6, 0.33]) @ MIXING
# Colours that are not on the card: what the wall of a jar may show.
OTHERS = np.random.default_rng(8).uniform(0.03, 0.85, (300, 3))


def camera(
    colours: np.ndarray, *, light: np.ndarray | float = 1.0, bend: float = 0.0
) -> np.ndarray:
    """Linear values of the photo: ``light`` times white, the encoded signal bent by an arch."""
    signal = colours @ CAMERA.T * light
    if bend == 0.0:
        return signal
    # invert straight = e + bend * e * (1 - e), the curve that the fit looks for
    straight = srgb_encode(np.clip(signal, 0.0, 1.0))
    bent = ((1 + bend) - np.sqrt((1 + bend) ** 2 - 4 * bend * straight)) / (2 * bend)
    return srgb_decode(bent)


def shoot(
    values: np.ndarray | None = None, *, field: np.ndarray = EVEN, bend: float = 0.0,
    light: float = 1.0, noise: float = 0.0,
) -> tuple[SwatchReadings, SwatchReadings]:  # fmt: skip
    """Readings of swatches and paper; ``field`` is the log light on the terms of second order."""
    rng = np.random.default_rng(3)

    def read(layout: CardLayout, colours: np.ndarray) -> SwatchReadings:
        over = light * np.exp(field_terms(layout.centres_mm, layout) @ field)[:, None]
        seen = camera(colours, light=over, bend=bend)
        seen = seen * (1.0 + noise * rng.standard_normal(seen.shape))
        nothing = np.zeros(len(seen))
        return SwatchReadings(layout.names, seen, nothing + 0.02, nothing)

    swatches = LAYOUT.nominal_linear if values is None else values
    return read(LAYOUT, swatches), read(SPOTS, np.tile(PAPER, (len(SPOTS.swatches), 1)))


def fit(seen: tuple[SwatchReadings, SwatchReadings], values: CardValues | None = None) -> ColourFit:
    return fit_colour(*seen, layout=LAYOUT, settings=SETTINGS, values=values)


def errors(found: ColourFit, *, bend: float = 0.0, light: float = 1.0) -> np.ndarray:
    """CIEDE2000 of colours that are not on the card, seen at its middle and corrected."""
    photo = srgb_encode(np.clip(camera(OTHERS, light=light, bend=bend), 0.0, 1.0))
    samples = np.rint(65535.0 * photo).astype(np.uint16)
    corrected = correct(samples, found).astype(np.float64)
    return delta_e_2000(linear_to_lab(corrected), linear_to_lab(OTHERS))


def refusal(swatches: SwatchReadings, paper: SwatchReadings) -> str:
    with pytest.raises(PhotoRefusedError) as caught:
        fit((swatches, paper))
    return caught.value.reason


# --------------------------------------------------------------------------- recovery
def test_a_known_camera_and_lamp_are_undone() -> None:
    found = fit(shoot())
    assert found.used.all()
    assert found.de00_median < 0.3
    assert np.median(errors(found)) < 0.3


def test_noise_of_one_percent_costs_a_third_of_a_unit() -> None:
    assert np.median(errors(fit(shoot(noise=0.01)))) < 0.35


@pytest.mark.parametrize(
    "field",
    [(0.4, 0.0, 0.0, 0.0, 0.0), (-0.3, 0.25, 0.0, 0.0, 0.0), (0.1, -0.2, -0.15, -0.2, 0.05)],
    ids=["sideways", "aslant", "falling to the corners"],
)
def test_uneven_light_over_the_card_is_taken_out(field: tuple[float, ...]) -> None:
    found = fit(shoot(field=np.array(field)))
    np.testing.assert_allclose(found.light_field, np.tile(field, (3, 1)), atol=0.03)
    assert np.median(errors(found)) < 0.6


@pytest.mark.parametrize("bend", [-0.2, 0.2])
def test_a_bent_tone_curve_is_straightened(bend: float) -> None:
    seen = shoot(bend=bend)
    straight = replace(SETTINGS, tone_sd=1e-6)
    stiff = fit_colour(*seen, layout=LAYOUT, settings=straight)
    found = fit(seen)
    assert np.median(errors(found, bend=bend)) < 0.42
    assert np.median(errors(found, bend=bend)) < 0.5 * np.median(errors(stiff, bend=bend))


def test_exposure_changes_no_colour() -> None:
    assert np.median(errors(fit(shoot(light=0.4)), light=0.4)) < 0.3


@pytest.mark.parametrize("index", range(0, COUNT, 5))
def test_one_swatch_in_glare_is_told_and_ignored(index: int) -> None:
    swatches, paper = shoot()
    linear = swatches.linear.copy()
    linear[index] += 0.25
    found = fit((replace(swatches, linear=linear), paper))
    assert not found.used[index]
    assert np.median(errors(found)) < 0.58


def test_a_swatch_under_a_thumb_or_burnt_out_takes_no_part() -> None:
    swatches, paper = shoot()
    linear = swatches.linear.copy()
    linear[4] += 0.2
    fourth = np.arange(COUNT) == 4
    patchy = replace(swatches, linear=linear, spread=np.where(fourth, 0.6, 0.02))
    burnt = replace(swatches, linear=linear, clipped=np.where(fourth, 0.5, 0.0))
    for spoiled in (patchy, burnt):
        found = fit((spoiled, paper))
        assert not found.used[4]
        assert np.median(errors(found)) < 0.3


def test_the_values_of_the_users_own_print_are_used() -> None:
    own = LAYOUT.nominal_linear ** np.array([0.95, 1.05, 1.08])  # a print with a pink cast
    values = CardValues(own, "measured", 1.0)
    found = fit(shoot(own), values)
    assert found.reference == "measured"
    misled = np.median(errors(fit(shoot(own))))
    assert np.median(errors(found)) < 0.5 * misled


@pytest.mark.parametrize("bend", [-0.2, 0.0, 0.2])
def test_a_measured_tint_of_the_greys_is_not_taken_for_the_light_or_the_tone(bend: float) -> None:
    """Greys with their mean for all channels leave 0.7 here; their chroma is 0.5 to 4.8."""
    own = LAYOUT.nominal_linear ** np.array([0.95, 1.05, 1.08])
    greys = linear_to_lab(own[[swatch.role == "grey" for swatch in LAYOUT.swatches]])
    assert np.hypot(greys[:, 1], greys[:, 2]).max() > 3.0
    found = fit(shoot(own, bend=bend), CardValues(own, "measured", 1.0))
    assert np.median(errors(found, bend=bend)) < 0.45


# --------------------------------------------------------------------------- refusals
def test_one_clean_white_is_enough() -> None:
    white = LAYOUT.nominal_linear.min(axis=1) >= SETTINGS.white_reflectance_min
    assert np.count_nonzero(white) >= 2
    white[np.flatnonzero(white)[0]] = False
    swatches, paper = shoot()
    assert fit((replace(swatches, clipped=white.astype(float)), paper)).de00_median < 0.3


def test_too_few_clean_swatches_are_poor_colour() -> None:
    swatches, paper = shoot()
    hidden = np.arange(COUNT) >= SETTINGS.swatches_min - 1
    assert refusal(replace(swatches, spread=np.where(hidden, 0.6, 0.02)), paper) == "poor_colour"


def test_colours_that_no_correction_explains_are_poor_colour() -> None:
    swatches, paper = shoot()
    mixed = swatches.linear[np.random.default_rng(5).permutation(COUNT)]
    assert refusal(replace(swatches, linear=mixed), paper) == "poor_colour"


def filtered(share: float) -> tuple[SwatchReadings, SwatchReadings]:
    """Readings whose colours a filter took down to a share of their strength."""
    swatches, paper = shoot()
    white = swatches.linear.max(axis=0)
    grey = (swatches.linear / white).mean(axis=1, keepdims=True) * white
    return replace(swatches, linear=grey + share * (swatches.linear - grey)), paper


def test_the_stretch_of_colours_is_what_a_filter_took_away() -> None:
    whole, half = (colour_stretch(fit(readings).matrix) for readings in (shoot(), filtered(0.5)))
    assert half / whole == pytest.approx(2.0, rel=0.05)


def test_colours_that_a_filter_took_away_are_poor_colour() -> None:
    assert refusal(*filtered(0.05)) == "poor_colour"


def test_slopes_of_a_bent_tone_curve_are_those_of_small_steps() -> None:
    rng = np.random.default_rng(3)
    encoded, tone, step = rng.uniform(0.01, 1.0, (60, 3)), rng.normal(0.0, 0.1, (3, 2)), 1e-6
    slopes = unbend_slopes(encoded, tone)
    for bend in range(2):
        up, down = (tone + way * step * np.eye(2)[bend] for way in (1.0, -1.0))
        stepped = (np.log(unbend(encoded, up)) - np.log(unbend(encoded, down))) / (2.0 * step)
        np.testing.assert_allclose(slopes[..., bend], stepped, rtol=1e-5, atol=1e-6)


def test_slopes_of_the_map_and_of_its_veil_are_those_of_small_steps(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    heard: list[tuple[Callable[[np.ndarray], np.ndarray], ...]] = []

    def listen(residuals, slopes, start, *, scale):  # type: ignore[no-untyped-def]
        heard.append((residuals, slopes))
        return minimise(residuals, slopes, start, scale=scale)

    monkeypatch.setattr("jarvision.vision.colour.fit.minimise", listen)
    fit(shoot())
    ((residuals, slopes),) = heard
    at = np.eye(3, 4).ravel() * 0.8 + np.random.default_rng(5).normal(0.0, 0.02, 12) + 0.03
    steps = 1e-6 * np.eye(12)
    stepped = np.column_stack([(residuals(at + s) - residuals(at - s)) / 2e-6 for s in steps])
    np.testing.assert_allclose(slopes(at), stepped, rtol=1e-4, atol=1e-3)
    offsets = np.flatnonzero(stepped[-3:].any(axis=0))
    assert offsets.tolist() == [3, 7, 11]
