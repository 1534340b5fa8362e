"""Growth and faults laid over layers of contents, a batch at a time (PyTorch).

What is told here is what stands on the wall, with its colour under even light and its relief;
:mod:`.lit_walls` lights it, puts glass before it and photographs it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import torch
from torch import Tensor

from jarvision.records import TissueClass
from jarvision.vision.jar.unroll import CELL_MM

from .contents_layers import RELIEF_MM
from .draws import WINDOW, Dice, bands, blur, lab_colour, mix, moved, step_at

IGNORED = 255
UNSURE = (0.25, 0.5)  # strengths of a stain, mould or wetness between which no class is told


@dataclass(frozen=True)
class Contents:
    """Bare contents, each ``(n, bands, rows, cols)``: linear albedo, mm, 0 to 1, 0 to 1."""

    albedo: Tensor
    relief_mm: Tensor
    gloss: Tensor
    piece: Tensor


@dataclass(frozen=True)
class Grown:
    """A wall before it is lit.

    Attributes
    ----------
    albedo, relief_mm, gloss
        Of what lies uppermost.
    opacity
        Share of the contents that mycelium hides.
    seen, beneath
        Class by :class:`jarvision.records.TissueClass` as floats, 255 where none is told; and the
        class that counts for the cover.
    caps
        Where a fruit body's cap stands.
    """

    albedo: Tensor
    relief_mm: Tensor
    gloss: Tensor
    opacity: Tensor
    seen: Tensor
    beneath: Tensor
    caps: Tensor


@dataclass(frozen=True)
class Recolour:
    """What a jar's contents are changed by: the same for all photos of the jar."""

    gain: Tensor
    contrast: Tensor

    @classmethod
    def draw(cls, dice: Dice) -> Recolour:
        """Other lightness, tint and contrast."""
        tint = bands(dice.device, 0.1, 0.04, 0.14) * dice.oddness * dice.normal(3, 1, 1)
        return cls(torch.exp(0.22 * dice.normal() + tint), torch.exp(0.22 * dice.normal()))


def bare(
    maps: Tensor, dice: Dice, recolour: Recolour, *, window: tuple[int, int] = WINDOW
) -> Contents:
    """A window of contents layers ``(n, 6, rows, cols)`` of bytes as numbers 0 to 255."""
    part = moved(maps, dice, turn=0.12, scale=0.14, window=window) / 255.0
    albedo = part[:, :3] ** 2.2
    middle = albedo.mean((2, 3), keepdim=True).clamp(min=0.004)
    albedo = recolour.gain * middle * (albedo / middle).clamp(min=1e-3) ** recolour.contrast
    # Nothing reflects more than nine tenths: paler things are pressed together below it.
    albedo = torch.where(albedo > 0.6, 0.6 + 0.3 * torch.tanh((albedo - 0.6) / 0.3), albedo)
    return Contents(albedo, RELIEF_MM * part[:, 3:4], part[:, 4:5], part[:, 5:6])


def grown(
    contents: Contents, growth: Tensor, pile: Tensor, dice: Dice, *, floor_row: Tensor
) -> Grown:
    """Growth over contents, its front anywhere; ``growth`` and ``pile`` are growth layers."""
    age, strands, _ = moved(growth, dice, turn=0.25, scale=0.3).div(255.0).split(1, dim=1)
    pile = moved(pile, dice, turn=0.5, scale=0.3)[:, 2:3] / 127.5 - 1.0
    opacity, front = _opacity(contents, age, strands, pile, dice)
    albedo, rough = _felt(pile, dice)
    bridged = blur(contents.relief_mm, 3) * dice.uniform(0.1, 1.0)
    thick = dice.uniform(0.0, 1.0) * (8.0 * front).clamp(0.0, 1.0)
    felt_mm = bridged + rough * pile + thick
    covered = (opacity >= 0.5).float()
    kind = mix(torch.full_like(covered, float(TissueClass.BARE)),
               torch.full_like(covered, float(TissueClass.MYCELIUM)), covered)  # fmt: skip
    wall = Grown(
        mix(contents.albedo, albedo, opacity),
        mix(contents.relief_mm, felt_mm, opacity),
        contents.gloss * (1.0 - opacity) + 0.05 * opacity,
        opacity,
        kind,
        kind,
        torch.zeros_like(kind),
    )
    wall = _capped(_stained(wall, front, dice), dice)
    return _wetted(_moulded(wall, albedo, dice), dice, floor_row)


