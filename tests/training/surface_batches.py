"""Surfaces -> what the network is shown and held against: turned, relit, blurred, each anew."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from tests.scenes.tops.spec import TopClass

from .composed_walls import logs_of
from .surface_bank import UNTOLD, Surfaces
from .surface_net import SIDE as SQUARE
from .top_surfaces import CELL_MM, SIDE

IGNORED = -100
SQUARES = SIDE // SQUARE  # to a side
SQUARE_MM = CELL_MM * SQUARE
_HALF_MM = SIDE * CELL_MM / 2.0
_REACH = 6  # squares about a body's middle
_TINTED = (0.0, 0.12, 0.04, 0.2, 0.15, 0.15)  # spread of each ground's colour, natural logs
_LARGER = 0.1  # natural log


@dataclass(frozen=True)
class Batch:
    """What the network is shown, and what is true.

    Attributes
    ----------
    x
        ``(n, 4, side, side)``.
    ground, water
        ``(n, side, side)``, :data:`IGNORED` where nothing is asked.
    droplets, droplet_mm
        ``(n, squares, squares)`` how many have their middle there, and the mean log of their mm.
    middles
        ``(n, 2, squares, squares)`` of pins and of caps: 1 at a middle, less about it.
    body_mm
        ``(n, squares, squares)`` log of the width of the pin or cap about there.
    inside
        ``(n, squares, squares)`` whether a square lies inside the mouth.
    """

    x: Tensor
    ground: Tensor
    water: Tensor
    droplets: Tensor
    droplet_mm: Tensor
    middles: Tensor
    body_mm: Tensor
    inside: Tensor


def linear_of(rgb: Tensor) -> Tensor:
    """Linear light of sRGB bytes (IEC 61966-2-1)."""
    part = rgb.float() / 255.0
    return torch.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def inputs_of(linear: Tensor, within: Tensor) -> Tensor:
    """What the network sees: three logs inside the mouth, and the mouth itself."""
    logs = logs_of(linear)
    return torch.cat([logs, torch.ones_like(logs[:, :1])], dim=1) * within


def batch_of(surfaces: Surfaces, rng: np.random.Generator) -> Batch:
    """Turn, mirror, scale, tint, relight and blur, each surface in its own way."""
    device, n = surfaces.pictures.device, len(surfaces.pictures)
    smooth = bool(rng.random() < 0.5)
    turns, larger = (torch.from_numpy(part).to(device) for part in _turns(n, smooth, rng))
    linear, cells = _turned(surfaces, turns, smooth=smooth)
    ground, water = cells[:, 0], cells[:, 1]
    linear = _relit(_tinted(linear, ground), rng)
    jitter = 0.6 * torch.randn(n, device=device) - 0.2
    axis = (torch.arange(SIDE, device=device) + 0.5) * CELL_MM - _HALF_MM
    far = torch.hypot(axis[:, None], axis[None, :])
    inside = far[None] <= (surfaces.radius_mm * larger + jitter)[:, None, None]
    droplets, droplet_mm = _droplets(_moved(surfaces.droplets, turns, larger), n)
    middles, body_mm = _middles(_moved(surfaces.bodies, turns, larger), n)
    return Batch(
        x=inputs_of(linear, inside[:, None].float()),
        ground=torch.where(inside & (ground != UNTOLD), ground, IGNORED),
        water=torch.where(inside & (water != UNTOLD), water, IGNORED),
        droplets=droplets,
        droplet_mm=droplet_mm,
        middles=middles,
        body_mm=body_mm,
        inside=inside[:, ::SQUARE, ::SQUARE].float(),
    )


def _turns(n: int, smooth: bool, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """``(n, 2, 2)`` from places in the new picture to those in the old: any turn, or quarters.

    With it how much larger things look in the new one, ``(n,)``.
    """
    angle = rng.uniform(0.0, 2.0 * np.pi, n) if smooth else 0.5 * np.pi * rng.integers(4, size=n)
    mirror = rng.choice([-1.0, 1.0], size=n)
    scale = np.exp(rng.uniform(-_LARGER, _LARGER, n)) if smooth else np.ones(n)
    c, s = np.cos(angle) * scale, np.sin(angle) * scale
    turns = np.array([[c * mirror, -s], [s * mirror, c]], np.float32).transpose(2, 0, 1)
    return np.ascontiguousarray(turns), (1.0 / scale).astype(np.float32)


def _turned(surfaces: Surfaces, turns: Tensor, *, smooth: bool) -> tuple[Tensor, Tensor]:
    """Linear light and the numbers of the cells; without ``smooth`` no value changes."""
    n = len(turns)
    theta = torch.cat([turns, torch.zeros(n, 2, 1, device=turns.device)], dim=2)
    grid = functional.affine_grid(theta, [n, 1, SIDE, SIDE], align_corners=False)
    how = "bilinear" if smooth else "nearest"
    linear = functional.grid_sample(
        linear_of(surfaces.pictures), grid, mode=how, align_corners=False
    )
    cells = functional.grid_sample(
        surfaces.cells.float(), grid, mode="nearest", align_corners=False
    )
    return linear, cells.round().long()


def _tinted(linear: Tensor, ground: Tensor) -> Tensor:
    """Contents, moulds, pins and caps in other colours."""
    n, device = len(linear), linear.device
    spread = torch.tensor(_TINTED, device=device)[None, :, None]
    gain = torch.exp(spread * torch.randn(n, len(_TINTED), 3, device=device))
    known = ground.clamp(max=len(_TINTED) - 1)
    each = gain[torch.arange(n, device=device)[:, None, None], known].permute(0, 3, 1, 2)
    return linear * functional.avg_pool2d(each, 3, 1, 1, count_include_pad=False)


def _relit(linear: Tensor, rng: np.random.Generator) -> Tensor:
    n, device = len(linear), linear.device

    def normal(*shape: int) -> Tensor:
        return torch.randn(shape, device=device)

    linear = linear * torch.exp(0.25 * normal(n, 1, 1, 1) + 0.06 * normal(n, 3, 1, 1))
    if rng.random() < 0.5:
        sigma = float(rng.uniform(0.3, 1.4))
        at = torch.arange(-3, 4, device=device, dtype=torch.float32)
        line = torch.exp(-0.5 * (at / sigma) ** 2)
        line = line / line.sum()
        kernel = (line[:, None] * line[None, :]).expand(3, 1, 7, 7)
        linear = functional.conv2d(linear, kernel, padding=3, groups=3)
    noise = torch.rand(n, 1, 1, 1, device=device) * 0.03
    return (linear + noise * linear.clamp(min=0.0).sqrt() * normal(*linear.shape)).clamp(0.0, 1.2)


def _moved(bodies: Tensor, turns: Tensor, larger: Tensor) -> Tensor:
    """Bodies where they lie in the new pictures, and as wide as they look there."""
    owner = bodies[:, 0].long()
    grown = larger[owner, None]
    # a turn is undone by its transpose
    at = (bodies[:, None, 2:4] @ turns[owner])[:, 0] * grown.square()
    return torch.cat([bodies[:, :2], at, bodies[:, 4:] * grown], dim=1)


def _square_of(bodies: Tensor) -> Tensor:
    """``(m, 2)`` place in squares, row and column, from the corner."""
    return (bodies[:, [3, 2]] + _HALF_MM) / SQUARE_MM


def _droplets(bodies: Tensor, n: int) -> tuple[Tensor, Tensor]:
    """How many droplets have their middle in each square, and the mean log of their mm."""
    count = torch.zeros(n * SQUARES**2, device=bodies.device)
    logs = torch.zeros_like(count)
    row, col = _square_of(bodies).floor().long().clamp(0, SQUARES - 1).unbind(1)
    at = (bodies[:, 0].long() * SQUARES + row) * SQUARES + col
    count.index_add_(0, at, torch.ones_like(bodies[:, 4]))
    logs.index_add_(0, at, bodies[:, 4].log())
    shape = (n, SQUARES, SQUARES)
    return count.view(shape), (logs / count.clamp(min=1.0)).view(shape)


def _middles(bodies: Tensor, n: int) -> tuple[Tensor, Tensor]:
    """Hills at the middles of pins and caps, and the log of the width of what is about there."""
    device = bodies.device
    kind = (bodies[:, 1] == TopClass.CAP).long()
    place = _square_of(bodies)
    first = place.floor()
    reach = torch.arange(-_REACH, _REACH + 1, device=device, dtype=torch.float32)
    offsets = torch.cartesian_prod(reach, reach)
    squares = first[:, None] + offsets
    away = ((squares + 0.5 - place[:, None]) * SQUARE_MM).square().sum(-1)
    wide = (0.14 * bodies[:, 4]).clamp(0.45, 1.2)[:, None]
    hill = torch.exp(-0.5 * away / wide.square())
    hill = torch.where((offsets == 0.0).all(-1), torch.ones_like(hill), hill)
    there = ((squares >= 0) & (squares < SQUARES)).all(-1)
    hill = hill * there
    row, col = squares.clamp(0, SQUARES - 1).long().unbind(-1)
    flat = (bodies[:, 0].long()[:, None] * SQUARES + row) * SQUARES + col
    owner = bodies[:, 0].long()[:, None]
    by_kind = ((owner * 2 + kind[:, None]) * SQUARES + row) * SQUARES + col
    heat = torch.zeros(n * 2 * SQUARES**2, device=device)
    heat.scatter_reduce_(0, by_kind.flatten(), hill.flatten(), "amax")
    near = hill.pow(4)
    weight = torch.zeros(n * SQUARES**2, device=device)
    logs = torch.zeros_like(weight)
    weight.index_add_(0, flat.flatten(), near.flatten())
    logs.index_add_(0, flat.flatten(), (near * bodies[:, 4, None].log()).flatten())
    body_mm = (logs / weight.clamp(min=1e-6)).view(n, SQUARES, SQUARES)
    return heat.view(n, 2, SQUARES, SQUARES), body_mm
