"""Lens and EXIF: focal lengths lost or wrong, pictures bent, turned or stretched."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import ByteArray, FloatArray

from .scene import Apply, Edit, JarScene, Saved

NO_EXIF = Saved(exif=False)
MIRROR = np.array([[-1.0, 0.0], [0.0, 1.0]])


def untouched(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """The pixels as they are."""
    return scene.photo.rgb


def warped(scene: JarScene, matrix: FloatArray) -> ByteArray:
    """The picture under a homography of its pixels about its middle; the border is repeated."""
    rows, cols = scene.shape
    shift = np.array([[1.0, 0.0, (cols - 1) / 2], [0.0, 1.0, (rows - 1) / 2], [0.0, 0.0, 1.0]])
    about = shift @ matrix @ np.linalg.inv(shift)
    seen = cv2.warpPerspective(
        scene.photo.rgb, about, (cols, rows), flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return np.asarray(seen, np.uint8)


def linear_map(matrix: FloatArray) -> Apply:
    """An edit by a 2 x 2 matrix."""
    whole = np.eye(3)
    whole[:2, :2] = matrix
    return lambda scene, _: warped(scene, whole)


def rolled(degrees: float) -> Apply:
    """The camera rolled, shrunk as far as keeps the card's corners in the picture."""
    turn = np.deg2rad(degrees)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])

    def apply(scene: JarScene, rng: np.random.Generator) -> ByteArray:
        spin = matrix if rng.integers(2) else matrix.T
        rows, cols = scene.shape
        corners = (scene.card.outline_px - [(cols - 1) / 2, (rows - 1) / 2]) @ spin.T
        reach = np.abs(corners).max(axis=0) / [(cols - 1) / 2, (rows - 1) / 2]
        whole = np.eye(3)
        whole[:2, :2] = spin / max(1.0, float(reach.max()) * 1.01)
        return warped(scene, whole)

    return apply


def on_its_head(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """Stored upside down."""
    return np.ascontiguousarray(scene.photo.rgb[::-1, ::-1])


def scaled(share: float) -> Apply:
    """Fewer pixels."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        small = cv2.resize(
            scene.photo.rgb, None, fx=share, fy=share, interpolation=cv2.INTER_AREA
        )  # fmt: skip
        return np.asarray(small, np.uint8)

    return apply


def bent(share: float) -> Apply:
    """Barrel (positive) or pincushion: points move by a share of r^2, r is 1 at the corner."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        rows, cols = scene.shape
        centre = np.array([(cols - 1) / 2, (rows - 1) / 2], np.float32)
        x, y = np.meshgrid(np.arange(cols, dtype=np.float32), np.arange(rows, dtype=np.float32))
        x, y = x - centre[0], y - centre[1]
        far = (x * x + y * y) / float(centre @ centre)
        # the middle of a side stays where it is: hardly anything leaves the picture
        kept = (min(rows, cols) if share > 0.0 else max(rows, cols)) ** 2 / (rows**2 + cols**2)
        stretch = (1.0 + share * far) / (1.0 + share * kept)
        seen = cv2.remap(
            scene.photo.rgb, (x * stretch + centre[0]).astype(np.float32),
            (y * stretch + centre[1]).astype(np.float32), cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        return np.asarray(seen, np.uint8)

    return apply


def keystone(scene: JarScene, rng: np.random.Generator) -> ByteArray:
    """An editor's perspective: one side farther away."""
    whole = np.eye(3)
    whole[2, rng.integers(2)] = 0.12 / max(scene.shape) * rng.choice((-1.0, 1.0))
    whole[:2, :2] *= 0.92
    return warped(scene, whole)


EDITS = (
    Edit("none", "saved once more, else as it is", "lens", untouched, harm=False),
    Edit("focal_lost", "EXIF focal length lost", "lens", untouched, saved=Saved(focal=None)),
    Edit("focal_half", "EXIF focal length halved", "lens", untouched, saved=Saved(focal=0.5)),
    Edit("focal_x2", "EXIF focal length doubled", "lens", untouched, saved=Saved(focal=2.0)),
    Edit("focal_x4", "EXIF focal length times four", "lens", untouched, saved=Saved(focal=4.0)),
    Edit("small_75", "scaled to 75 %, EXIF lost", "lens", scaled(0.75), saved=NO_EXIF),
    Edit("small_50", "scaled to 50 %, EXIF lost", "lens", scaled(0.5), saved=NO_EXIF),
    Edit("small_35", "scaled to 35 %, EXIF lost", "lens", scaled(0.35), saved=NO_EXIF),
    Edit("on_its_head", "stored upside down, EXIF lost", "lens", on_its_head, saved=NO_EXIF),
    Edit("barrel_5", "barrel distortion of 5 %", "lens", bent(0.05), harm=False),
    Edit("barrel_15", "barrel distortion of 15 %", "lens", bent(0.15)),
    Edit("barrel_25", "barrel distortion of 25 %", "lens", bent(0.25)),
    Edit("pincushion_4", "pincushion distortion of 4 %", "lens", bent(-0.04), harm=False),
    Edit("rolled_4", "camera rolled by 4 degrees", "lens", rolled(4.0), harm=False),
    Edit("rolled_12", "camera rolled by 12 degrees", "lens", rolled(12.0), harm=False),
    Edit("rolled_25", "camera rolled by 25 degrees", "lens", rolled(25.0), harm=False),
    Edit("squeezed", "squeezed to 92 % of its width", "lens", linear_map(np.diag([0.92, 1.0]))),
    Edit("keystone", "perspective changed by an editor", "lens", keystone),
    Edit("mirrored", "the whole picture mirrored", "lens", linear_map(MIRROR)),
)  # fmt: skip
