"""A jar's mouth as a mitsuba scene, always with the same parts so that kernels are reused."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from types import SimpleNamespace
from typing import Any

import cv2
import mitsuba as mi
import numpy as np

from jarvision.records import Float32Array, FloatArray
from tests.scenes import stage, surfaces
from tests.scenes.meshes import MeshData, rectangle
from tests.scenes.pinhole import CardInWorld, Pinhole
from tests.scenes.stage import PAPER_REFLECTANCE

from . import bodies, caustics, droplets, mouth
from .held import hold_above
from .sheet import Sheet
from .spec import TO_WORLD, TopSpec, world
from .surface import Surface, surface_of

TABLE_MM = 1200.0  # half its side
PATCH_PX = 900


@dataclass(frozen=True)
class TopGeometry:
    """Where everything stands; what the picture is rendered from and the truth is told by."""

    spec: TopSpec
    sheet: Sheet
    width: int
    height: int

    @cached_property
    def surface(self) -> Surface:
        """The surface of the contents."""
        return surface_of(self.spec.ground, self.spec.mouth, self.spec.water)

    @cached_property
    def drops(self) -> droplets.Drops:
        """Droplets on it."""
        spec = self.spec
        return droplets.scatter(self.surface, spec.water, spec.mouth, seed=spec.seed)

    @property
    def hole_mm(self) -> float:
        """Diameter of the sheet's hole."""
        return self.sheet.hole_mm(self.spec.mouth.outer_mm)

    @property
    def sheet_origin(self) -> FloatArray:
        """Top left corner of the sheet in the mouth frame; its axes are those of the mouth."""
        ring = self.spec.ring
        half = np.array([self.sheet.width_mm, self.sheet.height_mm]) / 2.0
        return np.array([ring.x_mm - half[0], ring.y_mm - half[1], ring.below_mm])

    @cached_property
    def camera(self) -> Pinhole:
        """The phone's camera, in the renderer's world."""
        corners = self.sheet.corners_mm + self.sheet_origin
        return hold_above(self.spec.held, corners, width=self.width, height=self.height)


@dataclass(frozen=True)
class Built:
    """A loaded scene: its shapes by name, and how many faces each droplet and body has."""

    scene: Any
    shapes: dict[str, Any]
    pool_faces: int
    drop_faces: int
    pin_faces: int
    cap_faces: int


