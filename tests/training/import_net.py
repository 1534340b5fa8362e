"""Weights to go on training from: ``python -m tests.training.import_net WALLS --out start.pt``.

Reads a network of the package back into PyTorch. Its batch norms are folded into the
convolutions; here each gets the mean and spread that its convolution shows on the walls of WALLS,
so that the net answers as before and its norms can be trained again. Outputs that the file lacks
begin as copies of the last one.
"""

from __future__ import annotations

import argparse
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import Tensor, nn

from .export import TARGET
from .tissue_nets import INPUTS, Kind, make_net
from .train import load_walls
from .wall_net import FINEST, WallNet

WALLS = 24


def folded(path: Path) -> list[tuple[Tensor, Tensor]]:
    """Weights and biases of the convolutions, in the order in which they run."""
    graph = onnx.load(path).graph
    values = {one.name: torch.tensor(numpy_helper.to_array(one)) for one in graph.initializer}
    for node in graph.node:  # weights are stored as 16-bit floats, or as bytes with a scale
        packed = [values.get(name) for name in node.input]
        if node.op_type == "Cast" and packed[0] is not None:
            values[node.output[0]] = packed[0].float()
        elif node.op_type == "Mul" and packed[0] is not None and packed[1] is not None:
            values[node.output[0]] = packed[0] * packed[1]
    nodes = [node for node in graph.node if node.op_type == "Conv"]
    return [(values[node.input[1]], values[node.input[2]]) for node in nodes]


def norms_of(net: nn.Module) -> dict[nn.Module, nn.BatchNorm2d]:
    """The batch norm behind each convolution that has one."""
    return {
        first: second
        for layers in net.modules()
        if isinstance(layers, nn.Sequential)
        for first, second in pairwise(layers)
        if isinstance(second, nn.BatchNorm2d)
    }


@torch.no_grad()
def take_over(net: nn.Module, weights: list[tuple[Tensor, Tensor]], x: Tensor) -> None:
    """Give the net the folded weights, one layer after the other, as it looks at walls ``x``."""
    norms, left = norms_of(net), iter(weights)

    def before(module: nn.Conv2d, _inputs: tuple[Tensor]) -> None:
        weight, bias = next(left)
        extra = (module.out_channels - len(weight)) // FINEST**2  # outputs that the file lacks
        module.weight.copy_(torch.cat([weight, *[weight[-(FINEST**2) :]] * extra]))
        if module.bias is not None:
            module.bias.copy_(torch.cat([bias, *[bias[-(FINEST**2) :]] * extra]))
        else:
            norms[module].bias.copy_(bias)

    def after(module: nn.Conv2d, _inputs: tuple[Tensor], out: Tensor) -> None:
        if module.bias is not None:
            return
        norm = norms[module]
        variance, mean = torch.var_mean(out, dim=(0, 2, 3), correction=0)
        norm.running_mean.copy_(mean)  # type: ignore[union-attr]
        norm.running_var.copy_(variance)  # type: ignore[union-attr]
        norm.weight.copy_(torch.sqrt(variance + norm.eps))
        norm.bias.add_(mean)

    layers = [module for module in net.modules() if isinstance(module, nn.Conv2d)]
    hooks = [layer.register_forward_pre_hook(before) for layer in layers]
    hooks += [layer.register_forward_hook(after) for layer in layers]
    net(x)
    for hook in hooks:
        hook.remove()


def blank(kind: Kind | Literal["specialist"]) -> nn.Module:
    """An untrained net of a kind, as the package's are: without comparisons."""
    return (WallNet() if kind == "specialist" else make_net(kind, rounds=0)).eval()


def main() -> None:
    """Convert."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("walls", type=Path)
    parser.add_argument("--net", type=Path, default=TARGET, help="a network of the package")
    parser.add_argument("--kind", choices=("specialist", "plain", "pretrained"),
                        default="specialist")  # fmt: skip
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    walls = load_walls(args.walls)
    some = torch.from_numpy(np.linspace(0, len(walls) - 1, WALLS).astype(int))
    x = walls.pick(some).x.float()
    net = blank(args.kind)
    if args.kind != "specialist":  # nothing is known of these jars' bare looks
        x = nn.functional.pad(x, (0, 0, 0, 0, 0, INPUTS - x.shape[1]))
    take_over(net, folded(args.net), x)
    torch.save(net.state_dict(), args.out)


if __name__ == "__main__":
    main()
