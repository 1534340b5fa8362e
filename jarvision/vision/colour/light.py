"""The light across the card, and the camera's tone curve, from bare paper and greys.

Bare paper shows at four strips all the way down the card, whatever the printer did: it says how
the light varies over the card (a lamp at one side, a lens that darkens its corners, a tint from a
second lamp). The greys say how the camera bends its signal. Both are fitted together, since a
bent signal flattens a gradient. So is the sheen of the print, a little white light that its surface
mirrors, more on the side of the lamp: it lifts the dark greys, and without it the tone curve would
have to. It is the card's alone, so it is not taken from the jar.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from jarvision.base.colourspace import srgb_decode, srgb_encode
from jarvision.records import BoolArray, FloatArray, SwatchReadings
from jarvision.settings.colour import ColourSettings
from jarvision.vision.card.layout import CardLayout, Swatch
from jarvision.vision.colour.robust import minimise

_SPOT_MM = (1.6, 4.0)
"""Width and height of a paper spot: the strips beside the swatches are 3 to 9 mm wide."""

_SPOTS_DOWN = 12
_DARKEST_ENCODED = 3e-3
_DARKEST = 1e-3
"""Linear value that no printed grey falls below."""

_UNKNOWNS = 22
_SHEEN = 19
_LOG_SD = 0.03
"""Usual relative error of a reading: print, paper and shading (3 %)."""


@dataclass(frozen=True)
class LightFit:
    """Log light over the card and the tone curve, per channel.

    Attributes
    ----------
    tone
        ``(3, 2)`` bends of the camera's encoded signal; 0 is the plain sRGB curve.
    field
        ``(3, 5)`` log light over the card on :func:`field_terms`; 0 at the card's middle.
    gain
        ``(3,)`` signal of a perfect white at the card's middle.
    sheen
        What the surface of the print mirrors at the card's middle, as a share of white.
    sheen_slope
        Growth of its logarithm from there to the right and to the lower side.
    """

    tone: FloatArray
    field: FloatArray
    gain: FloatArray
    sheen: float = 0.0
    sheen_slope: tuple[float, float] = (0.0, 0.0)

    def even(self, linear: FloatArray, points_mm: FloatArray, layout: CardLayout) -> FloatArray:
        """Readings ``(n, 3)`` as they would be in even light and without sheen, white 1.0."""
        terms = field_terms(points_mm, layout)
        white = np.exp(terms @ self.field.T) * self.gain
        signal = unbend(srgb_encode(np.clip(linear, 0.0, 1.0)), self.tone) / white
        return signal - self.sheen_at(terms)[:, None]

    def sheen_at(self, terms: FloatArray) -> FloatArray:
        """Share of white ``(n,)`` that is mirrored at places given by :func:`field_terms`."""
        log_growth = terms[:, :2] @ np.array(self.sheen_slope)
        return np.asarray(self.sheen * np.exp(np.clip(log_growth, -3.0, 3.0)))


@lru_cache(maxsize=4)
def paper_layout(layout: CardLayout) -> CardLayout:
    """The card with spots of bare paper in place of its swatches."""
    width, height = _SPOT_MM
    top = min(s.y_mm for s in layout.swatches)
    bottom = max(s.y_mm + s.height_mm for s in layout.swatches)
    left = min(s.x_mm for s in layout.swatches)
    middle = layout.width_mm / 2
    inner = max(s.x_mm + s.width_mm for s in layout.swatches if s.x_mm < middle)
    gap = (inner + layout.field.x_mm) / 2
    lines = (left / 2, gap, layout.width_mm - gap, layout.width_mm - left / 2)
    rows = np.linspace(top + height, bottom - height, _SPOTS_DOWN)
    spots = tuple(
        Swatch(
            x - width / 2, y - height / 2, width, height,
            name=f"paper-{x:.0f}-{y:.0f}", role="grey", lab=(100.0, 0.0, 0.0),
        )
        for x in lines
        for y in map(float, rows)
    )  # fmt: skip
    return replace(layout, swatches=spots)


def field_terms(points_mm: FloatArray, layout: CardLayout) -> FloatArray:
    """Terms of second order ``(n, 5)`` in position: -1 to 1 over the card, 0 in its middle."""
    middle = np.array([layout.width_mm, layout.height_mm]) / 2
    u, v = ((points_mm - middle) / middle).T
    return np.column_stack([u, v, u * u, v * v, u * v])


def unbend(encoded: FloatArray, tone: FloatArray) -> FloatArray:
    """Linear light ``(..., 3)`` of an encoded signal whose channels were bent by the camera.

    Two smooth bends that leave black and white in place are taken out before sRGB's decoding
    (IEC 61966-2-1): an arch and an S.
    """
    e = np.asarray(encoded, dtype=np.float64)
    arch = e * (1.0 - e)
    straight = e + tone[:, 0] * arch + tone[:, 1] * arch * (1.0 - 2.0 * e)
    return srgb_decode(np.maximum(straight, _DARKEST_ENCODED))


def unbend_slopes(encoded: FloatArray, tone: FloatArray) -> FloatArray:
    """Change ``(..., 3, 2)`` of the logarithm of :func:`unbend` with each bend."""
    e = np.asarray(encoded, dtype=np.float64)
    arch = e * (1.0 - e)
    s_shape = arch * (1.0 - 2.0 * e)
    straight = e + tone[:, 0] * arch + tone[:, 1] * s_shape
    # of log(x / 12.92) and of log(((x + 0.055) / 1.055) ^ 2.4)
    log_slope = np.where(straight <= 0.04045, 1.0 / straight, 2.4 / (straight + 0.055))
    log_slope = np.where(straight > _DARKEST_ENCODED, log_slope, 0.0)
    return np.stack([arch * log_slope, s_shape * log_slope], axis=-1)


def fit_light(
    readings: SwatchReadings,
    paper: SwatchReadings,
    *,
    usable: BoolArray,
    reference: FloatArray,
    layout: CardLayout,
    settings: ColourSettings,
) -> LightFit:
    """Fit tone curve, light and sheen together, robustly: a shadow or a thumb loses its say.

    Parameters
    ----------
    readings, paper
        Of the swatches, and of :func:`paper_layout`.
    usable
        ``(n,)`` swatches that may take part.
    reference
        ``(n, 3)`` linear values of the swatches. Those of the greys are used, channel by channel,
        since a printed grey has a tint of its own.
    """
    grey = np.array([s.role == "grey" for s in layout.swatches]) & usable
    clean = (paper.clipped <= settings.paper_clipped_max) & np.isfinite(paper.spread)
    spots = paper_layout(layout)
    terms = np.concatenate(
        [
            field_terms(layout.centres_mm[grey], layout),
            field_terms(spots.centres_mm[clean], layout),
        ]
    )
    seen = np.concatenate([readings.linear[grey], paper.linear[clean]])
    encoded = srgb_encode(np.clip(seen, 1e-5, 1.0))
    own = np.maximum(reference[grey], _DARKEST)
    level = own.mean(axis=1)
    is_paper = np.arange(len(seen)) >= len(own)
    own = np.concatenate([own, np.ones((np.count_nonzero(clean), 3))])
    trust = np.where(is_paper, settings.paper_weight, 1.0)
    trust[: level.size] = np.clip(level / settings.veil_level, 0.2, 1.0)

    weight = (trust / _LOG_SD)[:, None]
    straight = _slopes_of_light(terms, is_paper) * weight[:, :, None]
    held = _priors(settings)

    def residuals(z: FloatArray) -> FloatArray:
        fit, paper_log = _parts(z, settings)
        light = np.log(unbend(encoded, fit.tone)) - np.log(fit.gain) - terms @ fit.field.T
        sheen = np.where(is_paper, 0.0, fit.sheen_at(terms))
        known = np.log(own + sheen[:, None]) + (is_paper * paper_log)[:, None]
        return np.concatenate([((light - known) * weight).ravel(), held @ z])

    def slopes(z: FloatArray) -> FloatArray:
        fit, _ = _parts(z, settings)
        tone = unbend_slopes(encoded, fit.tone) * weight[..., None]
        whole = straight.copy()
        for band in range(3):
            whole[:, band, 2 * band : 2 * band + 2] = tone[:, band]
        sheen = np.where(is_paper, 0.0, fit.sheen_at(terms))[:, None]
        share = -sheen / (own + sheen) * weight
        whole[:, :, _SHEEN] = share * (1.0 - fit.sheen / settings.sheen_max)
        whole[:, :, _SHEEN + 1 :] = share[:, :, None] * terms[:, None, :2]
        return np.concatenate([whole.reshape(-1, _UNKNOWNS), held])

    start = np.zeros(_UNKNOWNS)
    start[6:9] = np.log(np.maximum(np.median(paper.linear, axis=0), 1e-3))
    found = minimise(residuals, slopes, start, scale=1.5, data=encoded.size, damping=1.0)
    return _parts(found, settings)[0]


def _parts(z: FloatArray, settings: ColourSettings) -> tuple[LightFit, float]:
    """What the unknowns stand for: two bends a band, three log gains, the field and its tint.

    The tint is a slope of red and of blue; then come the paper's log reflectance, the log odds of
    the sheen against the most it may be, and its slope.
    """
    tilt = np.zeros((3, 5))
    tilt[0, :2], tilt[2, :2] = z[14:16], z[16:18]
    usual, most = settings.sheen_usual, settings.sheen_max
    odds = (most - usual) / usual * np.exp(-np.clip(z[_SHEEN], -30.0, 30.0))
    light = LightFit(
        tone=z[:6].reshape(3, 2),
        field=z[9:14] + tilt,
        gain=np.exp(z[6:9]),
        sheen=float(most / (1.0 + odds)),
        sheen_slope=(float(z[_SHEEN + 1]), float(z[_SHEEN + 2])),
    )
    return light, float(z[18])


def _priors(settings: ColourSettings) -> FloatArray:
    """``(18, 22)`` the unknowns that are held, over their usual size."""
    usual = (
        (settings.tone_sd, 6), (settings.field_sd, 5), (settings.tilt_sd, 4),
        (settings.sheen_log_sd, 1), (settings.sheen_slope_sd, 2),
    )  # fmt: skip
    sd = np.repeat([size for size, _ in usual], [count for _, count in usual])
    return np.asarray(np.delete(np.eye(_UNKNOWNS), [6, 7, 8, 18], axis=0) / sd[:, None])


def _slopes_of_light(terms: FloatArray, is_paper: BoolArray) -> FloatArray:
    """Change ``(n, 3, 22)`` of the log light with the unknowns that it is linear in."""
    slopes = np.zeros((len(terms), 3, _UNKNOWNS))
    slopes[:, [0, 1, 2], [6, 7, 8]] = -1.0
    slopes[:, :, 9:14] = -terms[:, None, :]
    slopes[:, 0, 14:16] = slopes[:, 2, 16:18] = -terms[:, :2]
    slopes[is_paper, :, 18] = -1.0
    return slopes
