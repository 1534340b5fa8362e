"""The whole scene as a mitsuba scene, always with the same parts so that kernels are reused."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import drjit as dr
import mitsuba as mi
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.scenes import fruit, glass, lights, meshes, surfaces
from tests.scenes.pinhole import CardInWorld, Pinhole, hold
from tests.scenes.spec import CARD_HEIGHT_MM, CARD_WIDTH_MM, PAPERS_MM, Lamp, SceneSpec
from tests.scenes.wall_paint import WallPaint

FloatArray = NDArray[np.float64]

PAPER_REFLECTANCE = 0.88  # plain printer paper, common practice, no source
LAMPS = 3  # every scene has this many; unused ones are dark and never sampled
BOXES = 3
# mitsuba compiles other code for exact zeros: dark lamps and plain paints stay just above it
SELDOM = 1e-4
HARDLY_METAL = 1e-3


@dataclass(frozen=True)
class Geometry:
    """Where everything stands: what the picture is rendered from and the truth is told by."""

    spec: SceneSpec
    paint: WallPaint
    width: int
    height: int

    @cached_property
    def card(self) -> CardInWorld:
        """The card's frame in the world."""
        return CardInWorld.standing(self.spec.card)

    @cached_property
    def shape(self) -> glass.Profiles:
        """The glass's outline."""
        return glass.profiles(
            self.spec.jar, radius_mm=self.paint.radius_mm, wall_mm=self.paint.height_mm
        )

    @property
    def floor_y(self) -> float:
        """World y of the jar's inner floor."""
        return self.spec.table_y_mm - self.spec.jar.floor_mm

    @cached_property
    def camera(self) -> Pinhole:
        """The phone's camera, cropped to the card and the jar."""
        jar, outer = self.spec.jar, self.paint.radius_mm + self.spec.jar.glass_mm
        x = np.array([0.0, CARD_WIDTH_MM])
        y = np.array([0.0, CARD_HEIGHT_MM])
        corners = np.array([[a, b, 0.0] for a in x for b in y])
        foot = [
            [jar.axis_x_mm + sx * outer, self.spec.table_y_mm, jar.axis_z_mm + sz * outer]
            for sx in (-1, 1)
            for sz in (-1, 1)
        ]
        middle_y = self.floor_y - self.paint.height_mm / 2.0
        return hold(
            self.spec.phone,
            np.concatenate([self.card.to_world(corners), np.array(foot)]),
            jar_middle=np.array([jar.axis_x_mm, middle_y, jar.axis_z_mm]),
            width=self.width,
            height=self.height,
        )

    @cached_property
    def jar(self) -> meshes.JarFrame:
        """The jar's axis, its wall angle 0 facing the camera."""
        jar = self.spec.jar
        return meshes.JarFrame.facing(
            axis_x=jar.axis_x_mm,
            axis_z=jar.axis_z_mm,
            floor_y=self.floor_y,
            camera=self.camera.centre,
        )


def card_picture(path: Path | None = None) -> NDArray[np.uint8]:
    """The card's active area, ``(rows, cols, 3)`` sRGB at 300 dpi: drawn by the package."""
    if path is None:
        from jarvision.vision.card.draw import draw_card

        with tempfile.TemporaryDirectory() as folder:
            path = draw_card(Path(folder)).png
            return np.asarray(Image.open(path).convert("RGB"))
    return np.asarray(Image.open(path).convert("RGB"))


