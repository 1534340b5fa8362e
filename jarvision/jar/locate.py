"""Photo -> JarFit: the jar that stands before the card's centre field.

Contents hide the blue-violet field, which says that there is a jar and roughly where. Its two
upright edges then give the directions in which the glass is just touched: with the axis at its
agreed distance before the card they give axis and radius, and their slopes give the card's lean.
"""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.card.layout import CardLayout
from jarvision.errors import PhotoRefusedError
from jarvision.jar.edges import find_edges, refine_edges, top_of_edges
from jarvision.jar.foot import page_end_mm
from jarvision.jar.plane import PX_PER_MM, PlaneView, blueness, view_in_plane
from jarvision.jar.stand import stand_jar
from jarvision.photo_settings import JarSettings
from jarvision.records import CardFit, ColourFit, Float32Array, JarFit, JarShape, Photo


def locate_jar(
    photo: Photo,
    *,
    card: CardFit,
    colour: ColourFit,
    layout: CardLayout,
    settings: JarSettings,
    shape: JarShape | None = None,
) -> JarFit:
    """Find the jar's axis, radius and floor, and the top of its straight wall.

    ``shape`` is what the grower says of the glass; it guides the fit where the photo agrees.

    Raises
    ------
    PhotoRefusedError
        ``no_jar`` when nothing of a jar's size and shape stands before the field, ``too_small``
        when its wall has too few pixels.
    """
    view = view_in_plane(photo, card)
    hidden = _hidden_span(view, colour, layout=layout, settings=settings)
    band = (settings.upright_top_mm, settings.upright_bottom_mm)
    lines = find_edges(view, hidden_mm=hidden, rows_mm=band, layout=layout, settings=settings)
    jar_mm = (lines[0].x_mm(layout.height_mm), lines[1].x_mm(layout.height_mm))
    page_end = page_end_mm(view, jar_mm=jar_mm, layout=layout, settings=settings)
    top = top_of_edges(view, lines, from_mm=settings.upright_top_mm, settings=settings)
    lines = refine_edges(view, lines, rows_mm=(top + 4.0, band[1]), settings=settings)
    jar = stand_jar(
        lines, card=card, page_end=page_end, top=top, shape=shape or JarShape(),
        layout=layout, settings=settings,
    )  # fmt: skip
    scale = card.camera[0, 0] / (jar.axis_z_mm - jar.radius_mm - card.camera_position_mm[2])
    if scale < settings.px_per_mm_min:
        raise PhotoRefusedError(
            "too_small", f"{scale:.1f} pixels a mm on the jar, {settings.px_per_mm_min:.1f} needed"
        )
    return jar


def _hidden_span(
    view: PlaneView, colour: ColourFit, *, layout: CardLayout, settings: JarSettings
) -> tuple[float, float]:
    """Card-plane x between which something hides the centre field, left and right, mm."""
    field = layout.field
    rows = slice(view.row(field.y_mm), view.row(field.y_mm + field.height_mm))
    cols = slice(view.column(field.x_mm), view.column(field.x_mm + field.width_mm))
    sharp = blueness(view.rgb[rows, cols], colour)
    blue = np.asarray(cv2.GaussianBlur(sharp, (0, 0), settings.smooth_px), dtype=np.float32)
    side = settings.close_px
    close = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    covered = (blue < _field_edge(blue, settings=settings)).astype(np.uint8)
    covered = np.asarray(cv2.morphologyEx(covered, cv2.MORPH_CLOSE, close), dtype=np.uint8)
    _, labels, stats, centres = cv2.connectedComponentsWithStats(covered, connectivity=4)
    middle = view.column(layout.centre_mm[0]) - cols.start
    near = np.abs(centres[:, 0] - middle) < settings.off_centre_mm * PX_PER_MM
    low = stats[:, cv2.CC_STAT_TOP] + stats[:, cv2.CC_STAT_HEIGHT] > covered.shape[0] / 2
    areas = np.where(near & low, stats[:, cv2.CC_STAT_AREA], 0)
    areas[0] = 0
    if areas.max() < settings.contents_min_cm2 * 100 * PX_PER_MM**2:
        raise PhotoRefusedError("no_jar", "nothing of a jar's size hides the card's centre field")
    jar = labels == areas.argmax()
    wide = jar.sum(axis=1)
    body = jar[wide >= 0.8 * np.percentile(wide[wide > 0], 90)]
    first = float(np.median(body.argmax(axis=1)))
    last = float(np.median(body.shape[1] - 1 - body[:, ::-1].argmax(axis=1)))
    return view.x_mm(first + cols.start), view.x_mm(last + cols.start)


def _field_edge(blue: Float32Array, *, settings: JarSettings) -> float:
    """Blueness that parts the field from what hides it, in this photo's light.

    The middle between the two means that Otsu's threshold makes: a second lamp of another colour
    pales the field. Where they lie close together nothing stands there, and the usual edge holds.
    """
    levels = np.clip(blue * settings.otsu_levels + 128.0, 0, 255).astype(np.uint8)
    split, _ = cv2.threshold(levels, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    upper = levels > split
    if upper.all() or not upper.any():
        return settings.blueness_edge
    high, low = float(blue[upper].mean()), float(blue[~upper].mean())
    if high - low < settings.blueness_contrast_min:
        return settings.blueness_edge
    return min(settings.blueness_edge, (high + low) / 2)
