"""Walls as tensors, and what training does to them so that no two batches are alike (PyTorch)."""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from jarvision.base.colourspace import srgb_decode
from jarvision.records import RawWall, TissueClass
from jarvision.vision.tissue.inputs import CHANNELS, MIDDLE, SPREAD, network_inputs

from .wall_data import HEADROOM
from .wall_net import CLASS_COUNT

CANVAS = (576, 384)  # rows, columns of 0.275 mm
WINDOW = (416, 320)
IGNORED = 255
OUTSIDE, UNJUDGED = int(TissueClass.OUTSIDE), int(TissueClass.UNJUDGED)
FELT_CELLS = 15  # growth is smoothed over this many cells, 4 mm
FOGGED = 0.2  # opacity from which a place counts as fogged, as in the rendered truth


@dataclass(frozen=True)
class Walls:
    """Walls on the canvas: inputs ``(n, 7, rows, cols)``; classes, opacity and caps as bytes."""

    x: Tensor
    seen: Tensor
    beneath: Tensor
    opacity: Tensor
    pins: Tensor

    def parts(self) -> tuple[Tensor, ...]:
        """The five tensors."""
        return self.x, self.seen, self.beneath, self.opacity, self.pins

    def pick(self, index: Tensor | slice) -> Walls:
        """Some of the walls, inputs as 32-bit floats."""
        return Walls(self.x[index].float(), *(part[index] for part in self.parts()[1:]))

    def __len__(self) -> int:
        return len(self.x)


def load_walls(folder: Path) -> Walls:
    """Every wall of a folder, padded to the canvas; inputs are half floats."""
    with ProcessPoolExecutor(max(1, len(os.sched_getaffinity(0)))) as pool:
        walls = list(pool.map(load_wall, sorted(folder.glob("*.npz")), chunksize=8))
    return Walls(*(torch.from_numpy(np.stack(part)) for part in zip(*walls, strict=True)))


def load_wall(path: Path) -> tuple[np.ndarray, ...]:
    """Inputs, classes seen, classes beneath, opacity and caps of one wall."""
    with np.load(path) as data:
        colour = cv2.imdecode(data["colour"], cv2.IMREAD_COLOR)[..., ::-1]
        maps = [
            cv2.imdecode(data[name], cv2.IMREAD_GRAYSCALE)
            for name in ("classes", "beneath", "opacity")
        ]
        shape = maps[0].shape
        burnt, pins = (
            np.unpackbits(data[name], count=maps[0].size).reshape(shape)
            for name in ("burnt", "pins")
        )
        linear = (HEADROOM * srgb_decode(colour / 255.0)).astype(np.float32)
        wall = RawWall(
            linear=linear,
            angles_deg=data["angles_deg"],
            heights_mm=data["heights_mm"],
            radius_mm=float(data["radius_mm"]),
            pixels=np.zeros((*shape, 2), np.float32),
        )
    rows, cols = (min(size, limit) for size, limit in zip(shape, CANVAS, strict=True))
    x = np.zeros((CHANNELS, *CANVAS), np.float16)
    x[:, :rows, :cols] = network_inputs(wall, burnt > 0)[:, :rows, :cols]
    padded = [np.full(CANVAS, fill, np.uint8) for fill in (IGNORED, IGNORED, 0, 0)]
    for canvas, picture in zip(padded, (*maps, pins), strict=True):
        canvas[:rows, :cols] = picture[:rows, :cols]
    return x, *padded


def vary(walls: Walls, *, mixed: float = 0.0) -> Walls:
    """A random window of each wall: flipped, scaled, bent, in other colours, smoothed, fogged.

    A share ``mixed`` of the walls holds a part of another's contents. The result is ``WINDOW``
    large, classes as long integers and opacity 0 to 1. No shape depends on the values, so that a
    graphics card can record and replay it.
    """
    x, seen, beneath, opacity, pins = _mixed(*_moved(walls), share=mixed)
    inside = (seen != IGNORED).float()[:, None]
    changed = _smooth_growth(_recoloured(x, seen), seen)
    x, seen = _fogged(torch.cat([changed, x[:, 3:]], dim=1), seen)
    x = torch.cat([_softened(x[:, :3]), x[:, 3:]], dim=1) * inside
    return Walls(x, seen.long(), beneath.long(), opacity / 255.0, pins)


