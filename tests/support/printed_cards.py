"""Made-up printers and phones: what becomes of the card's colours, with the truth known.

Inks follow Beer and Lambert: optical densities add up, each ink takes most of one channel and a
little of the others. Phones have a colour matrix, a liking for vivid colours, a white balance, an
exposure and a tone curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import SwatchReadings
from jarvision.vision.calibration.as_printed import CardSight
from jarvision.vision.card.layout import CardLayout

# density of the red, green and blue channel for unit amounts of cyan, magenta, yellow
ABSORPTION = np.array([[1.0, 0.12, 0.02], [0.25, 1.0, 0.10], [0.08, 0.30, 1.0]])
PAPER = np.array([0.86, 0.87, 0.90])  # brightened paper is a little blue
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
BLACK = 3


@dataclass(frozen=True)
class Print:
    """Linear sRGB of the printed swatches ``(n, 3)`` and of the paper; perfect white is 1."""

    swatches: np.ndarray
    paper: np.ndarray


def print_card(
    layout: CardLayout, seed: int, *, faults: float = 1.0, black: float = 0.7, empty: int = -1
) -> Print:
    """Print the card on a made-up printer.

    ``faults`` scales its errors, ``black`` is the share of the grey that black ink makes, and
    ``empty`` the ink that has run out: 0 to 2 for cyan, magenta, yellow, 3 for black.
    """
    rng = np.random.default_rng([seed, 1])
    density = -np.log10(np.clip(layout.nominal_linear, 1e-3, 1.0))
    grey = density.min(axis=1, keepdims=True) * black
    amounts = np.maximum(np.linalg.solve(ABSORPTION, (density - grey).T).T, 0.0)
    amounts = amounts ** np.exp(rng.normal(0.0, 0.08 * faults))
    amounts *= np.exp(rng.normal(-0.05 * faults, 0.12 * faults, 3))
    inks = ABSORPTION + rng.normal(0.0, 0.05 * faults, (3, 3)) * (1.0 - np.eye(3))
    grey = grey * np.exp(rng.normal(0.0, 0.08 * faults))
    if empty == BLACK:
        grey = grey * 0.0
    elif empty >= 0:
        amounts[:, empty] = 0.0
    return Print(10.0 ** -(amounts @ inks.T + grey) * PAPER, PAPER)


def photograph(printed: Print, seed: int, *, shot: int = 0) -> CardSight:
    """Photograph it with a made-up phone in daylight; ``shot`` changes the noise and exposure."""
    rng = np.random.default_rng([seed, 2])
    vivid = rng.uniform(0.95, 1.2)
    matrix = np.eye(3) + rng.normal(0.0, 0.04, (3, 3))
    matrix = (vivid * np.eye(3) + (1.0 - vivid) * np.ones((3, 1)) * LUMINANCE) @ matrix
    matrix /= matrix.sum(axis=1, keepdims=True)
    contrast = rng.uniform(0.85, 1.25)
    moment = np.random.default_rng([seed, 3, shot])
    gain = np.exp(moment.normal(0.0, 0.1, 3)) * moment.uniform(0.5, 0.9)

    def seen(linear: np.ndarray) -> np.ndarray:
        return (np.clip(linear @ matrix.T, 1e-4, None) * gain) ** contrast

    noise = np.exp(moment.normal(0.0, 0.01, printed.swatches.shape))
    swatches = seen(printed.swatches) * noise
    count = len(swatches)
    readings = SwatchReadings(("",) * count, swatches, np.zeros(count), np.zeros(count))
    return CardSight(readings=readings, even=swatches, paper=seen(printed.paper))
