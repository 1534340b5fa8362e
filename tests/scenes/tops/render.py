"""Photographs of jars' mouths from above, with one compiled kernel."""

from __future__ import annotations

import gc
import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image

from jarvision.records import BoolArray, ByteArray, Float32Array
from tests.scenes import camera, render

from .sheet import Sheet, printed_ring
from .spec import TopSpec, world

if TYPE_CHECKING:
    from .stage import Built, TopGeometry
    from .truth import TopTruth

AROUND_MM = 5.0  # kept round the mouth with all its paths


@dataclass(frozen=True)
class TopShot:
    """One photo with its truth."""

    spec: TopSpec
    signal: Float32Array
    rgb: ByteArray
    jpeg: bytes
    truth: TopTruth
    seconds: dict[str, float]

    def save(self, folder: Path, name: str) -> None:
        """Write ``name.json``, ``.mask.png``, ``.below.png``, ``.flat.png``, last ``.jpg``."""
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{name}.json").write_text(json.dumps(self.truth.numbers))
        Image.fromarray(self.truth.mask).save(folder / f"{name}.mask.png")
        Image.fromarray(self.truth.below).save(folder / f"{name}.below.png")
        Image.fromarray(self.truth.flat).save(folder / f"{name}.flat.png")
        unfinished = folder / f"{name}.part"
        unfinished.write_bytes(self.jpeg)
        unfinished.rename(folder / f"{name}.jpg")


class TopRenderer:
    """Photographs from above; the variant is set for the whole process.

    Raises
    ------
    ImportError
        When mitsuba has no such variant.
    """

    def __init__(
        self, variant: str = render.DEFAULT_VARIANT, *, sheet: Sheet | None = None
    ) -> None:  # fmt: skip
        import mitsuba as mi

        mi.set_variant(variant)
        from .stage import TopStage

        self._stage = TopStage(sheet or printed_ring())

    def photograph(
        self,
        spec: TopSpec,
        *,
        width: int = 900,
        height: int = 1200,
        spp: int = 12,
        spp_around: int | None = None,
        denoise: bool = True,
    ) -> TopShot:
        """Render one photo and tell its truth; ``spp_around`` is for pixels off the mouth."""
        from .stage import TopGeometry
        from .truth import tell

        gc.collect()  # an old scene's shapes would change the kernel's numbers
        marks = [time.perf_counter()]
        geometry = TopGeometry(spec, self._stage.sheet, width, height)
        built = self._stage.build(geometry)
        marks.append(time.perf_counter())
        signal = _trace(built.scene, built.shapes, geometry, spp=spp, spp_around=spp_around)
        marks.append(time.perf_counter())
        light = signal.light
        if denoise:
            light = render._denoised(_with_droplets(signal, built, geometry))
        marks.append(time.perf_counter())
        rgb = camera.develop(light, spec.phone, white=render._white(spec), seed=spec.seed)  # type: ignore[arg-type]
        marks.append(time.perf_counter())
        truth = tell(built, geometry)
        marks.append(time.perf_counter())
        jpeg = render.encode(
            rgb, spec.phone, taken_at=spec.taken_at, focal_35mm=geometry.camera.focal_35mm
        )
        names = ("build", "trace", "denoise", "develop", "truth")
        seconds = dict(zip(names, np.diff(marks).tolist(), strict=True))
        return TopShot(spec, light, rgb, jpeg, truth, seconds)


def _trace(
    scene: Any, shapes: dict[str, Any], geometry: TopGeometry, *, spp: int, spp_around: int | None
) -> render.Signal:  # fmt: skip
    import drjit as dr
    import mitsuba as mi

    from tests.scenes import trace

    near = _near_mouth(geometry).ravel()
    # one launch of one size, paths by pixel: other sizes would be compiled anew
    paths = np.where(near, spp, spp_around or spp).astype(np.uint32)
    out = trace.film(
        scene,
        _tables(geometry, shapes),
        width=dr.opaque(mi.UInt32, geometry.width),
        pixel=dr.arange(mi.UInt32, near.size),
        spp=mi.UInt32(paths),
        seed=dr.opaque(mi.UInt32, geometry.spec.seed % 2**32),
    )
    dr.eval(*out)
    film = np.stack([np.array(part).T for part in out])
    return render.Signal(*film.reshape(3, geometry.height, geometry.width, 3))


def _with_droplets(signal: render.Signal, built: Built, geometry: TopGeometry) -> render.Signal:
    """The signal with droplets in its guide of normals, so that the denoiser keeps them."""
    from .truth import water_normals

    wet, facing = water_normals(built, geometry)
    normal = signal.normal.copy()
    normal[wet] = facing
    return render.Signal(signal.light, signal.albedo, normal)


def _near_mouth(geometry: TopGeometry) -> BoolArray:
    """Pixels in the upright box about mouth and caps."""
    spec = geometry.spec
    reach = spec.mouth.outer_mm / 2.0 + AROUND_MM
    corners = [[x * reach, y * reach, z] for x in (-1, 1) for y in (-1, 1) for z in (0.0, 5.0)]
    for cap in spec.fruit.caps:
        half = 0.6 * cap.diameter_mm
        corners += [[cap.x_mm + x * half, cap.y_mm + y * half, cap.z_mm]
                    for x in (-1, 1) for y in (-1, 1)]  # fmt: skip
    at = geometry.camera.project(world(np.array(corners)))
    low, high = at.min(axis=0), at.max(axis=0)
    x, y = np.arange(geometry.width), np.arange(geometry.height)[:, None]
    return np.asarray((x >= low[0]) & (x <= high[0]) & (y >= low[1]) & (y <= high[1]))


def _tables(geometry: TopGeometry, shapes: dict[str, Any]) -> Any:
    spec, eye = geometry.spec, geometry.camera
    down = eye.rotation[2] @ (world(np.array([0.0, 0.0, spec.ground.depth_mm])) - eye.centre)
    near = eye.rotation[2] @ (
        world(geometry.sheet_origin + geometry.sheet.corners_mm[2] / 2.0) - eye.centre
    )
    focus = down + spec.held.focus * (near - down)
    return render.kernel_tables(
        eye, spec.phone, spec.room, seed=spec.seed, focus_mm=focus, shapes=shapes
    )
