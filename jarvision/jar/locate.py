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
from jarvision.geometry import GlassCylinder, Viewpoint
from jarvision.jar.edges import EdgeLine, find_edges, refine_edges, top_of_edges
from jarvision.jar.foot import page_end_mm
from jarvision.jar.plane import PX_PER_MM, PlaneView, blueness, view_in_plane
from jarvision.photo_settings import JarSettings
from jarvision.records import CardFit, ColourFit, Float32Array, FloatArray, JarFit, Photo


def locate_jar(
    photo: Photo,
    *,
    card: CardFit,
    colour: ColourFit,
    layout: CardLayout,
    settings: JarSettings,
) -> JarFit:
    """Find the jar's axis, radius and floor, and the top of its straight wall.

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
    jar = _stand(lines, card=card, page_end=page_end, top=top, layout=layout, settings=settings)
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


def _stand(
    lines: tuple[EdgeLine, EdgeLine],
    *,
    card: CardFit,
    page_end: float,
    top: float,
    layout: CardLayout,
    settings: JarSettings,
) -> JarFit:
    """The upright cylinder that just touches both sight planes, standing on the page's table."""
    turn = _upright(lines, card=card, settings=settings)
    viewpoint = Viewpoint.of_card(card, turn)
    eye = viewpoint.eye_mm
    y0 = lines[0].y0_mm
    angles = []
    for line in lines:
        sight = turn @ np.array([line.x_mm(y0), y0, 0.0]) - eye
        angles.append(float(np.arctan2(sight[0], sight[2])))
    middle, half = (angles[0] + angles[1]) / 2, (angles[1] - angles[0]) / 2
    page_foot = turn @ np.array([layout.centre_mm[0], page_end, 0.0])
    axis_z = float(page_foot[2]) - settings.axis_before_card_mm
    reach = (axis_z - eye[2]) / np.cos(middle)
    radius = float(reach * np.sin(half))
    if not settings.radius_min_mm <= radius <= settings.radius_max_mm:
        raise PhotoRefusedError("no_jar", f"what stands there is {2 * radius:.0f} mm wide")
    table_y = float(page_foot[1])
    glass = GlassCylinder(
        eye_mm=eye,
        axis_x_mm=float(eye[0] + reach * np.sin(middle)),
        axis_z_mm=axis_z,
        outer_radius_mm=radius,
        glass_mm=settings.glass_mm,
    )
    top_y = _front_y(glass, turn @ np.array([layout.centre_mm[0], top, 0.0]))
    edge_sd = float(np.hypot(lines[0].sd_mm, lines[1].sd_mm)) / 2
    return JarFit(
        card_to_jar=turn,
        axis_x_mm=glass.axis_x_mm,
        axis_z_mm=glass.axis_z_mm,
        radius_mm=radius,
        glass_mm=settings.glass_mm,
        floor_y_mm=table_y - settings.floor_mm,
        top_y_mm=top_y,
        radius_sd_mm=float(np.hypot(settings.axis_before_card_sd_mm / reach * radius, edge_sd)),
        outline_px=_outline(glass, viewpoint=viewpoint, top_y=top_y, foot_y=table_y),
    )


def _upright(
    lines: tuple[EdgeLine, EdgeLine], *, card: CardFit, settings: JarSettings
) -> FloatArray:
    """Rotation from the card frame to one whose y runs along the jar's axis.

    Both edges leaning the same way: the card is rolled in its own plane. Edges that converge
    upwards: the jar's top is farther from the camera than its foot, seen from the card's plane,
    so the card leans. For a small lean, width is proportional to 1 / distance.
    """
    eye = card.camera_position_mm
    roll = (lines[0].slope + lines[1].slope) / 2
    width = lines[1].at_mm - lines[0].at_mm
    distance = -settings.axis_before_card_mm - eye[2]
    lean = -(lines[1].slope - lines[0].slope) / width * distance
    lean = float(np.clip(lean, -settings.lean_max, settings.lean_max))
    trust = settings.lean_prior_sd**2 / (settings.lean_prior_sd**2 + settings.lean_sd**2)
    lean = settings.lean_prior + trust * (lean - settings.lean_prior)
    axis = np.array([roll, 1.0, lean])
    axis /= np.linalg.norm(axis)
    sideways = np.array([1.0, 0.0, 0.0]) - axis[0] * axis
    sideways /= np.linalg.norm(sideways)
    return np.stack([sideways, axis, np.cross(sideways, axis)])


def _front_y(glass: GlassCylinder, plane_point: FloatArray) -> float:
    """Y at which the sight line to a point of the card meets the front of the jar."""
    sight = plane_point - glass.eye_mm
    front_z = glass.axis_z_mm - glass.outer_radius_mm
    return float(glass.eye_mm[1] + sight[1] * (front_z - glass.eye_mm[2]) / sight[2])


def _outline(
    glass: GlassCylinder, *, viewpoint: Viewpoint, top_y: float, foot_y: float
) -> Float32Array:
    """Closed outline of the straight wall: front rims of top and foot, joined by the edges."""
    across = np.deg2rad(np.linspace(-82, 82, 42))
    rim = glass.outer_points(across, np.full(across.shape, top_y))
    foot = glass.outer_points(across[::-1], np.full(across.shape, foot_y))
    return viewpoint.project(np.concatenate([rim, foot])).astype(np.float32)
