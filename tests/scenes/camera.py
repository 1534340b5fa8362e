"""A phone camera after the lens: from linear camera signals to an 8 bit sRGB picture. Pure numpy.

Nothing here knows the scene; everything a phone guesses (exposure, white) it guesses from the
picture, with the errors that the phone's record asks for.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tests.scenes import lights
from tests.scenes.spec import Phone

FloatArray = NDArray[np.float64]
ByteArray = NDArray[np.uint8]
Signal = NDArray[np.float32]

SRGB_FROM_XYZ = np.array(  # IEC 61966-2-1
    [
        [3.2406, -1.5372, -0.4986],
        [-0.9689, 1.8758, 0.0415],
        [0.0557, -0.2040, 1.0570],
    ]
)
# Per camera: mixing of the colour-matching functions into three lobes, shifts (nm) and broadening
# (nm) of each lobe, and how much red and green sensors see of each other. Made up, camera-like.
CAMERAS = (
    {"shift": (-6.0, 3.0, 4.0), "blur": (9.0, 12.0, 8.0), "leak": 0.06},
    {"shift": (4.0, -4.0, -3.0), "blur": (12.0, 8.0, 11.0), "leak": 0.03},
    {"shift": (0.0, 6.0, 2.0), "blur": (6.0, 15.0, 14.0), "leak": 0.10},
    {"shift": (-10.0, 0.0, 6.0), "blur": (14.0, 10.0, 9.0), "leak": 0.05},
)
# Sharpened cone-like lobes from x-bar, y-bar, z-bar (a spectrally sharpened adaptation basis).
LOBES = np.array([[0.95, 0.30, -0.18], [-0.70, 1.68, 0.02], [0.03, -0.05, 1.0]])


def sensitivities(number: int) -> FloatArray:
    """Spectral sensitivities ``(3, n)`` of camera ``number`` on ``lights.WAVELENGTHS_NM``.

    Lobes near those of the eye, shifted and broadened one by one, cut at both ends by the filter
    over the sensor: close to, but no linear transform of, the colour-matching functions.
    """
    model = CAMERAS[number % len(CAMERAS)]
    wave = lights.WAVELENGTHS_NM
    lobes = np.clip(lights.matching_functions() @ LOBES.T, 0.0, None).T
    out = np.empty_like(lobes)
    for k in range(3):
        moved = np.interp(wave - model["shift"][k], wave, lobes[k])
        out[k] = ndimage.gaussian_filter1d(moved, model["blur"][k] / lights.STEP_NM)
    leak = model["leak"]
    out[0], out[1] = out[0] + leak * out[1], out[1] + leak * out[0]
    cut = 1.0 / (1.0 + np.exp(-(wave - 412.0) / 5.0)) / (1.0 + np.exp((wave - 672.0) / 9.0))
    out *= cut
    return out / out.max(axis=1, keepdims=True)


def develop(signal: Signal, phone: Phone, *, white: FloatArray, seed: int) -> ByteArray:
    """Camera signal ``(rows, cols, 3)`` to sRGB bytes.

    ``white`` is the signal of a perfect white under the scene's mixed light, from which the
    phone's (imperfect) white balance departs.
    """
    rng = np.random.default_rng([seed, 21])
    zoom = signal.shape[1] / 1512.0
    light = _lens(signal.astype(np.float32), phone, zoom)
    daylight = camera_white(phone.sensitivity, "D65")
    seen = white / white[1]
    target = daylight / daylight[1]
    neutral = target * (seen / target) ** phone.balance_strength
    neutral[[0, 2]] *= 1.0 + np.array(phone.balance_error)
    light = _expose(light, phone)
    # The sensor is exposed for its strongest channel, so that a burnt-out white stays neutral.
    headroom = float((1.0 / neutral).min())
    light = sensor_noise(light * np.float32(headroom), phone, rng)
    linear = light @ _to_srgb(phone, neutral * headroom).T.astype(np.float32)
    encoded = tone(linear, phone.tone_curve)
    encoded = sharpen(encoded, phone, zoom)
    return np.clip(np.round(encoded * 255.0), 0, 255).astype(np.uint8)


def _to_srgb(phone: Phone, neutral: FloatArray) -> FloatArray:
    """White balance, colour matrix and saturation as one ``(3, 3)`` matrix."""
    grey = np.array([0.2126, 0.7152, 0.0722])  # luminance of linear sRGB, IEC 61966-2-1
    vivid = phone.saturation * np.eye(3) + (1.0 - phone.saturation) * np.outer(np.ones(3), grey)
    return vivid @ colour_matrix(phone.sensitivity) / neutral


def camera_white(number: int, illuminant: str) -> FloatArray:
    """Signal of a perfect white under a lamp, scaled as the renderer scales it, ``(3,)``."""
    curves = sensitivities(number)
    curves = curves / curves.mean(axis=1, keepdims=True)
    return curves @ lights.spectrum(illuminant) / lights.WAVELENGTHS_NM.size


def colour_matrix(number: int, *, samples: int = 400) -> FloatArray:
    """White-balanced camera signals to linear sRGB, least squares over smooth reflectances in D65.

    The reflectances are sigmoids of quadratics in wavelength (seeded); white is kept exactly.
    """
    rng = np.random.default_rng(5)
    t = np.linspace(-1.0, 1.0, lights.WAVELENGTHS_NM.size)
    c = rng.normal(0.0, [[2.2], [2.2], [1.3]], (3, samples))
    shapes = 1.0 / (1.0 + np.exp(-(c[0] * t[:, None] ** 2 + c[1] * t[:, None] + c[2])))
    lamp = lights.spectrum("D65")
    raw = (sensitivities(number) * lamp) @ shapes
    raw /= (sensitivities(number) @ lamp)[:, None]
    xyz = (lights.matching_functions().T * lamp) @ shapes
    rgb = SRGB_FROM_XYZ @ xyz
    rgb /= (SRGB_FROM_XYZ @ (lights.matching_functions().T @ lamp))[:, None]
    # rows sum to one (white stays white): fit the two free numbers of each row
    free = np.linalg.lstsq((raw[:2] - raw[2]).T, (rgb - raw[2]).T, rcond=None)[0].T
    return np.column_stack([free, 1.0 - free.sum(axis=1)])


def _lens(light: Signal, phone: Phone, zoom: float) -> Signal:
    """Vignetting, residual blur and hand shake."""
    rows, cols = light.shape[:2]
    y, x = np.ogrid[:rows, :cols]
    r2 = ((x - cols / 2) ** 2 + (y - rows / 2) ** 2) / (cols**2 + rows**2) * 4.0
    light = light * (1.0 - phone.vignetting * r2[..., None]).astype(np.float32)
    light = ndimage.gaussian_filter(light, (phone.blur_px * zoom, phone.blur_px * zoom, 0))
    shake = np.array(phone.motion_px) * zoom
    length = float(np.hypot(*shake))
    if length < 0.3:
        return light
    steps = int(np.ceil(length)) + 1
    offsets = np.linspace(-0.5, 0.5, steps)[:, None] * shake
    moved = [ndimage.shift(light, (dy, dx, 0), order=1, mode="nearest") for dx, dy in offsets]
    return np.mean(moved, axis=0, dtype=np.float32)


def _expose(light: Signal, phone: Phone) -> Signal:
    """Automatic exposure: middle-weighted mean to a set grey, at most about 2 % burnt out."""
    rows, cols = light.shape[:2]
    green = light[..., 1]
    y, x = np.ogrid[-1 : 1 : rows * 1j, -1 : 1 : cols * 1j]
    weight = np.exp(-(x**2 + y**2))
    bright, brightest = np.percentile(green[::2, ::2], (98.0, 99.0))
    mean = float((np.minimum(green, brightest) * weight).sum() / weight.sum())
    gain = min(0.27 / mean, 1.0 / float(bright)) * 2.0**phone.exposure_error_ev
    return light * np.float32(gain)


def sensor_noise(light: Signal, phone: Phone, rng: np.random.Generator) -> Signal:
    """Shot and read noise in electrons, saturation, then the phone's own noise reduction."""
    electrons = np.clip(light, 0.0, 1.25) * phone.full_well_electrons
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    noise *= np.sqrt(electrons + phone.read_noise_electrons**2)
    noise -= phone.denoise * ndimage.gaussian_filter(noise, (0.7, 0.7, 0))
    noise *= 1.0 - 0.5 * phone.denoise
    return np.clip((electrons + noise) / phone.full_well_electrons, 0.0, 1.0)


def tone(linear: Signal, number: int) -> Signal:
    """sRGB encoding (IEC 61966-2-1) bent by one of four contrast curves."""
    linear = np.clip(linear, 0.0, 1.0)
    encoded = np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    )
    strength, lift = ((0.0, 1.0), (0.35, 1.0), (0.6, 0.94), (0.25, 0.88))[number % 4]
    encoded = encoded**lift
    smooth = encoded * encoded * (3.0 - 2.0 * encoded)
    return (1.0 - strength) * encoded + strength * smooth


def sharpen(encoded: Signal, phone: Phone, zoom: float) -> Signal:
    """Mild unsharp masking on luma."""
    luma = encoded @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    detail = luma - ndimage.gaussian_filter(luma, max(1.2 * zoom, 0.5))
    return np.clip(encoded + phone.sharpening * detail[..., None], 0.0, 1.0)