def reflectance(card: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Linear reflectance of the printed area: sRGB decoded (IEC 61966-2-1) times the paper."""
    encoded = card.astype(np.float32) / np.float32(255.0)
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    return (linear * PAPER_REFLECTANCE).astype(np.float32)


class Stage:
    """Builds mitsuba scenes that differ in their data alone."""

    def __init__(self, card: NDArray[np.uint8] | None = None) -> None:
        picture = reflectance(card_picture() if card is None else card)
        # the area's white edge goes on over the page's margin
        self._card = mi.load_dict(_bitmap(picture, wrap="clamp"))

    def build(self, geometry: Geometry) -> tuple[Any, dict[str, Any]]:
        """The scene, and its shapes by name."""
        spec, paint, jar = geometry.spec, geometry.paint, geometry.spec.jar
        rng = np.random.default_rng([spec.seed, 11])
        frame, shape = geometry.jar, geometry.shape
        radius = paint.radius_mm
        stuff = mi.load_dict(
            _solid(
                _bitmap(np.clip(paint.albedo, 0.005, 0.95)),
                _bitmap((0.95 - 0.72 * paint.gloss)[..., None].astype(np.float32), raw=True),
                specular=0.35,
            )
        )
        metal = jar.lid == "metal"
        clear = mi.load_dict({"type": "dielectric", "int_ior": 1.5, "ext_ior": 1.0})
        water = mi.load_dict({"type": "dielectric", "int_ior": 1.33, "ext_ior": 1.0})
        fog_map = surfaces.fog(
            spec.extras.fog_opacity,
            low_fraction=spec.extras.fog_low_fraction * shape.shoulder_mm / shape.rim_mm,
            rng=rng,
        )
        fog = mi.load_dict(
            {
                "type": "mask",
                "opacity": _bitmap(fog_map, raw=True),
                "nested": _solid(_rgb((0.75, 0.75, 0.75)), 0.9),
            }
        )
        parts: dict[str, tuple[meshes.MeshData, Any]] = {
            "page": (
                _page_mesh(geometry),
                mi.load_dict(_solid(self._card, spec.card.paper_roughness, specular=0.3)),
            ),
            "glass": (glass.shell(frame, jar, shape, rng=rng), clear),
            "contents": (glass.contents(frame, paint, shape), stuff),
            "heap": (glass.heap(frame, paint, shape), stuff),
            "standing": (
                fruit.standing(frame, paint, shape),
                mi.load_dict(_solid(_bitmap(fruit.colours(paint), wrap="clamp"), 0.6)),
            ),
            "lid": (
                glass.lid(frame, jar, shape),
                mi.load_dict(
                    _solid(
                        _rgb(jar.lid_rgb), 0.38 if metal else 0.5, metallic=0.95 if metal else 0.0
                    )
                ),
            ),
            "filter": (
                glass.filter_disc(frame, jar, shape),
                mi.load_dict(_solid(_rgb((0.8, 0.8, 0.78)), 0.9)),
            ),
            "label": (
                glass.label(frame, jar, spec.extras, shape, radius),
                mi.load_dict(_solid(_bitmap(_label_picture(spec, rng)), 0.7)),
            ),
            "fog": (glass.fog_film(frame, spec.extras, shape), fog),
            "droplets": (glass.droplets(frame, spec.extras, shape, radius, rng=rng), water),
            "table": (
                _table_mesh(spec),
                mi.load_dict(
                    _solid(
                        _bitmap(surfaces.table(spec.room, rng=rng)),
                        0.9 if spec.room.table == "cloth" else 0.45,
                        specular=0.1 if spec.room.table == "cloth" else 0.5,
                    )
                ),
            ),
            "wall": (
                _wall_mesh(spec),
                mi.load_dict(_solid(_bitmap(surfaces.wall(spec.room, rng=rng)), 0.7)),
            ),
        }
        for number in range(BOXES):
            mesh, rgb = _clutter(spec, number, rng)
            parts[f"box{number}"] = (mesh, mi.load_dict(_solid(_rgb(rgb), 0.5)))
        shapes = {name: _mesh(name, data, bsdf) for name, (data, bsdf) in parts.items()}
        scene: dict[str, Any] = {"type": "scene", **shapes}
        for number, lamp in enumerate(padded(spec.lamps)):
            scene[f"lamp{number}"] = _lamp(lamp, geometry)
        loaded = mi.load_dict(scene)
        _keep_out_of_code(loaded)
        return loaded, shapes


def _keep_out_of_code(scene: Any) -> None:
    """Turn the lamps' places from constants in the compiled code into data."""
    params = mi.traverse(scene)
    for number in range(LAMPS):
        key = f"lamp{number}.to_world"
        place = params[key]
        dr.make_opaque(place)
        params[key] = place
    params.update()


def padded(lamps: tuple[Lamp, ...]) -> tuple[Lamp, ...]:
    """The lamps, with dark ones added up to the fixed number."""
    dark = Lamp("softbox", (0.0, -3000.0, -3000.0), 10.0, 10.0, 0.0, "D65")
    return (*lamps, *[dark] * (LAMPS - len(lamps)))[:LAMPS]


def _lamp(lamp: Lamp, geometry: Geometry) -> dict[str, Any]:
    """A one-sided rectangle that faces the middle of the card.

    Its radiance gives the illuminance ``share`` (in units of the whole) at the card's middle:
    E = L A cos cos / d^2, cosines of a small lamp; the card's own cosine is at least 0.1.
    """
    position = np.array(lamp.position_mm)
    target = geometry.card.to_world(np.array([CARD_WIDTH_MM / 2, CARD_HEIGHT_MM / 2, -40.0]))
    toward = target - position
    distance = float(np.linalg.norm(toward))
    toward /= distance
    facing = max(0.1, float(toward @ (geometry.card.rotation @ np.array([0.0, 0.0, 1.0]))))
    area = lamp.width_mm * lamp.height_mm
    radiance = lamp.share * distance**2 / (area * facing)
    up = [0.0, 1.0, 0.0] if abs(toward[1]) < 0.95 else [0.0, 0.0, 1.0]
    t = mi.ScalarTransform4f
    place = t().look_at(origin=position.tolist(), target=target.tolist(), up=up) @ t().scale(
        [lamp.width_mm / 2.0, lamp.height_mm / 2.0, 1.0]
    )
    values = lights.spectrum(lamp.spectrum) * max(radiance, 1e-6)  # mitsuba refuses black
    return {
        "type": "rectangle",
        "to_world": place,
        "emitter": {
            "type": "area",
            "sampling_weight": max(lamp.share, SELDOM),
            "radiance": {
                "type": "regular",
                "wavelength_min": float(lights.FIRST_NM),
                "wavelength_max": float(lights.LAST_NM),
                "values": ", ".join(f"{v:.6g}" for v in values),
            },
        },
        "bsdf": {"type": "diffuse", "reflectance": {"type": "uniform", "value": 0.0}},
    }


def _bitmap(picture: NDArray[np.float32], *, raw: bool = False, wrap: str = "repeat") -> Any:
    data = np.ascontiguousarray(picture, dtype=np.float32)
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(data),
        "raw": raw,
        "wrap_mode": wrap,
        "filter_type": "bilinear",
    }