def _opacity(
    contents: Contents, age: Tensor, strands: Tensor, pile: Tensor, dice: Dice
) -> tuple[Tensor, Tensor]:
    """How much growth hides, and how far behind its front a place lies (ranks of time)."""
    pieces = dice.chance(0.5) * dice.uniform(0.0, 0.3) * (contents.piece - 0.5)
    hollow = contents.relief_mm - blur(contents.relief_mm, 6)
    age = age + pieces + dice.chance(0.6) * dice.uniform(-0.12, 0.08) * hollow
    reached = dice.uniform(-0.03, 1.05)
    reached = torch.where(dice.chance(0.11) > 0, torch.full_like(reached, -9.0), reached)
    reached = torch.where(dice.chance(0.07) > 0, torch.full_like(reached, 1.6), reached)
    front = reached - age
    at_front, behind = dice.uniform(0.25, 1.0), dice.logarithmic(0.01, 0.4)
    dense = at_front + (1.0 - at_front) * (1.0 - torch.exp(-front.clamp(min=0.0) / behind))
    densest = torch.where(dice.chance(0.65) > 0, dice.uniform(0.9, 1.0), dice.uniform(0.5, 0.95))
    densest = mix(densest, dice.uniform(0.85, 1.0), dice.tame)
    holes = dice.uniform(0.0, 0.9) * (1.05 - dense)
    felt = step_at(front, dice.logarithmic(0.004, 0.07)) * dense * densest
    felt = felt * (1.0 - holes * (0.6 - pile).clamp(0.0, 1.0)) * (1.0 + 0.25 * pile * (1.0 - dense))
    ahead = dice.chance(0.6) * dice.uniform(0.3, 1.0)
    leading = step_at(front + dice.uniform(0.0, 0.3), 0.03)
    opacity = 1.0 - (1.0 - felt.clamp(0.0, 1.0)) * (1.0 - ahead * strands * leading)
    return opacity.clamp(0.0, 1.0), front


def _felt(pile: Tensor, dice: Dice) -> tuple[Tensor, Tensor]:
    """Albedo of growth, from bright white to dim cream and grey; height of its pile in mm."""
    bright = torch.where(dice.chance(0.62) > 0, dice.uniform(0.62, 0.95), dice.uniform(0.33, 0.66))
    bright = mix(bright, dice.uniform(0.66, 0.95), dice.tame)
    cream = dice.chance(0.5) * dice.uniform(0.0, 1.0)
    tint = torch.exp(bands(dice.device, 0.05, 0.0, -0.3) * cream
                     + bands(dice.device, 0.02, 0.01, 0.03) * dice.normal(3, 1, 1))  # fmt: skip
    slow = dice.uniform(0.0, 0.14) * dice.fractal(5, 3)
    texture = dice.chance(0.8) * dice.uniform(0.0, 0.35) * pile
    albedo = (bright * tint * torch.exp(slow + texture)).clamp(0.03, 0.97)
    return albedo, dice.chance(0.75) * dice.uniform(0.0, 1.3)


def _told(wall: Grown, strength: Tensor, kind: Tensor | float) -> Grown:
    """Labels where something of a strength lies over the wall; none where it is half there."""
    low, high = UNSURE
    if isinstance(kind, float):
        kind = torch.full_like(strength, kind)
    seen = torch.where(strength > low, torch.full_like(strength, IGNORED), wall.seen)
    seen = torch.where(strength > high, kind, seen)
    return replace(wall, seen=seen, beneath=torch.where(strength > high, kind, wall.beneath))