class TopStage:
    """Builds scenes that differ in their data alone."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        picture = stage.reflectance(sheet.picture)
        self._paper = mi.load_dict(stage._bitmap(picture, wrap="clamp"))

    def build(self, geometry: TopGeometry) -> Built:
        """The scene of a photo."""
        spec, surface = geometry.spec, geometry.surface
        drops = geometry.drops
        if len(drops) == 0:
            drops = droplets.Drops(*(np.array([v]) for v in (0.0, 0.0, 4000.0, 1.0, 0.4, 1.0)))
        dome, pool = droplets.dome_mesh(drops), droplets.pool_mesh(surface, spec.mouth)
        pins, pin_faces = bodies.pins_mesh(spec.fruit.pins, surface)
        caps, cap_faces = bodies.caps_mesh(spec.fruit.caps, surface)
        parts = self._solids(geometry) | {
            "droplets": (stage.meshes.merge([pool, dome]), _clear(1.33)),
            "glass": (mouth.glass_mesh(spec.mouth), _clear(1.5)),
            "hood": (
                mouth.hood_mesh(spec.hood, spec.mouth, spec.ring, seed=spec.seed),
                _clear(1.5),
            ),
            "dew": (
                mouth.dew_mesh(spec.hood, spec.mouth, spec.ring, seed=spec.seed),
                mi.load_dict({
                    "type": "mask",
                    "opacity": stage._bitmap(
                        mouth.dew_picture(spec.hood, seed=spec.seed), raw=True
                    ),
                    "nested": stage._solid(stage._rgb((0.75, 0.75, 0.75)), 0.9),
                }),
            ),
            "pins": (pins, _skin(spec, young=True)),
            "caps": (caps, _skin(spec, young=False)),
        }  # fmt: skip
        shapes = {
            name: stage._mesh(name, _in_world(mesh), bsdf) for name, (mesh, bsdf) in parts.items()
        }
        lit: dict[str, Any] = {"type": "scene", **shapes}
        aimed_at = _AIM
        for number, lamp in enumerate(stage.padded(spec.lamps)):
            lit[f"lamp{number}"] = stage._lamp(lamp, aimed_at)
        loaded = mi.load_dict(lit)
        stage._keep_out_of_code(loaded)
        faces = len(dome.faces) // len(drops)
        return Built(loaded, shapes, len(pool.faces), faces, pin_faces, cap_faces)

    def _solids(self, geometry: TopGeometry) -> dict[str, tuple[MeshData, Any]]:
        spec, surface, sheet = geometry.spec, geometry.surface, self.sheet
        rng = np.random.default_rng([spec.seed, 11])
        light = caustics.stamp_of(spec.lamps, spec.room)
        picture = caustics.lit(_sized(surface.albedo), surface.side_mm, geometry.drops, light)
        stuff = stage._solid(
            stage._bitmap(picture, wrap="clamp"),
            stage._bitmap(_sized(0.95 - 0.7 * surface.gloss)[..., None], raw=True, wrap="clamp"),
            specular=0.35,
        )  # fmt: skip
        paper = mouth.sheet_mesh(spec.ring, width_mm=sheet.width_mm, height_mm=sheet.height_mm,
                                 hole_mm=geometry.hole_mm)  # fmt: skip
        cloth = spec.room.table == "cloth"
        board = stage._solid(stage._bitmap(surfaces.table(spec.room, rng=rng)),
                             0.9 if cloth else 0.45, specular=0.1 if cloth else 0.5)  # fmt: skip
        return {
            "ground": (mouth.ground_mesh(surface, spec.mouth), mi.load_dict(stuff)),
            "sheet": (
                paper,
                mi.load_dict(_printed(self._paper, spec.ring.roughness)),
            ),
            "table": (_table(spec), mi.load_dict(board)),
        }


# lamps are aimed at the middle of the rim, which faces up
_AIM = SimpleNamespace(card=CardInWorld(TO_WORLD, -TO_WORLD @ np.array([95.0, 130.0, -40.0]), 0.0))


def _printed(picture: Any, roughness: float) -> dict[str, Any]:
    """Paper, printed on its upper side alone."""
    front = stage._solid(picture, roughness, specular=0.3)["nested"]
    blank = stage._solid(stage._rgb((PAPER_REFLECTANCE,) * 3), roughness, specular=0.3)["nested"]
    return {"type": "twosided", "front": front, "back": blank}


def _sized(field: Float32Array) -> Float32Array:
    """A field of the surface at the one size of pictures that the compiled kernel knows."""
    sized = cv2.resize(field, (PATCH_PX, PATCH_PX), interpolation=cv2.INTER_LINEAR)
    return np.asarray(sized, np.float32)


def _clear(index: float) -> Any:
    return mi.load_dict({"type": "dielectric", "int_ior": index, "ext_ior": 1.0})


def _skin(spec: TopSpec, *, young: bool) -> Any:
    picture = bodies.colours(spec.fruit, seed=spec.seed, young=young)
    return mi.load_dict(stage._solid(stage._bitmap(picture, wrap="clamp"), 0.55))


def _in_world(mesh: MeshData) -> MeshData:
    return MeshData(world(mesh.points), world(mesh.normals), mesh.uv, mesh.faces)


def _table(spec: TopSpec) -> MeshData:
    """2.4 m of table below the jar; its picture repeats every 620 mm."""
    reach = np.array([TABLE_MM, 0.0, 0.0]), np.array([0.0, TABLE_MM, 0.0])
    mesh = rectangle(np.array([0.0, 0.0, spec.mouth.tall_mm]), *reach)
    mesh.normals[:] = [0.0, 0.0, -1.0]
    return MeshData(mesh.points, mesh.normals, mesh.uv * (2.0 * TABLE_MM / 620.0), mesh.faces)
