"""Lamp spectra: relative power over wavelength, scaled to luminance 1.

Blackbody radiators by Planck's law, CIE A, the CIE D series, CIE fluorescent (FL) and LED
illuminants, all as tabulated or computed by colour-science.
"""

from __future__ import annotations

from functools import cache

import colour
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# The range in which the simulated cameras are sensitive (their filters stop UV and IR).
FIRST_NM = 400
LAST_NM = 700
STEP_NM = 5
WAVELENGTHS_NM = np.arange(FIRST_NM, LAST_NM + 1, STEP_NM, dtype=np.float64)

DAYLIGHT = ("D50", "D55", "D65", "6000K")
WARM = ("A", "2700K", "3000K", "LED-B1", "FL12", "LED-B2")
COOL = ("FL2", "FL11", "LED-B3", "LED-B5", "LED-B4")
ALL_SPECTRA = DAYLIGHT + WARM + COOL


@cache
def _matching_functions() -> FloatArray:
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    shape = colour.SpectralShape(FIRST_NM, LAST_NM, STEP_NM)
    return np.asarray(cmfs.copy().align(shape).values, dtype=np.float64)


def matching_functions() -> FloatArray:
    """CIE 1931 2 degree colour-matching functions on ``WAVELENGTHS_NM``, shape ``(n, 3)``."""
    return _matching_functions().copy()


@cache
def _spectrum(name: str) -> FloatArray:
    shape = colour.SpectralShape(FIRST_NM, LAST_NM, STEP_NM)
    if name.endswith("K"):
        sd = colour.sd_blackbody(float(name[:-1]), shape)
    else:
        sd = colour.SDS_ILLUMINANTS[name].copy().align(shape)
    values = np.clip(np.asarray(sd.values, dtype=np.float64), 0.0, None)
    luminance = (values * _matching_functions()[:, 1]).sum()
    return values / luminance


def spectrum(name: str) -> FloatArray:
    """Spectrum of a lamp on ``WAVELENGTHS_NM``, scaled so that its sum with y-bar is 1.

    ``name`` is an illuminant name of colour-science (``A``, ``D65``, ``FL2``, ``LED-B3``) or a
    blackbody such as ``2700K``. Raises ``KeyError`` for an unknown name.
    """
    return _spectrum(name).copy()


def correlated_temperature_k(name: str) -> float:
    """Correlated colour temperature of a lamp, kelvin (McCamy 1992, from its chromaticity)."""
    xyz = _matching_functions().T @ _spectrum(name)
    xy = xyz[:2] / xyz.sum()
    return float(colour.temperature.xy_to_CCT_McCamy1992(xy))
