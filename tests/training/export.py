"""Write the trained tissue network as ONNX: ``python -m tests.training.export net.pt``.

Weights are stored as 32-bit floats; batch norms are folded into the convolutions. What is added to
the logit of cover takes the mean error away that photos kept back from the training show.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch

from jarvision.vision.tissue.inputs import CHANNELS

from .tissue_nets import TissueNet
from .wall_net import CLASS_COUNT, FINEST, WIDTHS, WallNet

TARGET = Path(__file__).parents[2] / "jarvision" / "vision" / "tissue" / "specialist.onnx"


def write_onnx(net: WallNet | TissueNet, inputs: int, out: Path) -> None:
    """Write a net's squares, for walls of any size, and say how large the file is."""
    net.forward = net.squares  # type: ignore[method-assign]  # what follows is cheaper outside
    torch.onnx.export(
        net, (torch.zeros(1, inputs, 480, 352),), str(out), input_names=["wall"],
        output_names=["logits"], opset_version=13, dynamo=False,
        dynamic_axes={"wall": {2: "rows", 3: "cols"}, "logits": {2: "rows", 3: "cols"}},
    )  # fmt: skip
    print(f"{out.name}: {out.stat().st_size / 1e6:.2f} MB")


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
