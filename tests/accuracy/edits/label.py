"""Labels, tapes and marks on the jar's glass."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.records import ByteArray, Float32Array
from tests.accuracy.white_looks import PX_PER_MM, cloud

from .paint import Canvas, lay
from .scene import Apply, Edit, JarScene

KRAFT, TAPE, WHITE = (0.36, 0.22, 0.11), (0.70, 0.60, 0.36), (0.80, 0.80, 0.78)
BLACK_INK, GREY_TAPE = (0.02, 0.02, 0.02), (0.30, 0.31, 0.32)
WHITEST = 0.95


@dataclass(frozen=True)
class Label:
    """What is stuck on: width in degrees and height as a share of the contents'.

    ``fibres`` is how far its colour varies, ``printed`` how many lines of print it bears,
    ``opaque`` how far it hides what is behind. ``anywhere`` is how far its middle strays, degrees.
    """

    deg: float
    tall: float
    rgb: tuple[float, float, float]
    fibres: float = 0.05
    printed: int = 0
    opaque: float = 1.0
    anywhere: float = 30.0


def stuck(label: Label) -> Apply:
    """A label on the wall, one place in each photo."""

    def apply(scene: JarScene, rng: np.random.Generator) -> ByteArray:
        canvas = Canvas.of(scene)
        half_mm = canvas.mm(label.deg) / 2.0
        tall_mm = label.tall * canvas.filled_mm
        middle = canvas.mm(rng.uniform(-label.anywhere, label.anywhere))
        foot = rng.uniform(0.12, max(0.13, 0.9 - label.tall)) * canvas.filled_mm
        u = (canvas.x_mm - middle) / half_mm
        v = (canvas.height_mm - foot) / tall_mm
        alpha = ((np.abs(u) < 1.0) & (v > 0.0) & (v < 1.0)).astype(np.float32) * label.opaque
        ink = _print(canvas, u, v, rng, lines=label.printed, tall_mm=tall_mm)
        fibre = 1.0 + label.fibres * cloud(canvas.shape, rng, scale_mm=0.5)
        fibre = fibre + 0.5 * label.fibres * cloud(canvas.shape, rng, scale_mm=6.0)
        albedo = np.clip(np.float32(label.rgb) * fibre[..., None], 0.0, WHITEST) * ink[..., None]
        alpha = np.asarray(cv2.GaussianBlur(alpha, (0, 0), 0.6), np.float32)
        return lay(scene, canvas, np.asarray(albedo, np.float32), alpha, rng)

    return apply


def _print(
    canvas: Canvas, u: Float32Array, v: Float32Array, rng: np.random.Generator, *, lines: int,
    tall_mm: float,
) -> Float32Array:  # fmt: skip
    """Lines of words, 1 on bare paper and near 0 in ink."""
    ink = np.ones(canvas.shape, np.float32)
    for line in range(lines):
        here = np.abs(v - (line + 0.7) / (lines + 0.4)) < min(0.22 / lines, 2.2 / tall_mm)
        words = cloud((1, canvas.shape[1]), rng, scale_mm=2.5)[0] > -0.6
        letters = rng.uniform(size=canvas.shape[1] // 3 + 1).repeat(3)[: canvas.shape[1]] > 0.35
        ink[here & (np.abs(u) < rng.uniform(0.6, 0.9)) & (words & letters)[None, :]] = 0.06
    return np.asarray(cv2.GaussianBlur(ink, (0, 0), 0.7), np.float32)


def handwriting(scene: JarScene, rng: np.random.Generator) -> ByteArray:
    """Marker pen on the glass: a name and a date."""
    canvas = Canvas.of(scene)
    alpha = np.zeros(canvas.shape, np.float32)
    at = np.array([canvas.shape[1] / 2 - canvas.mm(25.0) * PX_PER_MM,
                   (1.0 - rng.uniform(0.35, 0.6)) * canvas.shape[0]])  # fmt: skip
    for number in range(10):
        pen = at + np.array([number * 5.0 * PX_PER_MM, 0.0])
        strokes = pen + np.cumsum(rng.normal(0.0, 1.8 * PX_PER_MM, (4, 2)), axis=0)
        cv2.polylines(alpha, [np.rint(strokes).astype(np.int32)], False, 0.95, 5)
    alpha = np.asarray(cv2.GaussianBlur(alpha, (0, 0), 0.8), np.float32)
    albedo = np.full((*canvas.shape, 3), 0.03, np.float32)
    return lay(scene, canvas, albedo, alpha, rng)


EDITS = (
    Edit("kraft_60x40", "kraft label, 60 degrees by 40 % of the contents", "label",
         stuck(Label(60.0, 0.4, KRAFT, printed=0))),
    Edit("kraft_wide", "kraft label, 100 degrees by 35 %", "label",
         stuck(Label(100.0, 0.35, KRAFT, fibres=0.1))),
    Edit("masking_tape", "masking tape around the jar", "label",
         stuck(Label(300.0, 0.22, TAPE, fibres=0.07, opaque=0.92))),
    Edit("grey_tape", "grey tape around the jar", "label",
         stuck(Label(300.0, 0.3, GREY_TAPE, fibres=0.03))),
    Edit("white_print", "white paper label with print, 70 degrees by 40 %", "label",
         stuck(Label(70.0, 0.4, WHITE, printed=5, fibres=0.02))),
    Edit("white_plain", "white paper label without print, 60 degrees by 35 %", "label",
         stuck(Label(60.0, 0.35, WHITE, fibres=0.015))),
    Edit("white_round", "white paper label with print all round", "label",
         stuck(Label(300.0, 0.45, WHITE, printed=5, fibres=0.02))),
    Edit("white_round_plain", "white paper band without print all round", "label",
         stuck(Label(300.0, 0.35, WHITE, fibres=0.02))),
    Edit("sticker", "small white sticker, 15 degrees by 12 %", "label",
         stuck(Label(15.0, 0.12, WHITE, fibres=0.02)), harm=False),
    Edit("black_tape", "black tape, 40 degrees by 25 %", "label",
         stuck(Label(40.0, 0.25, BLACK_INK, fibres=0.1))),
    Edit("rubber_band", "brown rubber band around the jar", "label",
         stuck(Label(300.0, 0.05, (0.35, 0.2, 0.1), fibres=0.05)), harm=False),
    Edit("pen", "marker pen on the glass", "label", handwriting, harm=False),
)  # fmt: skip
