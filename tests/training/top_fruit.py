"""Paint droplets, standing water, pins and caps on a flattened surface (NumPy, OpenCV)."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

from jarvision.records import BoolArray, ByteArray, Float32Array, FloatArray
from tests.scenes.tops.bodies import cap_height
from tests.scenes.tops.spec import Cap, Pin, TopClass

from .noise import fractal, smooth_noise

SEEN_FROM = 0.5  # share of a cell from which it is of the thing's class


@dataclass
class Board:
    """A flattened surface while things are painted on it; arrays are changed in place.

    Attributes
    ----------
    light
        ``(n, n, 3)`` linear sRGB as seen.
    classes, below
        :class:`TopClass`, with and without water.
    lamp
        Unit vector in the plane to the brightest lamp's side.
    slant
        How far it stands off the vertical, 0 to 1.
    bodies
        Class, x, y and apparent width (mm) of every droplet, pin and cap that was painted.
    """

    cell_mm: float
    light: Float32Array
    classes: ByteArray
    below: ByteArray
    lamp: FloatArray
    slant: float
    bodies: list[tuple[TopClass, float, float, float]] = field(default_factory=list)

    @property
    def n(self) -> int:
        """Cells along a side."""
        return len(self.light)

    def window(self, x_mm: float, y_mm: float, reach_mm: float) -> Window | None:
        """The cells about a place, or None where they are not all on the board."""
        middle = np.array([y_mm, x_mm]) / self.cell_mm + self.n / 2.0 - 0.5
        reach = reach_mm / self.cell_mm
        first = np.floor(middle - reach).astype(int)
        last = np.ceil(middle + reach).astype(int) + 1
        if (first < 0).any() or (last > self.n).any():
            return None
        rows, cols = slice(first[0], last[0]), slice(first[1], last[1])
        y, x = np.mgrid[rows, cols].astype(np.float32)
        return Window((rows, cols), (x - np.float32(middle[1])) * np.float32(self.cell_mm),
                      (y - np.float32(middle[0])) * np.float32(self.cell_mm))  # fmt: skip


@dataclass(frozen=True)
class Window:
    """Some cells, and how far they lie from a place, mm."""

    cells: tuple[slice, slice]
    x_mm: Float32Array
    y_mm: Float32Array


def paint_droplet(
    board: Board, x_mm: float, y_mm: float, width_mm: float, look: tuple[float, ...]
) -> None:
    """A lens: a bright crescent off the lamp, a dark rim and shadow, a mirrored lamp.

    ``look``: strength of crescent, rim, shadow and highlight, and width of the highlight.
    """
    crescent, rim, shadow, shine, spot = look
    half = width_mm / 2.0
    window = board.window(x_mm, y_mm, 1.9 * half + board.cell_mm)
    if window is None:
        return
    u, v = window.x_mm / half, window.y_mm / half
    far = np.hypot(u, v)
    soft = board.cell_mm / half
    inside = np.clip((1.0 - far) / soft + 0.5, 0.0, 1.0)
    off = -(u * board.lamp[0] + v * board.lamp[1])
    gain = 1.0 + inside * (crescent * board.slant * np.clip(off, -0.8, 1.0) - rim * far**6)
    behind = np.hypot(u + 0.7 * board.slant * board.lamp[0], v + 0.7 * board.slant * board.lamp[1])
    shade = shadow * np.clip(1.3 - behind, 0.0, 1.0) * (1.0 - inside)
    gain = np.clip(gain - shade, 0.1, 3.0)
    at = np.hypot(u - 0.5 * board.slant * board.lamp[0], v - 0.5 * board.slant * board.lamp[1])
    mirrored = shine * np.exp(-((at / spot) ** 2)) * inside
    seen = board.light[window.cells]
    bent = seen[::-1, ::-1] if min(seen.shape[:2]) > 3 else seen  # the lens turns the picture
    seen = seen + 0.35 * inside[..., None] * (bent - seen)
    board.light[window.cells] = seen * gain[..., None] + mirrored[..., None]
    here = board.classes[window.cells]
    under = board.below[window.cells]
    here[(inside >= SEEN_FROM) & np.isin(under, (1, 2, 3))] = TopClass.DROPLET
    board.bodies.append((TopClass.DROPLET, x_mm, y_mm, width_mm))


def paint_pool(board: Board, height_mm: Float32Array, there: BoolArray, share: float,
               rng: np.random.Generator) -> None:  # fmt: skip
    """Standing water in the lowest part: darker, smoother, with a soft mirror of the room."""
    level = float(np.quantile(height_mm[there], share))
    wet = np.clip((level - height_mm) / 0.25, 0.0, 1.0) * there
    dark = board.light ** np.float32(rng.uniform(1.0, 1.25)) * np.float32(rng.uniform(0.35, 0.8))
    dark = cv2.GaussianBlur(dark, (0, 0), float(rng.uniform(0.4, 1.2)))
    room = np.clip(0.4 + 0.3 * smooth_noise(wet.shape, board.n / 3.0, rng), 0.0, 2.0)
    mirror = np.float32(rng.uniform(0.0, 0.12)) * room
    brim = np.exp(-(((height_mm - level) / 0.3) ** 2)) * there * rng.uniform(0.0, 0.5)
    part = wet.astype(np.float32)[..., None]
    board.light += part * (dark + mirror[..., None] - board.light)
    board.light *= (
        1.0 + (brim * (0.5 * fractal(wet.shape, rng, (4.0, 8.0)))).astype(np.float32)[..., None]
    )
    board.classes[(wet >= SEEN_FROM)] = TopClass.WATER


def paint_pin(
    board: Board, pin: Pin, cap: Float32Array, stalk: Float32Array, rng: np.random.Generator
) -> None:
    """A stalk that leans away from its foot, and a round head."""
    lean = np.tan(np.deg2rad(pin.lean_deg)) + rng.normal(0.0, 0.12)
    way = np.array([np.cos(np.deg2rad(pin.lean_to_deg)), np.sin(np.deg2rad(pin.lean_to_deg))])
    tip = way * lean * pin.height_mm
    colour = cap + np.float32(rng.uniform(0.1, 0.9) if pin.height_mm < 4 else 0.2) * (stalk - cap)
    for share in np.linspace(0.0, 0.8, 5):
        x, y = np.array([pin.x_mm, pin.y_mm]) + share * tip
        _ball(board, (x, y), 0.55 * pin.diameter_mm, stalk, shadow=0.5)
    at = (pin.x_mm + tip[0], pin.y_mm + tip[1])
    _ball(board, at, pin.diameter_mm, colour, shadow=0.3)
    board.bodies.append((TopClass.PIN, float(at[0]), float(at[1]), pin.diameter_mm))


def _ball(
    board: Board, at: tuple[float, float], width_mm: float, colour: Float32Array, *, shadow: float
) -> None:
    """A ball as part of a pin."""
    half = width_mm / 2.0
    window = board.window(*at, 1.8 * half + board.cell_mm)
    if window is None:
        return
    u, v = window.x_mm / half, window.y_mm / half
    far = np.hypot(u, v)
    inside = np.clip((1.0 - far) * half / board.cell_mm + 0.5, 0.0, 1.0)
    up = np.sqrt(np.clip(1.0 - far**2, 0.04, 1.0))
    shine = board.slant * (u * board.lamp[0] + v * board.lamp[1])
    bright = np.clip(0.45 + 0.55 * (np.sqrt(1.0 - board.slant**2) * up + shine), 0.12, 1.3)
    _lay(board, window, inside, colour * bright[..., None], TopClass.PIN, (u, v), shadow)


def paint_cap(
    board: Board, cap: Cap, colour: Float32Array, gills: Float32Array, rng: np.random.Generator
) -> None:
    """A dome, plate or dish as its flattening has it, with fibres, foreshortened by its tilt."""
    half = cap.diameter_mm / 2.0
    window = board.window(cap.x_mm, cap.y_mm, 1.5 * half + board.cell_mm)
    if window is None:
        return
    to = np.deg2rad(cap.tilt_to_deg)
    short = max(np.cos(np.deg2rad(cap.tilt_deg)), 0.3)
    along = (window.x_mm * np.cos(to) + window.y_mm * np.sin(to)) / (half * short)
    across = (window.y_mm * np.cos(to) - window.x_mm * np.sin(to)) / half
    turn = np.arctan2(across, along)
    wave = sum(np.sin(n * turn + rng.uniform(0.0, 6.28)) / n**0.5 for n in (2, 3, 5, 8, 13))
    far = np.hypot(along, across) / (1.0 + 0.45 * cap.wave * wave)
    inside = np.clip((1.0 - far) * half / board.cell_mm + 0.5, 0.0, 1.0)
    share = np.clip(far, 0.0, 0.999)
    step = 0.02
    slope = (cap_height(np.clip(share + step, 0, 1), cap.flattening)
             - cap_height(np.clip(share - step, 0, 1), cap.flattening)) / (2.0 * step)  # fmt: skip
    slope = np.clip(slope, -3.0, 3.0)
    x, y = -slope * np.cos(turn + to), -slope * np.sin(turn + to)
    leaning = np.tan(np.deg2rad(cap.tilt_deg))
    x, y = x + leaning * np.cos(to), y + leaning * np.sin(to)
    facing = np.sqrt(1.0 - board.slant**2) + board.slant * (x * board.lamp[0] + y * board.lamp[1])
    facing = facing / np.sqrt(1.0 + x * x + y * y)
    bright = np.clip(0.4 + 0.6 * facing, 0.12, 1.3)
    fibres = np.interp(turn, np.linspace(-np.pi, np.pi, 180), rng.standard_normal(180))
    mottle = fractal(share.shape, rng, (2.0, 6.0, 16.0))
    tone = np.exp(rng.uniform(0, 0.08) * fibres * share + rng.uniform(0, 0.1) * mottle)
    tone *= 1.0 - rng.uniform(0.0, 0.35) * (1.0 - share) ** 2
    pale = np.clip((share - 0.9) / 0.1, 0.0, 1.0) * rng.uniform(0.0, 0.4)
    shown = colour * (bright * tone)[..., None]
    shown = shown + pale[..., None] * (gills - shown)
    place = far * np.cos(turn + to), far * np.sin(turn + to)
    _lay(board, window, inside, shown.astype(np.float32), TopClass.CAP, place, 0.5)
    board.bodies.append((TopClass.CAP, cap.x_mm, cap.y_mm, cap.diameter_mm))


def _lay(
    board: Board, window: Window, inside: FloatArray, shown: Float32Array, kind: TopClass,
    place: tuple[FloatArray, FloatArray], shadow: float,
) -> None:  # fmt: skip
    """Shadow first, then the body itself."""
    drift = 0.55 * board.slant
    behind = np.hypot(place[0] + drift * board.lamp[0], place[1] + drift * board.lamp[1])
    dark = shadow * np.clip((1.25 - behind) / 0.45, 0.0, 1.0) * (1.0 - inside)
    seen = board.light[window.cells] * (1.0 - dark[..., None])
    board.light[window.cells] = seen + inside[..., None] * (shown - seen)
    mine = inside >= SEEN_FROM
    board.classes[window.cells][mine] = kind
    board.below[window.cells][mine] = kind