def _rgb(rgb: tuple[float, float, float]) -> Any:
    return _bitmap(np.broadcast_to(np.array(rgb, dtype=np.float32), (2, 2, 3)).copy())


def _solid(colour: Any, roughness: Any, *, specular: float = 0.4, metallic: float = 0.0) -> Any:
    """One two-sided material for everything solid: its parameters alone differ."""
    if not isinstance(roughness, dict):
        roughness = _bitmap(np.full((2, 2, 1), roughness, dtype=np.float32), raw=True)
    return {
        "type": "twosided",
        "nested": {
            "type": "principled",
            "base_color": colour,
            "roughness": roughness,
            "metallic": max(metallic, HARDLY_METAL),
            "specular": specular,
        },
    }


def _mesh(name: str, data: meshes.MeshData, bsdf: Any) -> Any:
    props = mi.Properties()
    props["mesh_bsdf"] = bsdf
    mesh = mi.Mesh(
        name,
        vertex_count=len(data.points),
        face_count=len(data.faces),
        has_vertex_normals=True,
        has_vertex_texcoords=True,
        props=props,
    )
    params = mi.traverse(mesh)
    params["vertex_positions"] = np.ascontiguousarray(data.points, dtype=np.float32).ravel()
    params["vertex_normals"] = np.ascontiguousarray(data.normals, dtype=np.float32).ravel()
    params["vertex_texcoords"] = np.ascontiguousarray(data.uv, dtype=np.float32).ravel()
    params["faces"] = np.ascontiguousarray(data.faces, dtype=np.uint32).ravel()
    params.update()
    return mesh


