"""The surface network: what stands at every cell of a jar's surface seen from above (PyTorch).

U-shaped (Ronneberger, Fischer and Brox 2015, from memory). Cells are 0.2 mm: fine droplets are
one to five of them wide, so the finest level keeps all cells, with few layers; most of the work is
done at 0.8 mm and coarser. The last layer speaks of squares of 2 x 2 cells: what stands at each
cell, and of the square as a whole how many droplets are in it, whether the middle of a pin or cap
is, and how wide they are (as nets that find things by their middles do: Zhou, Wang and Kraehenbuehl
2019, from memory).
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

from .wall_net import block, u_shaped

INPUTS = 4  # three logs of colour, and where the mouth is
GROUND = ("outside", "bare", "growth", "off_colour", "pin", "cap")
WATER = ("dry", "droplet", "pool")
CELLS = len(GROUND) + len(WATER)
BODIES = ("droplets", "droplet_mm", "pin", "cap", "body_mm")
BEGUN_WITH = (-4.0, -0.7, -4.0, -4.0, 1.4)  # logs of a count and of mm, and logits
SIDE = 2  # cells to a side of the squares that the last layer speaks of
MULTIPLE = 16
WIDTHS = (24, 40, 64, 96, 128)


class SurfaceNet(nn.Module):
    """``(n, 4, rows, cols)`` to what :func:`parts_of` parts; sides in multiples of 16."""

    def __init__(self, widths: tuple[int, ...] = WIDTHS) -> None:
        super().__init__()
        fine, half, quarter, eighth, deepest = widths
        self.stem = block(INPUTS, fine)
        self.down = nn.ModuleList(
            nn.Sequential(block(low, high, stride=2), block(high, high))
            for low, high in (
                (fine, half), (half, quarter), (quarter, eighth), (eighth, deepest),
            )
        )  # fmt: skip
        self.deep = nn.Sequential(
            block(deepest, deepest, dilation=2), block(deepest, deepest, dilation=4)
        )
        self.jar = nn.Conv2d(deepest, deepest, 1)
        steps = ((eighth, deepest), (quarter, eighth), (half, quarter))
        self.narrow = nn.ModuleList(nn.Conv2d(high, low, 1) for low, high in steps)
        self.up = nn.ModuleList(block(low, low) for low, _ in steps)
        self.last = block(half, half)
        self.head = nn.Conv2d(half, CELLS * SIDE**2 + len(BODIES), 1)
        with torch.no_grad():
            self.head.bias[-len(BODIES) :] = torch.tensor(BEGUN_WITH)  # type: ignore[index]

    def forward(self, x: Tensor) -> Tensor:
        """Of every square its four cells, then its bodies: ``(n, 9 * 4 + 5, rows / 2, cols / 2)``.

        A cell has six logits of what stands there, water left out, and three of the water on it.
        """
        out: Tensor = self.head(self.last(u_shaped(self, x)))
        return out


def parts_of(squares: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Ground ``(n, 6, rows, cols)``, water ``(n, 3, rows, cols)`` and bodies by square."""
    cells, bodies = squares.split([CELLS * SIDE**2, len(BODIES)], dim=1)
    ground, water = functional.pixel_shuffle(cells, SIDE).split([len(GROUND), len(WATER)], dim=1)
    return ground, water, bodies