def _stained(wall: Grown, front: Tensor, dice: Dice) -> Grown:
    """Amber spots, brown skin: upon growth alone, most of all where it is old."""
    skin = dice.chance(0.35)
    field = dice.fractal(4, 5, fall=0.75) + 2.0 * front.clamp(0.0, 0.5)
    least = mix(dice.uniform(1.2, 2.4), dice.uniform(-1.2, 1.2), skin)
    spots = step_at(field - least, dice.logarithmic(0.03, 0.6))
    strength = dice.chance(0.2) * dice.uniform(0.5, 1.0) * spots
    strength = strength * step_at(wall.opacity - 0.62, 0.05)
    colour = lab_colour(dice.uniform(25, 74), dice.uniform(10, 42), dice.uniform(48, 86))
    colour = colour * torch.exp(0.15 * dice.fractal(8, 5))
    stained = _told(wall, strength, float(TissueClass.STAIN))
    return replace(stained, albedo=mix(wall.albedo, colour, strength))


_MOULDS = {  # lightness, chroma, hue in degrees
    TissueClass.GREEN: ((24.0, 72.0), (8.0, 42.0), (108.0, 215.0)),
    TissueClass.BLACK: ((4.0, 38.0), (0.0, 7.0), (0.0, 360.0)),
    TissueClass.PINK: ((44.0, 80.0), (16.0, 50.0), (-12.0, 48.0)),
    TissueClass.YELLOW: ((54.0, 86.0), (28.0, 72.0), (74.0, 104.0)),
}


def _moulded(wall: Grown, white: Tensor, dice: Dice) -> Grown:
    """Mould of one kind in one to three places, often within a white margin."""
    far = _away(dice, spots=3, smallest=7.0, largest=110.0)
    far = far + dice.uniform(0.02, 0.35) * dice.fractal(8, 5, fall=0.8)
    here = dice.chance(0.17)
    margin = here * step_at(1.0 + dice.uniform(0.0, 0.7) - far, 0.05) * dice.uniform(0.0, 1.2)
    margin = margin.clamp(max=1.0) * (wall.seen != float(TissueClass.STAIN))
    opacity = torch.maximum(wall.opacity, margin)
    albedo = mix(
        wall.albedo, white, ((opacity - wall.opacity) / (1.001 - wall.opacity)).clamp(0, 1)
    )
    covered = (opacity >= 0.5) & (wall.opacity < 0.5)
    grown_in = torch.full_like(opacity, float(TissueClass.MYCELIUM))
    seen = torch.where(covered, grown_in, wall.seen)
    wall = replace(wall, albedo=albedo, opacity=opacity, seen=seen,
                   beneath=torch.where(covered, grown_in, wall.beneath))  # fmt: skip
    pick = torch.rand(dice.count, 1, 1, 1, device=dice.device) * len(_MOULDS)
    colour, kind = torch.zeros_like(white[:, :, :1, :1]), torch.zeros_like(pick)
    for place, (name, (light, chroma, hue)) in enumerate(_MOULDS.items()):
        mine = (pick >= place) & (pick < place + 1)
        drawn = lab_colour(dice.uniform(*light), dice.uniform(*chroma), dice.uniform(*hue))
        colour = torch.where(mine, drawn, colour)
        kind = torch.where(mine, torch.full_like(kind, float(name)), kind)
    core = here * step_at(1.0 - far, dice.logarithmic(0.02, 0.25))
    # Black and grey mould is an airy turf with dark heads; the others are powder.
    airy = (kind == float(TissueClass.BLACK)).float() * dice.chance(0.7)
    heads = step_at(dice.cloud(110) + 0.5 * dice.grain() - dice.uniform(-0.5, 1.0), 0.15)
    turf = lab_colour(dice.uniform(25, 62), dice.uniform(0, 6), dice.uniform(0, 360))
    veil = mix(wall.albedo, turf, dice.uniform(0.2, 0.8))
    powder = colour * torch.exp(dice.uniform(0.0, 0.3) * dice.fractal(40, 3, fall=1.0))
    pigment = mix(powder, mix(veil, colour, heads), airy)
    thick = core * mix(dice.uniform(0.7, 1.0), torch.ones_like(core), airy)
    wall = replace(wall, albedo=mix(wall.albedo, pigment, thick), gloss=wall.gloss * (1.0 - thick))
    return _told(wall, core, kind)


