"""The exact truth of a photo: numbers from the scene's geometry, maps by tracing camera rays.

A camera ray is followed through the glass without reflections (both surfaces refract it by
Snell's law) to the first solid surface. Its hit on the contents is read in the paint's own array
coordinates, so class, angle and height are exact for that ray. Lens blur is not part of it.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import drjit as dr
import mitsuba as mi
import numpy as np
from numpy.typing import NDArray

from jarvision.records import TissueClass
from tests.scenes.measures import true_coverage, true_patches, true_soft_coverage
from tests.scenes.spec import CARD_HEIGHT_MM, CARD_WIDTH_MM, GLASS_INDEX, WATER_INDEX
from tests.scenes.stage import Geometry
from tests.scenes.trace import MAX_STEPS

Float32Array = NDArray[np.float32]
ByteArray = NDArray[np.uint8]
BoolArray = NDArray[np.bool_]

MAP_SCALE = 4  # photo pixels per map pixel, each way
FOGGED = 0.2  # film opacity from which a place counts as fogged
HALF_HIDDEN = 0.5


@dataclass(frozen=True)
class TruthMaps:
    """Maps at a quarter of the photo's resolution, shape ``(rows, cols)``.

    Map pixel ``(r, c)`` is the ray through photo pixel ``(4 c + 1.5, 4 r + 1.5)`` as ``(x, y)``.

    Attributes
    ----------
    classes
        :class:`jarvision.records.TissueClass`; UNJUDGED behind label, fog or droplets.
    angle_deg, height_mm
        Where the ray leaves the inner surface of the glass, wall frame; NaN off the jar.
    contents_angle_deg, contents_height_mm
        Where it meets the contents (up to 5 mm deeper); NaN elsewhere.
    fog
        Opacity of the film crossed.
    pins
        True on caps of fruit bodies at the glass and on those that stand above the fill line,
        where fog leaves at least half of their light.
    """

    classes: ByteArray
    angle_deg: Float32Array
    height_mm: Float32Array
    contents_angle_deg: Float32Array
    contents_height_mm: Float32Array
    fog: Float32Array
    pins: BoolArray


@dataclass(frozen=True)
class Truth:
    """Numbers (ready for JSON) and maps of one photo."""

    numbers: dict[str, Any]
    maps: TruthMaps


def tell(scene: Any, shapes: dict[str, Any], geometry: Geometry) -> Truth:
    """The truth of the photo of ``geometry``; ``scene`` and ``shapes`` as built by the stage."""
    maps = _maps(scene, shapes, geometry)
    return Truth(_numbers(geometry), maps)


def _numbers(geometry: Geometry) -> dict[str, Any]:
    spec, paint, eye = geometry.spec, geometry.paint, geometry.camera
    rotation, translation = eye.card_pose(geometry.card)
    foot = np.array([spec.jar.axis_x_mm, geometry.floor_y, spec.jar.axis_z_mm])
    rim = foot - np.array([0.0, paint.height_mm, 0.0])
    middle = geometry.card.to_card((foot + rim) / 2.0)
    corners = np.array(
        [
            [0, 0, 0],
            [CARD_WIDTH_MM, 0, 0],
            [CARD_WIDTH_MM, CARD_HEIGHT_MM, 0],
            [0, CARD_HEIGHT_MM, 0],
        ]
    )
    return {
        "coverage_percent": true_coverage(paint),
        "soft_coverage_percent": true_soft_coverage(paint),
        "coverage_all_round_percent": true_coverage(paint, half_width_deg=180.0),
        "patches": [asdict(patch) for patch in true_patches(paint)],
        "fill_height_mm": {
            "mean": float(paint.fill_height_mm.mean()),
            "front": float(paint.fill_height_mm[np.abs(paint.angles_deg) < 60.0].mean()),
            "highest": float(paint.fill_height_mm.max()),
        },
        "jar": {
            "axis_x_mm": float(middle[0]),
            "axis_z_mm": float(middle[2]),
            "axis_foot_card_mm": geometry.card.to_card(foot).tolist(),
            "axis_top_card_mm": geometry.card.to_card(rim).tolist(),
            "outer_radius_mm": paint.radius_mm + spec.jar.glass_mm,
            "inner_radius_mm": paint.radius_mm,
            "glass_mm": spec.jar.glass_mm,
            "floor_y_mm": float(geometry.card.to_card(foot)[1]),
            "shoulder_y_mm": float(geometry.card.to_card(rim)[1]),
            "wall_height_mm": paint.height_mm,
            "groove_height_mm": (
                paint.height_mm - spec.jar.groove_below_shoulder_mm
                if spec.jar.groove_depth_mm > 0
                else None
            ),
        },
        "card": {
            "homography": eye.card_homography(geometry.card).tolist(),
            "corners_px": eye.project(geometry.card.to_world(corners)).tolist(),
            "bow_mm": spec.card.bow_mm,
        },
        "camera": {
            "matrix": eye.matrix.tolist(),
            "rotation": rotation.tolist(),
            "translation": translation.tolist(),
            "position_card_mm": geometry.card.to_card(eye.centre).tolist(),
            "focal_35mm": eye.focal_35mm,
            "focal_px": eye.focal_px,
        },
        "picture": {"width": geometry.width, "height": geometry.height, "map_scale": MAP_SCALE},
        "scene": asdict(spec),
    }


def _maps(scene: Any, shapes: dict[str, Any], geometry: Geometry) -> TruthMaps:
    rows, cols = geometry.height // MAP_SCALE, geometry.width // MAP_SCALE
    directions = _directions(geometry, rows, cols)
    order = ("contents", "label", "droplets", "fog", "glass", "standing")
    pointers = {name: mi.ShapePtr(shapes[name]) for name in order}
    for pointer in pointers.values():
        dr.make_opaque(pointer)
    ray = mi.Ray3f(
        mi.Point3f(*[dr.opaque(mi.Float, float(v)) for v in geometry.camera.centre]),
        mi.Vector3f(*[mi.Float(v) for v in directions]),
    )
    found = _follow(scene, ray, **pointers)
    dr.eval(found)
    wall, uv, kind, fog, wet = (np.array(part) for part in found)
    angle, height = geometry.jar.cylinder(wall.T)
    on_wall = np.isfinite(wall).all(axis=0)
    classes, pins, place = _look_up(geometry, uv, kind == 1)
    classes[(kind == 2) | ((kind == 1) & ((fog > FOGGED) | wet))] = TissueClass.UNJUDGED
    shape = (rows, cols)
    return TruthMaps(
        classes.reshape(shape),
        np.where(on_wall, angle, np.nan).astype(np.float32).reshape(shape),
        np.where(on_wall, height, np.nan).astype(np.float32).reshape(shape),
        place[0].reshape(shape),
        place[1].reshape(shape),
        fog.astype(np.float32).reshape(shape),
        ((pins | (kind == 3)) & (fog < HALF_HIDDEN)).reshape(shape),
    )


def _directions(geometry: Geometry, rows: int, cols: int) -> Float32Array:
    """Unit world directions ``(3, rows * cols)`` of the map's rays."""
    eye = geometry.camera
    y, x = np.mgrid[:rows, :cols] * float(MAP_SCALE) + (MAP_SCALE - 1) / 2.0
    pixel = np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    world = eye.rotation.T @ np.linalg.solve(eye.matrix, pixel)
    return (world / np.linalg.norm(world, axis=0)).astype(np.float32)


