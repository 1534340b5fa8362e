"""Write the trained tissue network as ONNX: ``python -m tests.training.export net.pt``.

Weights are stored as 16-bit floats, which moves logits by a thousandth part; the largest layers of
the nets for strange contents as bytes, which moves a jar's coverage by 0.1 points as a rule. The
file makes 32-bit floats of all as it is loaded. Batch norms are folded into the convolutions. What
is added to the logit of cover takes the mean error away that photos kept back from the training
show.
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
LARGE = 100_000  # numbers: so many may become bytes

TARGET = Path(__file__).parents[2] / "jarvision" / "vision" / "tissue" / "specialist.onnx"


def write_onnx(net: WallNet | TissueNet, inputs: int, out: Path, *, large: float = np.inf) -> None:
    """Write a net's squares, for walls of any size, and say how large the file is.

    Layers of at least ``large`` numbers are stored as bytes.
    """
    net.forward = net.squares  # type: ignore[method-assign]  # what follows is cheaper outside
    torch.onnx.export(
        net, (torch.zeros(1, inputs, 480, 352),), str(out), input_names=["wall"],
        output_names=["logits"], opset_version=14, dynamo=False,
        dynamic_axes={"wall": {2: "rows", 3: "cols"}, "logits": {2: "rows", 3: "cols"}},
    )  # fmt: skip
    onnx.save(packed(onnx.load(out), large=large), out)
    print(f"{out.name}: {out.stat().st_size / 1e6:.2f} MB")


def packed(model: onnx.ModelProto, *, large: float) -> onnx.ModelProto:
    """The model with its 32-bit weights stored in two bytes each or one, and unpacked by nodes."""
    graph = model.graph
    for weights in list(graph.initializer):
        numbers = numpy_helper.to_array(weights)
        if numbers.dtype != np.float32 or numbers.size < SMALL:
            continue
        pack = _in_bytes if numbers.size >= large else _in_halves
        stored, nodes = pack(weights.name, numbers)
        graph.initializer.remove(weights)
        graph.initializer.extend(stored)
        for node in reversed(nodes):
            graph.node.insert(0, node)
    onnx.checker.check_model(model)
    return model


Packed = tuple[list[onnx.TensorProto], list[onnx.NodeProto]]


def _in_halves(name: str, numbers: np.ndarray) -> Packed:
    """As 16-bit floats."""
    half = numpy_helper.from_array(numbers.astype(np.float16), f"{name}_half")
    return [half], [helper.make_node("Cast", [half.name], [name], to=TensorProto.FLOAT)]


def _in_bytes(name: str, numbers: np.ndarray) -> Packed:
    """As signed bytes, with a scale for each output of the layer."""
    scale = np.abs(numbers).max(axis=tuple(range(1, numbers.ndim)), keepdims=True) / 127.0
    small = np.rint(numbers / np.maximum(scale, 1e-12)).astype(np.int8)
    stored = [
        numpy_helper.from_array(small, f"{name}_bytes"),
        numpy_helper.from_array(scale.astype(np.float32), f"{name}_scale"),
    ]
    whole = f"{name}_whole"
    return stored, [
        helper.make_node("Cast", [stored[0].name], [whole], to=TensorProto.FLOAT),
        helper.make_node("Mul", [whole, stored[1].name], [name]),
    ]


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
