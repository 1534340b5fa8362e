"""The jar's own foot: the lowest edge that goes round the glass as a level circle would.

Under the contents the thick glass of a jar's bottom shows a stack of bright and dark arcs, and
where the lowest of them ends the table begins. Boards, seams and shadows of a table do not run
along that circle: seen along it, the table is quiet.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.records import BoolArray, Float32Array, FloatArray, Photo
from jarvision.settings.jar import JarSettings
from jarvision.vision.jar.glass import GlassCylinder, Viewpoint

_STEP_MM = 0.25
"""Rows of the strip in which the foot is sought: a pixel of the photo or less."""

_HALF_DEG, _COLUMNS = 50.0, 51
"""The strip goes so far round the jar: beyond, the arcs run steeply and the foot is rounded."""

_PROFILE_SHARE = 0.4
"""Most columns of an arc are lively, and so is the value that four tenths stay below."""

_QUIET_SHARE = 0.2
"""A fifth of the rows and more show the table alone."""

_INSIDE_SHARE = 0.7
"""Rows of which the photo shows less than this are not looked at."""

_BEND_REACH_MM = 6.0
"""The ends of an arc are sought so far from its middle's height."""


@dataclass(frozen=True)
class Foot:
    """The foot as the photo shows it, if the jar stands as far away as its fit says.

    Attributes
    ----------
    table_y_mm
        y of the table on which the foot stands.
    bent_mm
        How much lower on the glass the foot seems to lie at the sides than in the middle: zero
        when the camera looks down on it as steeply as its fit says.
    """

    table_y_mm: float
    bent_mm: float


def find_foot(
    photo: Photo,
    glass: GlassCylinder,
    viewpoint: Viewpoint,
    *,
    from_y_mm: float,
    settings: JarSettings,
    expected_y_mm: tuple[float, ...] = (),
) -> Foot | None:
    """Find the foot below a height; None where the photo does not show it, or not clearly.

    ``expected_y_mm`` is where the page has the table. A clear arc there, lower than the strongest,
    is the foot of a jar with a thin bottom: the others are a label's, or of layered contents.
    """
    ys = np.asarray(from_y_mm + _STEP_MM * np.arange(round(settings.foot_reach_mm / _STEP_MM)))
    change, inside = _arcs(photo, glass, viewpoint, ys)
    whole = inside.mean(axis=1) >= _INSIDE_SHARE
    rows = int(whole.argmin()) if not whole.all() else whole.size  # the photo ends below them
    if rows * _STEP_MM < settings.foot_arcs_mm:
        return None
    change = change[:rows]
    change[~inside[:rows]] = 0.0
    profile = _profile(change)
    row = _lowest(profile, settings=settings)
    for expected in expected_y_mm:
        around = (expected - settings.foot_round_mm - from_y_mm) / _STEP_MM
        row = _expected(profile, around, row, settings=settings)
    if row is None:
        return None
    return Foot(
        table_y_mm=float(ys[row]) + settings.foot_round_mm,
        bent_mm=_bend(change, row, settings=settings),
    )


def _arcs(
    photo: Photo, glass: GlassCylinder, viewpoint: Viewpoint, ys_mm: FloatArray
) -> tuple[Float32Array, BoolArray]:
    """Change of colour from row to row, and where the photo has a pixel, ``(rows, columns)``."""
    angles = np.deg2rad(np.linspace(-_HALF_DEG, _HALF_DEG, _COLUMNS))
    pixels = viewpoint.project(glass.outer_points(angles, ys_mm[:, None])).astype(np.float32)
    high, wide = photo.rgb.shape[:2]
    x, y = pixels[..., 0], pixels[..., 1]
    inside = (x >= 0) & (x <= wide - 1) & (y >= 0) & (y <= high - 1)
    seen = cv2.remap(photo.rgb, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    sharp = cv2.cvtColor(seen, cv2.COLOR_RGB2LAB).astype(np.float32)
    lab = cv2.GaussianBlur(sharp, (0, 0), sigmaX=0.8, sigmaY=1.5)
    change = np.zeros(lab.shape[:2], dtype=np.float32)
    change[1:-1] = cv2.transform(cv2.absdiff(lab[2:], lab[:-2]), np.full((1, 3), 0.5))
    return change, inside


def _profile(change: Float32Array) -> Float32Array:
    """A low percentile of the change of each row: high only where most columns are lively."""
    place = round(_PROFILE_SHARE * (change.shape[1] - 1))
    return np.asarray(np.partition(change, place, axis=1)[:, place])


def _lowest(profile: Float32Array, *, settings: JarSettings) -> int | None:
    """Row of the lowest arc of the lowest strong stack; None where none is clear.

    A line of the table may be as lively as an arc, but it stands alone.
    """
    stack = round(settings.foot_arcs_mm / _STEP_MM)
    power = np.convolve(profile**2, np.ones(stack), mode="valid")
    strong = np.flatnonzero(power >= settings.foot_power_share * power.max())
    first = int(strong[-1])
    near = profile[max(0, first - stack) : first + stack]
    share = settings.foot_share * float(near.max())
    return _last_clear(profile, (first, first + stack), least=share, settings=settings)


def _expected(
    profile: Float32Array, around: float, row: int | None, *, settings: JarSettings
) -> int | None:
    """The lowest clear arc about an expected row, if it is lower than the row that was found."""
    reach = 2.0 * settings.page_sd_mm / _STEP_MM
    part = max(0, round(around - reach)), max(0, round(around + reach) + 1)
    low = _last_clear(profile, part, least=0.0, settings=settings)
    return row if low is None or (row is not None and low < row) else low


def _last_clear(
    profile: Float32Array, part: tuple[int, int], *, least: float, settings: JarSettings
) -> int | None:
    """Row of the lowest clear arc between two rows, the top of its peak."""
    end = min(part[1], profile.size - round(settings.foot_free_mm / _STEP_MM))
    quiet = settings.foot_over_quiet * float(np.quantile(profile, _QUIET_SHARE))
    least = max(least, settings.foot_change_min, quiet)
    clear = np.flatnonzero(profile[part[0] : max(part[0], end)] >= least)
    if not clear.size:
        return None
    low = part[0] + int(clear[-1])
    rising = np.flatnonzero(np.diff(profile[: low + 1]) >= 0.0)
    return int(rising[-1]) + 1 if rising.size else low


def _bend(change: Float32Array, row: int, *, settings: JarSettings) -> float:
    """How much lower the arcs lie in the outer thirds than in the middle, mm: where they agree."""
    reach, stack = (round(mm / _STEP_MM) for mm in (_BEND_REACH_MM, settings.foot_arcs_mm))
    near = change[max(0, row - stack - reach) : row + 2 * reach]
    third = _COLUMNS // 3
    middle = _profile(np.ascontiguousarray(near[:, third:-third]))[reach:-reach]
    lags = []
    for part in (slice(0, third), slice(-third, None)):
        side = _profile(np.ascontiguousarray(near[:, part]))
        lags.append(int(np.correlate(side, middle, mode="valid").argmax()) - reach)
    return float(np.mean(lags)) * _STEP_MM
