"""Where the jar stands and how big it is: sight planes that touch it -> an upright cylinder.

The two edges give the directions in which the glass is just touched. How far away it stands comes
from the rule that the axis is 60 to 80 mm before the card, and from the jar's diameter where the
grower says it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import CardFit, Float32Array, FloatArray, JarFit, JarShape
from jarvision.settings.jar import JarSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.jar.edges import EdgeLine
from jarvision.vision.jar.glass import GlassCylinder, Viewpoint


def stand_jar(
    lines: tuple[EdgeLine, EdgeLine],
    *,
    card: CardFit,
    page_end: float,
    top: float,
    shape: JarShape,
    layout: CardLayout,
    settings: JarSettings,
) -> JarFit:
    """The upright cylinder that just touches both sight planes, standing on the page's table.

    Parameters
    ----------
    page_end, top
        Card-plane y of the page's lower edge and of the end of the straight wall, mm.

    Raises
    ------
    PhotoRefusedError
        ``no_jar`` when it has not the width of a jar.
    """
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
    usual = float(page_foot[2]) - settings.axis_before_card_mm
    edge_sd = float(np.hypot(lines[0].sd_mm, lines[1].sd_mm)) / 2
    size = _size(
        (usual - float(eye[2])) / float(np.cos(middle)), half, edge_sd=edge_sd, shape=shape,
        settings=settings,
    )  # fmt: skip
    reach, radius = size.reach_mm, size.radius_mm
    axis_z = float(eye[2] + reach * np.cos(middle))
    if not settings.radius_min_mm <= radius <= settings.radius_max_mm:
        raise PhotoRefusedError("no_jar", f"what stands there is {2 * radius:.0f} mm wide")
    table_y = float(page_foot[1])
    glass = GlassCylinder(
        eye_mm=eye,
        axis_x_mm=float(eye[0] + reach * np.sin(middle)),
        axis_z_mm=axis_z,
        outer_radius_mm=radius,
        glass_mm=shape.glass_mm or settings.glass_mm,
    )
    top_y = front_y(glass, turn @ np.array([layout.centre_mm[0], top, 0.0]))
    return JarFit(
        card_to_jar=turn,
        axis_x_mm=glass.axis_x_mm,
        axis_z_mm=glass.axis_z_mm,
        radius_mm=radius,
        glass_mm=glass.glass_mm,
        floor_y_mm=table_y - settings.floor_mm,
        top_y_mm=top_y,
        radius_sd_mm=size.radius_sd_mm,
        outline_px=_outline(glass, viewpoint=viewpoint, top_y=top_y, foot_y=table_y),
        groove_y_mm=None if shape.groove_mm is None else table_y - shape.groove_mm,
        shape_conflict=size.conflict,
    )


@dataclass(frozen=True)
class _Size:
    """Distance from eye to axis, radius and its standard uncertainty, mm."""

    reach_mm: float
    radius_mm: float
    radius_sd_mm: float
    conflict: str = ""


def _size(
    usual_mm: float, half: float, *, edge_sd: float, shape: JarShape, settings: JarSettings
) -> _Size:
    """Weigh the usual place of the axis against the stated diameter.

    The photo gives ``sin(half) = radius / reach`` alone: knowing either gives the other. Both are
    known within their standard uncertainties, so they are weighted by the inverse squares. A
    diameter that the usual place contradicts is told and not used.
    """
    narrow = float(np.sin(half))
    place_sd = narrow * settings.axis_before_card_sd_mm
    seen = usual_mm * narrow
    if shape.diameter_mm is None:
        return _Size(usual_mm, seen, float(np.hypot(place_sd, edge_sd)))
    said = shape.diameter_mm / 2
    said_sd = (shape.diameter_sd_mm or settings.diameter_sd_mm) / 2
    off = abs(seen - said) / float(np.linalg.norm([place_sd, edge_sd, said_sd]))
    if off > settings.shape_conflict_sd:
        text = (
            f"The photo shows a jar about {2 * seen:.0f} mm wide, its profile says "
            f"{shape.diameter_mm:.0f} mm: it is another jar, or does not stand 60 to 80 mm before "
            "the card"
        )
        return _Size(usual_mm, seen, float(np.hypot(place_sd, edge_sd)), text)
    trust = place_sd**2 / (place_sd**2 + said_sd**2)
    radius = seen + trust * (said - seen)
    return _Size(radius / narrow, radius, float(np.hypot(np.sqrt(trust) * said_sd, edge_sd)))


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


def stand_on(
    jar: JarFit, glass: GlassCylinder, *, viewpoint: Viewpoint, table_y: float, floor_mm: float
) -> JarFit:
    """The same jar, its foot on a table at another height; its top stays where it shows."""
    lower = table_y - floor_mm - jar.floor_y_mm
    return replace(
        jar,
        floor_y_mm=jar.floor_y_mm + lower,
        outline_px=_outline(glass, viewpoint=viewpoint, top_y=jar.top_y_mm, foot_y=table_y),
        groove_y_mm=None if jar.groove_y_mm is None else jar.groove_y_mm + lower,
    )


def front_y(glass: GlassCylinder, plane_point: FloatArray) -> float:
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
