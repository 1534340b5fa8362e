"""Photo -> JarFit: the jar that stands before the card's centre field.

Contents hide the blue-violet field, which says that there is a jar and roughly where. Its two
upright edges then give the directions in which the glass is just touched: with the axis at its
agreed distance before the card they give axis and radius, and their slopes give the card's lean.
"""

from __future__ import annotations

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import CardFit, ColourFit, JarFit, JarShape, Photo
from jarvision.settings.jar import JarSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.jar.cylinder import stand_jar
from jarvision.vision.jar.edges import (
    find_edges,
    liveliness,
    refine_edges,
    windows_of_edges,
    windows_of_lines,
)
from jarvision.vision.jar.focal import Sight, settle
from jarvision.vision.jar.page import page_ends_mm, trimmed_end_mm
from jarvision.vision.jar.plane_view import view_in_plane
from jarvision.vision.jar.span import hidden_field, jar_span
from jarvision.vision.jar.top import top_of_wall_mm


def locate_jar(
    photo: Photo,
    *,
    card: CardFit,
    colour: ColourFit,
    layout: CardLayout,
    settings: JarSettings,
    shape: JarShape | None = None,
) -> tuple[CardFit, JarFit]:
    """Find the jar's axis, radius and floor, and the top of its straight wall.

    The card comes back with it: seen through another lens where the file names none, or one that
    cannot be. ``shape`` is what the grower says of the glass; it guides the fit where the photo
    agrees.

    Raises
    ------
    PhotoRefusedError
        ``no_jar`` when nothing of a jar's size and shape stands before the field, ``two_jars``
        when it cannot be told which jar is meant, ``too_small`` when its wall has too few pixels,
        ``jar_cut`` when the photo ends above its floor.
    """
    view = view_in_plane(photo, card)
    hidden = hidden_field(view, colour, layout=layout, settings=settings)
    span = jar_span(view, hidden, layout=layout, settings=settings)
    band = (settings.upright_top_mm, settings.upright_bottom_mm)
    sought = windows_of_edges(view, span, rows_mm=band, layout=layout, settings=settings)
    change = liveliness(view, layout, sought)
    lines = find_edges(view, change, span=span, rows_mm=band, layout=layout, settings=settings)
    jar_mm = (lines[0].x_mm(layout.height_mm), lines[1].x_mm(layout.height_mm))
    page_ends = page_ends_mm(view, jar_mm=jar_mm, layout=layout, settings=settings)
    trimmed = trimmed_end_mm(view, jar_mm=jar_mm, layout=layout, settings=settings)
    along = windows_of_lines(view, lines, rows_mm=(0.0, band[0]), settings=settings)
    change = liveliness(view, layout, along, known=change)
    top = top_of_wall_mm(view, change, hidden, lines, settings=settings)
    lines = refine_edges(view, change, lines, rows_mm=(top + 4.0, band[1]), settings=settings)

    def standing(lens: CardFit, page_end: float) -> JarFit:
        return stand_jar(
            lines, card=lens, page_end=page_end, top=top, shape=shape or JarShape(),
            layout=layout, settings=settings,
        )  # fmt: skip

    card, jar = settle(Sight(photo, card, page_ends, standing, layout, settings, trimmed))
    scale = card.camera[0, 0] / (jar.axis_z_mm - jar.radius_mm - card.camera_position_mm[2])
    if scale < settings.px_per_mm_min:
        raise PhotoRefusedError(
            "too_small", f"{scale:.1f} pixels a mm on the jar, {settings.px_per_mm_min:.1f} needed"
        )
    return card, jar
