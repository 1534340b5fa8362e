"""Spectral reflectance -> XYZ, for the 2 degree observer of CIE 1931.

``spectra.csv`` holds the observer's colour-matching functions (CIE 018:2019; ISO/CIE 11664-1) and
the relative powers of D50 and D65 (ISO/CIE 11664-2), 380 to 780 nm in steps of 5 nm, copied from
``colour-science`` 0.4.7 and checked against it in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from jarvision.records import FloatArray

Illuminant = Literal["D50", "D65"]

NEEDED_NM = (400.0, 700.0)
"""What must be measured at least: beyond, the observer sees 0.2 % of the light of a white."""

LARGEST_STEP_NM = 20.0
"""Largest distance between two wavelengths: ASTM E308 has weights for 10 and 20 nm."""

SMALLEST_NM, LARGEST_NM = 200.0, 2600.0
"""Numbers beyond are no wavelengths of light on paper, nm."""


@dataclass(frozen=True)
class _Tables:
    """Wavelengths ``(81,)`` nm, colour-matching functions ``(81, 3)``, powers ``(81,)``."""

    nm: FloatArray
    observer: FloatArray
    power: dict[Illuminant, FloatArray]


@cache
def _tables() -> _Tables:
    text = files("jarvision.base").joinpath("spectra.csv").read_text(encoding="ascii")
    rows = np.array([line.split(",") for line in text.split()[1:]], dtype=np.float64)
    return _Tables(rows[:, 0], rows[:, 1:4], {"D50": rows[:, 4], "D65": rows[:, 5]})


def wavelength_fault(nm: FloatArray) -> str:
    """What keeps rising wavelengths ``(n,)`` from being used; empty when nothing does."""
    low, high = NEEDED_NM
    if nm.size == 0 or nm[0] > low or nm[-1] < high:
        span = f"{nm[0]:g} to {nm[-1]:g} nm" if nm.size else "nothing"
        return f"spectra of {span}: at least {low:g} to {high:g} nm are needed"
    steps = np.diff(nm)
    if steps.min() <= 0.0:
        return f"{nm[1:][steps <= 0.0][0]:g} nm stands twice"
    if steps.max() > LARGEST_STEP_NM:
        after = nm[:-1][steps > LARGEST_STEP_NM][0]
        return (
            f"no value for {steps.max():g} nm after {after:g} nm: "
            f"a step of at most {LARGEST_STEP_NM:g} nm is needed"
        )
    return ""


def reflectance_to_xyz(nm: ArrayLike, reflectance: ArrayLike, *, light: Illuminant) -> FloatArray:
    """XYZ of surfaces, Y = 1 for the perfect white.

    A cubic spline brings the reflectance to steps of 5 nm (CIE 167:2005 allows it); what was not
    measured at the ends takes the outermost value (ASTM E308, 7.3); then the sums of CIE 15:2018,
    7.1. No correction for the instrument's bandpass. Standards from memory.

    Parameters
    ----------
    nm
        Rising wavelengths ``(n,)`` that :func:`wavelength_fault` finds no fault with.
    reflectance
        ``(..., n)``, 1 for the perfect white.

    Raises
    ------
    ValueError
        The wavelengths cannot be used.
    """
    from scipy.interpolate import CubicSpline

    tables = _tables()
    measured = np.asarray(nm, dtype=np.float64)
    if fault := wavelength_fault(measured):
        raise ValueError(fault)
    inside = np.clip(tables.nm, measured[0], measured[-1])
    smooth = CubicSpline(measured, np.asarray(reflectance, dtype=np.float64), axis=-1)(inside)
    weights = tables.power[light][:, None] * tables.observer
    return np.asarray(smooth @ weights / weights[:, 1].sum())
