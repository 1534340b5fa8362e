"""Render photos of jars: ``python -m tests.scenes.render --seed 1 --out DIR``."""

from __future__ import annotations

import argparse
import io
import json
import time
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.scenes import camera, lights, surfaces
from tests.scenes.pinhole import Pinhole
from tests.scenes.spec import Phone, Room, SceneSpec
from tests.scenes.wall_paint import WallPaint

if TYPE_CHECKING:
    from tests.scenes.stage import Geometry
    from tests.scenes.truth import Truth

Float32Array = NDArray[np.float32]
ByteArray = NDArray[np.uint8]

DEFAULT_VARIANT = "llvm_ad_spectral"
AROUND_JAR_MM = 4.0  # kept round the jar with all its paths


@dataclass(frozen=True)
class Signal:
    """Linear camera signal and denoising guides, each ``(rows, cols, 3)`` float32."""

    light: Float32Array
    albedo: Float32Array
    normal: Float32Array


@dataclass(frozen=True)
class Shot:
    """One photo with its truth: ``rgb`` is what the JPEG was made of."""

    spec: SceneSpec
    signal: Float32Array
    rgb: ByteArray
    jpeg: bytes
    truth: Truth
    seconds: dict[str, float]

    def save(self, folder: Path, name: str) -> Path:
        """Write ``name.jpg``, ``name.json`` (numbers) and ``name.npz`` (maps)."""
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"{name}.jpg"
        path.write_bytes(self.jpeg)
        path.with_suffix(".json").write_text(json.dumps(self.truth.numbers, indent=1))
        maps = self.truth.maps
        np.savez_compressed(
            path.with_suffix(".npz"),
            classes=maps.classes,
            fog=maps.fog.astype(np.float16),
            **{
                key: getattr(maps, key).astype(np.float32)
                for key in ("angle_deg", "height_mm", "contents_angle_deg", "contents_height_mm")
            },
        )
        return path


class Renderer:
    """Photographs scenes with one compiled kernel.

    Parameters
    ----------
    variant
        A spectral JIT variant of mitsuba: ``llvm_ad_spectral`` or ``cuda_ad_spectral``. It is
        set for the whole process.
    card
        Picture of the card's active area; None draws the package's own.

    Raises
    ------
    ImportError
        When mitsuba has no such variant.
    """

    def __init__(self, variant: str = DEFAULT_VARIANT, *, card: Path | None = None) -> None:
        import mitsuba as mi

        mi.set_variant(variant)
        from tests.scenes.stage import Stage, card_picture

        self.variant = variant
        self._stage = Stage(card_picture(card))

    def photograph(
        self,
        spec: SceneSpec,
        paint: WallPaint,
        *,
        width: int = 1512,
        height: int = 2016,
        spp: int = 128,
        spp_around: int | None = None,
        denoise: bool = True,
    ) -> Shot:
        """Render one photo and tell its truth.

        ``spp`` is the number of paths a pixel, ``spp_around`` that of pixels away from the jar.
        """
        from tests.scenes.stage import Geometry
        from tests.scenes.truth import tell

        start = time.perf_counter()
        geometry = Geometry(spec, paint, width, height)
        scene, shapes = self._stage.build(geometry)
        built = time.perf_counter()
        signal = _trace(scene, shapes, geometry, spp=spp, spp_around=spp_around)
        traced = time.perf_counter()
        light = _denoised(signal) if denoise else signal.light
        clean = time.perf_counter()
        rgb = camera.develop(light, spec.phone, white=_white(spec), seed=spec.seed)
        developed = time.perf_counter()
        truth = tell(scene, shapes, geometry)
        told = time.perf_counter()
        marks = np.diff([start, built, traced, clean, developed, told]).tolist()
        names = ("build", "trace", "denoise", "develop", "truth")
        jpeg = encode(
            rgb, spec.phone, taken_at=spec.taken_at, focal_35mm=geometry.camera.focal_35mm
        )
        seconds = dict(zip(names, marks, strict=True))
        return Shot(spec, light, rgb, jpeg, truth, seconds)


def encode(rgb: ByteArray, phone: Phone, *, taken_at: str, focal_35mm: int) -> bytes:
    """JPEG with the EXIF that a phone writes: time, orientation, equivalent focal length."""
    exif = Image.Exif()
    stamp = datetime.fromisoformat(taken_at).strftime("%Y:%m:%d %H:%M:%S")
    exif[0x0112] = 1  # Orientation: upright
    exif[0x0132] = stamp  # DateTime
    details = exif.get_ifd(0x8769)
    details[0x9003] = stamp  # DateTimeOriginal
    details[0xA405] = focal_35mm  # FocalLengthIn35mmFilm
    buffer = io.BytesIO()
    Image.fromarray(rgb).save(buffer, "JPEG", quality=phone.jpeg_quality, exif=exif)
    return buffer.getvalue()


def _white(spec: SceneSpec) -> NDArray[np.float64]:
    """Signal of a perfect white under the scene's lamps and ambience, mixed by their shares."""
    number, room = spec.phone.sensitivity, spec.room
    white = room.ambient_share * camera.camera_white(number, room.ambient_spectrum)
    for lamp in spec.lamps:
        white = white + lamp.share * camera.camera_white(number, lamp.spectrum)
    return np.asarray(white)


def _denoised(signal: Signal) -> Float32Array:
    """The signal without the noise of path tracing; guides keep texture and edges."""
    import pyoidn

    scale = 0.5 / max(float(np.percentile(signal.light, 90)), 1e-9)
    clean = pyoidn.denoise(
        np.ascontiguousarray(signal.light * np.float32(scale)),
        np.clip(signal.albedo, 0.0, 1.0),
        np.clip(signal.normal, -1.0, 1.0),
        hdr=True,
    )
    return np.asarray(clean / np.float32(scale))