def _page_mesh(geometry: Geometry) -> meshes.MeshData:
    """The page as a sheet that bows about its upright middle line."""
    card = geometry.spec.card
    width, height = PAPERS_MM[card.paper]
    x = np.linspace(-(width - CARD_WIDTH_MM) / 2.0, (width + CARD_WIDTH_MM) / 2.0, 41)
    y = np.linspace(-(height - CARD_HEIGHT_MM) / 2.0, card.foot_mm, 9)
    gx, gy = np.meshgrid(x, y)
    grid = geometry.card.to_world(np.stack([gx, gy, geometry.card.bow(gx)], axis=-1))
    uv = np.stack([gx / CARD_WIDTH_MM, gy / CARD_HEIGHT_MM], axis=-1)
    return meshes.grid_mesh(grid, uv, outward=np.broadcast_to([0.0, 0.0, -1.0], grid.shape))


def _table_mesh(spec: SceneSpec) -> meshes.MeshData:
    """2.4 m of table; its picture repeats every 620 mm."""
    y = spec.table_y_mm
    mesh = meshes.rectangle(
        np.array([95.0, y, -100.0]), np.array([1200.0, 0.0, 0.0]), np.array([0.0, 0.0, 1200.0])
    )
    mesh.normals[:] = [0.0, -1.0, 0.0]
    turned = mesh.uv[:, ::-1] if spec.seed % 2 else mesh.uv
    return meshes.MeshData(mesh.points, mesh.normals, turned * (2400.0 / 620.0), mesh.faces)


def _wall_mesh(spec: SceneSpec) -> meshes.MeshData:
    mesh = meshes.rectangle(
        np.array([95.0, -300.0, spec.room.wall_distance_mm]),
        np.array([1600.0, 0.0, 0.0]),
        np.array([0.0, 1200.0, 0.0]),
    )
    mesh.normals[:] = [0.0, 0.0, -1.0]
    return meshes.MeshData(mesh.points, mesh.normals, mesh.uv * 4.0, mesh.faces)


def _clutter(
    spec: SceneSpec, number: int, rng: np.random.Generator
) -> tuple[meshes.MeshData, tuple[float, float, float]]:
    """A box of any colour behind the card, or out of sight."""
    depth = spec.room.wall_distance_mm
    size = np.array([rng.uniform(40, 180), rng.uniform(60, 320), rng.uniform(40, 120)])
    side = rng.choice([-1.0, 1.0])
    x = 95.0 + side * rng.uniform(120.0, 420.0)
    z = rng.uniform(60.0 + size[2] / 2, max(depth - size[2] / 2, 70.0 + size[2] / 2))
    y = spec.table_y_mm - size[1] / 2.0 + (0.0 if number < spec.room.clutter else 5000.0)
    centre = np.array([x, y, z])
    red, green, blue = (float(v) for v in np.clip(rng.beta(1.2, 2.0, 3), 0.03, 0.85))
    return meshes.box(centre - size / 2.0, centre + size / 2.0), (red, green, blue)


def _label_picture(spec: SceneSpec, rng: np.random.Generator) -> NDArray[np.float32]:
    """Paper with a few pen strokes."""
    picture = np.broadcast_to(
        np.array(spec.extras.label_rgb, dtype=np.float32), (96, 192, 3)
    ).copy()
    x = np.arange(10, 180)
    for line in range(3):
        y = 24 + 24 * line + 4 * np.sin(x * rng.uniform(0.15, 0.5)) + rng.normal(0, 1.2, x.size)
        written = np.sin(x * rng.uniform(0.05, 0.12)) > -0.6
        for thick in range(2):
            picture[np.clip(y.astype(int) + thick, 0, 95)[written], x[written]] = (0.05, 0.06, 0.12)
    return picture
