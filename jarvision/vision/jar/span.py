"""What hides the card's centre field: that there is a jar, roughly where, and whether only one."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from jarvision.base.errors import PhotoRefusedError
from jarvision.base.statistics import median
from jarvision.records import BoolArray, ByteArray, ColourFit, Float32Array, FloatArray
from jarvision.settings.jar import JarSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.colour.light import field_terms
from jarvision.vision.jar.plane_view import PX_PER_MM, PlaneView, Window, blueness

_COARSE_PX = 8
"""The light changes little from one such step to the next: it is worked out once in each."""


@dataclass(frozen=True)
class Span:
    """Where a jar hides the field, card-plane x in mm, and how far it is to what stands beside it.

    ``free_mm`` holds the free field to the left and right: infinite where it ends at the field's
    border or nothing else stands there.
    """

    left_mm: float
    right_mm: float
    free_mm: tuple[float, float] = (np.inf, np.inf)


def hidden_field(
    view: PlaneView, colour: ColourFit, *, layout: CardLayout, settings: JarSettings
) -> BoolArray:
    """Where something hides the card's centre field, ``(rows, cols)`` of the view."""
    window = _field_window(view, layout)
    sharp = blueness(view.rgb(window), colour)
    sharp -= _light_blueness(view, window, colour, layout)
    blue = np.asarray(cv2.GaussianBlur(sharp, (0, 0), settings.smooth_px), dtype=np.float32)
    side = settings.close_px
    close = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    covered = (blue < _field_edge(blue, settings=settings)).astype(np.uint8)
    hidden = np.zeros(view.shape, dtype=np.bool_)
    hidden[window] = cv2.morphologyEx(covered, cv2.MORPH_CLOSE, close)
    return hidden


def _light_blueness(
    view: PlaneView, window: Window, colour: ColourFit, layout: CardLayout
) -> Float32Array:
    """How much bluer the light is than in the card's middle, by the card's bare paper.

    Between a warm lamp and a cool window white on the one side may be as blue as the field on the
    other.
    """
    sides = [part.stop - part.start for part in window]
    rows, cols = (
        part.start + (np.arange(0.0, side, _COARSE_PX) + (_COARSE_PX - 1) / 2)
        for part, side in zip(window, sides, strict=True)
    )
    grid = np.stack(np.meshgrid(view.x_mm(cols), view.y_mm(rows)), axis=-1)
    red, green, blue = (field_terms(grid.reshape(-1, 2), layout) @ colour.light_field.T).T
    bluer = (blue - (red + green) / 2.0).astype(np.float32).reshape(grid.shape[:2])
    full = (bluer.shape[1] * _COARSE_PX, bluer.shape[0] * _COARSE_PX)
    return np.asarray(cv2.resize(bluer, full), dtype=np.float32)[: sides[0], : sides[1]]


def _field_window(view: PlaneView, layout: CardLayout) -> Window:
    field = layout.field
    heights = (field.y_mm, field.y_mm + field.height_mm)
    return view.window(heights, (field.x_mm, field.x_mm + field.width_mm))


def jar_span(
    view: PlaneView, hidden: BoolArray, *, layout: CardLayout, settings: JarSettings
) -> Span:
    """Where the jar in front of the card hides the field.

    Of several things of a jar's size the one nearest to the card's middle is meant.

    Raises
    ------
    PhotoRefusedError
        ``no_jar`` when nothing of a jar's size does, ``two_jars`` when two stand equally near to
        the middle, or touch.
    """
    rows, cols = _field_window(view, layout)
    covered = hidden[rows, cols].astype(np.uint8)
    labels, stats, centre_x = _things(covered, settings=settings)
    middle = view.column(layout.centre_mm[0]) - cols.start
    off_mm = np.abs(centre_x - middle) / PX_PER_MM
    low = stats[:, cv2.CC_STAT_TOP] + stats[:, cv2.CC_STAT_HEIGHT] > covered.shape[0] / 2
    areas = np.where(low, stats[:, cv2.CC_STAT_AREA], 0)
    areas[0] = 0
    near = np.where(off_mm < settings.off_centre_mm, areas, 0)
    least = settings.contents_min_cm2 * 100 * PX_PER_MM**2
    biggest = near.max() if near.max() >= least else areas.max()
    alike = np.flatnonzero(areas >= max(least, settings.alike_share * biggest))
    alike = alike[np.argsort(off_mm[alike])]
    stacked = _over_one_another(stats, alike)
    beside = alike[~stacked]
    if beside.size and off_mm[beside[0]] - off_mm[alike[0]] < settings.apart_mm:
        raise PhotoRefusedError("two_jars", "two jars stand about equally near to the middle")
    if near.max() < least:
        raise PhotoRefusedError("no_jar", "nothing of a jar's size hides the card's centre field")
    bottoms = stats[:, cv2.CC_STAT_TOP] + stats[:, cv2.CC_STAT_HEIGHT]
    stack = alike[stacked]
    lowest = int(stack[bottoms[stack].argmax()])  # a lid stands above its contents
    jar = labels == lowest
    if _lids_above(stats, lowest, settings=settings) > 1:
        raise PhotoRefusedError("two_jars", "two lids were seen above what stands there")
    wide = _row_sums(jar)
    body = jar[wide >= 0.8 * np.percentile(wide[wide > 0], 90)]
    first = median(body.argmax(axis=1))
    last = median(body.shape[1] - 1 - body[:, ::-1].argmax(axis=1))
    big = np.flatnonzero(areas >= least / 2)
    big = np.setdiff1d(big, stack)
    others = np.isin(labels, big) if big.size else np.zeros_like(jar)
    return Span(
        left_mm=view.x_mm(first + cols.start),
        right_mm=view.x_mm(last + cols.start),
        free_mm=_free_beside(others, first, last, settings=settings),
    )


