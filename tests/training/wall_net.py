"""The tissue network: a small U-shaped convolutional net over the unrolled wall (PyTorch).

U-shaped nets for segmentation: Ronneberger, Fischer and Brox 2015, MICCAI (from memory). A wall
is seen at 0.275 mm; two halvings lead to 1.1 mm, where most of the work is done, three more to
9 mm, where a mean over the whole wall tells each place about its jar. The way back up adds what
was seen on the way down, and the last layer says of each square millimetre what its sixteen places
are: far cheaper than layers at full resolution, and as exact.
"""

from __future__ import annotations

from typing import Protocol

import torch
from torch import Tensor, nn
from torch.nn import functional

from jarvision.vision.tissue.inputs import CHANNELS

CLASS_COUNT = 10  # records.TissueClass, by value
OUTPUTS = CLASS_COUNT + 3
FINEST = 4  # places to a side of the squares that the last layer speaks of
WIDTHS = (24, 48, 80, 112, 128)


def block(inputs: int, outputs: int, *, stride: int = 1, dilation: int = 1) -> nn.Sequential:
    """3x3 convolution, batch norm, rectifier."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, dilation, dilation=dilation, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


class UShaped(Protocol):
    """What :func:`u_shaped` asks of a net: its layers on the way down and up."""

    stem: nn.Module
    down: nn.ModuleList
    deep: nn.Module
    jar: nn.Module
    narrow: nn.ModuleList
    up: nn.ModuleList


def u_shaped(net: UShaped, x: Tensor) -> Tensor:
    """Down, a mean over the whole picture, and up again, adding what was seen on the way down."""
    deep = net.stem(x)
    levels = []
    for layer in net.down:
        deep = layer(deep)
        levels.append(deep)
    deep = net.deep(levels.pop())
    gain = torch.sigmoid(net.jar(functional.adaptive_avg_pool2d(deep, 1)))
    deep = deep * (2.0 * gain)
    for narrow, layer in zip(net.narrow, net.up, strict=True):
        deep = functional.interpolate(narrow(deep), scale_factor=2.0, mode="nearest")
        deep = layer(levels.pop() + deep)
    return deep


class WallNet(nn.Module):
    """``(n, 7, rows, cols)`` to ``(n, 13, rows, cols)``.

    Ten class logits, one of the opacity, one of whether mycelium covers the place, which is asked
    behind fog, label and mirrored lamps, too, and one of whether a fruit body's cap stands there.
    Rows and columns must be multiples of 32.
    """

    def __init__(
        self,
        widths: tuple[int, ...] = WIDTHS,
        *,
        inputs: int = CHANNELS,
        outputs: int = OUTPUTS,
    ) -> None:
        super().__init__()
        a, b, c, d, e = widths
        self.stem = block(inputs, a, stride=2)
        self.down = nn.ModuleList(
            nn.Sequential(block(low, high, stride=2), block(high, high))
            for low, high in ((a, b), (b, c), (c, d), (d, e))
        )
        self.deep = nn.Sequential(block(e, e, dilation=2), block(e, e, dilation=4))
        self.jar = nn.Conv2d(e, e, 1)
        steps = ((d, e), (c, d), (b, c))
        self.narrow = nn.ModuleList(nn.Conv2d(high, low, 1) for low, high in steps)
        self.up = nn.ModuleList(block(low, low) for low, _ in steps)
        self.head = nn.Conv2d(b, outputs * FINEST**2, 1)

    def squares(self, x: Tensor) -> Tensor:
        """Logits of the squares, ``(n, 13 * 16, rows / 4, cols / 4)``: what is exported."""
        out: Tensor = self.head(u_shaped(self, x))
        return out

    def forward(self, x: Tensor) -> Tensor:
        """Logits of a batch of walls."""
        return functional.pixel_shuffle(self.squares(x), FINEST)
