"""From strewn pieces to looks: colour, relief, gloss and a number a piece, for every pixel."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from jarvision.records import BoolArray, Float32Array, FloatArray

from .noise import fractal, smooth_noise
from .palette import base_colour, piece_colours, to_linear
from .pieces import Pieces, Strewn, strew


@dataclass(frozen=True)
class Heap:
    """Contents as they lie at the glass.

    Attributes
    ----------
    albedo
        ``(rows, cols, 3)`` linear sRGB.
    relief_mm
        Height towards the glass; gaps are deep.
    gloss
        0 to 1.
    piece
        A random number a piece, 0 to 1.
    there
        Where a piece lies: elsewhere is a gap.
    """

    albedo: Float32Array
    relief_mm: Float32Array
    gloss: Float32Array
    piece: Float32Array
    there: BoolArray

    def over(self, below: Heap) -> Heap:
        """This heap's pieces upon another's."""
        return self.where(self.there, below)

    def where(self, mine: BoolArray, other: Heap) -> Heap:
        """This heap in some places, another elsewhere."""
        return Heap(
            np.where(mine[..., None], self.albedo, other.albedo),
            *(
                np.where(mine, here, there)
                for here, there in (
                    (self.relief_mm, other.relief_mm),
                    (self.gloss, other.gloss),
                    (self.piece, other.piece),
                    (self.there, other.there),
                )
            ),
        )


@dataclass(frozen=True)
class Look:
    """How pieces of one kind look; shares are 0 to 1.

    Attributes
    ----------
    lab
        Their middle colour.
    tube
        Domed across only (stalks) instead of all around.
    flat
        Share of the dome that is cut off.
    thick_mm, stack_mm
        Height of a piece, and of the pile between its lowest and highest pieces.
    edge, grain, grain_lines, crease, tip, mottle, halves
        Strength of darker edges, of lines along the piece and their number, of a dark crease, of
        another colour at one end, of fine spots, and of a paler half.
    paler
        CIELAB lightness that such a half has more.
    burst
        Share of pieces that show white starch.
    gloss
        Of the surface.
    gap
        Brightness of gaps, of the pieces' own.
    """

    lab: FloatArray = field(default_factory=lambda: np.array([50.0, 8.0, 20.0]))
    tube: bool = False
    flat: float = 0.0
    thick_mm: float = 1.0
    stack_mm: float = 2.0
    edge: float = 0.3
    grain: float = 0.0
    grain_lines: float = 8.0
    crease: float = 0.0
    tip: float = 0.0
    mottle: float = 0.05
    halves: float = 0.0
    paler: float = 20.0
    burst: float = 0.0
    gloss: float = 0.2
    gap: float = 0.25


def heap_of(pieces: Pieces, look: Look, shape: tuple[int, int], rng: np.random.Generator) -> Heap:
    """Strew pieces and give them their looks."""
    lain = strew(pieces, shape)
    count = len(pieces)
    colours = to_linear(piece_colours(look.lab, count, rng)).astype(np.float32)
    gap = to_linear(look.lab).astype(np.float32) * look.gap
    albedo = np.concatenate([gap[None], colours])[lain.piece]
    there = lain.piece > 0
    dome = _dome(lain, look)
    shade = _marks(lain, dome, look, count, rng)
    albedo *= np.where(there, shade, 1.0)[..., None]
    albedo = _blends(albedo, lain, dome, look, count, rng)
    number = np.concatenate([[0.5], rng.random(count)]).astype(np.float32)[lain.piece]
    lift = lain.piece.astype(np.float32) * np.float32(look.stack_mm / count)
    relief = np.where(there, lift + look.thick_mm * dome, 0.0).astype(np.float32)
    shine = look.gloss * np.where(there, 0.7 + 0.6 * number, 0.2)
    return Heap(albedo.astype(np.float32), relief, shine.astype(np.float32), number, there)


def _dome(lain: Strewn, look: Look) -> Float32Array:
    """Height of a piece over its rim, 0 to 1."""
    off = lain.v**2 if look.tube else lain.u**2 + lain.v**2
    dome = np.sqrt(np.clip(1.0 - 0.92 * off, 0.0, 1.0))
    return np.minimum(dome, 1.0 - look.flat).astype(np.float32) / np.float32(1.0 - look.flat)


def _marks(
    lain: Strewn, dome: Float32Array, look: Look, count: int, rng: np.random.Generator
) -> Float32Array:
    """Factor of brightness from edges, grain, crease and spots."""
    shade = 1.0 - look.edge * (1.0 - dome)
    if look.grain > 0.0:
        phase = rng.uniform(0, 6.28, count + 1).astype(np.float32)[lain.piece]
        pace = rng.uniform(0.5, 1.4, count + 1).astype(np.float32)[lain.piece] * look.grain_lines
        wave = np.sin(lain.v * pace + phase + 0.8 * np.sin(2.3 * lain.u + phase))
        shade = shade * (1.0 + look.grain * wave)
    if look.crease > 0.0:
        sink = np.exp(-((lain.v - 0.15) ** 2) / 0.02) * (np.abs(lain.u) < 0.85)
        shown = (rng.random(count + 1) < 0.5).astype(np.float32)[lain.piece]
        shade = shade * (1.0 - look.crease * sink * shown)
    spots = fractal(shade.shape, rng, (1.5, 3.0, 6.0), fall=1.0)
    return np.clip(shade * np.exp(look.mottle * spots), 0.15, 1.8).astype(np.float32)


def _blends(
    albedo: Float32Array,
    lain: Strewn,
    dome: Float32Array,
    look: Look,
    count: int,
    rng: np.random.Generator,
) -> Float32Array:
    """Tips and halves of another colour, and white starch where kernels burst."""
    if look.tip > 0.0:
        other = to_linear(look.lab + rng.normal(0, [22.0, 4.0, 9.0])).astype(np.float32)
        share = look.tip * np.clip((lain.u - 0.45) / 0.3, 0.0, 1.0)[..., None]
        albedo = albedo + share * (other - albedo)
    if look.halves > 0.0:
        mine = (rng.random(count + 1) < look.halves).astype(np.float32)[lain.piece]
        lab = look.lab + np.array([look.paler, 0.0, rng.normal(0, 5)])
        other = to_linear(lab).astype(np.float32)
        share = (mine * np.clip(4.0 * (lain.v + 0.1), 0.0, 1.0))[..., None]
        albedo = albedo + share * (other - albedo)
    if look.burst > 0.0:
        mine = (rng.random(count + 1) < look.burst).astype(np.float32)[lain.piece]
        at = rng.uniform(-0.6, 0.6, (2, count + 1)).astype(np.float32)[:, lain.piece]
        size = rng.uniform(0.15, 0.6, count + 1).astype(np.float32)[lain.piece]
        off = np.hypot(lain.u - at[0], lain.v - at[1]) / size
        off += 0.3 * smooth_noise(off.shape, 4.0, rng)
        starch = np.array([1.0, 0.97, 0.9], np.float32) * np.float32(rng.uniform(0.5, 0.8))
        share = (mine * np.clip(2.5 * (1.0 - off), 0.0, 1.0))[..., None]
        albedo = albedo + share * (starch * (0.75 + 0.25 * dome[..., None]) - albedo)
    return albedo


def any_look(rng: np.random.Generator, **fixed: object) -> Look:
    """A look with everything drawn at random but what is fixed."""
    drawn: dict[str, object] = {
        "lab": base_colour(rng),
        "flat": float(rng.choice([0.0, rng.uniform(0.0, 0.7)])),
        "thick_mm": float(rng.uniform(0.3, 2.5)),
        "stack_mm": float(rng.uniform(0.3, 3.5)),
        "edge": float(rng.uniform(0.0, 0.55)),
        "mottle": float(rng.uniform(0.0, 0.14)),
        "gloss": float(rng.choice([0.05, 0.3, 0.8])) * float(rng.uniform(0.5, 1.2)),
        "gap": float(rng.uniform(0.08, 0.7)),
        "paler": float(rng.uniform(8.0, 30.0)),
    }
    return Look(**(drawn | fixed))  # type: ignore[arg-type]
