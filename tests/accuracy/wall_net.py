"""The tissue network: a small U-shaped convolutional net over the unrolled wall (PyTorch).

U-shaped nets for segmentation: Ronneberger, Fischer and Brox 2015, MICCAI (from memory). A wall
is seen at 0.25 mm; the first layer halves that, four more halvings reach 8 mm, where a mean over
the whole wall tells each place about its jar; the last layer doubles back to 0.25 mm.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

from jarvision.tissue.inputs import CHANNELS

CLASS_COUNT = 10  # records.TissueClass, by value
WIDTHS = (24, 32, 48, 64, 96)


def block(inputs: int, outputs: int, *, stride: int = 1, dilation: int = 1) -> nn.Sequential:
    """3x3 convolution, batch norm, rectifier."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, dilation, dilation=dilation, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


class WallNet(nn.Module):
    """``(n, 7, rows, cols)`` to ``(n, 12, rows, cols)``.

    Ten class logits, one of the opacity, and one of whether mycelium covers the place, which is
    asked behind fog, label and mirrored lamps, too. Rows and columns must be multiples of 32.
    """

    def __init__(self, widths: tuple[int, ...] = WIDTHS) -> None:
        super().__init__()
        a, b, c, d, e = widths
        self.stem = nn.Sequential(block(CHANNELS, a, stride=2), block(a, a))
        self.down = nn.ModuleList(
            nn.Sequential(block(low, high, stride=2), block(high, high))
            for low, high in ((a, b), (b, c), (c, d), (d, e))
        )
        self.deep = nn.Sequential(block(e, e, dilation=2), block(e, e, dilation=4))
        self.jar = nn.Conv2d(e, e, 1)
        self.up = nn.ModuleList(
            block(low + high, low) for low, high in ((d, e), (c, d), (b, c), (a, b))
        )
        self.head = nn.ConvTranspose2d(a, CLASS_COUNT + 2, 2, 2)

    def forward(self, x: Tensor) -> Tensor:
        """Logits of a batch of walls."""
        levels = [self.stem(x)]
        for layer in self.down:
            levels.append(layer(levels[-1]))
        deep = self.deep(levels.pop())
        gain = torch.sigmoid(self.jar(functional.adaptive_avg_pool2d(deep, 1)))
        deep = deep * (2.0 * gain)
        for layer in self.up:
            deep = functional.interpolate(deep, scale_factor=2.0, mode="nearest")
            deep = layer(torch.cat([levels.pop(), deep], dim=1))
        out: Tensor = self.head(deep)
        return out