def _over_one_another(stats: NDArray[np.int32], things: NDArray[np.intp]) -> BoolArray:
    """Which things stand above or below the first, itself too: lid and contents of one jar."""
    if not things.size:
        return np.zeros(0, dtype=np.bool_)
    left, width = (int(v) for v in stats[things[0], [cv2.CC_STAT_LEFT, cv2.CC_STAT_WIDTH]])
    middles = stats[things, cv2.CC_STAT_LEFT] + stats[things, cv2.CC_STAT_WIDTH] / 2
    return np.asarray((left < middles) & (middles < left + width))


def _things(
    covered: ByteArray, *, settings: JarSettings
) -> tuple[NDArray[np.int32], NDArray[np.int32], FloatArray]:
    """Labels ``(rows, cols)`` of what hides the field, ``(n, 5)`` box and area, ``(n,)`` middle x.

    Row 0, the free field, and things too small for a lid's box are left at zero: OpenCV's own
    statistics take five times as long as its labels.
    """
    count, seen = cv2.connectedComponents(covered, connectivity=4)
    labels = np.asarray(seen, dtype=np.int32)
    areas = np.bincount(labels.ravel(), minlength=count)
    areas[0] = 0
    least = (settings.lid_wide_mm + settings.lid_tall_mm) * PX_PER_MM - 1
    stats, centre_x = np.zeros((count, 5), dtype=np.int32), np.zeros(count)
    for label in np.flatnonzero(areas >= least):
        thing = (labels == label).view(np.uint8)
        stats[label] = (*cv2.boundingRect(thing), areas[label])
        centre_x[label] = thing.sum(axis=0) @ np.arange(thing.shape[1]) / areas[label]
    return labels, stats, centre_x


def _row_sums(mask: BoolArray) -> NDArray[np.int32]:
    """Count the True places of each row."""
    sums = cv2.reduce(mask.view(np.uint8), 1, cv2.REDUCE_SUM, dtype=cv2.CV_32S)
    return np.asarray(sums, dtype=np.int32)[:, 0]


def _lids_above(stats: NDArray[np.int32], jar: int, *, settings: JarSettings) -> int:
    """Count things as big as a lid, side by side above a jar's contents."""
    left, top, width = (int(v) for v in stats[jar, :3])
    boxes = [
        (int(x), int(y), int(w), int(h))
        for x, y, w, h, _ in stats[1:]
        if w >= settings.lid_wide_mm * PX_PER_MM
        and h >= settings.lid_tall_mm * PX_PER_MM
        and y < top
        and left < x + w / 2 < left + width
    ]
    beside = [
        sum(
            not _overlap(a[0], a[2], b[0], b[2]) and _overlap(a[1], a[3], b[1], b[3]) for b in boxes
        )
        for a in boxes
    ]
    return 1 + max(beside, default=0)


def _overlap(start: int, length: int, other: int, other_length: int) -> bool:
    return start < other + other_length and other < start + length


def _free_beside(
    others: BoolArray, first: float, last: float, *, settings: JarSettings
) -> tuple[float, float]:
    """Width of the free field on both sides, up to the next thing as tall as a jar, mm."""
    tall = others.sum(axis=0) >= settings.neighbour_tall_mm * PX_PER_MM
    at = np.flatnonzero(tall)
    left, right = at[at < first], at[at > last]
    return (
        float(first - left[-1]) / PX_PER_MM if left.size else np.inf,
        float(right[0] - last) / PX_PER_MM if right.size else np.inf,
    )


def _field_edge(blue: Float32Array, *, settings: JarSettings) -> float:
    """Blueness that parts the field from what hides it, in this photo's light.

    The middle between the two means that Otsu's threshold makes: a second lamp of another colour
    pales the field. Where they lie close together nothing stands there, and the usual edge holds.

    A yellow lid and brown grain lie as far below white as white lies below the field, and two parts
    of three kinds may leave white with the field. So what is less blue than white counts as white,
    once it is roughly known how blue the field is.
    """
    parts = _two_means(blue, settings=settings)
    if parts is not None:
        white = parts[1] - settings.field_over_white
        parts = _two_means(np.maximum(blue, np.float32(white)), settings=settings)
    if parts is None or parts[1] - parts[0] < settings.blueness_contrast_min:
        return settings.blueness_edge
    return min(settings.blueness_edge, (parts[0] + parts[1]) / 2)


def _two_means(blue: Float32Array, *, settings: JarSettings) -> tuple[float, float] | None:
    """Mean blueness below and above Otsu's threshold; None where all is alike."""
    scaled = blue * np.float32(settings.otsu_levels)
    scaled += np.float32(128.0)
    levels = np.clip(scaled, 0, 255, out=scaled).astype(np.uint8)
    _, upper = cv2.threshold(levels, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    if not 0 < cv2.countNonZero(upper) < upper.size:
        return None
    return cv2.mean(blue, cv2.bitwise_not(upper))[0], cv2.mean(blue, upper)[0]
