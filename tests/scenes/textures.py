"""Small tools that every texture needs: colour conversion, periodic noise, fibres."""

from __future__ import annotations

import cv2
import numpy as np
import scipy.fft

from jarvision.records import Float32Array, FloatArray

from .wall_paint import WallGrid

D65_WHITE = np.array([0.95047, 1.0, 1.08883])
XYZ_TO_LINEAR = np.array(
    [
        [3.2404542, -1.5371385, -0.4985314],
        [-0.9692660, 1.8760108, 0.0415560],
        [0.0556434, -0.2040259, 1.0572252],
    ]
)


def lab_to_linear(lab: FloatArray | Float32Array) -> Float32Array:
    """CIELAB (D65, 2 degrees) to linear sRGB, ``(..., 3)``, kept within 0.002 to 1.

    Formula: CIE 15 and IEC 61966-2-1, from memory; tested against colour-science.
    """
    lab = np.asarray(lab, dtype=np.float64)
    fy = (lab[..., 0] + 16.0) / 116.0
    f = np.stack([fy + lab[..., 1] / 500.0, fy, fy - lab[..., 2] / 200.0], axis=-1)
    delta = 6.0 / 29.0
    xyz = np.where(f > delta, f**3, 3.0 * delta**2 * (f - 4.0 / 29.0)) * D65_WHITE
    return np.asarray(np.clip(xyz @ XYZ_TO_LINEAR.T, 0.002, 1.0), dtype=np.float32)


def smoothstep(low: float, high: float, value: FloatArray | Float32Array) -> Float32Array:
    """0 below ``low``, 1 above ``high``, a smooth cubic between."""
    t = np.clip((value - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t), dtype=np.float32)


def sigmoid(value: FloatArray | Float32Array) -> Float32Array:
    """Logistic function, safe for large arguments and infinities."""
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * value)), dtype=np.float32)


def _frequencies(grid: WallGrid) -> tuple[FloatArray, FloatArray]:
    down, across = grid.step_mm
    fy = scipy.fft.fftfreq(grid.rows, down)[:, None]
    fx = scipy.fft.rfftfreq(grid.cols, across)[None, :]
    return fy, fx


def _shaped(grid: WallGrid, rng: np.random.Generator, gain: FloatArray) -> Float32Array:
    white = rng.standard_normal(grid.shape, dtype=np.float32)
    spectrum = scipy.fft.rfft2(white) * gain.astype(np.float32)
    spectrum[0, 0] = 0.0
    field = scipy.fft.irfft2(spectrum, s=grid.shape)
    return np.asarray(field / field.std(), dtype=np.float32)


def fractal_noise(
    grid: WallGrid,
    *,
    rng: np.random.Generator,
    largest_mm: float,
    smallest_mm: float,
    slope: float = 1.6,
) -> Float32Array:
    """Noise of zero mean and unit spread that has no seam at +-180 degrees.

    Amplitude falls as ``frequency ** -slope`` between the two sizes; a slope near 1.6 gives
    lines of equal value that are rough at every size, as growth fronts are.
    """
    fy, fx = _frequencies(grid)
    f = np.hypot(fy, fx)
    low, high = 1.0 / largest_mm, 1.0 / smallest_mm
    gain = np.where(f < low, 1.0, (np.maximum(f, low) / low) ** -slope)
    return _shaped(grid, rng, gain * np.exp(-((f / high) ** 2)))


def tangle(
    grid: WallGrid, *, rng: np.random.Generator, width_mm: float, length_mm: float, ways: int = 9
) -> Float32Array:
    """Threads that cross each other in all directions: the brightest of ``ways`` brushed noises."""
    fy, fx = _frequencies(grid)
    best = np.full(grid.shape, -np.inf, dtype=np.float32)
    for way in range(ways):
        turn = np.pi * (way + rng.uniform(-0.3, 0.3)) / ways
        lengthwise = fx * np.cos(turn) + fy * np.sin(turn)
        crosswise = -fx * np.sin(turn) + fy * np.cos(turn)
        gain = np.exp(-((lengthwise * length_mm * 1.8) ** 2) - (crosswise * width_mm * 1.8) ** 2)
        np.maximum(best, _shaped(grid, rng, gain), out=best)
    return np.asarray((best - best.mean()) / best.std(), dtype=np.float32)


def brushed(
    grid: WallGrid,
    potential: FloatArray | Float32Array,
    *,
    rng: np.random.Generator,
    width_mm: float,
    length_mm: float,
) -> Float32Array:
    """Noise smeared along the gradient of ``potential``: hyphae that radiate from where they began.

    Line integral convolution (Cabral & Leedom 1993, from memory) with bilinear look-ups.
    """
    noise = fractal_noise(grid, rng=rng, largest_mm=2.0 * width_mm, smallest_mm=width_mm, slope=0.5)
    smooth = cv2.GaussianBlur(np.asarray(potential, dtype=np.float32), (0, 0), 3.0)
    down = np.gradient(smooth, axis=0)
    across = (np.roll(smooth, -1, axis=1) - np.roll(smooth, 1, axis=1)) / 2.0
    # a wavering direction keeps the threads from running dead straight
    waver = 0.5 * fractal_noise(grid, rng=rng, largest_mm=12.0, smallest_mm=1.5)
    angle = np.arctan2(down, across) + waver
    dy, dx = np.sin(angle), np.cos(angle)
    steps = max(2, round(length_mm / 2.0 / grid.step_mm[1]))
    rows, cols = np.indices(grid.shape, dtype=np.float32)
    total = noise.copy()
    for sign in (-1.0, 1.0):
        y, x = rows.copy(), cols.copy()
        for _ in range(steps):
            y += sign * _look_up(dy, y, x)
            x += sign * _look_up(dx, y, x)
            total += _look_up(noise, y, x)
    return np.asarray((total - total.mean()) / total.std(), dtype=np.float32)


def _look_up(field: FloatArray | Float32Array, y: Float32Array, x: Float32Array) -> Float32Array:
    wrapped = np.concatenate([field, field[:, :1]], axis=1).astype(np.float32)
    cols = np.float32(field.shape[1])
    return np.asarray(
        cv2.remap(wrapped, np.mod(x, cols), y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    )
