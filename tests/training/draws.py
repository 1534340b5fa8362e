"""Random numbers and smooth fields for batches of walls (PyTorch); no shape depends on a value.

So a graphics card can record a whole step once and replay it.
"""

from __future__ import annotations

from functools import cache

import torch
from torch import Tensor
from torch.nn import functional

WINDOW = (416, 320)  # rows, columns of a composed wall


@cache
def constant(values: tuple[float, ...], device: torch.device) -> Tensor:
    """Numbers on the card, sent there once: a recorded step may not fetch any."""
    return torch.tensor(values, device=device)


def bands(device: torch.device, *values: float) -> Tensor:
    """One number a band, ``(1, bands, 1, 1)``."""
    return constant(values, device)[None, :, None, None]


TAME = 0.5  # share of walls that are as jars are
CALM = 0.4  # strength of what is odd on tame walls, over that on wild ones


class Dice:
    """Draws for a batch of ``count`` walls on a device; numbers are ``(count, 1, 1, 1)``.

    A share of the walls is ``tame``, as jars are; the others are wild, odd beyond any jar.
    """

    def __init__(self, count: int, device: torch.device, *, tame: float = TAME) -> None:
        self.count, self.device = count, device
        self.tame = self.chance(tame)
        self.oddness = 1.0 - (1.0 - CALM) * self.tame

    def normal(self, *shape: int) -> Tensor:
        """Unit normal ``(count, *shape)``; one number a wall by default."""
        return torch.randn(self.count, *(shape or (1, 1, 1)), device=self.device)

    def uniform(self, low: float = 0.0, high: float = 1.0, bands: int = 1) -> Tensor:
        """Even between two limits."""
        return low + (high - low) * torch.rand(self.count, bands, 1, 1, device=self.device)

    def logarithmic(self, low: float, high: float) -> Tensor:
        """Even in the logarithm between two limits."""
        ratio = torch.rand(self.count, 1, 1, 1, device=self.device)
        return low * (high / low) ** ratio

    def chance(self, share: float) -> Tensor:
        """1 for a share of the walls, 0 for the others."""
        return (torch.rand(self.count, 1, 1, 1, device=self.device) < share).float()

    def cloud(self, size: int, bands: int = 1, *, window: tuple[int, int] = WINDOW) -> Tensor:
        """Smooth noise of about unit spread with ``size`` spots to a side."""
        small = torch.randn(self.count, bands, size, size, device=self.device)
        grown = functional.interpolate(small, window, mode="bicubic", align_corners=False)
        return 1.25 * grown

    def fractal(self, coarsest: int, octaves: int, *, fall: float = 0.7) -> Tensor:
        """Sum of clouds, each twice as fine and ``fall`` times as strong; about unit spread."""
        total = self.cloud(coarsest)
        for step in range(1, octaves):
            total = total + fall**step * self.cloud(coarsest * 2**step)
        return total / sum(fall ** (2 * step) for step in range(octaves)) ** 0.5

    def grain(self) -> Tensor:
        """Noise from cell to cell."""
        return torch.randn(self.count, 1, *WINDOW, device=self.device)


def blur(field: Tensor, reach: int) -> Tensor:
    """Box mean of ``2 reach + 1`` cells a side, twice: nearly a Gaussian."""
    side = 2 * reach + 1
    for _ in range(2):
        padded = functional.pad(field, (reach,) * 4, mode="replicate")
        field = functional.avg_pool2d(padded, side, 1)
    return field


def step_at(field: Tensor, softness: Tensor | float) -> Tensor:
    """0 below, 1 above zero, with a soft edge."""
    return torch.sigmoid(field / softness)


def mix(below: Tensor, above: Tensor, share: Tensor) -> Tensor:
    """``above`` over ``below`` by its share."""
    return below + share * (above - below)


def moved(
    maps: Tensor, dice: Dice, *, turn: float, scale: float, window: tuple[int, int] = WINDOW
) -> Tensor:
    """A flipped, turned, scaled window of each wall's maps ``(n, bands, rows, cols)``.

    ``turn`` in radians and ``scale`` in logarithms are spreads.
    """
    n, device = dice.count, dice.device
    rows, cols = maps.shape[-2:]
    high, wide = window[0] / rows, window[1] / cols
    angle = turn * torch.randn(n, device=device)
    size = torch.exp(scale * torch.randn(n, device=device)).clamp(0.5, 1.8)
    flip = torch.where(torch.rand(n, 2, device=device) < 0.5, -1.0, 1.0)
    theta = torch.zeros(n, 2, 3, device=device)
    theta[:, 0, 0] = wide * size * torch.cos(angle) * flip[:, 0]
    theta[:, 0, 1] = -high * size * torch.sin(angle) * rows / cols
    theta[:, 1, 0] = wide * size * torch.sin(angle) * flip[:, 0] * cols / rows
    theta[:, 1, 1] = high * size * torch.cos(angle)
    room = constant((max(0.0, 1.0 - wide), max(0.0, 1.0 - high)), device) + 0.1
    theta[:, :, 2] = (2.0 * torch.rand(n, 2, device=device) - 1.0) * room
    grid = functional.affine_grid(theta, [n, 1, *window], align_corners=False)
    return functional.grid_sample(maps, grid, padding_mode="reflection", align_corners=False)


def lab_colour(lightness: Tensor, chroma: Tensor, hue_deg: Tensor) -> Tensor:
    """Linear sRGB of CIELAB colours given as lightness, chroma and hue; ``(n, 3, 1, 1)``."""
    hue = hue_deg * (torch.pi / 180.0)
    fy = (lightness + 16.0) / 116.0
    fx = fy + chroma * torch.cos(hue) / 500.0
    fz = fy - chroma * torch.sin(hue) / 200.0
    x, y, z = (
        white * torch.where(f > 6 / 29, f**3, (f - 4 / 29) * 3 * (6 / 29) ** 2)
        for white, f in ((0.95047, fx), (1.0, fy), (1.08883, fz))
    )
    rgb = (
        3.2406 * x - 1.5372 * y - 0.4986 * z,
        -0.9689 * x + 1.8758 * y + 0.0415 * z,
        0.0557 * x - 0.2040 * y + 1.0570 * z,
    )
    return torch.cat(rgb, dim=1).clamp(0.003, 1.0)
