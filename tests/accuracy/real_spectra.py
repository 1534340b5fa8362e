"""Which fit, on measured cameras, lamps and materials: ``python -m tests.accuracy.real_spectra``.

Camera sensitivities, illuminants and the 99 colour evaluation samples of CIE 224:2017 (measured
natural things, skin, cloth, paints, plastics, prints) are colour-science's. Each swatch of the card
gets the sample that is nearest to its colour; greys are flat or tilted spectra. A camera balances
white with an error, has a matrix of its own, clips, bends its tones, rounds to 8 bits. Light falls
off over the card, and real textures (scikit-image) lie over it as dirt and shade do. The samples
that are not on the card say how well a fit meets other colours: nothing of them is fitted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import product

import colour
import numpy as np
from colour.quality.cfi2017 import load_TCS_CIE2017
from scipy import ndimage
from scipy.optimize import least_squares

from jarvision.base.colourspace import (
    WHITE_D65,
    delta_e_2000,
    linear_to_lab,
    srgb_decode,
    srgb_encode,
    xyz_to_linear,
)
from jarvision.base.spectra import reflectance_to_xyz
from jarvision.records import BoolArray, FloatArray, SwatchReadings
from jarvision.settings.colour import ColourSettings
from jarvision.vision.card.layout import CardLayout, load_layout
from jarvision.vision.colour.light import LightFit, field_terms, fit_light, paper_layout, unbend

DAYLIGHT = ("D65", "D50", "D75")
LAMPS = ("A", "FL2", "FL11", "LED-B1", "LED-B3", "LED-B5")
TEXTURES = ("grass", "gravel", "brick")
CURVES = (0.0, 0.35, 0.6)
"""Share of a smooth S in the tone curve."""

NM = np.arange(400.0, 701.0, 5.0)
SHAPE = colour.SpectralShape(400, 700, 5)
FOLDS = 6
LAYOUT = load_layout()
SPOTS = paper_layout(LAYOUT)
GREY = np.array([s.role == "grey" for s in LAYOUT.swatches])


@dataclass(frozen=True)
class Shot:
    """What a camera saw of the card, and of the samples that are not on it (encoded)."""

    swatches: SwatchReadings
    paper: SwatchReadings
    truth: FloatArray
    others: FloatArray
    others_truth: FloatArray


# --------------------------------------------------------------------------- surfaces
@cache
def materials() -> FloatArray:
    """``(99, n)`` reflectances of the colour evaluation samples."""
    full = load_TCS_CIE2017(colour.SpectralShape(380, 780, 5))
    return np.asarray(full.values[np.isin(full.wavelengths, NM)].T)


def linear_of(spectra: FloatArray) -> FloatArray:
    """Linear sRGB under D65."""
    white = reflectance_to_xyz(NM, np.ones(NM.size), light="D65")
    xyz = reflectance_to_xyz(NM, spectra, light="D65")
    return xyz_to_linear(xyz * (WHITE_D65 / white))


def card_and_others(tilt: float) -> tuple[FloatArray, FloatArray]:
    """Spectra of the swatches and of the samples left over; ``tilt`` tints the greys."""
    lab = linear_to_lab(linear_of(materials()))
    free = np.ones(len(lab), dtype=bool)
    rows = []
    for swatch, wanted in zip(LAYOUT.swatches, LAYOUT.nominal_lab, strict=True):
        if swatch.role == "grey":
            level = float(LAYOUT.nominal_linear[LAYOUT.swatches.index(swatch)].mean())
            rows.append(level * np.exp(tilt * (1.0 - level) * (NM - 550.0) / 150.0))
            continue
        off = np.where(free, delta_e_2000(lab, np.tile(wanted, (len(lab), 1))), np.inf)
        chosen = int(np.argmin(off))
        free[chosen] = False
        rows.append(materials()[chosen])
    inside = linear_of(materials()).min(axis=1) > 0.0  # sRGB can show it
    return np.array(rows), materials()[free & inside]


# --------------------------------------------------------------------------- cameras
def shoot(seed: int, *, camera: int, lamp: str, curve: float, tilt: float) -> Shot:
    """One photo."""
    rng = np.random.default_rng([seed, camera])
    curves = list(colour.MSDS_CAMERA_SENSITIVITIES.values())[camera].copy().align(SHAPE).values
    card, others = card_and_others(tilt)
    to_srgb = _camera_matrix(curves) * np.exp(rng.normal(0.0, 0.06, 3))  # white balance error
    gain = rng.uniform(0.55, 0.85)
    field = np.concatenate([rng.normal(0.0, 0.2, 2), rng.normal(-0.08, 0.08, 2), [0.0]])

    def see(spectra: FloatArray, light: FloatArray | float) -> FloatArray:
        power = colour.SDS_ILLUMINANTS[lamp].copy().align(SHAPE).values
        raw = (spectra * power) @ curves / (power @ curves)
        linear = np.clip(gain * light * raw @ to_srgb.T + 0.004, 0.0, 1.0)  # a veil of 0.4 %
        e = srgb_encode(linear)
        bent = (1.0 - curve) * e + curve * e * e * (3.0 - 2.0 * e)
        return np.asarray(np.rint(255.0 * bent) / 255.0)

    def read(layout: CardLayout, spectra: FloatArray) -> SwatchReadings:
        light = np.exp(field_terms(layout.centres_mm, layout) @ field) * _texture(rng, layout)
        linear = srgb_decode(see(spectra, light[:, None]))
        nothing = np.zeros(len(linear))
        clipped = (linear.max(axis=1) >= 1.0).astype(float)
        return SwatchReadings(layout.names, linear, nothing, clipped)

    paper = np.tile(0.88 * (1.0 - 0.1 * np.exp(-(NM - 400.0) / 25.0)), (len(SPOTS.swatches), 1))
    return Shot(
        read(LAYOUT, card), read(SPOTS, paper), linear_of(card), see(others, 1.0), linear_of(others)
    )


def _camera_matrix(curves: FloatArray) -> FloatArray:
    """Balanced camera signal to linear sRGB, least squares in D65, white kept."""
    d65 = colour.SDS_ILLUMINANTS["D65"].copy().align(SHAPE).values
    raw = (materials() * d65) @ curves / (d65 @ curves)
    rgb = linear_of(materials())
    free = np.linalg.lstsq(raw[:, :2] - raw[:, 2:], rgb - raw[:, 2:], rcond=None)[0].T
    return np.column_stack([free, 1.0 - free.sum(axis=1)])


def _texture(rng: np.random.Generator, layout: CardLayout) -> FloatArray:
    """Light at each place, of mean 1 and 2 % spread, from a real texture."""
    from skimage import data

    image = np.asarray(getattr(data, str(rng.choice(TEXTURES)))(), dtype=np.float64)
    smooth = ndimage.uniform_filter(image, 24)
    size = np.array([layout.width_mm, layout.height_mm])
    places = layout.centres_mm[:, ::-1] / size[::-1] * (np.array(smooth.shape) - 1)
    seen = ndimage.map_coordinates(smooth, places.T, order=1)
    return np.exp(0.02 * (seen - smooth.mean()) / smooth.std())


# --------------------------------------------------------------------------- fits
Mapping = Callable[[FloatArray], FloatArray]


def linear_terms(rgb: FloatArray) -> FloatArray:
    """``(n, 3)``."""
    return rgb


def offset_terms(rgb: FloatArray) -> FloatArray:
    """``(n, 4)``."""
    return np.column_stack([rgb, np.ones(len(rgb))])


def root_terms(rgb: FloatArray) -> FloatArray:
    """Degree 2 of Finlayson, Mackiewicz and Hurlbert 2015, ``(n, 6)``."""
    r, g, b = np.clip(rgb, 0.0, None).T
    return np.column_stack([rgb, np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)])


MODELS = {"3x3": linear_terms, "3x3 with offset": offset_terms, "root-polynomial": root_terms}


def fit_map(even: FloatArray, truth: FloatArray, terms: Mapping, veil_sd: float) -> FloatArray:
    """``(3, terms)``: as the package fits, relative least squares, then robust in CIELAB."""
    full = terms(even)
    weight = 1.0 / (truth.mean(axis=1, keepdims=True) + 0.05)
    start, *_ = np.linalg.lstsq(full * weight, truth * weight, rcond=None)
    target = linear_to_lab(truth)

    def residuals(flat: FloatArray) -> FloatArray:
        matrix = flat.reshape(3, -1)
        off = (linear_to_lab(full @ matrix.T) - target).ravel()
        return np.concatenate([off, matrix[:, 3] / veil_sd]) if matrix.shape[1] == 4 else off

    scale = ColourSettings().swatch_scale_de
    found = least_squares(residuals, start.T.ravel(), loss="soft_l1", f_scale=scale, max_nfev=30)
    return np.asarray(found.x.reshape(3, -1))


def light_of(shot: Shot, out: BoolArray, settings: ColourSettings | None) -> LightFit:
    """Light and tone of a shot, fitted without the swatches ``out``; none: neither is fitted."""
    if settings is None:
        return LightFit(np.zeros((3, 2)), np.zeros((3, 5)), np.ones(3))
    usable = ~out & (shot.swatches.clipped == 0.0)
    return fit_light(
        shot.swatches, shot.paper, usable=usable, reference=shot.truth, layout=LAYOUT,
        settings=settings,
    )  # fmt: skip


FLAT = replace(ColourSettings(), tone_sd=1e-6)
LIGHTS = {"nothing": None, "light": FLAT, "light and tone": ColourSettings()}


def errors(shot: Shot, before: str, model: str) -> tuple[float, float, float]:
    """Medians of CIEDE2000 of left-out swatches and of other colours, and the latter's 95 %."""
    terms, settings = MODELS[model], LIGHTS[before]
    fold = np.random.default_rng(3).permutation(GREY.size) % FOLDS
    off = np.full(GREY.size, np.nan)
    for number in range(FOLDS):
        out = fold == number
        light = light_of(shot, out, settings)
        even = light.even(shot.swatches.linear, LAYOUT.centres_mm, LAYOUT)
        fit = ~out & (shot.swatches.clipped == 0.0)
        matrix = fit_map(even[fit], shot.truth[fit], terms, ColourSettings().veil_sd)
        found = linear_to_lab(terms(even[out]) @ matrix.T)
        off[out] = delta_e_2000(found, linear_to_lab(shot.truth[out]))
    light = light_of(shot, np.zeros(GREY.size, dtype=bool), settings)
    fit = shot.swatches.clipped == 0.0
    even = light.even(shot.swatches.linear, LAYOUT.centres_mm, LAYOUT)
    matrix = fit_map(even[fit], shot.truth[fit], terms, ColourSettings().veil_sd)
    seen = unbend(shot.others, light.tone) / light.gain
    found = linear_to_lab(terms(seen) @ matrix.T)
    unburnt = shot.others.max(axis=1) < 1.0
    other = delta_e_2000(found, linear_to_lab(shot.others_truth))[unburnt]
    return float(np.nanmedian(off)), float(np.median(other)), float(np.quantile(other, 0.95))


def shots(lamps: tuple[str, ...], *, tilt: float = 0.0, times: int = 2) -> Iterator[Shot]:
    """Photos of every camera, lamp and tone curve."""
    for seed, camera, lamp, curve in product(range(times), range(2), lamps, CURVES):
        yield shoot(seed, camera=camera, lamp=lamp, curve=curve, tilt=tilt)


def main() -> None:
    """Print the table."""
    for name, lamps in (("daylight", DAYLIGHT), ("lamps", LAMPS)):
        seen = list(shots(lamps))
        for before, model in product(LIGHTS, MODELS):
            table = np.array([errors(shot, before, model) for shot in seen])
            out, other, worst = np.median(table, axis=0)
            print(
                f"{name:8s} {before:14s} {model:16s} swatches left out {out:.2f}, "
                f"other colours {other:.2f}, 95 % {worst:.2f}"
            )


if __name__ == "__main__":
    main()