def _away(dice: Dice, *, spots: int, smallest: float, largest: float) -> Tensor:
    """Distance from the nearest of some round spots, in their radii (cells)."""
    rows = torch.arange(WINDOW[0], device=dice.device, dtype=torch.float32)[:, None]
    cols = torch.arange(WINDOW[1], device=dice.device, dtype=torch.float32)
    nearest = torch.full((dice.count, 1, *WINDOW), 9.0, device=dice.device)
    for spot in range(spots):
        down, along = dice.uniform(0.0, float(WINDOW[0])), dice.uniform(0.0, float(WINDOW[1]))
        radius = dice.logarithmic(smallest, largest)
        away = torch.sqrt((rows - down) ** 2 + (cols - along) ** 2) / radius
        shown = dice.chance(1.0 if spot == 0 else 0.35)
        nearest = torch.minimum(nearest, away + 9.0 * (1.0 - shown))
    return nearest


def _wetted(wall: Grown, dice: Dice, floor_row: Tensor) -> Grown:
    """Wet from the foot upwards: darker, deeper in colour, glossier, with little growth in it."""
    rows = torch.arange(WINDOW[0], device=dice.device, dtype=torch.float32)[:, None]
    up_mm = (floor_row - rows) * CELL_MM
    edge = dice.logarithmic(5.0, 50.0) + dice.uniform(0.5, 6.0) * dice.fractal(4, 4)
    here = dice.chance(0.13)
    # Growth that stands in it still shows: only what is bare is wet.
    strength = here * step_at(edge - up_mm, dice.uniform(0.3, 4.0)) * (1.0 - wall.opacity)
    soaked = wall.albedo ** dice.uniform(1.0, 1.35) * dice.uniform(0.35, 0.85)
    pool = lab_colour(dice.uniform(18, 55), dice.uniform(4, 26), dice.uniform(55, 90))
    soaked = mix(soaked, pool, dice.chance(0.4) * dice.uniform(0.0, 0.6))
    wall = replace(
        wall,
        albedo=mix(wall.albedo, soaked, strength),
        gloss=torch.maximum(wall.gloss, strength * dice.uniform(0.3, 1.0)),
    )
    return _told(wall, strength * (wall.opacity < 0.5), float(TissueClass.WET))


def _capped(wall: Grown, dice: Dice) -> Grown:
    """Caps of young fruit bodies that press against the glass, in a group."""
    rows = torch.arange(WINDOW[0], device=dice.device, dtype=torch.float32)[:, None]
    cols = torch.arange(WINDOW[1], device=dice.device, dtype=torch.float32)
    at = dice.uniform(0.1, 0.9) * WINDOW[0], dice.uniform(0.1, 0.9) * WINDOW[1]
    here, spread = dice.chance(0.07), dice.uniform(10.0, 70.0)
    colour = lab_colour(dice.uniform(24, 88), dice.uniform(1, 24), dice.uniform(20, 95))
    cap = torch.zeros_like(wall.opacity)
    for _ in range(5):
        down, along = (middle + spread * dice.normal() for middle in at)
        half, flat = dice.uniform(3.0, 10.0), dice.uniform(0.6, 1.1)
        away = torch.sqrt(((rows - down) / flat) ** 2 + (cols - along) ** 2) / half
        cap = torch.maximum(cap, step_at(1.0 - away, 0.08) * (1.0 - 0.45 * away.clamp(max=1.0)))
    cap = cap * here
    solid = (cap / 0.5).clamp(max=1.0)
    shown = colour * (0.55 + 0.55 * cap)
    return replace(
        wall,
        albedo=mix(wall.albedo, shown, solid),
        relief_mm=wall.relief_mm + 2.0 * cap,
        caps=(cap > 0.3).float(),
        seen=torch.where(cap > 0.15, torch.full_like(cap, IGNORED), wall.seen),
    )
