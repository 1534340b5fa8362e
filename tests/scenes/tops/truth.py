"""The exact truth of a photo from above, told by the geometry: rays without light.

A ray goes straight on through hood and water to the first solid thing. Seen from the camera's
place through the pixels it gives the mask of the photo; through the cells of a plane at the
surface's mean depth it gives the flattened mask, whose cells are areas.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import cv2
import drjit as dr
import mitsuba as mi
import numpy as np

from jarvision.records import BoolArray, ByteArray, Float32Array, FloatArray, TissueClass

from . import bodies
from .spec import TO_WORLD, TopClass, moisture_of, world
from .stage import Built, TopGeometry

FLAT_MM = 0.25  # cell of the flattened mask
FLAT_BEYOND_MM = 2.0
MAX_STEPS = 14
NEAR_MM = 0.6  # a droplet's or pin's top is seen where the ray to it ends so near
OFF_SEAM = 0.31  # radians: no ring of a mesh has a corner there
_THROUGH = ("hood", "dew")
_KINDS = {"green": TissueClass.GREEN, "black": TissueClass.BLACK, "pink": TissueClass.PINK,
          "yellow": TissueClass.YELLOW, "stain": TissueClass.STAIN}  # fmt: skip


@dataclass(frozen=True)
class Seen:
    """What rays meet, ``(n,)`` each.

    Attributes
    ----------
    classes
        :class:`TopClass`, water included.
    below
        :class:`TopClass` of the first solid thing, water left out.
    body
        Number of the pin or cap that is met; -1 elsewhere.
    tissue
        :class:`jarvision.records.TissueClass` where the surface is met, else OUTSIDE.
    depth_mm
        Of the surface below the rim; NaN elsewhere.
    way_mm
        Length of the ray to its first meeting with anything but the hood.
    """

    classes: ByteArray
    below: ByteArray
    body: np.ndarray
    tissue: ByteArray
    depth_mm: Float32Array
    way_mm: Float32Array


@dataclass(frozen=True)
class TopTruth:
    """Numbers (ready for JSON), the photo's mask with and without water, the flattened mask."""

    numbers: dict[str, Any]
    mask: ByteArray
    below: ByteArray
    flat: ByteArray


def tell(built: Built, geometry: TopGeometry) -> TopTruth:
    """The truth of a photo."""
    photo = look(built, geometry, _pixel_rays(geometry))
    flat_mm = flat_axis(geometry)
    x, y = np.meshgrid(flat_mm, flat_mm)
    depth = np.full(x.shape, geometry.spec.ground.depth_mm)
    flat = look(built, geometry, _rays_to(geometry, np.stack([x, y, depth], axis=-1)))
    numbers = _frame(geometry) | {
        "surface": _surface(geometry, flat),
        "droplets": _droplets(built, geometry, flat),
        "pins": _pins(built, geometry, photo),
        "caps": _caps(geometry, photo),
    }
    shape = geometry.height, geometry.width
    return TopTruth(numbers, photo.classes.reshape(shape), photo.below.reshape(shape),
                    flat.classes.reshape(x.shape))  # fmt: skip


def flat_axis(geometry: TopGeometry) -> FloatArray:
    """``(n,)`` mm: x of the flattened mask's columns and y of its rows, mouth frame."""
    reach = geometry.spec.mouth.radius_mm + geometry.spec.mouth.wider_mm + FLAT_BEYOND_MM
    n = round(2.0 * reach / FLAT_MM)
    return np.asarray((np.arange(n) + 0.5 - n / 2.0) * FLAT_MM)


def _pixel_rays(geometry: TopGeometry) -> FloatArray:
    eye = geometry.camera
    y, x = np.mgrid[: geometry.height, : geometry.width]
    pixel = np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    return np.asarray((eye.rotation.T @ np.linalg.solve(eye.matrix, pixel)).T)


def _rays_to(geometry: TopGeometry, points: FloatArray) -> FloatArray:
    """World directions from the camera to points of the mouth frame, ``(n, 3)``."""
    return np.asarray(world(points.reshape(-1, 3)) - geometry.camera.centre)


