"""Networks over the unrolled wall that know of the jar's bare look (PyTorch).

Both are U-shaped (Ronneberger, Fischer and Brox 2015, from memory) and speak of squares of 4 x 4
places. One is trained from scratch. The other's way down is the first half of a MobileNetV2
(Sandler et al. 2018, from memory) that learned to tell photographs apart.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import torch
from torch import Tensor, nn
from torch.nn import functional

from jarvision.vision.tissue import inputs, reference

from .comparison import comparisons
from .wall_net import CLASS_COUNT, FINEST, WIDTHS, WallNet, block

INPUTS = inputs.CHANNELS + reference.REFERENCE_CHANNELS
OPACITY, COVER, CAPS, DOUBT = range(CLASS_COUNT, CLASS_COUNT + 4)
OUTPUTS = CLASS_COUNT + 4
MULTIPLE = 32
ROUNDS = 3  # in which the places of a wall, 9 mm apart, look at one another

Kind = Literal["plain", "pretrained"]


class TissueNet(nn.Module):
    """``(n, 13, rows, cols)`` to ``(n, 14, rows, cols)``; rows and columns in multiples of 32.

    Ten class logits, one of the opacity, one of whether mycelium covers the place, one of whether
    a fruit body's cap stands there; and a number whose mean over the contents is the logarithm of
    the error that the wall's coverage is likely to have.
    """

    def squares(self, x: Tensor) -> Tensor:
        """Logits of the squares, ``(n, 14 * 16, rows / 4, cols / 4)``: what is exported."""
        raise NotImplementedError

    def forward(self, x: Tensor) -> Tensor:
        """Logits of a batch of walls."""
        return functional.pixel_shuffle(self.squares(x), FINEST)


class PlainNet(WallNet, TissueNet):
    """From scratch: 3x3 convolutions all the way, 1.1 million weights; and comparisons."""

    def __init__(self, rounds: int = ROUNDS) -> None:
        super().__init__(inputs=INPUTS, outputs=OUTPUTS)
        self.deep.append(comparisons(WIDTHS[-1], rounds))

    @torch.no_grad()
    def start_from(self, weights: dict[str, Tensor]) -> None:
        """Go on from a net that had fewer inputs and outputs: the new ones start at nothing."""
        mine = self.state_dict()
        for name, value in weights.items():
            part = mine[name]
            part.zero_()
            part[tuple(slice(0, size) for size in value.shape)] = value
        self.load_state_dict(mine)


def _pointwise(inputs: int, outputs: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU6(inplace=True)
    )


def _depthwise(width: int, stride: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(width, width, 3, stride, 1, groups=width, bias=False),
        nn.BatchNorm2d(width),
        nn.ReLU6(inplace=True),
    )


class _Bottleneck(nn.Module):
    """Widen, look around band by band, narrow; added to what came in where shapes agree."""

    def __init__(self, inputs: int, outputs: int, *, stride: int, widen: int) -> None:
        super().__init__()
        width = inputs * widen
        layers: list[nn.Module] = [_pointwise(inputs, width)] if widen > 1 else []
        layers += [_depthwise(width, stride), nn.Conv2d(width, outputs, 1, bias=False),
                   nn.BatchNorm2d(outputs)]  # fmt: skip
        self.conv = nn.Sequential(*layers)
        self.kept = stride == 1 and inputs == outputs

    def forward(self, x: Tensor) -> Tensor:
        out: Tensor = self.conv(x)
        return x + out if self.kept else out


_ROWS = ((1, 16, 1, 1), (6, 24, 2, 2), (6, 32, 3, 2), (6, 64, 4, 2), (6, 96, 3, 1))
"""Of MobileNetV2, as far as used: widening, outputs, how many, stride of the first."""

_KEEP_AT = (3, 6)  # blocks whose outputs the way up uses: 1/4 and 1/8 of the size


class PretrainedNet(TissueNet):
    """On top of the first 14 blocks of a MobileNetV2 (names of its weights as torchvision's)."""

    def __init__(
        self, widths: tuple[int, ...] = (56, 72, 96, 128), *, rounds: int = ROUNDS
    ) -> None:
        super().__init__()
        fine, middle, coarse, deepest = widths
        stem = nn.Sequential(
            nn.Conv2d(INPUTS, 32, 3, 2, 1, bias=False), nn.BatchNorm2d(32), nn.ReLU6(inplace=True)
        )
        features: list[nn.Module] = [stem]
        width = 32
        for widen, outputs, count, stride in _ROWS:
            for number in range(count):
                step = stride if number == 0 else 1
                features.append(_Bottleneck(width, outputs, stride=step, widen=widen))
                width = outputs
        self.features = nn.ModuleList(features)
        self.deep = nn.Sequential(
            block(width, deepest, stride=2),
            block(deepest, deepest, dilation=2),
            block(deepest, deepest, dilation=4),
            comparisons(deepest, rounds),
        )
        self.jar = nn.Conv2d(deepest, deepest, 1)
        steps = ((deepest, coarse, width), (coarse, middle, 32), (middle, fine, 24))
        self.narrow = nn.ModuleList(nn.Conv2d(high, low, 1) for high, low, _ in steps)
        self.across = nn.ModuleList(nn.Conv2d(skip, low, 1) for _, low, skip in steps)
        self.up = nn.ModuleList(block(low, low) for _, low, _ in steps)
        self.head = nn.Conv2d(fine, OUTPUTS * FINEST**2, 1)

    def squares(self, x: Tensor) -> Tensor:
        """Down through the pretrained blocks, a mean over the jar, and up again to 1.1 mm."""
        levels, deep = [], x
        for number, layer in enumerate(self.features):
            deep = layer(deep)
            if number in _KEEP_AT:
                levels.append(deep)
        levels.append(deep)
        deep = self.deep(deep)
        gain = torch.sigmoid(self.jar(functional.adaptive_avg_pool2d(deep, 1)))
        deep = deep * (2.0 * gain)
        for narrow, across, layer in zip(self.narrow, self.across, self.up, strict=True):
            wider = functional.interpolate(narrow(deep), scale_factor=2.0, mode="nearest")
            deep = layer(across(levels.pop()) + wider)
        out: Tensor = self.head(deep)
        return out

    @torch.no_grad()
    def start_from(self, weights: dict[str, Tensor]) -> None:
        """Take the pretrained weights; the stem sees the three logs in place of red, green, blue.

        An encoded value is nearly linear in the logarithm of the light, and so are the logs.
        """
        mine = self.state_dict()
        for name, value in weights.items():
            if name in mine and name != "features.0.0.weight":
                mine[name].copy_(value)
        stem = mine["features.0.0.weight"]
        stem.zero_()
        stem[:, :3] = torch.einsum("ocij,cl->olij", weights["features.0.0.weight"], _logs_to_rgb())
        self.load_state_dict(mine)


def _logs_to_rgb() -> Tensor:
    """What red, green and blue, normalised as for ImageNet, change by with each of the three logs.

    Green's log is about luminance's less the part of red and blue in it.
    """
    luminance, red, blue = inputs.SPREAD.tolist()
    steepness = 0.21 / 0.225  # of the encoded value in the log, over ImageNet's spread
    green = torch.tensor([luminance, -0.2126 * red, -0.0722 * blue])
    rows = torch.stack([green + torch.tensor([0.0, red, 0.0]), green,
                        green + torch.tensor([0.0, 0.0, blue])])  # fmt: skip
    return steepness * rows


def make_net(
    kind: Kind, start: Path | None = None, *, rounds: int = ROUNDS
) -> PlainNet | PretrainedNet:
    """A net of a kind; it starts from weights of its own, or of a part of it, if any are named.

    Comparisons that the weights lack begin by adding nothing.
    """
    net = PlainNet(rounds) if kind == "plain" else PretrainedNet(rounds=rounds)
    if start is not None:
        weights = read_weights(start)
        mine = {name: value.shape for name, value in net.state_dict().items()}
        if all(mine.get(name) == value.shape for name, value in weights.items()):
            net.load_state_dict(weights, strict=False)
        else:
            net.start_from(weights)
    return net


def load_net(path: Path) -> PlainNet | PretrainedNet:
    """A trained net, as saved in half floats."""
    return make_net(kind_of(read_weights(path)), path).eval()


def read_weights(path: Path) -> dict[str, Tensor]:
    """Weights by name; half floats become whole ones."""
    weights = torch.load(path, weights_only=True)
    return {k: v.float() if v.is_floating_point() else v for k, v in weights.items()}


def kind_of(weights: dict[str, Tensor]) -> Kind:
    """Which kind of net weights belong to."""
    return "pretrained" if any(name.startswith("features.") for name in weights) else "plain"