@cache
def _constant(values: tuple[float, ...], device: torch.device) -> Tensor:
    """Numbers on the card, sent there once: a recorded step may not fetch any."""
    return torch.tensor(values, device=device)


def _bands(like: Tensor, *values: float) -> Tensor:
    """One number a band, ``(bands, 1, 1)``."""
    return _constant(values, like.device)[:, None, None]


def _normal(like: Tensor, *shape: int) -> Tensor:
    return torch.randn(len(like), *shape, device=like.device)


def _uniform(like: Tensor, low: float, high: float) -> Tensor:
    """One number a wall, ``(n, 1, 1, 1)``."""
    return low + (high - low) * torch.rand(len(like), 1, 1, 1, device=like.device)


def _sometimes(like: Tensor, chance: float) -> Tensor:
    return (torch.rand(len(like), 1, 1, 1, device=like.device) < chance).float()


def _cloud(like: Tensor, channels: int, size: int) -> Tensor:
    """Smooth noise of about unit spread over the window, ``(n, channels, rows, cols)``."""
    noise = _normal(like, channels, size, size)
    return functional.interpolate(noise, WINDOW, mode="bilinear", align_corners=False) * 1.4


def _moved(walls: Walls) -> tuple[Tensor, Tensor, Tensor, Tensor, Tensor]:
    """Inputs and labels where a bent, scaled, sheared, flipped window lies on each canvas."""
    x = walls.x
    n, device = len(x), x.device
    flip = torch.where(torch.rand(n, device=device) < 0.5, -1.0, 1.0)
    grow = torch.exp(_normal(x) * 0.1)
    theta = torch.zeros(n, 2, 3, device=device)
    high, wide = (part / whole for part, whole in zip(WINDOW, CANVAS, strict=True))
    theta[:, 0, 0], theta[:, 1, 1] = flip * grow * wide, grow * high
    theta[:, 0, 1] = _normal(x) * 0.04
    known = walls.seen != IGNORED
    size = torch.stack([known.any(1).sum(1), known.any(2).sum(1)], dim=1)  # columns, rows
    size = size / _constant(CANVAS[::-1], device)
    play = (size - _constant((wide, high), device)).abs() + 0.06
    theta[:, :, 2] = size - 1.0 + (2.0 * torch.rand(n, 2, device=device) - 1.0) * play
    grid = functional.affine_grid(theta, [n, 1, *WINDOW], align_corners=False)
    grid = grid + 0.006 * _cloud(x, 2, 6).permute(0, 2, 3, 1)
    labels = torch.stack([part.float() for part in walls.parts()[1:]], dim=1)
    labels[:, :2] = (labels[:, :2] + 1.0) * (labels[:, :2] != IGNORED)
    labels = functional.grid_sample(labels, grid, mode="nearest", align_corners=False).round()
    x = functional.grid_sample(x, grid, align_corners=False)
    x[:, 3] *= flip[:, None, None]
    kinds = torch.where(labels[:, :2] > 0, labels[:, :2] - 1, torch.full_like(x[:, :2], IGNORED))
    return x, kinds[:, 0], kinds[:, 1], labels[:, 2], labels[:, 3]


def _mixed(
    x: Tensor, seen: Tensor, beneath: Tensor, opacity: Tensor, pins: Tensor, *, share: float
) -> tuple[Tensor, Tensor, Tensor, Tensor, Tensor]:
    """Some walls with the colour and labels of the next one in a part of their contents."""
    both = (seen > UNJUDGED) & (seen != IGNORED)
    both = both & both.roll(1, 0)
    region = (_cloud(x, 1, 4) > _uniform(x, -0.5, 1.0)) & (_sometimes(x, share) > 0)
    take = both & region[:, 0]
    colour = torch.where(take[:, None], x[:, :3].roll(1, 0), x[:, :3])
    labels = (torch.where(take, part.roll(1, 0), part) for part in (seen, beneath, opacity, pins))
    return torch.cat([colour, x[:, 3:]], dim=1), *labels  # type: ignore[return-value]