def look(built: Built, geometry: TopGeometry, directions: FloatArray) -> Seen:
    """Follow rays from the camera in world directions ``(n, 3)``."""
    n = len(directions)
    unit = (directions / np.linalg.norm(directions, axis=1, keepdims=True)).astype(np.float32)
    ids = {name: _id(shape) for name, shape in built.shapes.items()}
    first = np.zeros(n, np.uint8)
    below = np.zeros(n, np.uint8)
    tissue = np.full(n, TissueClass.OUTSIDE, np.uint8)
    body = np.full(n, -1, np.int32)
    depth = np.full(n, np.nan, np.float32)
    way = np.full(n, np.inf, np.float32)
    origin = np.repeat(geometry.camera.centre[None].astype(np.float32), n, axis=0)
    going = np.arange(n)
    for _ in range(MAX_STEPS):
        if len(going) == 0:
            break
        hit, prim, uv, p = _meet(built.scene, origin[going], unit[going])
        clear = np.isin(hit, [ids[name] for name in _THROUGH])
        far = np.linalg.norm(p - geometry.camera.centre, axis=1).astype(np.float32)
        way[going] = np.where(clear | np.isfinite(way[going]) | (hit == 0), way[going], far)
        wet = hit == ids["droplets"]
        water = np.where(prim < built.pool_faces, TopClass.WATER, TopClass.DROPLET)
        first[going] = np.where(wet & (first[going] == 0), water, first[going])
        for name, kind, faces in (("pins", TopClass.PIN, built.pin_faces),
                                  ("caps", TopClass.CAP, built.cap_faces)):  # fmt: skip
            on = hit == ids[name]
            below[going[on]] = kind
            body[going[on]] = prim[on] // faces
        on = hit == ids["ground"]
        cell = _cells(geometry, uv[on])
        tissue[going[on]] = geometry.surface.tissue[cell]
        below[going[on]] = geometry.surface.classes[cell]
        depth[going[on]] = p[on, 1]  # the world's y is the depth below the rim
        origin[going] = p + unit[going] * 0.02
        going = going[clear | wet]
    classes = np.where((first > 0) & (below > 0), first, below)
    return Seen(classes, below, body, tissue, depth, way)


def water_normals(built: Built, geometry: TopGeometry) -> tuple[BoolArray, Float32Array]:
    """Pixels whose ray meets a droplet first, ``(rows, cols)``, and its world normals there."""
    directions = _pixel_rays(geometry)
    unit = (directions / np.linalg.norm(directions, axis=1, keepdims=True)).astype(np.float32)
    origin = np.repeat(geometry.camera.centre[None].astype(np.float32), len(unit), axis=0)
    ray = mi.Ray3f(mi.Point3f(origin.T.copy()), mi.Vector3f(unit.T.copy()))
    si = built.scene.ray_intersect(ray)
    ids = dr.reinterpret_array(mi.UInt32, si.shape)
    wet = np.array(si.is_valid()) & (np.array(ids) == _id(built.shapes["droplets"]))
    wet &= np.array(si.prim_index) >= built.pool_faces
    facing = np.array(si.sh_frame.n).T[wet]
    return wet.reshape(geometry.height, geometry.width), facing.astype(np.float32)


def _id(shape: Any) -> int:
    return int(np.array(dr.reinterpret_array(mi.UInt32, mi.ShapePtr(shape)))[0])


