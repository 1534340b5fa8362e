"""Weights to go on training from: ``python -m tests.training.import_net WALLS --out start.pt``.

Reads the network of the package back into PyTorch. Its batch norms are folded into the
convolutions; here each gets the mean and spread that its convolution shows on the walls of WALLS,
so that the net answers as before and its norms can be trained again. Outputs that the package's
network lacks begin as copies of the last one.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import Tensor, nn

from .export import TARGET
from .train import load_walls
from .wall_net import FINEST, WallNet

WALLS = 24


def folded(path: Path) -> list[tuple[Tensor, Tensor]]:
    """Weights and biases of the convolutions, in the order in which they run."""
    graph = onnx.load(path).graph
    values = {one.name: torch.tensor(numpy_helper.to_array(one)) for one in graph.initializer}
    for node in graph.node:
        if node.op_type == "Cast":  # weights are stored as 16-bit floats
            values[node.output[0]] = values[node.input[0]].float()
    nodes = [node for node in graph.node if node.op_type == "Conv"]
    return [(values[node.input[1]], values[node.input[2]]) for node in nodes]


def in_order(net: WallNet, x: Tensor) -> list[nn.Module]:
    """The net's convolutions in the order in which they run."""
    order: list[nn.Module] = []
    hooks = [
        module.register_forward_hook(lambda module, *_: order.append(module))
        for module in net.modules()
        if isinstance(module, nn.Conv2d)
    ]
    net(x)
    for hook in hooks:
        hook.remove()
    return order


@torch.no_grad()
def take_over(net: WallNet, weights: list[tuple[Tensor, Tensor]], x: Tensor) -> None:
    """Give the net the folded weights, one layer after the other."""
    norms = {
        block[0]: block[1]
        for block in net.modules()
        if isinstance(block, nn.Sequential) and isinstance(block[1], nn.BatchNorm2d)
    }
    for module, (weight, bias) in zip(in_order(net, x[:1]), weights, strict=True):
        if module is net.head:
            extra = module.out_channels // FINEST**2 - len(weight) // FINEST**2
            weight = torch.cat([weight, *[weight[-(FINEST**2) :]] * extra])  # noqa: PLW2901
            bias = torch.cat([bias, *[bias[-(FINEST**2) :]] * extra])  # noqa: PLW2901
        module.weight.copy_(weight)  # type: ignore[union-attr, operator]
        if module.bias is not None:
            module.bias.copy_(bias)  # type: ignore[union-attr, operator]
            continue
        norm = norms[module]  # type: ignore[index]
        found: list[Tensor] = []
        hook = module.register_forward_hook(lambda _m, _i, out, into=found: into.append(out))
        net(x)
        hook.remove()
        variance, mean = torch.var_mean(found[0], dim=(0, 2, 3), correction=0)
        norm.running_mean.copy_(mean)  # type: ignore[union-attr]
        norm.running_var.copy_(variance)  # type: ignore[union-attr]
        norm.weight.copy_(torch.sqrt(variance + norm.eps))
        norm.bias.copy_(mean + bias)


def main() -> None:
    """Convert."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("walls", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    walls = load_walls(args.walls)
    some = torch.from_numpy(np.linspace(0, len(walls) - 1, WALLS).astype(int))
    net = WallNet().eval()
    take_over(net, folded(TARGET), walls.pick(some).x)
    torch.save(net.state_dict(), args.out)


if __name__ == "__main__":
    main()
