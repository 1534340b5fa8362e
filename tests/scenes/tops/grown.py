"""Where pins and caps stand, and how large: groups over the surface, none through another."""

from __future__ import annotations

import numpy as np

from .spec import Cap, Mouth, Pin

LEAST_PIN_MM, MOST_PIN_MM = 1.0, 10.0
LEAST_CAP_MM, MOST_CAP_MM = 5.0, 80.0
_TRIES = 14
_APART = 0.62  # of two caps' mean diameter, at least between their middles


def draw_pins(rng: np.random.Generator, mouth: Mouth, *, most_mm: float) -> tuple[Pin, ...]:
    """Pins in one to five groups, 1 mm to ``most_mm`` high."""
    pins: list[Pin] = []
    for _ in range(int(rng.integers(1, 6))):
        middle = 0.85 * mouth.radius_mm * np.sqrt(rng.random())
        turn = rng.uniform(0.0, 2.0 * np.pi)
        spread = rng.uniform(2.0, 10.0)
        for _ in range(int(np.exp(rng.uniform(0.0, np.log(18.0))))):
            x, y = middle * np.array([np.cos(turn), np.sin(turn)]) + spread * rng.standard_normal(2)
            tall = most_mm * float(np.clip(np.exp(rng.normal(-0.45, 0.4)), 0.1, 1.0))
            tall = float(np.clip(tall, LEAST_PIN_MM, MOST_PIN_MM))
            wide = float(max(0.7, tall * rng.uniform(0.38, 0.62)))
            free = all(
                np.hypot(x - pin.x_mm, y - pin.y_mm) > 0.5 * (wide + pin.diameter_mm)
                for pin in pins
            )
            if free and np.hypot(x, y) < mouth.radius_mm - wide / 2.0 - 0.6:
                pins.append(Pin(float(x), float(y), tall, wide, float(rng.uniform(0.0, 24.0)),
                                float(rng.uniform(0.0, 360.0))))  # fmt: skip
    return tuple(pins)


def draw_caps(
    rng: np.random.Generator, mouth: Mouth, depth_mm: float, *, middle_mm: float, flattening: float
) -> tuple[Cap, ...]:
    """Caps in one to three groups about a middle diameter and age."""
    caps: list[Cap] = []
    for _ in range(int(rng.choice([1, 1, 2, 3]))):
        far = 0.6 * mouth.radius_mm * np.sqrt(rng.random())
        turn = rng.uniform(0.0, 2.0 * np.pi)
        group = far * np.array([np.cos(turn), np.sin(turn)])
        for _ in range(int(rng.integers(1, 9))):
            for _ in range(_TRIES):
                cap = _one(rng, mouth, depth_mm, group, middle_mm, flattening)
                if cap is not None and _free(cap, caps):
                    caps.append(cap)
                    break
    return tuple(caps)


def _one(
    rng: np.random.Generator, mouth: Mouth, depth_mm: float, group: np.ndarray, middle_mm: float,
    flattening: float,
) -> Cap | None:  # fmt: skip
    drawn = middle_mm * np.exp(0.3 * rng.standard_normal())
    wide = float(np.clip(drawn, LEAST_CAP_MM, MOST_CAP_MM))
    turn = rng.uniform(0.0, 2.0 * np.pi)
    out = np.array([np.cos(turn), np.sin(turn)])
    foot = group + out * min(0.22 * middle_mm, 9.0) * rng.uniform(0.2, 1.6)
    if np.hypot(*foot) > mouth.radius_mm - 4.0:
        foot *= (mouth.radius_mm - 4.0) / np.hypot(*foot)
    stalk = wide * rng.uniform(0.6, 1.25) + 3.0
    x, y = foot + out * stalk * rng.uniform(0.1, 0.5)
    z = max(depth_mm - stalk, -90.0)
    young = np.clip((wide / middle_mm) ** 0.6, 0.7, 1.25)
    room = mouth.radius_mm - 0.56 * wide - 1.0
    if z > -3.0:  # within the glass
        if room < 0.0:
            z = -float(rng.uniform(4.0, 16.0))
        elif np.hypot(x, y) > room:
            x, y = np.array([x, y]) * room / np.hypot(x, y)
    elif np.hypot(x, y) > mouth.radius_mm + 12.0:
        return None
    tilt = float(rng.uniform(2.0, 30.0)) if z < -3.0 else float(rng.uniform(0.0, 14.0))
    return Cap(
        foot_x_mm=float(foot[0]), foot_y_mm=float(foot[1]), x_mm=float(x), y_mm=float(y),
        z_mm=float(z), diameter_mm=wide,
        flattening=float(np.clip(flattening * young + 0.05 * rng.standard_normal(), 0.03, 1.3)),
        tilt_deg=tilt, tilt_to_deg=float(np.rad2deg(turn)),
        wave=float(np.clip(0.03 + 0.06 * (flattening - 0.5), 0.005, 0.09)),
    )  # fmt: skip


def _free(cap: Cap, others: list[Cap]) -> bool:
    here = np.array([cap.x_mm, cap.y_mm, cap.z_mm])
    return all(
        np.linalg.norm(here - [other.x_mm, other.y_mm, other.z_mm])
        > _APART * 0.5 * (cap.diameter_mm + other.diameter_mm)
        for other in others
    )
