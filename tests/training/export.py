"""Write the trained tissue network as ONNX: ``python -m tests.training.export net.pt``.

Weights are stored as 16-bit floats, which moves logits by a thousandth part; the file casts them to
32 bits as it is loaded. Batch norms are folded into the convolutions. What is added to the logit of
cover takes the mean error away that photos kept back from the training show.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper

from jarvision.vision.tissue.inputs import CHANNELS

from .tissue_nets import TissueNet
from .wall_net import CLASS_COUNT, FINEST, WIDTHS, WallNet

SMALL = 512  # numbers: fewer stay as they are

TARGET = Path(__file__).parents[2] / "jarvision" / "vision" / "tissue" / "specialist.onnx"


def write_onnx(net: WallNet | TissueNet, inputs: int, out: Path) -> None:
    """Write a net's squares, for walls of any size, and say how large the file is."""
    net.forward = net.squares  # type: ignore[method-assign]  # what follows is cheaper outside
    torch.onnx.export(
        net, (torch.zeros(1, inputs, 480, 352),), str(out), input_names=["wall"],
        output_names=["logits"], opset_version=13, dynamo=False,
        dynamic_axes={"wall": {2: "rows", 3: "cols"}, "logits": {2: "rows", 3: "cols"}},
    )  # fmt: skip
    onnx.save(halved(onnx.load(out)), out)
    print(f"{out.name}: {out.stat().st_size / 1e6:.2f} MB")


def halved(model: onnx.ModelProto) -> onnx.ModelProto:
    """The model with its 32-bit weights stored as 16-bit ones, each cast back by a node."""
    graph = model.graph
    for weights in list(graph.initializer):
        numbers = numpy_helper.to_array(weights)
        if numbers.dtype != np.float32 or numbers.size < SMALL:
            continue
        half = numpy_helper.from_array(numbers.astype(np.float16), f"{weights.name}_half")
        cast = helper.make_node("Cast", [half.name], [weights.name], to=TensorProto.FLOAT)
        graph.initializer.remove(weights)
        graph.initializer.append(half)
        graph.node.insert(0, cast)
    onnx.checker.check_model(model)
    return model


def main() -> None:
    """Export."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("--widths", type=int, nargs=5, default=list(WIDTHS))
    parser.add_argument("--cover", type=float, default=0.0, help="added to the logit of cover")
    parser.add_argument("--out", type=Path, default=TARGET)
    args = parser.parse_args()
    net = WallNet(tuple(args.widths))
    net.load_state_dict(torch.load(args.weights, weights_only=True))
    net.eval()
    first = (CLASS_COUNT + 1) * FINEST**2
    with torch.no_grad():
        net.head.bias[first : first + FINEST**2] += args.cover
    write_onnx(net, CHANNELS, args.out)


if __name__ == "__main__":
    main()