def _recoloured(x: Tensor, seen: Tensor) -> Tensor:
    """The three logs after other contrast, tint and light; each tissue takes a tint of its own."""
    colour, sine, height = x[:, :3], x[:, 3:4], x[:, 5:6] - 0.5
    contrast = torch.exp(_normal(x, 3, 1, 1) * 0.1)
    changed = colour.mean((2, 3), keepdim=True) * (1.0 - contrast) + colour * contrast
    tints = _bands(x, 0.22, 0.12, 0.12)
    slopes = _bands(x, 0.12, 0.08, 0.08)
    changed = changed + _normal(x, 3, 1, 1) * tints
    changed = changed + _normal(x, 3, 1, 1) * slopes * sine + _normal(x, 3, 1, 1) * slopes * height
    kinds = torch.arange(CLASS_COUNT, device=x.device)[:, None, None]
    each = (seen[:, None] == kinds).float()
    each = functional.avg_pool2d(each, 3, 1, 1)
    own = _normal(x, CLASS_COUNT, 3) * _constant((0.14, 0.1, 0.1), x.device)
    own[:, : UNJUDGED + 1] = 0.0
    return changed + torch.einsum("nkrc,nkd->ndrc", each, own * _sometimes(x, 0.6)[..., 0])


def _smooth_growth(colour: Tensor, seen: Tensor) -> Tensor:
    """White growth without its tufts and threads on some walls: dense felt is as even as paper."""
    white = (seen == int(TissueClass.MYCELIUM)).float()[:, None]
    amount, total = (
        functional.avg_pool2d(part, FELT_CELLS, 1, FELT_CELLS // 2)
        for part in (white, colour * white)
    )
    even = total / amount.clamp(min=1e-3)
    share = white * _uniform(colour, 0.5, 1.0) * _sometimes(colour, 0.5)
    return colour + share * (even - colour)


def _fogged(x: Tensor, seen: Tensor) -> tuple[Tensor, Tensor]:
    """Fog over the upper part of some walls: what it hides can no longer be told."""
    rows = torch.linspace(0.0, 1.0, WINDOW[0], device=x.device)[:, None]
    edge = _uniform(x, 0.1, 1.0) + 0.05 * _cloud(x, 1, 8)
    ramp = ((edge - rows) / 0.15).clamp(0.0, 1.0)
    veil = _uniform(x, 0.1, 0.8) * (0.8 + 0.1 * _cloud(x, 1, 24)) * ramp * _sometimes(x, 0.1)
    grey = torch.exp(-0.6 + 0.3 * _normal(x, 1, 1, 1) + 0.2 * _cloud(x, 1, 3))
    tint = torch.exp(0.05 * _normal(x, 3, 1, 1))
    return _with_light(x, veil.clamp(0.0, 0.95), grey * tint), _hidden(seen, veil > FOGGED)


def _hidden(seen: Tensor, what: Tensor) -> Tensor:
    contents = (seen > UNJUDGED) & (seen != IGNORED)
    return torch.where(what[:, 0] & contents, torch.full_like(seen, UNJUDGED), seen)


def _with_light(x: Tensor, share: Tensor, linear: Tensor) -> Tensor:
    """Inputs after ``share`` of the light is replaced by the light ``linear`` ``(n, 3, ...)``."""
    middle, spread = (_bands(x, *part.tolist()) for part in (MIDDLE, SPREAD))
    logs = x[:, :3] * spread + middle
    weights = _bands(x, 0.2126, 0.7152, 0.0722)
    ratios = torch.cat([logs[:, 1:2], torch.zeros_like(logs[:, :1]), logs[:, 2:3]], dim=1).exp()
    green = logs[:, :1].exp() / (ratios * weights).sum(1, keepdim=True)
    mixed = (ratios * green) * (1.0 - share) + linear * share
    light = (mixed * weights).sum(1, keepdim=True).clamp(min=1e-4).log()
    red, green, blue = mixed.clamp(min=1e-4).log().split(1, dim=1)
    logs = (torch.cat([light, red - green, blue - green], dim=1) - middle) / spread
    return torch.cat([logs, x[:, 3:]], dim=1)


def _softened(colour: Tensor) -> Tensor:
    """Some blur and some noise."""
    soft = functional.avg_pool2d(colour, 3, 1, 1)
    share = _uniform(colour, 0.0, 1.0) * _sometimes(colour, 0.5)
    grain = _uniform(colour, 0.0, 0.06)
    return colour + share * (soft - colour) + grain * torch.randn_like(colour)
