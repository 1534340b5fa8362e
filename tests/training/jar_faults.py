"""What goes wrong on a grown wall, and fruit bodies: laid over a canvas (NumPy).

The looks are those of :mod:`.grown_walls`; a place has the class of what makes up half of it.
"""

from __future__ import annotations

import numpy as np

from jarvision.records import Float32Array, TissueClass
from tests.scenes.anomalies import Pins, StandingPins
from tests.scenes.events import Canvas
from tests.scenes.suite import CAPS_LAB
from tests.scenes.textures import lab_to_linear

from .jar_contents import Bare
from .jar_growth import Growth, chance, logarithmic, soft, step_at
from .noise import fractal, smooth_noise

MOULDS = {  # lightness, chroma, hue in degrees
    TissueClass.GREEN: ((24.0, 72.0), (8.0, 42.0), (108.0, 215.0)),
    TissueClass.BLACK: ((4.0, 38.0), (0.0, 7.0), (0.0, 360.0)),
    TissueClass.PINK: ((44.0, 80.0), (16.0, 50.0), (-12.0, 48.0)),
    TissueClass.YELLOW: ((54.0, 86.0), (28.0, 72.0), (74.0, 104.0)),
}
SHARES = {"stain": 0.09, "skin": 0.05, "mould": 0.24, "wet": 0.09, "pins": 0.07, "standing": 0.05}
_SPREAD_MM = 40.0  # of where faults lie around the middle of the front


def colour_of(
    rng: np.random.Generator, light: tuple[float, float], chroma: tuple[float, float],
    hue_deg: tuple[float, float],
) -> Float32Array:  # fmt: skip
    """A colour between limits, ``(3,)`` linear sRGB."""
    lightness, strength = rng.uniform(*light), rng.uniform(*chroma)
    hue = np.deg2rad(rng.uniform(*hue_deg))
    return lab_to_linear(np.array([lightness, strength * np.cos(hue), strength * np.sin(hue)]))


def lay_faults(canvas: Canvas, bare: Bare, growth: Growth, rng: np.random.Generator) -> list[str]:
    """Whatever the dice say; the names of what was laid."""
    drawn = [name for name, share in SHARES.items() if rng.random() < share]
    if "stain" in drawn or "skin" in drawn:
        _stain(canvas, growth, rng, skin="skin" in drawn)
    if "wet" in drawn:
        _wet(canvas, rng)
    if "mould" in drawn:
        _mould(canvas, bare, growth, rng)
    tone = np.array(CAPS_LAB[rng.integers(len(CAPS_LAB))]) + rng.normal(0.0, [6.0, 1.5, 3.0])
    cap = (float(np.clip(tone[0], 22.0, 92.0)), float(tone[1]), float(tone[2]))
    if "pins" in drawn:
        _pins(canvas, bare, rng, cap)
    if "standing" in drawn:
        _standing(canvas, rng, cap)
    return drawn


def _sized(canvas: Canvas, *sizes_mm: float) -> list[float]:
    """Sizes in cells."""
    return [size / canvas.grid.step_mm[1] for size in sizes_mm]


def _stain(canvas: Canvas, growth: Growth, rng: np.random.Generator, *, skin: bool) -> None:
    """Amber spots or brown skin: upon growth alone, most of all where it is old."""
    field = fractal(canvas.opacity.shape, rng, _sized(canvas, 1.4, 2.8, 5.5, 11.0, 22.0), fall=0.75)
    field = field + 2.0 * np.clip(growth.front, 0.0, 0.5)
    least = rng.uniform(-1.2, 1.2) if skin else rng.uniform(0.8, 2.2)
    strength = rng.uniform(0.6, 1.0) * step_at(field - least, logarithmic(rng, 0.03, 0.6))
    strength = strength * step_at(canvas.opacity - 0.62, 0.05)
    colour = colour_of(rng, (25.0, 74.0), (10.0, 42.0), (48.0, 86.0))
    mottle = np.exp(0.15 * fractal(strength.shape, rng, _sized(canvas, 1.0, 3.0, 9.0)))
    canvas.stain(strength, np.clip(colour * mottle[..., None], 0.0, 0.95))
    shine = strength * np.float32(chance(rng, 0.5) * rng.uniform(0.2, 0.9))
    canvas.gloss[:] = np.maximum(canvas.gloss, shine)


def _wet(canvas: Canvas, rng: np.random.Generator) -> None:
    """Wet from the foot upwards: darker, deeper in colour, glossier; growth in it still shows."""
    sizes = _sized(canvas, 3.0, 6.0, 12.0, 25.0)
    edge = logarithmic(rng, 5.0, 50.0) + rng.uniform(0.5, 6.0) * fractal(
        canvas.opacity.shape, rng, sizes
    )
    up = canvas.grid.heights_mm[:, None]
    strength = step_at(edge - up, rng.uniform(0.3, 4.0)) * (1.0 - canvas.opacity)
    dark = canvas.albedo ** np.float32(rng.uniform(1.0, 1.35))
    dark = np.asarray(dark * rng.uniform(0.35, 0.85), np.float32)
    pool = colour_of(rng, (18.0, 55.0), (4.0, 26.0), (55.0, 90.0))
    pooled = chance(rng, 0.4) * rng.uniform(0.0, 0.6)
    canvas.mix(strength, np.asarray(dark + pooled * (pool - dark), np.float32))
    canvas.gloss[:] = np.maximum(canvas.gloss, strength * np.float32(rng.uniform(0.3, 1.0)))
    canvas.relief_mm *= 1.0 - 0.4 * strength
    canvas.classes[(strength > 0.5) & (canvas.classes == TissueClass.BARE)] = TissueClass.WET


