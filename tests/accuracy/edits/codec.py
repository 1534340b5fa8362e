"""Codecs: what saving and sending does."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import ByteArray

from .lens import untouched
from .scene import Apply, Edit, JarScene, Saved


def sent(long_side: int) -> Apply:
    """Scaled to a long side, as messengers do; smaller pictures stay."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        share = min(1.0, long_side / max(scene.shape))
        small = cv2.resize(
            scene.photo.rgb, None, fx=share, fy=share, interpolation=cv2.INTER_AREA
        )  # fmt: skip
        return np.asarray(small, np.uint8)

    return apply


def resaved(times: int, quality: int) -> Apply:
    """Saved again and again, moved by a pixel each time so that the blocks do not agree."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        rgb = scene.photo.rgb
        for _time in range(times):
            rgb = np.roll(rgb, (1, 1), axis=(0, 1))
            rgb = np.asarray(jpeg(rgb, quality), np.uint8)
        return np.ascontiguousarray(np.roll(rgb, (-times, -times), axis=(0, 1)))

    return apply


def jpeg(rgb: ByteArray, quality: int) -> ByteArray:
    """Through JPEG and back."""
    bgr = np.ascontiguousarray(rgb[..., ::-1])
    data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    again = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)
    return np.ascontiguousarray(again[..., ::-1])


EDITS = (
    Edit("jpeg_40", "JPEG of quality 40", "codec", untouched, harm=False, saved=Saved(quality=40)),
    Edit("jpeg_20", "JPEG of quality 20", "codec", untouched, saved=Saved(quality=20)),
    Edit("jpeg_10", "JPEG of quality 10", "codec", untouched, saved=Saved(quality=10)),
    Edit("jpeg_5", "JPEG of quality 5", "codec", untouched, saved=Saved(quality=5)),
    Edit("webp_30", "WebP of quality 30", "codec", untouched,
         saved=Saved(form="WEBP", quality=30)),
    Edit("resaved_6", "saved six times at quality 60", "codec", resaved(6, 60), harm=False),
    Edit("messenger", "sent: 1280 px, quality 60, EXIF lost", "codec", sent(1280),
         saved=Saved(quality=60, exif=False)),
    Edit("messenger_large", "sent: 1600 px, quality 70, EXIF lost", "codec", sent(1600),
         saved=Saved(quality=70, exif=False)),
)  # fmt: skip
