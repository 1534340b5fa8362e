"""The colour fit on measured cameras and lamps: ``python -m tests.accuracy.colour_limits``.

Camera sensitivities and illuminants are colour-science's; the card's swatches get the smooth
reflectances that its Jakob and Hanika (2019) recovery finds for their nominal colours. Nothing is
rendered: no gradient, no tone curve, no glare. What is left is what three sensor channels cannot
know about a spectrum. Swatches are left out in turn, six folds.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import colour
import numpy as np

from jarvision.base.colourspace import delta_e_2000, linear_to_lab, xyz_to_linear
from jarvision.records import FloatArray, SwatchReadings
from jarvision.settings.colour import ColourSettings
from jarvision.vision.calibration.values import CardValues
from jarvision.vision.card.layout import CardLayout, load_layout
from jarvision.vision.colour.fit import fit_colour
from jarvision.vision.colour.light import paper_layout

LIGHTS = ("D65", "A", "FL2", "FL11", "LED-B3")
SHAPE = colour.SpectralShape(400, 700, 10)
FOLDS = 6
SIGNAL_OF_WHITE = 0.8
OPEN = ColourSettings(residual_max_de=float("inf"))


@dataclass(frozen=True)
class Limit:
    """Median CIEDE2000 of left-out swatches, noise-free and with 2 % noise."""

    camera: int
    light: str
    clean: float
    noisy: float


def reflectances(layout: CardLayout) -> FloatArray:
    """``(n, wavelengths)`` smooth reflectances of the swatches."""
    d65 = colour.SDS_ILLUMINANTS["D65"]
    xyz = colour.Lab_to_XYZ(layout.nominal_lab, colour.CCS_ILLUMINANTS[
        "CIE 1931 2 Degree Standard Observer"]["D65"])  # fmt: skip
    rows = []
    for value in xyz:
        recovered = colour.recovery.XYZ_to_sd_Jakob2019(value, illuminant=d65)
        rows.append(recovered.copy().align(SHAPE).values)
    return np.asarray(rows)


def true_linear(spectra: FloatArray) -> FloatArray:
    """Linear sRGB of the reflectances under D65."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
    lamp = colour.SDS_ILLUMINANTS["D65"].copy().align(SHAPE).values
    white = lamp @ observer[:, 1]
    xyz = (spectra * lamp) @ observer / white
    scale = np.array([0.95047, 1.0, 1.08883]) / (lamp @ observer / white)
    return xyz_to_linear(xyz * scale)


def limits() -> Iterator[Limit]:
    """The fit's held-out error for every camera and light."""
    layout = load_layout()
    spectra = reflectances(layout)
    truth = true_linear(spectra)
    for number, camera in enumerate(colour.MSDS_CAMERA_SENSITIVITIES.values()):
        curves = camera.copy().align(SHAPE).values
        for light in LIGHTS:
            lamp = colour.SDS_ILLUMINANTS[light].copy().align(SHAPE).values
            white = lamp @ curves
            raw = SIGNAL_OF_WHITE * (spectra * lamp) @ curves / white
            rng = np.random.default_rng(5)
            noisy = raw * (1.0 + 0.02 * rng.standard_normal(raw.shape))
            yield Limit(
                number, light, _held_out(raw, truth, layout), _held_out(noisy, truth, layout)
            )


def _held_out(raw: FloatArray, truth: FloatArray, layout: CardLayout) -> float:
    spots = paper_layout(layout)
    paper = _readings(spots, np.full((len(spots.swatches), 3), SIGNAL_OF_WHITE))
    values = CardValues(truth, "measured", 0.0)
    fold = np.random.default_rng(3).permutation(len(raw)) % FOLDS
    error = np.empty(len(raw))
    for number in range(FOLDS):
        out = fold == number
        readings = _readings(layout, raw)
        hidden = replace(readings, spread=np.where(out, np.inf, readings.spread))
        fit = fit_colour(hidden, paper, layout=layout, settings=OPEN, values=values)
        error[out] = fit.de00[out]
    return float(np.median(error))


def _readings(layout: CardLayout, linear: FloatArray) -> SwatchReadings:
    zeros = np.zeros(len(linear))
    return SwatchReadings(layout.names, np.clip(linear, 0.0, 1.0), zeros, zeros)


def main() -> None:
    """Print the table."""
    truth = true_linear(reflectances(load_layout()))
    off = delta_e_2000(linear_to_lab(truth), load_layout().nominal_lab)
    print(f"recovered spectra are off their colours by {np.median(off):.2f} CIEDE2000 (median)")
    for row in limits():
        print(f"camera {row.camera} {row.light:7s} {row.clean:.2f}, with 2 % noise {row.noisy:.2f}")


if __name__ == "__main__":
    main()
