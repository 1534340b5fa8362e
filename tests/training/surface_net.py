"""The surface network: what stands at every cell of a jar's surface seen from above (PyTorch).

U-shaped (Ronneberger, Fischer and Brox 2015, from memory). Cells are 0.25 mm: fine droplets are
one to four of them wide, so the finest level keeps all cells, with few layers; most of the work is
done at 1 mm and coarser. The last layer speaks of squares of 2 x 2 cells.
"""

from __future__ import annotations

from torch import Tensor, nn
from torch.nn import functional

from .wall_net import block, u_shaped

INPUTS = 4  # three logs of colour, and where the mouth is
GROUND = ("outside", "bare", "growth", "off_colour", "pin", "cap")
WATER = ("dry", "droplet", "pool")
OUTPUTS = len(GROUND) + len(WATER)
SIDE = 2  # cells to a side of the squares that the last layer speaks of
MULTIPLE = 16
WIDTHS = (16, 32, 64, 96, 128)


class SurfaceNet(nn.Module):
    """``(n, 4, rows, cols)`` to ``(n, 9, rows, cols)``; rows and columns in multiples of 16.

    Six logits of what stands there, water left out; three of the water on it.
    """

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
        self.head = nn.Conv2d(half, OUTPUTS * SIDE**2, 1)

    def squares(self, x: Tensor) -> Tensor:
        """Logits of the squares, ``(n, 9 * 4, rows / 2, cols / 2)``: what is exported."""
        out: Tensor = self.head(self.last(u_shaped(self, x)))
        return out

    def forward(self, x: Tensor) -> Tensor:
        """Logits of a batch of surfaces."""
        return functional.pixel_shuffle(self.squares(x), SIDE)