def _meet(
    scene: Any, origin: Float32Array, unit: Float32Array
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Number of the shape met (0: none), of the face, uv and point."""
    ray = mi.Ray3f(mi.Point3f(origin.T.copy()), mi.Vector3f(unit.T.copy()))
    si = scene.ray_intersect(ray)
    ids = dr.reinterpret_array(mi.UInt32, si.shape)
    dr.eval(ids, si.prim_index, si.uv, si.p)
    valid = np.array(si.is_valid())
    met = np.where(valid, np.array(ids), 0)
    return met, np.array(si.prim_index), np.array(si.uv).T, np.array(si.p).T


def _cells(geometry: TopGeometry, uv: FloatArray) -> tuple[np.ndarray, np.ndarray]:
    n = len(geometry.surface.z_mm)
    place = np.clip(np.floor(uv * n).astype(int), 0, n - 1)
    return place[:, 1], place[:, 0]


def _surface(geometry: TopGeometry, flat: Seen) -> dict[str, Any]:
    """Shares of the visible surface, measured in the plane of its mean depth."""
    on = np.isin(flat.below, [TopClass.BARE, TopClass.GROWTH, TopClass.OFF_COLOUR])
    count = max(int(on.sum()), 1)

    def share(mask: BoolArray) -> float:
        return float((mask & on).sum()) / count

    return {
        "visible_cm2": float(on.sum()) * FLAT_MM**2 / 100.0,
        "covered_share": share(flat.below == TopClass.GROWTH),
        "off_colour_share": share(flat.below == TopClass.OFF_COLOUR),
        "bare_share": share(flat.below == TopClass.BARE),
        "kinds_share": {name: share(flat.tissue == kind) for name, kind in _KINDS.items()},
        "pool_share": share(flat.classes == TopClass.WATER),
        "below_rim_mm": float(np.nanmean(flat.depth_mm[on])) if on.any() else None,
    }


def _droplets(built: Built, geometry: TopGeometry, flat: Seen) -> dict[str, Any]:
    """Droplets whose tops are seen."""
    drops = geometry.drops
    on = np.isin(flat.below, [TopClass.BARE, TopClass.GROWTH, TopClass.OFF_COLOUR])
    area = float(on.sum()) * FLAT_MM**2 / 100.0
    # beside the very top, where the mesh has a pinhole, and off its seams
    beside = 0.25 * drops.diameter_mm / 2.0
    top = np.stack([drops.x_mm + beside * np.cos(OFF_SEAM), drops.y_mm + beside * np.sin(OFF_SEAM),
                    drops.z_mm - 0.96 * drops.height_mm], axis=-1)  # fmt: skip
    shown = _shown(built, geometry, top, TopClass.DROPLET)
    size = drops.diameter_mm[shown]
    pool = float(((flat.classes == TopClass.WATER) & on).sum()) / max(int(on.sum()), 1)
    mean = float(size.mean()) if len(size) else None
    per_cm2 = len(size) / area if area > 0 else 0.0
    return {
        "count": len(size),
        "per_cm2": per_cm2,
        "mean_mm": mean,
        "class": moisture_of(per_cm2=per_cm2, mean_mm=mean, pool_share=pool),
        "places_mm": np.round(
            np.stack([drops.x_mm[shown], drops.y_mm[shown], size], axis=-1), 3
        ).tolist(),
        "tops_px": np.round(geometry.camera.project(world(top[shown])), 2).tolist(),
    }


def _shown(built: Built, geometry: TopGeometry, points: FloatArray, kind: TopClass) -> BoolArray:
    """Which points, on things of a kind, are seen from the camera."""
    if len(points) == 0:
        return np.zeros(0, bool)
    directions = _rays_to(geometry, points)
    seen = look(built, geometry, directions)
    near = np.abs(seen.way_mm - np.linalg.norm(directions, axis=1)) < NEAR_MM
    return np.asarray(near & (seen.classes == kind))


def _pins(built: Built, geometry: TopGeometry, photo: Seen) -> list[dict[str, Any]]:
    pins = geometry.spec.fruit.pins
    if not pins:
        return []
    tips = np.stack([bodies.pin_tip(pin, geometry.surface) for pin in pins])
    beside = np.array([
        [0.1 * pin.diameter_mm * np.cos(OFF_SEAM), 0.1 * pin.diameter_mm * np.sin(OFF_SEAM),
         0.03 * pin.height_mm] for pin in pins
    ])  # fmt: skip
    shown = _shown(built, geometry, tips + beside, TopClass.PIN)
    at = geometry.camera.project(world(tips))
    pixels = np.bincount(photo.body[photo.below == TopClass.PIN], minlength=len(pins))
    return [
        asdict(pin) | {
            "tip_x_mm": float(tip[0]), "tip_y_mm": float(tip[1]), "tip_z_mm": float(tip[2]),
            "tip_px": place.tolist(), "pixels": int(count), "tip_seen": bool(seen),
        }
        for pin, tip, place, count, seen in zip(pins, tips, at, pixels, shown, strict=True)
    ]  # fmt: skip


def _caps(geometry: TopGeometry, photo: Seen) -> list[dict[str, Any]]:
    caps = geometry.spec.fruit.caps
    pixels = np.bincount(photo.body[photo.below == TopClass.CAP], minlength=max(len(caps), 1))
    told = []
    for cap, count in zip(caps, pixels, strict=False):
        edge = bodies.cap_edge(cap, np.linspace(0.0, 2.0 * np.pi, 181))
        middle = np.array([cap.x_mm, cap.y_mm, cap.z_mm])
        top = middle + cap.diameter_mm / 2.0 * bodies.cap_height(
            np.linspace(0.0, 0.9, 5), cap.flattening
        )[:, None] * bodies.cap_frame(cap)[2]  # fmt: skip
        outline = geometry.camera.project(world(np.concatenate([edge, top])))
        hull = cv2.convexHull(outline.astype(np.float32).reshape(-1, 1, 2))
        whole = max(float(cv2.contourArea(hull)), 1.0)
        told.append(asdict(cap) | {
            "widest_mm": bodies.widest_mm(cap), "pixels": int(count),
            "seen_share": min(1.0, float(count) / whole),
            "middle_px": geometry.camera.project(world(middle)).tolist(),
        })  # fmt: skip
    return told


def _frame(geometry: TopGeometry) -> dict[str, Any]:
    """Sheet, mouth, camera and the whole scene."""
    spec, eye = geometry.spec, geometry.camera
    rotation = eye.rotation @ TO_WORLD  # mouth directions to the camera's; the sheet's are the same
    translation = rotation @ geometry.sheet_origin - eye.rotation @ eye.centre
    homography = eye.matrix @ np.column_stack([rotation[:, 0], rotation[:, 1], translation])
    turn = np.linspace(0.0, 2.0 * np.pi, 73)[:-1]
    rim = spec.mouth.radius_mm * np.stack([np.cos(turn), np.sin(turn), 0.0 * turn], axis=-1)
    inside = geometry.camera.project(world(geometry.sheet.corners_mm + geometry.sheet_origin))
    size = np.array([geometry.width, geometry.height])
    return {
        "seed": spec.seed,
        "fault": spec.fault,
        "hood_on": spec.hood.on,
        "contents": spec.ground.contents,
        "sheet": {
            "homography": (homography / homography[2, 2]).tolist(),
            "corners_px": inside.tolist(),
            "cut_off": bool((inside < 0).any() or (inside > size - 1).any()),
            "mouth_at_mm": (-geometry.sheet_origin[:2]).tolist(),
            "hole_mm": geometry.hole_mm,
            "below_rim_mm": spec.ring.below_mm,
            "sag_mm": spec.ring.sag_mm,
        },
        "mouth": {
            "inner_mm": spec.mouth.inner_mm,
            "outer_mm": spec.mouth.outer_mm,
            "rim_px": eye.project(world(rim)).tolist(),
        },
        "camera": {
            "matrix": eye.matrix.tolist(),
            "rotation": rotation.tolist(),
            "translation": translation.tolist(),
            "lean_deg": spec.held.lean_deg,
            "distance_mm": spec.held.distance_mm,
            "focal_35mm": eye.focal_35mm,
            "focal_px": eye.focal_px,
        },
        "flat": {"cell_mm": FLAT_MM, "first_mm": float(flat_axis(geometry)[0]),
                 "at_depth_mm": spec.ground.depth_mm},
        "picture": {"width": geometry.width, "height": geometry.height},
        "scene": asdict(spec),
    }  # fmt: skip
