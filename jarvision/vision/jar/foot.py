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
) -> Foot | None:
    """Find the foot below a height; None where the photo does not show it, or not clearly."""
    ys = np.asarray(from_y_mm + _STEP_MM * np.arange(round(settings.foot_reach_mm / _STEP_MM)))
    change, inside = _arcs(photo, glass, viewpoint, ys)
    whole = inside.mean(axis=1) >= _INSIDE_SHARE
    rows = int(whole.argmin()) if not whole.all() else whole.size  # the photo ends below them
    if rows * _STEP_MM < settings.foot_arcs_mm:
        return None
    change = change[:rows]
    change[~inside[:rows]] = 0.0
    row = _lowest(_profile(change), settings=settings)
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
    across, down = np.meshgrid(angles, ys_mm)
    pixels = viewpoint.project(glass.outer_points(across, down)).astype(np.float32)
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
    """Row of the lowest arc of the strongest stack; None where no stack stands out.

    A line of the table, or a label's edge, may be as lively as an arc, but stands alone.
    """
    stack = round(settings.foot_arcs_mm / _STEP_MM)
    power = np.convolve(profile**2, np.ones(stack), mode="valid")
    first = int(power.argmax())
    apart = np.concatenate([power[: max(0, first - stack)], power[first + stack :]])
    if apart.size and power[first] < settings.foot_over_others * apart.max():
        return None
    below = first + stack + round(settings.foot_below_mm / _STEP_MM)
    arcs = profile[first : min(below, profile.size - round(settings.foot_free_mm / _STEP_MM))]
    if not arcs.size:
        return None
    quiet = settings.foot_over_quiet * float(np.quantile(profile, _QUIET_SHARE))
    clear = arcs >= max(settings.foot_change_min, quiet, settings.foot_share * float(arcs.max()))
    if not clear.any():
        return None
    low = int(np.flatnonzero(clear)[-1])
    rising = np.flatnonzero(np.diff(arcs[: low + 1]) >= 0.0)  # the last one ends at the peak's top
    return first + (int(rising[-1]) + 1 if rising.size else 0)


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