def _mould(canvas: Canvas, bare: Bare, growth: Growth, rng: np.random.Generator) -> None:
    """Mould of one kind in one to three places, often within a white margin."""
    far = _away(canvas, bare, rng)
    far = far + rng.uniform(0.02, 0.35) * fractal(
        far.shape, rng, _sized(canvas, 0.7, 1.4, 2.8, 5.5, 11.0), fall=0.8
    )
    margin = step_at(1.0 + rng.uniform(0.0, 0.7) - far, 0.05) * rng.uniform(0.0, 1.2)
    margin = np.minimum(margin, 1.0) * (canvas.classes != TissueClass.STAIN)
    opacity = np.maximum(canvas.opacity, margin).astype(np.float32)
    canvas.mix(
        np.clip((opacity - canvas.opacity) / (1.001 - canvas.opacity), 0.0, 1.0), growth.white
    )
    covered = (opacity >= 0.5) & (canvas.opacity < 0.5)
    canvas.classes[covered] = TissueClass.MYCELIUM
    canvas.opacity[:] = opacity
    felt = 0.1 + 0.3 * soft(canvas.relief_mm, 3.0)
    dense = soft(np.asarray(margin, np.float32), 1.8)
    canvas.relief_mm += dense * (felt - canvas.relief_mm)

    kind = list(MOULDS)[rng.integers(len(MOULDS))]
    colour = colour_of(rng, *MOULDS[kind])
    core = step_at(1.0 - far, logarithmic(rng, 0.02, 0.25))
    grains = _sized(canvas, 0.4, 0.8, 1.6)
    powder = colour * np.exp(rng.uniform(0.0, 0.3) * fractal(far.shape, rng, grains))[..., None]
    thick = core * np.float32(rng.uniform(0.7, 1.0))
    if kind == TissueClass.BLACK and rng.random() < 0.7:  # an airy turf with dark heads
        cloud = smooth_noise(far.shape, _sized(canvas, 0.8)[0], rng)
        grain = rng.standard_normal(far.shape, dtype=np.float32)
        heads = step_at(cloud + 0.5 * grain - rng.uniform(-0.5, 1.0), 0.15)[..., None]
        turf = colour_of(rng, (25.0, 62.0), (0.0, 6.0), (0.0, 360.0))
        veil = canvas.albedo + np.float32(rng.uniform(0.2, 0.8)) * (turf - canvas.albedo)
        powder, thick = veil + heads * (colour - veil), core
    canvas.mix(thick, np.clip(powder, 0.003, 0.95).astype(np.float32))
    canvas.gloss *= 1.0 - thick
    coloured = core > 0.5
    canvas.classes[coloured], canvas.opacity[coloured] = kind, 0.0


def _away(canvas: Canvas, bare: Bare, rng: np.random.Generator) -> Float32Array:
    """Distance from the nearest of some round spots, in their radii."""
    nearest = np.full(canvas.opacity.shape, 9.0, np.float32)
    for spot in range(3):
        if spot and rng.random() > 0.35:
            continue
        angle = float(np.rad2deg(rng.uniform(-1.0, 1.0) * _SPREAD_MM / canvas.grid.radius_mm))
        height = float(rng.uniform(0.05, 0.98) * bare.fill_mm.mean())
        along, up = canvas.grid.offsets_mm(angle, height)
        radius = logarithmic(rng, 2.0, 30.0)
        nearest = np.minimum(nearest, np.hypot(along, up).astype(np.float32) / radius)
    return np.asarray(nearest, np.float32)


def _pins(
    canvas: Canvas, bare: Bare, rng: np.random.Generator, cap: tuple[float, float, float]
) -> None:  # fmt: skip
    """Caps that press against the glass, in a group."""
    small = float(rng.uniform(1.2, 3.0))
    pins = Pins(
        from_day=-9.0,
        angle_deg=float(rng.uniform(-48.0, 48.0)),
        height_mm=float(rng.uniform(0.2, 0.97) * bare.fill_mm.mean()),
        spread_mm=float(rng.uniform(6.0, 26.0)),
        count=int(rng.integers(2, 11)),
        cap_lab=cap,
        cap_mm=(small, small * float(rng.uniform(1.2, 2.4))),
    )
    pins.lay(canvas, day=0.0, rng=rng)


def _standing(
    canvas: Canvas, rng: np.random.Generator, cap: tuple[float, float, float]
) -> None:  # fmt: skip
    """Fruit bodies on top of the contents."""
    small = float(rng.uniform(1.2, 3.0))
    pins = StandingPins(
        angle_deg=float(rng.uniform(-48.0, 48.0)),
        spread_deg=float(rng.uniform(5.0, 30.0)),
        count=int(rng.integers(2, 11)),
        tall_mm=(float(rng.uniform(4.0, 9.0)), float(rng.uniform(10.0, 24.0))),
        cap_mm=(small, small * float(rng.uniform(1.2, 2.4))),
        back_mm=float(rng.uniform(1.0, 9.0)),
        cap_lab=cap,
    )
    pins.lay(canvas, day=0.0, rng=rng)