def _look_up(
    geometry: Geometry, uv: Float32Array, hit: NDArray[np.bool_]
) -> tuple[ByteArray, BoolArray, Float32Array]:
    """Class of each ray that met the contents (else OUTSIDE), cap or not, angle and height."""
    paint = geometry.paint
    rows, cols = paint.classes.shape
    u, v = np.where(hit, uv[0], 0.0), np.where(hit, uv[1], 0.0)
    column = np.floor(u * cols).astype(int) % cols
    row = np.clip(np.floor(v * rows).astype(int), 0, rows - 1)
    classes = np.where(hit, paint.classes[row, column], TissueClass.OUTSIDE).astype(np.uint8)
    angle = np.where(hit, (u * 360.0) % 360.0 - 180.0, np.nan)
    height = np.where(hit, (1.0 - v) * paint.height_mm, np.nan)
    pins = hit & paint.pins[row, column]
    return classes, pins, np.stack([angle, height]).astype(np.float32)


@dr.syntax
def _follow(
    scene: Any,
    ray: Any,
    contents: Any,
    label: Any,
    droplets: Any,
    fog: Any,
    glass: Any,
    standing: Any,
) -> tuple[Any, Any, Any, Any, Any]:
    """Inner wall point, uv on the contents, kind of the end, film opacity, droplet crossed."""
    wall = mi.Point3f(dr.nan)
    uv = mi.Point2f(0.0)
    kind = mi.UInt32(0)
    opacity = mi.Float(0.0)
    wet = mi.Bool(False)
    crossed = mi.Bool(False)
    steps = mi.UInt32(0)
    going = mi.Bool(True)
    while going:
        si = scene.ray_intersect(ray, going)
        going &= si.is_valid() & (steps < MAX_STEPS)
        is_glass = going & (si.shape == glass)
        is_drop = going & (si.shape == droplets)
        is_fog = going & (si.shape == fog)
        index = dr.select(is_drop, mi.Float(WATER_INDEX), mi.Float(GLASS_INDEX))
        f, cos_t, _, eta_ti = mi.fresnel(si.wi.z, index)
        bent = mi.refract(si.wi, cos_t, eta_ti)
        leaves = is_glass & (si.wi.z < 0.0) & ~crossed
        wall[leaves] = si.p
        crossed |= leaves
        wet |= is_drop
        through = si.bsdf().eval_null_transmission(si, is_fog)
        opacity[is_fog] = dr.maximum(opacity, 1.0 - dr.mean(through))
        out = dr.select(is_fog, -si.wi, bent)
        end = going & ~is_glass & ~is_drop & ~is_fog
        is_contents = end & (si.shape == contents)
        uv[is_contents] = si.uv
        kind[is_contents] = 1
        kind[end & (si.shape == label)] = 2
        kind[end & (si.shape == standing)] = 3
        going &= ~end & ~((is_glass | is_drop) & (f > 0.9999))
        ray = si.spawn_ray(si.to_world(out))
        steps += 1
    return wall, uv, kind, opacity, wet