def _trace(
    scene: Any, shapes: dict[str, Any], geometry: Geometry, *, spp: int, spp_around: int | None
) -> Signal:  # fmt: skip
    import drjit as dr
    import mitsuba as mi

    from tests.scenes import trace

    shape = geometry.height, geometry.width
    near = _near_jar(geometry).ravel()
    parts = ((near, spp), (~near, spp_around)) if spp_around else ((np.ones_like(near), spp),)
    tables = _tables(geometry, shapes)
    film = np.zeros((3, near.size, 3), np.float32)
    for here, paths in parts:
        pixel = np.flatnonzero(here).astype(np.uint32)
        out = trace.film(
            scene,
            tables,
            width=dr.opaque(mi.UInt32, geometry.width),
            pixel=mi.UInt32(pixel),
            spp=dr.opaque(mi.UInt32, paths),
            seed=dr.opaque(mi.UInt32, geometry.spec.seed),
        )
        dr.eval(*out)
        film[:, pixel] = [np.array(part).T for part in out]
    return Signal(*film.reshape(3, *shape, 3))


def _near_jar(geometry: Geometry) -> NDArray[np.bool_]:
    """Pixels in the upright box about the jar."""
    jar, paint = geometry.spec.jar, geometry.paint
    reach = paint.radius_mm + jar.glass_mm + AROUND_JAR_MM
    top = geometry.floor_y - geometry.shape.rim_mm - AROUND_JAR_MM
    corners = np.array(
        [
            [jar.axis_x_mm + x * reach, y, jar.axis_z_mm + z * reach]
            for x in (-1, 1)
            for y in (geometry.spec.table_y_mm + AROUND_JAR_MM, top)
            for z in (-1, 0)
        ]
    )
    at = geometry.camera.project(corners)
    low, high = at.min(axis=0), at.max(axis=0)
    x, y = np.arange(geometry.width), np.arange(geometry.height)[:, None]
    return np.asarray((x >= low[0]) & (x <= high[0]) & (y >= low[1]) & (y <= high[1]))


def _tables(geometry: Geometry, shapes: dict[str, Any]) -> Any:
    spec = geometry.spec
    on_card = -float(geometry.camera.centre[2])
    on_jar = on_card + geometry.jar.axis_z - geometry.paint.radius_mm
    focus = on_jar + spec.phone.focus_on_card * (on_card - on_jar)
    return kernel_tables(
        geometry.camera, spec.phone, spec.room, seed=spec.seed, focus_mm=focus, shapes=shapes
    )


def kernel_tables(
    eye: Pinhole, phone: Phone, room: Room, *, seed: int, focus_mm: float, shapes: dict[str, Any]
) -> Any:
    """All that the kernel reads besides the scene, on the device."""
    import drjit as dr
    import mitsuba as mi

    from tests.scenes.trace import Tables

    numbers = [*eye.rotation.ravel(), *eye.centre, eye.focal_px, *eye.matrix[:2, 2]]
    numbers += [phone.aperture_mm / 2.0, focus_mm]
    curves = camera.sensitivities(phone.sensitivity)
    curves = curves / curves.mean(axis=1, keepdims=True)
    sky = surfaces.sky(rng=np.random.default_rng([seed, 12]))
    ambient = lights.spectrum(room.ambient_spectrum) * room.ambient_share / np.pi
    water = mi.ShapePtr(shapes["droplets"])
    dr.make_opaque(water)
    return Tables(
        camera=mi.Float(np.array(numbers, dtype=np.float32)),
        sensitivities=mi.Float(curves.ravel().astype(np.float32)),
        ambient=mi.Float(ambient.astype(np.float32)),
        sky=mi.Float(sky.ravel()),
        sky_rows=dr.opaque(mi.UInt32, sky.shape[0]),
        sky_cols=dr.opaque(mi.UInt32, sky.shape[1]),
        droplets=water,
    )


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.scenes.render", description=__doc__)
    parser.add_argument("--seed", type=int, default=1, help="draws scene and contents")
    parser.add_argument("--count", type=int, default=1, help="photos, seeds counting up")
    parser.add_argument("--day", type=float, default=9.0, help="age of the jar in days")
    parser.add_argument("--out", type=Path, required=True, help="folder for jpg, json and npz")
    parser.add_argument("--width", type=int, default=1512)
    parser.add_argument("--height", type=int, default=2016)
    parser.add_argument("--spp", type=int, default=128, help="paths a pixel")
    parser.add_argument("--variant", default=DEFAULT_VARIANT, help="or cuda_ad_spectral")
    parser.add_argument("--no-denoise", action="store_true")
    return parser.parse_args()


def main() -> None:
    """Render seeds to a folder, printing what each step took."""
    from tests.scenes.contents import JarRecipe, paint
    from tests.scenes.sampler import random_spec

    options = _arguments()
    renderer = Renderer(options.variant)
    for seed in range(options.seed, options.seed + options.count):
        shot = renderer.photograph(
            random_spec(seed),
            paint(JarRecipe(seed=seed), day=options.day),
            width=options.width,
            height=options.height,
            spp=options.spp,
            denoise=not options.no_denoise,
        )
        path = shot.save(options.out, f"seed{seed:05d}")
        steps = ", ".join(f"{name} {value:.1f} s" for name, value in shot.seconds.items())
        print(f"{path}: coverage {shot.truth.numbers['coverage_percent']:.2f} %; {steps}")


if __name__ == "__main__":
    main()
